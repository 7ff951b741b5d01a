"""Commands on impact reviews: what hangs on an instrument that was found out of order, and what is decided on each."""

from typing import Annotated

import typer

from calib.faces.cli.options import (
    DEFAULT_RECORDS,
    AsJson,
    By,
    Records,
    clock,
    print_json,
    print_table,
    say,
    signature,
    tell,
)

app = typer.Typer(
    no_args_is_help=True,
    rich_markup_mode=None,
    help="Impact reviews of instruments that were found beyond their limits: list, show, dispose.",
)

Tag = Annotated[str, typer.Argument(metavar="TAG", help="The instrument.")]
Certificate = Annotated[
    str, typer.Argument(metavar="CERTIFICATE", help="The certificate whose comparisons as found failed.")
]


@app.command("list")
def list_(
    only_open: Annotated[bool, typer.Option("--open", help="Those with a line that nobody has disposed of.")] = False,
    records: Records = DEFAULT_RECORDS,
    as_json: AsJson = False,
) -> None:
    """List impact reviews with the number of their open lines.

    Example: calib review list --open
    """
    from calib.faces.answers import review
    from calib.procedures.impact.reviews import reviews
    from calib.records import database

    with database.reading(records) as session:
        found = reviews(session, only_open=only_open)
    if as_json:
        print_json({"reviews": [review.brief(one) for one in found]})
    elif found:
        print_table(*review.list_rows(found))
    else:
        tell("no impact review is open" if only_open else "there is no impact review")


@app.command("show")
def show(
    tag: Tag,
    certificate: Certificate,
    records: Records = DEFAULT_RECORDS,
    as_json: AsJson = False,
) -> None:
    """Show an impact review: each record that hangs on the instrument, before and as found, with its shift and its conformity.

    Example: calib review show VA-11 TH-27-0398
    """
    from calib.faces.answers import review
    from calib.procedures.impact.reviews import review_of
    from calib.records import database

    with database.reading(records) as session:
        found = review_of(session, tag, certificate)
    if as_json:
        print_json(review.review(found))
        return
    tell(review.head_text(found))
    tell("")
    if found.lines:
        print_table(*review.line_rows(found))
    else:
        tell("nothing hangs on it")
    for text in review.remarks(found):
        tell(text)


@app.command("dispose")
def dispose(
    tag: Tag,
    certificate: Certificate,
    lines: Annotated[list[int], typer.Argument(metavar="LINE...", help="Numbers of the lines, as shown.")],
    decision: Annotated[str, typer.Option(help="stands, reissue, 'measure again' or withdraw.")],
    reason: Annotated[str, typer.Option(metavar="TEXT", help="Why; it is kept and shown.")],
    records: Records = DEFAULT_RECORDS,
    by: By = None,
    as_json: AsJson = False,
) -> None:
    """Decide on lines of an impact review; it is open until each line has a disposition, and nothing else is changed by it.

    Example: calib review dispose VA-11 TH-27-0398 1 --decision stands --reason "shift below a tenth of U, statement unchanged"
    """
    from calib.faces.answers import review
    from calib.procedures.impact.dispose import DispositionWanted
    from calib.procedures.impact.dispose import dispose as decide
    from calib.records import database

    wanted = DispositionWanted(tag, certificate, lines, decision, reason)
    with database.writing(records) as session:
        found = decide(session, wanted, signature(by, "review dispose"), clock())
    if as_json:
        print_json(review.review(found))
    else:
        numbers = ", ".join(str(one) for one in dict.fromkeys(lines))
        tell(f"{tag}, certificate {certificate}: line{'s' if len(lines) > 1 else ''} {numbers}: {decision}")
    say(f"{found.open_lines} open line(s) left" if found.is_open else "no open line left: the review is done")
