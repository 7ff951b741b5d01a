"""List impact reviews: those that fit a wish, in an order."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from sqlmodel import Session

from calib.errors import BadInputError
from calib.procedures.on_record.reviews import Review, reviews
from calib.procedures.typed.known_words import not_among

OPEN, _CLOSED = "open", "closed"
REVIEW_STATES = (OPEN, _CLOSED)

# Orders of the list; equals stand newest first.
REVIEW_SORTS: dict[str, Callable[[Review], tuple[int, str]]] = {
    "newest": lambda review: (-review.review, ""),
    "instrument": lambda review: (0 if review.tag else 1, review.tag or ""),  # those of issued reports last
    "open lines": lambda review: (-review.open_lines, ""),
}


@dataclass(frozen=True)
class ReviewWish:
    """Which reviews are wanted; what is absent excludes none. Texts are compared without regard to capitals."""

    state: str | None = None  # one of REVIEW_STATES
    instrument: str | None = None  # contained in the tag of what was out of order
    job: str | None = None  # contained in the name of a job of one of its lines


def list_reviews(session: Session, wish: ReviewWish, sort: str) -> list[Review]:
    """Reviews that fit, in one of REVIEW_SORTS; raises BadInputError for a state or an order that is none."""
    if findings := not_among(("state", wish.state, REVIEW_STATES), ("sort", sort, REVIEW_SORTS)):
        raise BadInputError(findings)
    fitting = [review for review in reviews(session, only_open=wish.state == OPEN) if _fits(review, wish)]
    return sorted(fitting, key=lambda review: (REVIEW_SORTS[sort](review), -review.review))


def _fits(review: Review, wish: ReviewWish) -> bool:
    return (
        not (wish.state == _CLOSED and review.is_open)
        and _holds([review.tag], wish.instrument)
        and _holds((line.finding.get("job") for line in review.lines), wish.job)
    )


def _holds(texts: Iterable[object], wanted: str | None) -> bool:
    return wanted is None or any(wanted.casefold() in str(text).casefold() for text in texts if text is not None)
