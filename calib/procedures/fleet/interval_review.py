"""Review of a calibration interval: history, drift, family, and one recommendation (ILAC-G24 / OIML D 10).

Nothing is changed: what follows from a review is decided by a person (`change_interval`).

Decision (2026-11). A review of an interval recommends, a person decides; a change never lengthens the validity of a calibration
in use. Cost: a longer interval waits for the next certificate.
"""

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from operator import attrgetter
from typing import Any, NamedTuple

import numpy as np
from sqlmodel import Session, col, select

from calib.arrays import Floats
from calib.confirmation.drift import Drift, DriftLine, drift_line, time_to, wandering
from calib.confirmation.history import (
    MONTHS_IN_A_YEAR,
    CalibrationErrors,
    ErrorPoints,
    History,
    changes_between,
    one_a_day,
    years_between,
)
from calib.confirmation.interval import interval_at
from calib.confirmation.recommendation import Recommendation, Spread, recommend, reliability, spread
from calib.confirmation.reliability import FoundInterval, Proportion, Rate, exponential_rate, proportion
from calib.confirmation.stability import Stability, stability
from calib.confirmation.words import CORRECTED, GUARDED, INDICATION, SIMPLE
from calib.procedures.certificate.permissible_error import permissible_error
from calib.procedures.measure.stability import hidden_change, up_to
from calib.procedures.on_record.amended import instruments_in_force
from calib.procedures.on_record.by_name import instrument_tagged
from calib.procedures.on_record.errors_of_indication import history_of
from calib.procedures.on_record.register import load_register
from calib.procedures.on_record.what_counts import not_withdrawn
from calib.records.record import key, typed
from calib.records.tables.calibrations import Acceptance, Calibration
from calib.records.tables.instruments import Instrument, InstrumentRevision

_K = 2.0  # of U where the rule has it
_WINDOW = 0.2  # intervals that are as long as the present one, within this fraction
# A value on the limit is inside; binary floats must not decide it.
_ROUNDING = 1e-9


@dataclass(frozen=True)
class PointReview:
    """What the history says at one indication of the latest certificate. SI."""

    indication: float
    limit: float  # maximum permissible error there; NaN where none is stated
    # Of each calibration, interpolated to the indication; None where not compared as found.
    as_found: tuple[ErrorPoints | None, ...]
    as_left: tuple[ErrorPoints, ...]
    corrected: float  # the part of the error that is not held against the limit: 0, or the one corrected for
    expanded_uncertainty: float  # of the error as left, over the limit, k = 2
    line: DriftLine | None
    wandering: Drift | None
    reached_by_line: float | None  # time since the last calibration until |error| + band reaches the limit [years]
    reached_by_changes: float | None


@dataclass(frozen=True)
class IntervalReview:
    """Review of one instrument's interval on a day."""

    instrument: Instrument
    on: date
    present: int  # interval in force [calendar months]
    target: float  # fraction that is to be in tolerance at the end of an interval
    judged: str  # what is held against the limits, one of acceptance.JUDGED: the error of the indication, or of the corrected value
    history: History
    points: tuple[PointReview, ...]
    stability: Stability  # at the indications of the points
    counts: bool  # whether flows take their stability from it
    family: tuple[FoundInterval, ...]
    proportion: Proportion | None  # of those about as long as the present one
    rate: Rate | None
    rule: str  # by which it is accepted, one of words.DECISION_RULES
    spread: Spread | None  # of the changes; absent: too few are known
    at_present: Floats  # of each point, the probability to be in tolerance at the end of the present interval; NaN where unknown
    recommendation: Recommendation


def review_interval(session: Session, tag: str, on: date, target: float, judged: str | None = None) -> IntervalReview:
    """Review an instrument's interval with what was calibrated up to a day, accepted or not; raises NotInRecordsError.

    A withdrawn calibration is left out. Without a `judged` the limits are held against what the latest assessment of a calibration
    judged, else against the indication.
    """
    return _reviewed(session, tag, on, target, judged, {})


def review_intervals(session: Session, tags: Sequence[str], on: date, target: float) -> list[IntervalReview]:
    """The same of several instruments, by what each is accepted on; the history of each of their family is read once."""
    histories: dict[str, History] = {}
    return [_reviewed(session, tag, on, target, None, histories) for tag in tags]


def _reviewed(
    session: Session, tag: str, on: date, target: float, judged: str | None, known_histories: dict[str, History]
) -> IntervalReview:
    instrument = instrument_tagged(session, tag)
    present = interval_at(load_register(session, [key(instrument.id)])[tag], on)
    members = [instrument, *_others(session, instrument)]
    for member in members:
        if member.tag not in known_histories:
            known_histories[member.tag] = _until(history_of(session, member), on)
    histories = {member.tag: known_histories[member.tag] for member in members}
    usual = _usual(session, instrument)
    judged = judged or usual.judged
    history = histories[tag]
    family = tuple(
        interval
        for member in sorted(members, key=lambda each: each.tag)
        for interval in _found(member, histories[member.tag], judged)
    )
    alike = [interval for interval in family if abs(interval.months - present) <= _WINDOW * present]
    points = tuple(_point(instrument, history, float(x), judged) for x in _indications(history))
    limit = np.array([point.limit if point.limit > 0 else np.nan for point in points])
    left = np.array([float(point.as_left[-1].error) - point.corrected for point in points]) / limit
    guarded = np.array([1.0 - (point.expanded_uncertainty if usual.rule == GUARDED else 0.0) for point in points])
    known = _spread(instrument, histories, limit)
    adjustable = any(calibration.adjusted for each in histories.values() for calibration in each)
    return IntervalReview(
        instrument,
        on,
        present,
        target,
        judged,
        history,
        points,
        stability(changes_between(history, _indications(history)), hidden_change(instrument)),
        bool(history and up_to(history, history[-1].certificate)),
        family,
        proportion(sum(interval.in_tolerance for interval in alike), len(alike)) if alike else None,
        exponential_rate(family) if family else None,
        usual.rule,
        known,
        limit + np.nan if known is None else reliability(left, guarded, known, present / MONTHS_IN_A_YEAR),
        recommend(present, target, left, guarded, known, adjustable=adjustable),
    )


def _spread(instrument: Instrument, histories: Mapping[str, History], limit: Floats) -> Spread | None:
    """Of the changes of an instrument and its family, at the indications of its latest certificate."""
    changes = {
        tag: changes_between(history, _indications(histories[instrument.tag])) for tag, history in histories.items()
    }
    own = changes.pop(instrument.tag)
    largest = np.nanmax(limit, initial=0.0)
    return spread(own, [*changes.values()], limit, hidden_change(instrument) / largest if largest > 0 else 0.0)


def _until(history: History, on: date) -> History:
    return one_a_day([calibration for calibration in history if calibration.on <= on])


def _indications(history: History) -> Floats:
    return history[-1].as_left.indication if history else np.zeros(0)


def _point(instrument: Instrument, history: History, x: float, judged: str) -> PointReview:
    limit = float(permissible_error(typed(instrument), x))
    left = history[-1].as_left.at(x)
    corrected = float(left.error) if judged == CORRECTED else 0.0
    by_line, by_changes = drift_line(history, x), wandering(history, changes_between(history, x), x)
    return PointReview(
        x,
        limit,
        tuple(None if calibration.as_found is None else calibration.as_found.at(x) for calibration in history),
        tuple(calibration.as_left.at(x) for calibration in history),
        corrected,
        _K * math.hypot(float(left.independent), float(left.reference)) / limit if limit > 0 else math.nan,
        by_line,
        by_changes,
        None if by_line is None else time_to(limit, by_line, corrected),
        None if by_changes is None else time_to(limit, by_changes, corrected),
    )


def _shares(
    instrument: Instrument, before: CalibrationErrors | None, after: CalibrationErrors, judged: str
) -> Floats | None:
    """|error| over the maximum permissible error of each comparison as found; None where there is nothing to judge.

    The error of a corrected value is what the error changed by since the correction was found.
    """
    if after.as_found is None or (judged == CORRECTED and (before is None or not after.tells_change)):
        return None
    x = after.as_found.indication
    carried = before.as_left.at(x).error if judged == CORRECTED and before is not None else np.zeros_like(x)
    error, limit = after.as_found.error - carried, permissible_error(typed(instrument), x)
    known = np.isfinite(error) & (limit > 0)
    return np.abs(error[known]) / limit[known] if known.any() else None


class _Usual(NamedTuple):
    rule: str
    judged: str


def _usual(session: Session, instrument: Instrument) -> _Usual:
    """How an instrument is accepted: as the register says, else as the latest acceptance that says."""
    query = (
        select(Acceptance.assessment)
        .join(Calibration)
        .where(Calibration.instrument_id == instrument.id, col(Acceptance.assessment).is_not(None))
        .where(not_withdrawn())
        .order_by(col(Acceptance.id).desc())
    )
    assessment = session.exec(query).first()
    told = {} if assessment is None else json.loads(assessment)
    return _Usual(
        instrument.decision_rule or str(told.get("decision_rule", SIMPLE)),
        instrument.judged or str(told.get("judged", INDICATION)),
    )


# --- the family ------------------------------------------------------------------------------------------------------------------


def _others(session: Session, instrument: Instrument) -> Sequence[Instrument]:
    """Other instruments of the same kind, maker and model."""
    same = attrgetter("kind", "maker", "model")
    ever = [
        *session.exec(select(Instrument.id).where(*_made_like(Instrument, instrument))),
        *session.exec(select(InstrumentRevision.instrument_id).where(*_made_like(InstrumentRevision, instrument))),
    ]
    alike = instruments_in_force(session, {key(instrument_id) for instrument_id in ever})
    return [other for other in alike if other.id != instrument.id and same(other) == same(instrument)]


def _made_like(table: Any, instrument: Instrument) -> list[Any]:
    """Conditions on instruments, or on what was amended of them: the same kind, maker and model."""
    return [col(getattr(table, name)) == getattr(instrument, name) for name in ("kind", "maker", "model")]


def _found(instrument: Instrument, history: History, judged: str) -> list[FoundInterval]:
    """Intervals of an instrument that ended with comparisons as found; in tolerance where all of them lie within the limits."""
    intervals = []
    for before, after in pairwise(history):
        shares = _shares(instrument, before, after, judged)
        if shares is not None and after.tells_change and after.on > before.on:
            months = years_between(before.on, after.on) * MONTHS_IN_A_YEAR
            inside = bool(np.all(shares <= 1.0 + _ROUNDING))
            intervals.append(FoundInterval(instrument.tag, after.certificate, months, inside))
    return intervals
