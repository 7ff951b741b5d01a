"""Commands on impact reviews: what hangs on an instrument that was found out of order, and what is decided on each."""

from typing import Annotated

import typer

from calib.clock import clock
from calib.faces.cli.frame import Desk, Reply, group, happened_at, reads, writes
from calib.faces.cli.options import Reason

app = group("Impact reviews of what shakes results already given: list, show, decide, dispose.")

ReviewNumber = Annotated[int, typer.Argument(metavar="REVIEW", help="The number of the review, as listed.")]


@reads(app, "list")
def list_(
    desk: Desk,
    only_open: Annotated[bool, typer.Option("--open", help="Those with a line that nobody has disposed of.")] = False,
    instrument: Annotated[
        str | None, typer.Option(metavar="TAG", help="Those of instruments whose tag holds this.")
    ] = None,
    job: Annotated[
        str | None, typer.Option(metavar="JOB", help="Those with a line of a job whose name holds this.")
    ] = None,
) -> Reply:
    """List impact reviews with the number of their open lines.

    Example: calib review list --open --job FQ-204
    """
    from calib.faces.answers import reviews as answer
    from calib.procedures.impact.list_reviews import OPEN, ReviewWish, list_reviews

    wish = ReviewWish(OPEN if only_open else None, instrument, job)
    document = answer.document(list_reviews(desk.reading(), wish, "newest")[::-1])
    if document["reviews"] or wish == ReviewWish():
        return Reply(document, answer.text)
    return Reply(document, "no impact review is open" if wish == ReviewWish(OPEN) else "no impact review fits")


@reads(app, "show")
def show(desk: Desk, review: ReviewNumber) -> Reply:
    """Show an impact review: each record that hangs on the instrument, before and as found, with its shift and its conformity.

    Example: calib review show 1
    """
    from calib.faces.answers import review as answer
    from calib.procedures.on_record.reviews import review_numbered

    return Reply(answer.document(review_numbered(desk.reading(), review)), answer.text)


@writes(app, "decide")
def decide(
    desk: Desk,
    review: ReviewNumber,
    curve: Annotated[str, typer.Option(help="as before, as found, as found from, or widened.")],
    reason: Reason,
    from_at: Annotated[
        str | None, typer.Option("--from", metavar="TIME", help="With 'as found from': from when on, with its zone.")
    ] = None,
) -> Reply:
    """Decide which curve holds for what a review touched: flows, totals and statements follow in every answer.

    "widened" keeps the curve before, and U covers the change found.

    Example: calib review decide 1 --curve "as found" --reason "it fell before the job, as the dent shows"
    """
    from calib.faces.answers import review as answer
    from calib.procedures.impact.decide_review import CurveWanted, decide_review

    since = None if from_at is None else happened_at(from_at, "from_at")
    decided = decide_review(desk.writing(), CurveWanted(review, curve, since, reason), desk.signature(), clock())
    return Reply(answer.document(decided.review), answer.decision_text, decided.remarks)


@writes(app, "dispose")
def dispose(
    desk: Desk,
    review: ReviewNumber,
    lines: Annotated[list[int], typer.Argument(metavar="LINE", help="Numbers of the lines, as shown.")],
    decision: Annotated[str, typer.Option(help="stands, reissue, 'measure again', withdraw or immaterial.")],
    reason: Annotated[
        list[str],
        typer.Option(
            "--reason", metavar="TEXT", help="Why; of several lines that stand once for each, in their order."
        ),
    ],
) -> Reply:
    """Decide on lines of an impact review; it is open until each has a disposition, and what was promised is done.

    Example: calib review dispose 1 1 --decision stands --reason "shift below a tenth of U, statement unchanged"
    """
    from calib.faces.answers import review as answer
    from calib.procedures.impact.dispose_review import DispositionWanted, dispose_review

    wanted = DispositionWanted(review, list(dict.fromkeys(lines)), decision, reason)
    document = answer.document(dispose_review(desk.writing(), wanted, desk.signature(), clock()))
    decided, *told = answer.disposed_lines(document, wanted.lines, decision)
    if document["waits_for_curve"]:
        told.append(f"a revision ends them once it is decided which curve holds: calib review decide {review}")
    return Reply(document, decided, told)
