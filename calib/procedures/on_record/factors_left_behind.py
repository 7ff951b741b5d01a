"""Factors found in the field before a review decided on another curve than they were found with, and not found again since."""

from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass, field

from sqlmodel import Session, col, select

from calib.procedures.on_record.by_keys import by_keys
from calib.procedures.on_record.held_curves import AS_BEFORE
from calib.procedures.on_record.recorded import sequences
from calib.records.record import key
from calib.records.tables.factors import FactorPair, FoundFactor
from calib.records.tables.reviews import ImpactLine, ReviewDecision

_Holds = tuple[str, str | None]  # curve, from when on


@dataclass(frozen=True)
class LeftBehind:
    """Names of factors that no reading may use until they are found again, but for those that they are found from."""

    reviews: dict[str, int] = field(default_factory=dict)  # by name of the factor: the review that decided otherwise
    pairs: frozenset[int] = frozenset()  # readings that they are found from

    def against(self, factor: FoundFactor, reading: int | None) -> str | None:
        """Why a reading may not use a factor; None where it may."""
        if factor.factor not in self.reviews or reading in self.pairs:
            return None
        return (
            f"factor {factor.factor}: review {self.reviews[factor.factor]} decided since that another curve holds for what it was "
            "found with: find it again"
        )


def factors_left_behind(session: Session, factors: Collection[FoundFactor]) -> LeftBehind:
    """Which of some factors were left behind by a decision; nothing is asked where there are none."""
    keys = {key(factor.id): factor.factor for factor in factors}
    lines = select(ImpactLine.impact_review_id, ImpactLine.record_id).where(ImpactLine.record_table == "found_factor")
    of_reviews: dict[int, set[int]] = defaultdict(set)
    for review, factor in by_keys(session, lines, ImpactLine.record_id, keys):
        of_reviews[review].add(factor)
    if not of_reviews:
        return LeftBehind()
    query = select(ReviewDecision).order_by(col(ReviewDecision.id))
    decisions = list(by_keys(session, query, ReviewDecision.impact_review_id, of_reviews))
    decided_at = sequences(session, "review_decision", [key(each.id) for each in decisions])
    recorded_at = sequences(session, "found_factor", keys)
    left = {}
    for review, own in of_reviews.items():
        holds = [
            (decided_at[key(each.id)], (each.curve, each.from_at))
            for each in decisions
            if each.impact_review_id == review
        ]
        for factor in own:
            if _at(holds, recorded_at[factor]) != _at(holds, None):
                left[factor] = review
    pairs = select(FactorPair.traverse_reading_id, FactorPair.face_reading_id)
    read = {reading for both in by_keys(session, pairs, FactorPair.found_factor_id, left) for reading in both}
    return LeftBehind({keys[factor]: review for factor, review in left.items()}, frozenset(read))


def _at(holds: Iterable[tuple[int, _Holds]], place: int | None) -> _Holds:
    """What was decided by a place in the ledger, or by now."""
    return next((each for at, each in reversed([*holds]) if place is None or at < place), (AS_BEFORE, None))
