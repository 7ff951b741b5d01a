"""Review of a calibration interval: history, drift, time to the limit, family, proposals (ILAC-G24 / OIML D 10).

Nothing is changed: what follows from a review is decided by a person (`change_interval`).

Decision (2026-11). A review of an interval proposes, a person decides; a change never lengthens the validity of a calibration
in use. Cost: a longer interval waits for the next certificate.
"""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from operator import attrgetter

import numpy as np
from sqlmodel import Session, col, select

from calib.arrays import Floats
from calib.confirmation import proposals
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
from calib.confirmation.proposals import Proposal
from calib.confirmation.reliability import FoundInterval, Proportion, Rate
from calib.confirmation.stability import Stability, stability
from calib.confirmation.words import CORRECTED, INDICATION
from calib.procedures.certificate.permissible_error import permissible_error
from calib.procedures.measure.stability import hidden_change, up_to
from calib.procedures.on_record.amended import instruments_in_force
from calib.procedures.on_record.by_name import instrument_tagged
from calib.procedures.on_record.errors_of_indication import history_of
from calib.procedures.on_record.register import load_register
from calib.procedures.on_record.what_counts import not_withdrawn
from calib.quantities import unit
from calib.records.record import key, typed
from calib.records.tables.calibrations import Acceptance, Calibration
from calib.records.tables.instruments import Instrument

BY_LINE, BY_CHANGES = "drift (line through the errors)", "control chart (calendar time)"

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
    proportion: Proportion | None
    rate: Rate | None
    proposals: tuple[Proposal, ...]

    @property
    def shortest(self) -> Proposal | None:
        """The proposal of the fewest months."""
        return proposals.shortest(self.proposals)


def review_interval(session: Session, tag: str, on: date, target: float, judged: str | None = None) -> IntervalReview:
    """Review an instrument's interval with what was calibrated up to a day, accepted or not; raises NotInRecordsError.

    A withdrawn calibration is left out. Without a `judged` the limits are held against what the latest assessment of a calibration
    judged, else against the indication.
    """
    instrument = instrument_tagged(session, tag)
    judged = judged or _usually_judged(session, instrument)
    present = interval_at(load_register(session, [key(instrument.id)])[tag], on)
    history = _until(history_of(session, instrument), on)
    points = tuple(_point(instrument, history, float(x), judged) for x in _indications(history))
    family = tuple(each for member in _family(session, instrument) for each in _found(session, member, on, judged))
    by_proportion, in_tolerance = proposals.by_proportion(present, family, target)
    by_rate, rate = proposals.by_rate(present, family, target)
    accepted = up_to(history, history[-1].certificate) if history else ()
    return IntervalReview(
        instrument,
        on,
        present,
        target,
        judged,
        history,
        points,
        stability(changes_between(history, _indications(history)), hidden_change(instrument)),
        bool(accepted),
        family,
        in_tolerance,
        rate,
        (
            proposals.by_drift(BY_LINE, present, _times(instrument, points, by_line=True)),
            proposals.by_drift(BY_CHANGES, present, _times(instrument, points, by_line=False)),
            proposals.by_simple_response(present, _ended(history), _largest_share(instrument, history, judged)),
            by_proportion,
            by_rate,
        ),
    )


def _until(history: History, on: date) -> History:
    return one_a_day([calibration for calibration in history if calibration.on <= on])


def _indications(history: History) -> Floats:
    return history[-1].as_left.indication if history else np.zeros(0)


def _point(instrument: Instrument, history: History, x: float, judged: str) -> PointReview:
    limit = float(permissible_error(typed(instrument), x))
    corrected = float(history[-1].as_left.at(x).error) if judged == CORRECTED else 0.0
    by_line, by_changes = drift_line(history, x), wandering(history, changes_between(history, x), x)
    return PointReview(
        x,
        limit,
        tuple(None if calibration.as_found is None else calibration.as_found.at(x) for calibration in history),
        tuple(calibration.as_left.at(x) for calibration in history),
        corrected,
        by_line,
        by_changes,
        None if by_line is None else time_to(limit, by_line, corrected),
        None if by_changes is None else time_to(limit, by_changes, corrected),
    )


def _times(instrument: Instrument, points: Sequence[PointReview], *, by_line: bool) -> list[tuple[float | None, str]]:
    own = unit(instrument.indicated, instrument.unit)
    return [
        (
            point.reached_by_line if by_line else point.reached_by_changes,
            f"{own.from_si(point.indication):.6g} {own.symbol}",
        )
        for point in points
        if (point.line if by_line else point.wandering) is not None and np.isfinite(point.limit)
    ]


def _ended(history: History) -> float:
    """Length of the last interval that ended [months]; 0 where none did."""
    return years_between(history[-2].on, history[-1].on) * MONTHS_IN_A_YEAR if len(history) > 1 else 0.0


def _largest_share(instrument: Instrument, history: History, judged: str) -> float | None:
    """Largest |error| over the maximum permissible error of the last comparisons as found; None: no interval ended with any."""
    if len(history) < 2 or not history[-1].tells_change:
        return None
    shares = _shares(instrument, history[-2], history[-1], judged)
    return None if shares is None else round(float(shares.max()), 9)


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


def _usually_judged(session: Session, instrument: Instrument) -> str:
    query = (
        select(Acceptance.assessment)
        .join(Calibration)
        .where(Calibration.instrument_id == instrument.id, col(Acceptance.assessment).is_not(None))
        .where(not_withdrawn())
        .order_by(col(Acceptance.id).desc())
    )
    assessment = session.exec(query).first()
    return INDICATION if assessment is None else str(json.loads(assessment).get("judged", INDICATION))


# --- the family ------------------------------------------------------------------------------------------------------------------


def _family(session: Session, instrument: Instrument) -> Sequence[Instrument]:
    """Instruments of the same kind, maker and model, itself among them."""
    same = attrgetter("kind", "maker", "model")
    return [other for other in instruments_in_force(session) if same(other) == same(instrument)]


def _found(session: Session, instrument: Instrument, on: date, judged: str) -> list[FoundInterval]:
    """Intervals of an instrument that ended with comparisons as found; in tolerance where all of them lie within the limits."""
    intervals = []
    for before, after in pairwise(_until(history_of(session, instrument), on)):
        shares = _shares(instrument, before, after, judged)
        if shares is not None and after.tells_change and after.on > before.on:
            months = years_between(before.on, after.on) * MONTHS_IN_A_YEAR
            inside = bool(np.all(shares <= 1.0 + _ROUNDING))
            intervals.append(FoundInterval(instrument.tag, after.certificate, months, inside))
    return intervals
