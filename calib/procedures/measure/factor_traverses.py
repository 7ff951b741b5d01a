"""The traverses that the found factors of a job rest on, in this job or in another: factors carry the error of their instrument."""

from collections import defaultdict
from collections.abc import Mapping, Sequence

import numpy as np
from sqlmodel import Session, col, select

from calib.arrays import Integers
from calib.measurement.carried_by_factors import Traverses
from calib.procedures.measure.standing import Standing
from calib.procedures.on_record.in_force import OnRecord
from calib.records.record import key
from calib.records.tables.factors import FactorPair
from calib.records.tables.outlets import Outlet
from calib.records.tables.readings import Reading


def traverses_of(session: Session, records: OnRecord) -> dict[int, list[tuple[int, int]]]:
    """Keys of the readings in the duct, and of their jobs, that the factors on hand were found with, by the key of the factor."""
    factors = sorted(key(factor.id) for factor in records.factors.values())
    traverses: dict[int, list[tuple[int, int]]] = defaultdict(list)
    if factors:
        pairs = select(FactorPair.found_factor_id, Reading.id, Outlet.job_id).select_from(FactorPair)
        pairs = pairs.join(Reading, col(Reading.id) == FactorPair.traverse_reading_id).join(Outlet)
        of_factors = pairs.where(col(FactorPair.found_factor_id).in_(factors)).order_by(col(FactorPair.id))
        for factor, reading, job in session.exec(of_factors):
            traverses[factor].append((key(reading), job))
    return traverses


def among_readings(
    measured: Sequence[Standing], others: Sequence[Standing], pairs: Mapping[int, Sequence[tuple[int, int]]]
) -> Traverses | None:
    """The traverses among readings of the job and others; None where no factor of the job's readings has one.

    A factor whose traverses do not all stand any more carries nothing, and one whose traverses used the calibration of its own face
    readings neither: of that the difference is left, which its uncertainty holds.
    """
    place = {key(reading.reading.id): row for row, reading in enumerate([*measured, *others])}
    every = [*measured, *others]
    index: dict[int, int] = {}
    of_factors: list[Integers] = []
    for factor in {
        key(reading.factor.id): reading.factor for reading in measured if reading.factor is not None
    }.values():
        rows = [place.get(reading, -1) for reading, _ in pairs.get(key(factor.id), ())]
        stands = bool(rows) and min(rows) >= 0
        if stands and not any(every[row].calibration.is_that_of(factor.calibration_id) for row in rows):
            index[key(factor.id)] = len(of_factors)
            of_factors.append(np.array(rows))
    if not of_factors:
        return None
    used = [reading.factor for reading in measured]
    return Traverses(
        of_factors,
        np.array([-1 if factor is None else index.get(key(factor.id), -1) for factor in used]),
        np.array([0.0 if factor is None else factor.relative_reference for factor in used]),
    )
