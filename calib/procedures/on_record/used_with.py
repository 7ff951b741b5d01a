"""Whether instruments may be used with what belongs to them: one answer for `ready`, the due list, labels, rounds and lists.

Nothing heavy is imported here, unless a pair is on record: `calib due` starts with it.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from sqlmodel import Session

from calib.confirmation.interval import Decision, InstrumentOnRecord, gate
from calib.procedures.on_record.amended import instruments_in_force
from calib.procedures.on_record.gate_probe import gate_probe
from calib.procedures.on_record.probe_pairs import Pair, all_pairs
from calib.procedures.on_record.register import load_register
from calib.records.record import key
from calib.records.tables.instruments import Instrument


@dataclass(frozen=True)
class GearTogether:
    """Instruments and their partners, as the gate asks for them."""

    register: Mapping[str, InstrumentOnRecord]
    pairs: Sequence[Pair]
    instruments: Mapping[str, Instrument]  # by tag: the instruments of the pairs


def gear_of(session: Session, instruments: Collection[int] | None = None) -> GearTogether:
    """Instruments by key, or all of them, with the partners they ever had."""
    pairs = all_pairs(session, instruments)
    partners = {partner for pair in pairs for partner in (pair.probe_id, pair.meter_id)}
    paired = instruments_in_force(session, partners) if partners else ()
    register = load_register(session, None if instruments is None else {*instruments, *partners})
    return GearTogether(register, pairs, {instrument.tag: instrument for instrument in paired})


def decision_on(
    gear: GearTogether,
    tag: str,
    at: datetime | date,
    now: datetime | date,
    indication: float | None = None,
    indication_text: str = "",
) -> Decision:
    """The gate's decision on an instrument, with why there is nothing to use it with: every reading of a pair needs both.

    A probe that was calibrated as one with its meter is decided on by the calibration of the pair.
    """
    own = gear.instruments.get(tag)
    held = [] if own is None else [pair for pair in gear.pairs if pair.holds(at)]
    keys = {key(instrument.id): instrument for instrument in gear.instruments.values()}
    meters = [keys[pair.meter_id] for pair in held if own is not None and pair.probe_id == own.id]
    probes = [keys[pair.probe_id] for pair in held if own is not None and pair.meter_id == own.id]
    if own is not None and meters:
        decision = gate_probe(gear.register, meters[0], own, at, now, indication, indication_text)
    else:
        decision = gate(gear.register, tag, at, now, indication, indication_text)
    partners = [
        *(gate(gear.register, meter.tag, at, now) for meter in meters),
        *(gate_probe(gear.register, own, probe, at, now) for probe in probes if own is not None),
    ]
    return replace(decision, reasons=(*decision.reasons, *_without_partner(tag, decision, partners)))


def decisions_on(gear: GearTogether, on: date) -> dict[str, Decision]:
    """The decision on each instrument of the gear on a day as a whole, by its tag."""
    return {tag: decision_on(gear, tag, on, on) for tag in gear.register}


def _without_partner(tag: str, own: Decision, partners: Sequence[Decision]) -> Iterable[str]:
    """Why each partner is refused, where all of them are; what an instrument says of itself is not said again."""
    if any(decision.allowed for decision in partners):
        return
    for decision in partners:
        for reason in decision.reasons:
            if f"{tag}: {reason.partition(': ')[2]}" not in own.reasons:
                yield f"{tag}: it belongs with {reason}"
