"""What a recalibration round should contain, from the records; who the instruments of a due list are."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time

from sqlmodel import Session, col, select

from calib.confirmation.due import DueEntry
from calib.confirmation.recalibration import InstrumentOfRound, Round, recalibration_round
from calib.procedures.on_record.amended import instruments_in_force
from calib.procedures.on_record.instruments import statuses
from calib.procedures.on_record.used_with import GearTogether, decisions_on, gear_of
from calib.records.record import key
from calib.records.tables.ledger import LedgerEntry


@dataclass(frozen=True)
class DueInstrument:
    """A line of the due list with the instrument that it speaks of."""

    entry: DueEntry
    name: str  # kind, maker, model
    serial: str
    location: str | None


def round_of(session: Session, on: date, within_days: int) -> Round:
    """The round that a day and the days after it ask for."""
    gear = gear_of(session)
    of_round = _of_round(session, gear, on)
    return recalibration_round(gear.register, decisions_on(gear, on), of_round, on, within_days)


def _of_round(session: Session, gear: GearTogether, on: date) -> dict[str, InstrumentOfRound]:
    instruments = instruments_in_force(session)
    tags = {key(instrument.id): instrument.tag for instrument in instruments}
    partners: dict[str, set[str]] = defaultdict(set)
    for pair in gear.pairs:
        if pair.holds(on):
            probe, meter = tags[pair.probe_id], tags[pair.meter_id]
            partners[probe].add(meter)
            partners[meter].add(probe)
    quantities = {instrument.tag: instrument.quantity for instrument in instruments}
    return {tag: InstrumentOfRound(quantities[tag], tuple(sorted(partners[tag]))) for tag in gear.register}


def due_instruments(session: Session, entries: Sequence[DueEntry], on: date) -> list[DueInstrument]:
    """Lines of the due list of a day, each with its instrument as the records know it then."""
    tags = [entry.tag for entry in entries]
    instruments = [each for each in instruments_in_force(session) if each.tag in tags]
    known = {
        status.cells["tag"]: status.cells
        for status in statuses(session, instruments, datetime.combine(on, time.max, UTC))
    }
    return [
        DueInstrument(
            entry,
            " ".join(str(known[entry.tag][cell]) for cell in ("kind", "maker", "model")),
            str(known[entry.tag]["serial"]),
            known[entry.tag]["location"],
        )
        for entry in entries
    ]


def identity(session: Session) -> str:
    """What tells these records from all others: the digest of their first ledger entry, blank where there is none."""
    first = select(LedgerEntry.digest).order_by(col(LedgerEntry.sequence)).limit(1)
    return session.exec(first).first() or ""
