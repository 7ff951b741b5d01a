"""The air of each reading of a job, for flows that are compared: that of the conditions it names, or declared for its service."""

import math
from collections.abc import Hashable, Sequence
from datetime import datetime
from operator import attrgetter

import numpy as np

from calib.arrays import by_kind
from calib.measurement import NOT_OBSERVED, AirOfReadings, ObservedBy
from calib.procedures.measure.air import (
    ALTITUDE,
    BAROMETRIC,
    FORMULA,
    HUMIDITY,
    PSYCHROMETER,
    STATIC,
    TEMPERATURE,
    WET_BULB,
    AirFound,
    OfCalibration,
    air_by_declaration,
)
from calib.procedures.measure.standing import Standing
from calib.procedures.on_record.in_force import OnRecord
from calib.records.words import MEASURED_AS

_OBSERVED = tuple(quantity for quantity in MEASURED_AS if quantity != ALTITUDE)
_STATED = (TEMPERATURE, STATIC, HUMIDITY, WET_BULB, PSYCHROMETER, FORMULA)
_PRESSURE = (BAROMETRIC, ALTITUDE)


def airs_of(standing: Sequence[Standing], records: OnRecord, now: datetime) -> list[AirFound]:
    """The air of each reading, or the reasons why it is not known."""
    return [
        reading.air
        if reading.air is not None
        else air_by_declaration(records, reading.outlet.job_id, reading.outlet.service, reading.at, now)
        for reading in standing
    ]


def arrays_of_air(airs: Sequence[AirFound | None]) -> AirOfReadings:
    """The same as arrays; what has no air is moved by none."""
    first, kind = by_kind((_NO_AIR if air is None else air for air in airs), id)
    conditions = by_kind(first, _set_of_conditions)[1]
    identifiers, slots = _slots(first)
    return AirOfReadings(
        np.array([air.density for air in first])[kind],
        np.array([[_own(air, quantity, observed=True) for quantity in _OBSERVED] for air in first])[kind],
        conditions[kind],
        [ObservedBy(**{name: each[kind] for name, each in vars(slot).items()}) for slot in slots],
        np.array([sum(_own(air, quantity, observed=False) for quantity in _PRESSURE) for air in first])[kind],
        np.array([[_own(air, quantity, observed=False) for quantity in _STATED] for air in first])[kind],
        np.array([_own(air, NOT_OBSERVED, observed=False) for air in first])[kind],
        identifiers,
    )


_NO_AIR = AirFound("", (), math.nan, math.nan, {}, ())


def _set_of_conditions(air: AirFound) -> Hashable:
    return (air.rows[0].condition.job_id if air.rows else None), air.name


def _own(air: AirFound, quantity: str, *, observed: bool) -> float:
    """What a quantity brings that an instrument observed, or that was stated."""
    return sum(
        each.own for each in air.influences if each.quantity == quantity and (each.observed is not None) is observed
    )


def _slots(airs: Sequence[AirFound]) -> tuple[list[int], list[ObservedBy]]:
    """The calibrations by which airs were observed, and what they share: the first of each air, the second, and so on."""
    by_air = [_by_calibration(air) for air in airs]
    identifiers = sorted({calibration for by in by_air for calibration in by})
    quantities = max((len(of) for by in by_air for of in by.values()), default=0)
    parts = max((len(each.scatter) for by in by_air for of in by.values() for each in of), default=0)
    slots = []
    for place in range(max(map(len, by_air))):
        of_slot = [list(by.values())[place] if place < len(by) else [] for by in by_air]
        numbers = [identifiers.index(of[0].calibration) if of else len(identifiers) for of in of_slot]
        dof = [of[0].degrees_of_freedom if of else (math.inf,) * 3 for of in of_slot]
        indication, reference, stability = (
            np.array([[*map(attrgetter(name), of), *[0.0] * (quantities - len(of))] for of in of_slot])
            for name in ("indication", "reference", "stability")
        )
        scatter = np.zeros((len(airs), parts))
        for row, each in ((row, each) for row, of in enumerate(of_slot) for each in of):
            scatter[row, : len(each.scatter)] += each.scatter
        slots.append(ObservedBy(np.array(numbers), indication, scatter, reference, stability, np.array(dof)))
    return identifiers, slots


def _by_calibration(air: AirFound) -> dict[int, list[OfCalibration]]:
    by: dict[int, list[OfCalibration]] = {}
    for each in air.influences:
        if each.observed is not None:
            by.setdefault(each.observed.calibration, []).append(each.observed)
    return by
