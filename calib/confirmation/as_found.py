"""Whether an instrument was found in order when it was calibrated, and what relied on it since it last was.

ISO/IEC 17025:2017, 6.4.9 (the effect of an instrument shown to be defective is examined) and 7.10 (nonconforming work);
ISO 10012, 7.1; all from memory. Every function takes the days it speaks of; nothing here reads a clock.
"""

from dataclasses import dataclass
from datetime import date, datetime, time

import numpy as np

from calib.arrays import Truths
from calib.confirmation.acceptance import ComparedErrors, Judged, judge_errors
from calib.confirmation.interval import CalibrationOnRecord, InstrumentOnRecord, calibration_in_force, latest_accepted
from calib.confirmation.words import SIMPLE

# Compared after rounding to this share of the limit.
_ROUNDING = 1e-9


@dataclass(frozen=True)
class ErrorsAsFound:
    """Comparisons as found, judged under simple acceptance (JCGM 106, 8.2): beyond where |E| > MPE."""

    judged: Judged

    @property
    def beyond(self) -> Truths:
        """(n,) whether the error lies beyond its limit."""
        return ~self.judged.passes

    @property
    def near(self) -> Truths:
        """(n,) whether it lies within U of its limit, on either side: there the comparison alone does not decide."""
        errors = self.judged.errors
        apart = np.abs(np.abs(errors.error) - errors.limit)
        return np.asarray(apart <= errors.expanded_uncertainty + _ROUNDING * errors.limit)


def judge_as_found(errors: ComparedErrors) -> ErrorsAsFound:
    """Judge the errors that comparisons as found show."""
    return ErrorsAsFound(judge_errors(errors, SIMPLE))


def last_in_order(instrument: InstrumentOnRecord, calibration: int) -> CalibrationOnRecord | None:
    """The calibration in order before another one (by its key): the latest that was accepted; None where there is none.

    Raises StopIteration where the instrument has no calibration of that key.
    """
    own = instrument.calibration(calibration)
    return latest_accepted(earlier for earlier in instrument.calibrations if _order(earlier) < _order(own))


def later_calibrations(instrument: InstrumentOnRecord, calibration: int) -> tuple[int, ...]:
    """Keys of the calibrations after another one (by its key), for which that one may be the calibration in order before."""
    own = instrument.calibration(calibration)
    return tuple(later.record_id for later in instrument.calibrations if _order(later) > _order(own))


def last_shown_in_order(instrument: InstrumentOnRecord, at: datetime) -> datetime | None:
    """When an instrument was last shown to be in order before a time: its last passed check, or the day of its calibration.

    None where it had no calibration then. Of a day as a whole its first moment counts.
    """
    calibration = calibration_in_force(instrument, at.date())
    if calibration is None:
        return None
    calibrated = datetime.combine(calibration.calibrated_on, time.min, at.tzinfo)
    return max([calibrated, *(check.at for check in instrument.checks if check.passed and calibrated < check.at < at)])


def _order(calibration: CalibrationOnRecord) -> tuple[date, int]:
    return calibration.calibrated_on, calibration.record_id


def relied_on_since(in_force: CalibrationOnRecord, day: date, since: CalibrationOnRecord) -> bool:
    """Whether who relied on the calibration in force on a day used the instrument since it was last in order.

    That is so for the calibration that was in order, and for an earlier one as long as that one waited to be accepted. One in force
    that is later is in order again.
    """
    return in_force.record_id == since.record_id or (_order(in_force) < _order(since) and day >= since.calibrated_on)
