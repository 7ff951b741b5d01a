"""Impact reviews as the gate knows them: which of an instrument's calibrations each of them shakes.

A review shakes the calibrations that were relied on since its instrument was last in order, and those made in house against it. Of
the whole fleet the open ones are loaded: those that were closed concern who asks for an instrument.

Nothing heavy is imported here: `calib due` starts with it.
"""

from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING

from sqlalchemy import or_
from sqlmodel import Session, and_, col, select, union

from calib.confirmation.in_order import last_in_order
from calib.confirmation.interval import InstrumentOnRecord, ReviewOnRecord
from calib.records.record import moment
from calib.records.tables.calibrations import Calibration
from calib.records.tables.reviews import ImpactLine, ImpactReview
from calib.records.words import OPEN_REVIEW_CLOSES

if TYPE_CHECKING:
    from calib.procedures.on_record.reviews import Review

_CALIBRATION = "calibration"


def with_reviews(
    session: Session, register: Mapping[str, InstrumentOnRecord], instruments: Collection[int] | None
) -> dict[str, InstrumentOnRecord]:
    """Instruments with the reviews that shake a calibration of theirs, or are about them."""
    numbers = reviews_about(session, instruments)
    if not numbers:
        return dict(register)
    from calib.procedures.on_record.reviews import reviews_numbered  # noqa: PLC0415 (where there is one)
    from calib.procedures.people.house_rules import holds  # noqa: PLC0415

    closes = holds(session, OPEN_REVIEW_CLOSES) is True
    shaken: dict[str, list[ReviewOnRecord]] = defaultdict(list)
    owner = {each.record_id: tag for tag, own in register.items() for each in own.calibrations}
    for review in reviews_numbered(session, numbers):
        if review.tag is not None and review.tag in register:
            shaken[review.tag].append(_own(review, register[review.tag], closes_gate=closes))
        made: dict[str, set[int]] = defaultdict(set)
        for line in review.lines:
            if line.record_table == _CALIBRATION and line.record in owner:
                made[owner[line.record]].add(line.record)
        for tag, calibrations in made.items():
            about = f"calibrated in house with {review.tag}, {review.happened}"
            if not any(review.tag in each.standards for each in register[tag].calibrations):
                about = f"its calibration rests on {review.tag}, {review.happened}"
            shaken[tag].append(_on_record(review, about, calibrations, None, closes_gate=closes, is_own=False))
    return {tag: replace(own, reviews=tuple(shaken.get(tag, ()))) for tag, own in register.items()}


def reviews_about(session: Session, instruments: Collection[int] | None) -> list[int]:
    """Numbers of the reviews of instruments, and of those that list a calibration of theirs; of the whole fleet the open ones."""
    through = col(Calibration.id) == ImpactReview.calibration_id
    about = select(ImpactReview.id).outerjoin(Calibration, through)
    made = and_(col(ImpactLine.record_table) == _CALIBRATION, col(Calibration.id) == ImpactLine.record_id)
    lines = select(ImpactLine.impact_review_id).join(Calibration, made)
    if instruments is not None:
        wanted = sorted(instruments)
        about = about.where(
            or_(col(Calibration.instrument_id).in_(wanted), col(ImpactReview.instrument_id).in_(wanted))
        )
        lines = lines.where(col(Calibration.instrument_id).in_(wanted))
    elif session.exec(select(ImpactReview.id).limit(1)).first() is None:
        return []
    else:
        from calib.procedures.on_record.reviews import may_be_open  # noqa: PLC0415 (where there is one)

        about = about.where(may_be_open())
        lines = lines.join(ImpactReview, col(ImpactReview.id) == ImpactLine.impact_review_id).where(may_be_open())
    return sorted({review for (review,) in session.execute(union(about, lines))})


def _own(review: "Review", own: InstrumentOnRecord, *, closes_gate: bool) -> ReviewOnRecord:
    """What a review of the instrument itself shakes: what relied on it since it was last in order."""
    calibrations, since = set(), None
    if review.certificate is not None:
        failing = next(each for each in own.calibrations if each.certificate == review.certificate)
        before = last_in_order(own, failing.record_id)
        if before is not None:
            since = before.calibrated_on
            earlier = {each.record_id for each in own.calibrations if each.calibrated_on < since}
            calibrations = {before.record_id} | earlier
    elif review.assessment["since"] is not None:
        since, until = (moment(review.assessment[name]).date() for name in ("since", "until"))
        calibrations = {each.record_id for each in own.calibrations if each.calibrated_on <= until}
    return _on_record(review, review.happened, calibrations, since, closes_gate=closes_gate, is_own=True)


def _on_record(
    review: "Review", about: str, calibrations: Collection[int], since: date | None, *, closes_gate: bool, is_own: bool
) -> ReviewOnRecord:
    return ReviewOnRecord(
        review.review,
        f"{about}; {review.state}",
        moment(review.time),
        review.shakes,
        closes_gate,
        is_own,
        frozenset(calibrations),
        since,
    )
