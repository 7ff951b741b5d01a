"""What an instrument would say at an indication: its corrected value there, and the uncertainty of it."""

from dataclasses import dataclass
from datetime import date

import numpy as np

from calib.confirmation.interval import Decision
from calib.measurement import flows
from calib.procedures.measure.indicated import declared
from calib.procedures.measure.results import Results, results_of
from calib.procedures.measure.stability import basis_of, limits_basis, stability_at
from calib.procedures.on_record.in_force import OnRecord
from calib.quantities import Unit, read
from calib.records.tables.instruments import Instrument


@dataclass(frozen=True)
class AtIndication:
    """What the instrument would say at an indication, one observation, before outlet and method come in."""

    indication: float  # [SI]
    unit: Unit  # as typed
    quantity: str  # of the value
    result: Results  # corrected value, one element [SI]
    names: tuple[str, ...]  # of the contributions
    repeatability_known: bool  # False: the instrument declares none, and the observations must show it
    stability_basis: str  # what the stability rests on


def at_indication(
    records: OnRecord, instrument: Instrument, decision: Decision, indication: str, on: date
) -> AtIndication:
    """What an instrument that may be used says on a day at an indication like "2.5 m/s"."""
    calibration = decision.calibration
    assert calibration is not None  # noqa: S101 (the gate lets nothing pass without one)
    value, unit = read(indication, instrument.indicated)
    stability = stability_at(records, instrument, calibration, [on], value)
    evaluated = flows(declared(instrument, records.curve(calibration.record_id), value, stability))
    from_history = np.isfinite(stability.degrees_of_freedom[0])
    return AtIndication(
        value,
        unit,
        instrument.quantity,
        results_of(evaluated.velocity, evaluated.velocity_contributions),
        tuple(contribution.name for contribution in evaluated.velocity_contributions),
        instrument.repeatability is not None,
        str(basis_of(records, instrument, calibration)) if from_history else limits_basis(instrument),
    )
