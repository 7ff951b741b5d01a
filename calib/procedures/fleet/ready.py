"""Is an instrument ready for use: the gate's answer before a job, and the uncertainty there.

Nothing heavy is imported here: what a curve says is asked for where an indication is.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING

from sqlmodel import Session

from calib.confirmation.interval import Decision, gate
from calib.procedures.on_record.by_name import instrument_tagged
from calib.procedures.on_record.evidence_taken_over import evidence_taken_over
from calib.procedures.on_record.used_with import GearTogether, decision_on, gear_of
from calib.procedures.typed.kinds import WITHOUT_STATE, lacks_state
from calib.quantities import read, unit
from calib.records.record import key, typed
from calib.records.tables.instruments import Instrument

if TYPE_CHECKING:
    from calib.procedures.fleet.at_indication import AtIndication


@dataclass(frozen=True)
class Readiness:
    """The gate's answer on one instrument."""

    instrument: Instrument
    decision: Decision
    at: "AtIndication | None"  # absent where no indication was asked about, or the instrument is refused
    taken_over: tuple[str, ...] = ()  # where its evidence comes from, where another site handed that over


def ready(
    session: Session, tags: Sequence[str], at: datetime, now: datetime, indication: str | None
) -> list[Readiness]:
    """Answer for each tag at a time; raises NotInRecordsError for an unknown tag and UnitError for an indication of another kind.

    A time to come is asked about as if it were now: what is known today is all there is to answer from.
    """
    instruments = [instrument_tagged(session, tag) for tag in tags]
    gear = gear_of(session, [key(instrument.id) for instrument in instruments])
    value = {
        instrument.indicated: read(indication, instrument.indicated)[0]
        for instrument in instruments
        if indication is not None
    }
    taken_over = _taken_over(session, tags)
    decided = [
        Readiness(
            each,
            _with_what_it_lacks(
                each, decision_on(gear, each.tag, at, max(at, now), value.get(each.indicated), indication or "")
            ),
            None,
            taken_over[each.tag],
        )
        for each in instruments
    ]
    return decided if indication is None else _with_values(session, gear, decided, (at, max(at, now)), indication)


def ready_in_the_middle(session: Session, tag: str, now: datetime) -> Readiness:
    """The answer on one instrument now, with what it says in the middle of what it is calibrated for; raises NotInRecordsError."""
    instrument = instrument_tagged(session, tag)
    gear = gear_of(session, [key(instrument.id)])
    decision = _with_what_it_lacks(instrument, decision_on(gear, tag, now, now))
    plain = Readiness(instrument, decision, None, _taken_over(session, [tag])[tag])
    if not decision.allowed or decision.calibration is None:
        return plain
    shown = unit(instrument.indicated, instrument.unit)
    middle = f"{shown.from_si((decision.calibration.low + decision.calibration.high) / 2):.3g} {shown.symbol}"
    return _with_values(session, gear, [plain], (now, now), middle)[0]


def _taken_over(session: Session, tags: Sequence[str]) -> Mapping[str, tuple[str, ...]]:
    """Where the evidence of each instrument comes from, in words; none: it was recorded here."""
    taken = evidence_taken_over(session, tags)
    return {tag: tuple(evidence.said for evidence in taken.get(tag, ())) for tag in tags}


def _with_what_it_lacks(instrument: Instrument, decision: Decision) -> Decision:
    """The decision with a note where the register lacks what an instrument of such a kind needs."""
    if not lacks_state(typed(instrument)):
        return decision
    return replace(decision, notes=(*decision.notes, f"{instrument.tag}: {WITHOUT_STATE}"))


def _with_values(
    session: Session,
    gear: GearTogether,
    decided: Sequence[Readiness],
    times: tuple[datetime, datetime],
    indication: str,
) -> list[Readiness]:
    """The same with what each instrument that may be used says at an indication; of a calibrated pair its meter says it."""
    from calib.procedures.fleet.at_indication import at_indication  # noqa: PLC0415 (numpy and scipy)
    from calib.procedures.on_record.in_force import on_record_of  # noqa: PLC0415

    records = on_record_of(session, [key(each.instrument.id) for each in decided])
    # Asked again with what reviews decided on.
    held = [gate(records.register, each.instrument.tag, *times) for each in decided]
    return [
        replace(each, at=at_indication(records, each.instrument, decision, indication, times[0].date()))
        if each.decision.allowed and each.decision.calibration in gear.register[each.instrument.tag].calibrations
        else each
        for each, decision in zip(decided, held, strict=True)
    ]
