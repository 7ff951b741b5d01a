"""Impact reviews with the number of their open lines, as `calib review list` answers."""

from collections.abc import Sequence

from calib.faces.plain_text import table_text
from calib.faces.written import Content
from calib.procedures.on_record.reviews import Review

_HEADER = ("review", "instrument", "about", "opened", "lines", "open", "state")


def document(reviews: Sequence[Review]) -> Content:
    """Each review in brief."""
    return {"reviews": [brief(review) for review in reviews]}


def brief(review: Review) -> Content:
    """One review of the list."""
    return {
        "review": review.review,
        "cause": review.cause,
        "about": review.about,
        "tag": review.tag,
        "certificate": review.certificate,
        "calibrated_on": review.calibrated_on,
        "opened_at": review.time,
        "opened_by": review.person,
        "lines": len(review.lines),
        "open_lines": review.open_lines,
        "reissue_promised": list(review.promised),
        "waits_for_curve": review.waits_for_curve,
        "open": review.is_open,
        "holds": None if review.holds is None else review.holds.curve,
    }


def text(answer: Content) -> str:
    """The same for people."""
    if not answer["reviews"]:
        return "there is no impact review"
    return table_text(_HEADER, [_row(review) for review in answer["reviews"]])


def _row(review: Content) -> tuple[str, ...]:
    return (
        str(review["review"]),
        review["tag"] or "-",
        what_text(review),
        review["opened_at"][:10],
        str(review["lines"]),
        str(review["open_lines"]),
        review_state(review),
    )


def what_text(review: Content) -> str:
    """What opened it, without the tag of the instrument."""
    return str(review["about"]).removeprefix(f"{review['tag']}, ")


def review_state(review: Content) -> str:
    """Whether it is open or done, and whose reissue was promised."""
    if review["reissue_promised"]:
        return f"reissue promised: {', '.join(review['reissue_promised'])}"
    return "open" if review["open"] else "done"
