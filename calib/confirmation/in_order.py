"""When an instrument was last in order, and what relied on it since (ISO/IEC 17025:2017, 6.4.9 and 7.10; from memory).

Every function takes the days it speaks of; nothing here reads a clock, and nothing heavy is imported: `calib due` starts with it.
"""

from datetime import date, datetime, time

from calib.confirmation.interval import CalibrationOnRecord, InstrumentOnRecord, calibration_in_force, latest_accepted


def last_in_order(instrument: InstrumentOnRecord, calibration: int) -> CalibrationOnRecord | None:
    """The calibration in order before another one (by its key): the latest that was accepted; None where there is none.

    Raises StopIteration where the instrument has no calibration of that key.
    """
    own = instrument.calibration(calibration)
    return latest_accepted(earlier for earlier in instrument.calibrations if _order(earlier) < _order(own))


def of_the_same_calibration(instrument: InstrumentOnRecord, calibration: int) -> CalibrationOnRecord | None:
    """Another accepted certificate of a calibration (by its key): of the same day and laboratory, as of one that was reissued."""
    own = instrument.calibration(calibration)
    same = (own.calibrated_on, own.laboratory)
    others = (each for each in instrument.calibrations if each.on_file != own.on_file)
    return latest_accepted(each for each in others if (each.calibrated_on, each.laboratory) == same)


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
    return max([calibrated, *(check.at for check in instrument.checks if check.passed and check.at < at)])


def _order(calibration: CalibrationOnRecord) -> tuple[date, int]:
    return calibration.calibrated_on, calibration.record_id


def relied_on_since(in_force: CalibrationOnRecord, day: date, since: CalibrationOnRecord) -> bool:
    """Whether who relied on the calibration in force on a day used the instrument since it was last in order.

    That is so for the calibration that was in order, and for an earlier one as long as that one waited to be accepted. One in force
    that is later is in order again.
    """
    return in_force.record_id == since.record_id or (_order(in_force) < _order(since) and day >= since.calibrated_on)
