"""Which probe belonged to which meter at a time, as the records hold it.

A probe belongs to one meter at a time; a meter may have several probes. Common practice, no source.
"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from sqlmodel import Session, col, or_, select

from calib.confirmation.interval import has_happened
from calib.procedures.on_record.by_name import tags_of
from calib.procedures.on_record.recorded import recorded_by
from calib.procedures.on_record.what_counts import not_retracted
from calib.records.record import key, moment
from calib.records.tables.events import Pairing
from calib.records.tables.instruments import Instrument

PAIRED, PARTED = "paired", "parted"


@dataclass(frozen=True)
class Pair:
    """A probe and a meter from a time on, and until another."""

    probe_id: int
    meter_id: int
    since: datetime
    until: datetime | None  # absent: they are paired still

    def holds(self, at: datetime | date) -> bool:
        """Whether they are paired at a time, or at the end of a day as a whole."""
        return has_happened(self.since, at) and (self.until is None or not has_happened(self.until, at))


def probe_pairs_of(records: Iterable[Pairing]) -> tuple[Pair, ...]:
    """Pairs from the records that begin and end them."""
    pairs: list[Pair] = []
    for pairing in sorted(records, key=lambda each: (moment(each.at), each.id or 0)):
        if pairing.kind == PAIRED:
            pairs.append(Pair(pairing.probe_id, pairing.meter_id, moment(pairing.at), None))
            continue
        for place, pair in enumerate(pairs):
            if (pair.probe_id, pair.meter_id, pair.until) == (pairing.probe_id, pairing.meter_id, None):
                pairs[place] = Pair(pair.probe_id, pair.meter_id, pair.since, moment(pairing.at))
    return tuple(pairs)


def all_pairs(session: Session, instruments: Collection[int] | None = None) -> tuple[Pair, ...]:
    """Every pair on record, or those of instruments by key."""
    query = select(Pairing).where(not_retracted(Pairing)).order_by(col(Pairing.id))
    if instruments is not None:
        query = query.where(or_(col(Pairing.probe_id).in_(instruments), col(Pairing.meter_id).in_(instruments)))
    return probe_pairs_of(session.exec(query))


def reasons_against(
    pairs: Sequence[Pair], meter: Instrument, probe: Instrument | None, at: datetime, tags: dict[int, str]
) -> Iterable[str]:
    """Why a meter was not used with the probe that it belongs to, at a time; nothing where it was."""
    held = [pair for pair in pairs if pair.holds(at)]
    of_meter = [pair for pair in held if pair.meter_id == meter.id]
    if of_meter and (probe is None or all(pair.probe_id != probe.id for pair in of_meter)):
        named = "no probe" if probe is None else f"probe {probe.tag}"
        probes = " or ".join(f"{tags[pair.probe_id]} (paired since {pair.since.isoformat()})" for pair in of_meter)
        yield f"{meter.tag}: the reading names {named}, the meter belongs with {probes}: use them together, or part them"
    for pair in held:
        if probe is not None and pair.probe_id == probe.id and pair.meter_id != meter.id:
            yield (
                f"{probe.tag}: it is paired with {tags[pair.meter_id]} since {pair.since.isoformat()}, and the reading was taken "
                f"with {meter.tag}: use them together, or part them"
            )


def pairings_of(session: Session, instrument_id: int) -> list[dict[str, str]]:
    """Every pairing of an instrument, as probe or as meter, as it was recorded."""
    own = or_(col(Pairing.probe_id) == instrument_id, col(Pairing.meter_id) == instrument_id)
    pairings = session.exec(select(Pairing).where(own).order_by(col(Pairing.id))).all()
    recorded = recorded_by(session, Pairing, [key(each.id) for each in pairings])
    tags = tags_of(session, {instrument_id for each in pairings for instrument_id in (each.probe_id, each.meter_id)})
    return [
        {
            "probe": tags[each.probe_id],
            "meter": tags[each.meter_id],
            "kind": each.kind,
            "at": each.at,
            "reason": each.reason,
            "recorded_at": recorded[key(each.id)]["recorded_at"],
        }
        for each in pairings
    ]
