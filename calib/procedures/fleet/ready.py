"""Is an instrument ready for use: the gate's answer before a job, and the uncertainty there."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
from sqlmodel import Session

from calib.confirmation.interval import Decision, gate
from calib.measurement import flows
from calib.procedures.measure.gate_reading import probe_of
from calib.procedures.measure.indicated import single
from calib.procedures.measure.results import Results, results
from calib.procedures.measure.stability import basis_of, limits_basis, stability_at
from calib.procedures.on_record.by_name import instrument_tagged
from calib.procedures.on_record.in_force import OnRecord, on_record_of
from calib.quantities import Unit, read
from calib.records.record import key
from calib.records.tables import Instrument
from calib.uncertainty.propagation import combine


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


@dataclass(frozen=True)
class Readiness:
    """The gate's answer on one instrument."""

    instrument: Instrument
    decision: Decision
    at: AtIndication | None  # absent where no indication was asked about, or the instrument is refused


def ready(
    session: Session, tags: Sequence[str], at: datetime, now: datetime, indication: str | None
) -> list[Readiness]:
    """Answer for each tag at a time; raises NotInRecordsError for an unknown tag and UnitError for an indication of another kind.

    A time to come is asked about as if it were now: what is known today is all there is to answer from.
    """
    instruments = [instrument_tagged(session, tag) for tag in tags]
    records = on_record_of(session, [key(instrument.id) for instrument in instruments])
    answers = []
    for instrument in instruments:
        asked = None if indication is None else read(indication, instrument.indicated)
        decision = gate(
            records.register, instrument.tag, at, max(at, now), None if asked is None else asked[0], indication or ""
        )
        decision = replace(
            decision, reasons=(*decision.reasons, *_without_partner(records, instrument, at, max(at, now)))
        )
        there = (
            _at_indication(records, instrument, decision, asked, at) if asked is not None and decision.allowed else None
        )
        answers.append(Readiness(instrument, decision, there))
    return answers


def _without_partner(records: OnRecord, instrument: Instrument, at: datetime, now: datetime) -> Iterable[str]:
    """Why there is nothing to use it with: every reading of a pair needs both, and each of its partners is refused."""
    held = [pair for pair in records.pairs if pair.holds(at)]
    decisions = [
        *(
            gate(records.register, records.instruments[pair.meter_id].tag, at, now)
            for pair in held
            if pair.probe_id == instrument.id
        ),
        *(
            probe_of(records, instrument, records.instruments[pair.probe_id], at, now)
            for pair in held
            if pair.meter_id == instrument.id
        ),
    ]
    if any(decision.allowed for decision in decisions):
        return
    for decision in decisions:
        for reason in decision.reasons:
            yield f"{instrument.tag}: it belongs with {reason}"


def _at_indication(
    records: OnRecord, instrument: Instrument, decision: Decision, asked: tuple[float, Unit], at: datetime
) -> AtIndication:
    calibration = decision.calibration
    assert calibration is not None  # noqa: S101 (the gate lets nothing pass without one)
    stability = stability_at(records, instrument, calibration, [at.date()], asked[0])
    evaluated = flows(single(instrument, records.curve(calibration.record_id), asked[0], stability))
    from_history = np.isfinite(stability.degrees_of_freedom[0])
    return AtIndication(
        asked[0],
        asked[1],
        instrument.quantity,
        results(evaluated.velocity, combine(evaluated.velocity_contributions)),
        tuple(contribution.name for contribution in evaluated.velocity_contributions),
        instrument.repeatability is not None,
        str(basis_of(records, instrument, calibration)) if from_history else limits_basis(instrument),
    )
