"""Is an instrument ready for use: the gate's answer before a job, and the uncertainty there.

Nothing heavy is imported here: what a curve says is asked for where an indication is.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING

from sqlmodel import Session

from calib.confirmation.interval import Decision, InstrumentOnRecord, gate
from calib.procedures.on_record.amended import instruments_in_force
from calib.procedures.on_record.by_name import instrument_tagged
from calib.procedures.on_record.gate_probe import gate_probe
from calib.procedures.on_record.probe_pairs import Pair, all_pairs
from calib.procedures.on_record.register import load_register
from calib.quantities import read
from calib.records.record import key
from calib.records.tables.instruments import Instrument

if TYPE_CHECKING:
    from calib.procedures.fleet.at_indication import AtIndication


@dataclass(frozen=True)
class Readiness:
    """The gate's answer on one instrument."""

    instrument: Instrument
    decision: Decision
    at: "AtIndication | None"  # absent where no indication was asked about, or the instrument is refused


@dataclass(frozen=True)
class _Gear:
    """Instruments and their partners, as the gate asks for them."""

    register: Mapping[str, InstrumentOnRecord]
    pairs: Sequence[Pair]
    by_key: Mapping[int, Instrument]


def ready(
    session: Session, tags: Sequence[str], at: datetime, now: datetime, indication: str | None
) -> list[Readiness]:
    """Answer for each tag at a time; raises NotInRecordsError for an unknown tag and UnitError for an indication of another kind.

    A time to come is asked about as if it were now: what is known today is all there is to answer from.
    """
    instruments = [instrument_tagged(session, tag) for tag in tags]
    gear = _gear_of(session, [key(instrument.id) for instrument in instruments])
    decided = [Readiness(each, _decision(gear, each, at, max(at, now), indication), None) for each in instruments]
    return decided if indication is None else _with_values(session, decided, at, indication)


def _gear_of(session: Session, instruments: Collection[int]) -> _Gear:
    pairs = all_pairs(session, instruments)
    with_partners = {*instruments, *(partner for pair in pairs for partner in (pair.probe_id, pair.meter_id))}
    registered = instruments_in_force(session, with_partners)
    return _Gear(load_register(session, with_partners), pairs, {key(each.id): each for each in registered})


def _decision(gear: _Gear, instrument: Instrument, at: datetime, now: datetime, indication: str | None) -> Decision:
    value = None if indication is None else read(indication, instrument.indicated)[0]
    decision = gate(gear.register, instrument.tag, at, now, value, indication or "")
    return replace(decision, reasons=(*decision.reasons, *_without_partner(gear, instrument, at, now)))


def _with_values(session: Session, decided: Sequence[Readiness], at: datetime, indication: str) -> list[Readiness]:
    """The same with what each instrument that may be used says at an indication."""
    from calib.procedures.fleet.at_indication import at_indication  # noqa: PLC0415 (numpy and scipy)
    from calib.procedures.on_record.in_force import on_record_of  # noqa: PLC0415

    records = on_record_of(session, [key(each.instrument.id) for each in decided])
    return [
        replace(each, at=at_indication(records, each.instrument, each.decision, indication, at.date()))
        if each.decision.allowed
        else each
        for each in decided
    ]


def _without_partner(gear: _Gear, instrument: Instrument, at: datetime, now: datetime) -> Iterable[str]:
    """Why there is nothing to use it with: every reading of a pair needs both, and each of its partners is refused."""
    held = [pair for pair in gear.pairs if pair.holds(at)]
    decisions = [
        *(
            gate(gear.register, gear.by_key[pair.meter_id].tag, at, now)
            for pair in held
            if pair.probe_id == instrument.id
        ),
        *(
            gate_probe(gear.register, instrument, gear.by_key[pair.probe_id], at, now)
            for pair in held
            if pair.meter_id == instrument.id
        ),
    ]
    if any(decision.allowed for decision in decisions):
        return
    for decision in decisions:
        for reason in decision.reasons:
            yield f"{instrument.tag}: it belongs with {reason}"
