"""Factors found in the field that no reading may use until they are found again.

They were found before a review decided on another curve than they were found with, or with a certificate that was withdrawn since.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field

from sqlmodel import Session, col, select

from calib.procedures.on_record.by_keys import by_keys
from calib.procedures.on_record.found_with_withdrawn import found_with_withdrawn
from calib.procedures.on_record.held_curves import AS_BEFORE
from calib.procedures.on_record.recorded import sequences
from calib.records.record import key
from calib.records.tables.calibrations import Withdrawal
from calib.records.tables.factors import FactorPair, FoundFactor
from calib.records.tables.reviews import ImpactLine, ImpactReview, ReviewDecision

_Holds = tuple[str, str | None]  # curve, from when on


@dataclass(frozen=True)
class LeftBehind:
    """Names of factors that no reading may use until they are found again, those of their own pairs included."""

    why: dict[str, str] = field(default_factory=dict)  # by name of the factor

    def against(self, factor: FoundFactor) -> str | None:
        """Why no reading may use a factor; None where they may."""
        if factor.factor not in self.why:
            return None
        return f"factor {factor.factor}: {self.why[factor.factor]}: find it again"


def factors_left_behind(session: Session, factors: Collection[FoundFactor]) -> LeftBehind:
    """Which of some factors were left behind; nothing is asked where there are none."""
    keys = {key(factor.id): factor for factor in factors}
    if not keys:
        return LeftBehind()
    place = sequences(session, "found_factor", keys)
    left = _decided_otherwise(session, place) | found_with_withdrawn(session, keys, place)
    return LeftBehind({keys[factor].factor: why for factor, why in left.items()})


def _decided_otherwise(session: Session, place: Mapping[int, int]) -> dict[int, str]:
    """What a review decided since some factors were found, by their key; `place` is where each stands in the ledger."""
    of_readings: dict[int, set[int]] = defaultdict(set)
    for pair in by_keys(session, select(FactorPair), FactorPair.found_factor_id, place):
        of_readings[pair.traverse_reading_id].add(pair.found_factor_id)
        of_readings[pair.face_reading_id].add(pair.found_factor_id)
    lines = select(ImpactLine.impact_review_id, ImpactLine.record_id).where(ImpactLine.record_table == "reading")
    of_reviews: dict[int, set[int]] = defaultdict(set)
    for review, reading in by_keys(session, lines, ImpactLine.record_id, of_readings):
        of_reviews[review] |= of_readings[reading]
    if not of_reviews:
        return {}
    query = select(ReviewDecision).order_by(col(ReviewDecision.id))
    decisions = list(by_keys(session, query, ReviewDecision.impact_review_id, of_reviews))
    decided_at = sequences(session, "review_decision", [key(each.id) for each in decisions])
    # With its certificate what a review decided ends: all is as before.
    ended = select(ImpactReview.id, Withdrawal.id).join(
        Withdrawal, col(Withdrawal.calibration_id) == ImpactReview.calibration_id
    )
    withdrawn = dict(by_keys(session, ended, ImpactReview.id, of_reviews))
    ended_at = sequences(session, "withdrawal", withdrawn.values())
    left = {}
    for review, own in of_reviews.items():
        holds = [
            (decided_at[key(each.id)], (each.curve, each.from_at))
            for each in decisions
            if each.impact_review_id == review
        ]
        if review in withdrawn:
            holds.append((ended_at[withdrawn[review]], (AS_BEFORE, None)))
        for factor in own:
            if _at(holds, place[factor]) != _at(holds, None):
                left[factor] = f"review {review} decided since that another curve holds for what it was found with"
    return left


def _at(holds: Iterable[tuple[int, _Holds]], place: int | None) -> _Holds:
    """What was decided by a place in the ledger, or by now."""
    return next(
        (each for at, each in sorted(holds, key=lambda each: each[0], reverse=True) if place is None or at < place),
        (AS_BEFORE, None),
    )
