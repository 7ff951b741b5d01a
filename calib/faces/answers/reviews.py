"""Impact reviews with the number of their open lines, as `calib review list` answers."""

from collections.abc import Sequence

from calib.faces.plain_text import table_text
from calib.faces.written import Content
from calib.procedures.impact.reviews import Review

_HEADER = ("instrument", "certificate", "calibrated", "opened", "lines", "open", "state")


def document(reviews: Sequence[Review]) -> Content:
    """Each review in brief."""
    return {"reviews": [brief(review) for review in reviews]}


def brief(review: Review) -> Content:
    """One review of the list."""
    return {
        "tag": review.tag,
        "certificate": review.certificate,
        "calibrated_on": review.calibrated_on,
        "opened_at": review.time,
        "opened_by": review.person,
        "lines": len(review.lines),
        "open_lines": review.open_lines,
        "open": review.is_open,
    }


def text(answer: Content) -> str:
    """The same for people."""
    if not answer["reviews"]:
        return "there is no impact review"
    return table_text(_HEADER, [_row(review) for review in answer["reviews"]])


def _row(review: Content) -> tuple[str, ...]:
    return (
        review["tag"],
        review["certificate"],
        review["calibrated_on"],
        review["opened_at"][:10],
        str(review["lines"]),
        str(review["open_lines"]),
        "open" if review["open"] else "done",
    )
