"""What may be used instead of an instrument: what measures the same, serves as the same, and may be used.

Decision (2026-11-30). What an instrument serves as is seen from its use (`calib.procedures.on_record.serves_as`): a word for it in
the register would have to be typed for each, and be right. Cost: one that was never used is offered wherever flows are read.
"""

from collections.abc import Collection
from datetime import datetime

from sqlmodel import Session, col, select

from calib.procedures.fleet.ready import Readiness, ready
from calib.procedures.on_record.by_name import instrument_tagged
from calib.procedures.on_record.probe_pairs import all_pairs
from calib.procedures.on_record.serves_as import READING_FLOWS, Duty, duties_of, measures_air, probes_of
from calib.records.record import key
from calib.records.tables.instruments import Instrument


def ready_instead(
    session: Session, tag: str, at: datetime, now: datetime, wanted: Duty | None = None
) -> list[Readiness]:
    """Instruments that may be used at a time instead of another, those of the same kind first; raises NotInRecordsError.

    They indicate the same quantity, too: a pressure is no other anemometer's velocity. `wanted` is what is to be done; absent:
    whatever the other one did so far.
    """
    own = instrument_tagged(session, tag)
    same = select(Instrument).where(Instrument.quantity == own.quantity, Instrument.id != own.id)
    alike = [
        each
        for each in session.exec(same.order_by(col(Instrument.kind) != own.kind, Instrument.tag))
        if each.indicated == own.indicated and measures_air(each) == measures_air(own)
    ]
    together = {key(each.id): each for each in (own, *alike)}
    probes = probes_of(session, together, all_pairs(session, together))
    duties = duties_of(session, together.values(), probes)
    asked = duties[key(own.id)] if wanted is None else {wanted}
    others = [each.tag for each in alike if _serves(duties[key(each.id)], asked or READING_FLOWS)]
    return [each for each in ready(session, others, at, now, None) if each.decision.allowed]


def _serves(duties: Collection[Duty], asked: Collection[Duty]) -> bool:
    """Whether an instrument with such duties so far does what is asked; one that had none does whatever reads a flow."""
    return not set(duties or READING_FLOWS).isdisjoint(asked)
