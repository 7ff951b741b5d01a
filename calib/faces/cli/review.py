"""Commands on impact reviews: what hangs on an instrument that was found out of order, and what is decided on each."""

from typing import Annotated

import typer

from calib.clock import clock
from calib.faces.cli.frame import Desk, Reply, group, reads, writes
from calib.faces.cli.options import Reason, Tag

app = group("Impact reviews of instruments that were found beyond their limits: list, show, dispose.")

FailedCertificate = Annotated[
    str, typer.Argument(metavar="CERTIFICATE", help="The certificate whose comparisons as found failed.")
]


@reads(app, "list")
def list_(
    desk: Desk,
    only_open: Annotated[bool, typer.Option("--open", help="Those with a line that nobody has disposed of.")] = False,
) -> Reply:
    """List impact reviews with the number of their open lines.

    Example: calib review list --open
    """
    from calib.faces.answers import reviews as answer
    from calib.procedures.impact.reviews import reviews

    document = answer.document(reviews(desk.reading(), only_open=only_open))
    return Reply(document, "no impact review is open" if only_open and not document["reviews"] else answer.text)


@reads(app, "show")
def show(desk: Desk, tag: Tag, certificate: FailedCertificate) -> Reply:
    """Show an impact review: each record that hangs on the instrument, before and as found, with its shift and its conformity.

    Example: calib review show VA-11 TH-27-0398
    """
    from calib.faces.answers import review as answer
    from calib.procedures.impact.reviews import review_of

    return Reply(answer.document(review_of(desk.reading(), tag, certificate)), answer.text)


@writes(app, "dispose")
def dispose(
    desk: Desk,
    tag: Tag,
    certificate: FailedCertificate,
    lines: Annotated[list[int], typer.Argument(metavar="LINE", help="Numbers of the lines, as shown.")],
    decision: Annotated[str, typer.Option(help="stands, reissue, 'measure again' or withdraw.")],
    reason: Reason,
) -> Reply:
    """Decide on lines of an impact review; it is open until each line has a disposition, and nothing else is changed by it.

    Example: calib review dispose VA-11 TH-27-0398 1 --decision stands --reason "shift below a tenth of U, statement unchanged"
    """
    from calib.faces.answers import review as answer
    from calib.procedures.impact.dispose_review import DispositionWanted, dispose_review

    wanted = DispositionWanted(tag, certificate, lines, decision, reason)
    review = dispose_review(desk.writing(), wanted, desk.signature(), clock())
    numbers = ", ".join(str(line) for line in dict.fromkeys(lines))
    decided = f"{tag}, certificate {certificate}: line{'s' if len(lines) > 1 else ''} {numbers}: {decision}"
    left = f"{review.open_lines} open line(s) left" if review.is_open else "no open line left: the review is done"
    return Reply(answer.document(review), decided, [left])
