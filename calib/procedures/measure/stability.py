"""Stability of an instrument since its calibration.

Three or more intervals of the instrument's own history count where they reach the indication; else its stated stability limits;
else its maximum permissible error. The history is one of accepted calibrations and ends with the one in force: what is learned
afterwards is the business of an impact review, and does not move a flow that was reported.

Decision (2026-11). Stability comes from history where there are three intervals, by one estimate for drift and random walk. Cost:
a very stable instrument bears the scatter of its calibrations, and with three intervals k is large.
"""

import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import date

import numpy as np
from numpy.typing import ArrayLike

from calib.arrays import Floats
from calib.confirmation.history import CalibrationErrors, History, changes_between, one_a_day, years_between
from calib.confirmation.interval import CalibrationOnRecord
from calib.confirmation.stability import FEWEST_INTERVALS, stability
from calib.procedures.measure.decided_change import decided_change
from calib.procedures.measure.indicated import StabilityHere, resolution_of, stability_limit
from calib.procedures.on_record.in_force import OnRecord
from calib.records.tables.instruments import Instrument

_HALF_WIDTH = math.sqrt(3)  # of a rectangular distribution, over its standard deviation
# The records keep no hour of a calibration: a reading on its day counts as one day after it.
_ONE_DAY = 1 / 365.25


def stability_at(
    records: OnRecord,
    instrument: Instrument,
    calibration: CalibrationOnRecord,
    days: Sequence[date],
    indication: ArrayLike,
) -> StabilityHere:
    """Stability of one instrument since one calibration, on days at indications [SI], (p,) each.

    With it counts what a review found and widened the calibration by.
    """
    x = np.atleast_1d(np.asarray(indication, dtype=float))
    here = stability_alone(records, instrument, calibration, days, x)
    if calibration.record_id not in records.widened:
        return here
    curve = records.curve(calibration.record_id)
    widened = decided_change(records, calibration.record_id, x) / curve.error_sensitivity(
        np.clip(x, curve.low, curve.high)
    )
    return StabilityHere(np.hypot(here.half_width, widened), here.degrees_of_freedom)


def stability_alone(
    records: OnRecord, instrument: Instrument, calibration: CalibrationOnRecord, days: Sequence[date], x: Floats
) -> StabilityHere:
    """The same without what a review widened the calibration by."""
    limits = stability_limit(instrument, x)
    history = history_in_force(records, instrument, calibration)
    if not history:
        return StabilityHere(limits, np.full(x.size, np.inf))
    change = stability(changes_between(history, x), hidden_change(instrument))
    u = change.uncertainty([max(years_between(calibration.calibrated_on, day), _ONE_DAY) for day in days])
    known = np.isfinite(u)
    return StabilityHere(np.where(known, _HALF_WIDTH * u, limits), np.where(known, change.degrees_of_freedom, np.inf))


def history_in_force(records: OnRecord, instrument: Instrument, calibration: CalibrationOnRecord) -> History:
    """Accepted calibrations up to the one in force; none where they make fewer than three intervals."""
    accepted = [each for each in records.register[instrument.tag].calibrations if each.accepted_on is not None]
    if len(accepted) <= FEWEST_INTERVALS:  # the usual case, and no question to the database
        return ()
    asked = ("history", instrument.tag, calibration.record_id)
    if asked not in records.worked_out:
        records.worked_out[asked] = up_to(records.history(instrument), calibration.certificate)
    history: History = records.worked_out[asked]
    return history


def up_to(history: History, certificate: str) -> tuple[CalibrationErrors, ...]:
    """Accepted calibrations as far as a certificate; none where they make fewer than three intervals.

    A repair before a certificate that was never accepted still lies before the next one.
    """
    accepted: list[CalibrationErrors] = []
    repaired = False
    for errors in history:
        repaired = repaired or errors.repaired_before
        if errors.accepted:
            accepted.append(replace(errors, repaired_before=repaired))
            repaired = False
        if errors.certificate == certificate:
            break
    of_days = one_a_day(accepted)
    return of_days if len(of_days) > FEWEST_INTERVALS else ()


def hidden_change(instrument: Instrument) -> float:
    """Standard deviation of the difference of two indications that the digital step alone makes [SI]: step/sqrt(6)."""
    return resolution_of(instrument) / math.sqrt(6)


def basis_of(records: OnRecord, instrument: Instrument, calibration: CalibrationOnRecord) -> str | None:
    """What a stability that comes from history rests on; None where there is too little of it."""
    history = history_in_force(records, instrument, calibration)
    if not history:
        return None
    ended = [errors for errors in history[1:] if errors.tells_change]
    return f"history of {len(ended)} intervals between calibrations, {history[0].on} to {history[-1].on}"


MPE = "maximum permissible error"


def limits_basis(instrument: Instrument) -> str:
    """What stability limits rest on where history is silent."""
    stated = instrument.stability_percent is not None or instrument.stability_absolute is not None
    return f"stated limits: {instrument.stability_basis}" if stated else MPE
