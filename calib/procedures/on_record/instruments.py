"""Look up what the records hold, as it was typed."""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from sqlmodel import Session, col, select

from calib.confirmation.interval import is_retired
from calib.procedures.on_record.amended import instruments_in_force
from calib.procedures.on_record.attached_files import photo_counts
from calib.procedures.on_record.by_keys import among
from calib.procedures.on_record.by_name import instrument_tagged, tags_of
from calib.procedures.on_record.probe_pairs import Pair
from calib.procedures.on_record.used_with import GearTogether, decision_on, gear_of
from calib.procedures.on_record.what_counts import not_retracted
from calib.records.record import RecordCells, key, moment, typed
from calib.records.tables.events import Event, IntermediateCheck
from calib.records.tables.instruments import Instrument
from calib.records.words import INTERVAL_CHANGE


@dataclass(frozen=True)
class InstrumentStatus:
    """An instrument as typed, where it is now, and whether it may be used at a time."""

    cells: RecordCells  # location and interval as the latest events say
    certificate: str | None
    due_on: str | None
    reasons: tuple[str, ...]
    retired: bool
    paired_with: tuple[str, ...]  # tags of the probes of a meter, or of the meter of a probe
    photos: int = 0  # kept with it
    check_due_on: str | None = None  # absent: no intermediate check is required


def instrument_statuses(session: Session, at: datetime) -> list[InstrumentStatus]:
    """Every instrument with its status at a time."""
    return _statuses(session, instruments_in_force(session), gear_of(session), at)


def statuses(session: Session, wanted: Sequence[Instrument], at: datetime) -> list[InstrumentStatus]:
    """Status of some instruments at a time."""
    return _statuses(session, wanted, gear_of(session, {key(instrument.id) for instrument in wanted}), at)


def _statuses(
    session: Session, wanted: Sequence[Instrument], gear: GearTogether, at: datetime
) -> list[InstrumentStatus]:
    own = {key(instrument.id) for instrument in wanted}
    partners = {instrument_id for pair in gear.pairs for instrument_id in (pair.probe_id, pair.meter_id)}
    tags = tags_of(session, partners)
    changed, photos = _latest_values(session, own, at), photo_counts(session, own)
    return [
        replace(
            _status(
                instrument, gear, _partners(instrument, gear.pairs, tags, at), changed.get(key(instrument.id), {}), at
            ),
            photos=photos.get(key(instrument.id), 0),
        )
        for instrument in wanted
    ]


def _status(
    instrument: Instrument, gear: GearTogether, partners: tuple[str, ...], changed: RecordCells, at: datetime
) -> InstrumentStatus:
    decision = decision_on(gear, instrument.tag, at, at)
    return InstrumentStatus(
        typed(instrument) | changed,
        None if decision.calibration is None else decision.calibration.certificate,
        None if decision.due_on is None else str(decision.due_on),
        decision.reasons,
        is_retired(gear.register[instrument.tag], at),
        partners,
        check_due_on=None if decision.check_due_on is None else str(decision.check_due_on),
    )


def _partners(
    instrument: Instrument, pairs: Sequence[Pair], tags: Mapping[int | None, str], at: datetime
) -> tuple[str, ...]:
    held = [pair for pair in pairs if pair.holds(at)]
    others = [
        pair.meter_id if pair.probe_id == instrument.id else pair.probe_id
        for pair in held
        if instrument.id in (pair.probe_id, pair.meter_id)
    ]
    return tuple(sorted(tags[partner_id] for partner_id in others))


def _latest_values(session: Session, instruments: Collection[int], at: datetime) -> dict[int, RecordCells]:
    """Cells that events have changed since an instrument was registered: where it is, and its calibration interval."""
    columns = {"move": "location", "return": "location", INTERVAL_CHANGE: "interval_months"}
    values: dict[int, RecordCells] = defaultdict(dict)
    events = [
        event
        for event in session.exec(among(select(Event).where(not_retracted(Event)), Event.instrument_id, instruments))
        if event.kind in columns and event.value is not None and moment(event.at) <= at
    ]
    for event in sorted(events, key=lambda each: (moment(each.at), each.id or 0)):
        values[event.instrument_id][columns[event.kind]] = (
            int(event.value or 0) if event.kind == INTERVAL_CHANGE else event.value
        )
    return values


def checks_of(session: Session, tag: str | None) -> Sequence[IntermediateCheck]:
    """Intermediate checks of one instrument, or of all where no tag is given, as they were recorded, withdrawn ones too."""
    query = select(IntermediateCheck).order_by(col(IntermediateCheck.id))
    if tag is not None:
        query = query.where(IntermediateCheck.instrument_id == instrument_tagged(session, tag).id)
    return session.exec(query).all()


def checks_that_count(session: Session, tag: str) -> Sequence[IntermediateCheck]:
    """Intermediate checks of one instrument but those that were withdrawn."""
    own = IntermediateCheck.instrument_id == instrument_tagged(session, tag).id
    query = select(IntermediateCheck).where(own, not_retracted(IntermediateCheck))
    return session.exec(query.order_by(col(IntermediateCheck.id))).all()
