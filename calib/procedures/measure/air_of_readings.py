"""The air of each reading of a job, for flows that are compared: that of the conditions it names, or declared for its service."""

from collections.abc import Sequence
from datetime import datetime

import numpy as np

from calib.arrays import Floats, Integers, by_kind
from calib.measurement import NOT_OBSERVED, AirOfReadings
from calib.procedures.measure.air import (
    ALTITUDE,
    BAROMETRIC,
    FORMULA,
    HUMIDITY,
    MEASURED_AS,
    PSYCHROMETER,
    STATIC,
    TEMPERATURE,
    WET_BULB,
    AirFound,
    air_of_service,
)
from calib.procedures.measure.standing import Standing
from calib.procedures.on_record.in_force import OnRecord

_OBSERVED = tuple(quantity for quantity in MEASURED_AS if quantity != ALTITUDE)
_STATED = (TEMPERATURE, STATIC, HUMIDITY, WET_BULB, PSYCHROMETER, FORMULA)
_PRESSURE = (BAROMETRIC, ALTITUDE)


def airs_of(standing: Sequence[Standing], records: OnRecord, now: datetime) -> list[AirFound]:
    """The air of each reading, or the reasons why it is not known."""
    return [
        reading.air
        if reading.air is not None
        else air_of_service(records, reading.outlet.job_id, reading.outlet.service, reading.at, now)
        for reading in standing
    ]


def arrays_of_air(airs: Sequence[AirFound]) -> AirOfReadings:
    """The same as arrays."""
    first, kind = by_kind(airs, id)
    conditions = by_kind(first, lambda air: air.name)[1]
    return AirOfReadings(
        np.array([air.density for air in first])[kind],
        np.array([[_own(air, quantity, observed=True) for quantity in _OBSERVED] for air in first])[kind],
        conditions[kind],
        [(parts[kind], calibration[kind]) for parts, calibration in _of_calibrations(first)],
        np.array([sum(_own(air, quantity, observed=False) for quantity in _PRESSURE) for air in first])[kind],
        np.array([[_own(air, quantity, observed=False) for quantity in _STATED] for air in first])[kind],
        np.array([_own(air, NOT_OBSERVED, observed=False) for air in first])[kind],
    )


def _own(air: AirFound, quantity: str, *, observed: bool) -> float:
    """What a quantity brings that an instrument observed, or that was stated."""
    return sum(
        each.own for each in air.influences if each.quantity == quantity and (each.calibration is not None) is observed
    )


def _of_calibrations(airs: Sequence[AirFound]) -> list[tuple[Floats, Integers]]:
    """For each quantity that was observed the parts that its calibration shares, and the number of that; 0 where none was."""
    observed = [[_observed(air, quantity) for quantity in _OBSERVED] for air in airs]
    calibrations = sorted({calibration for row in observed for calibration, _ in row if calibration is not None})
    width = max((len(parts) for row in observed for _, parts in row), default=0)
    numbers: dict[int | None, int] = {calibration: place for place, calibration in enumerate(calibrations)}
    numbers[None] = len(calibrations)
    return [
        (
            np.array([(*row[place][1], *[0.0] * (width - len(row[place][1]))) for row in observed]),
            np.array([numbers[row[place][0]] for row in observed]),
        )
        for place in range(len(_OBSERVED))
        if any(row[place][1] for row in observed)
    ]


def _observed(air: AirFound, quantity: str) -> tuple[int | None, tuple[float, ...]]:
    for each in air.influences:
        if each.quantity == quantity and each.calibration is not None:
            return each.calibration, each.of_calibration
    return None, ()
