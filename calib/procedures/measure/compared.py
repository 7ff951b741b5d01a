"""The states in which a job's flows are compared: its totals at its density, each outlet in the state of its design.

Decision (2026-11-29). Totals are at the job's density where the air of every reading that counts is known, and else all as
measured. Options: each total by itself (supply as measured above a net at 1.2 kg/m3, in one table). Cost: one outlet whose air is
not known leaves the others as measured; a range of temperature for its service is enough. Where no density is stated nothing is
converted but a design that states one.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from calib.arrays import Floats, Truths
from calib.measurement import Flows, InfluencesOfAir, Readings, at_density, influences_of_air
from calib.procedures.measure.air import AirFound
from calib.procedures.measure.air_of_readings import airs_of, arrays_of_air
from calib.procedures.measure.standing import Standing
from calib.procedures.on_record.in_force import OnRecord
from calib.records.tables.jobs import Job, SystemDesign
from calib.records.tables.outlets import Outlet


@dataclass(frozen=True)
class Compared:
    """Flows of n readings in the states in which they are compared."""

    density: float | None  # of totals [kg/m3]; None: as measured
    of_totals: Flows
    of_designs: Flows  # each in the state of its outlet's design; as measured where its air is not known
    design_density: Floats  # (n,) [kg/m3]; NaN: as measured
    air: InfluencesOfAir | None = None  # None: nobody asked for a density
    airs: Sequence[AirFound] = ()  # of each reading; none where nobody asked
    unknown: Mapping[int, tuple[str, ...]] | None = None  # rows whose air is not known, and why; None: nobody asked

    @property
    def air_density(self) -> Floats:
        """(n,) [kg/m3]; NaN where it is not known, or not asked for."""
        return np.full_like(self.design_density, np.nan) if self.air is None else self.air.density

    @property
    def not_comparable(self) -> Truths:
        """(n,) a design states a density, and the air of the reading is not known."""
        return np.isfinite(self.design_density) & ~np.isfinite(self.air_density)


def stated_density(record: Job | Outlet | SystemDesign) -> float:
    """The density that a job states for its totals, or an outlet or a system for its design [kg/m3]; NaN: none, as measured."""
    stated = record.density_kg_per_m3 if isinstance(record, Job) else record.design_density_kg_per_m3
    return float(stated or "nan")


def compared(
    job: Job,
    measured: Sequence[Standing],
    in_totals: Truths,
    flows: Flows,
    readings: Readings,
    records: OnRecord,
    now: datetime,
    *,
    has_designs_at_density: bool,
) -> Compared:
    """Flows in the states in which they are compared; `has_designs_at_density`: a design of the job states one.

    `readings` are those that the flows were worked out among, theirs first.
    """
    wanted = stated_density(job)
    of_design = np.full(len(measured), np.nan)
    if has_designs_at_density:
        of_design = np.array([stated_density(reading.outlet) for reading in measured])
    if not (np.isfinite(wanted) or has_designs_at_density):
        return Compared(None, flows, flows, of_design)
    airs = airs_of(measured, records, now)
    air = influences_of_air(arrays_of_air(airs), readings)
    is_known = np.isfinite(air.density)
    unknown = {row: each.reasons for row, each in enumerate(airs) if not is_known[row]}
    density = wanted if np.isfinite(wanted) and np.all(is_known[in_totals]) else None
    return Compared(
        density,
        flows if density is None else at_density(flows, air, np.where(is_known, density, np.nan)),
        at_density(flows, air, np.where(is_known, of_design, np.nan)) if np.any(np.isfinite(of_design)) else flows,
        of_design,
        air,
        airs,
        unknown,
    )
