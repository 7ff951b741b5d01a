"""Look up what the records hold, as it was typed."""

from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from sqlmodel import Session, col, or_, select

from calib.confirmation.interval import InstrumentOnRecord, gate, is_retired
from calib.procedures.on_record.attached_files import files_of, photo_counts
from calib.procedures.on_record.by_keys import among
from calib.procedures.on_record.by_name import instrument_tagged, tags_of
from calib.procedures.on_record.calibrations import calibrations_on_file
from calib.procedures.on_record.probe_pairs import Pair, all_pairs, pairings_of
from calib.procedures.on_record.register import load_register
from calib.records import ledger
from calib.records.record import RecordCells, key, moment, typed
from calib.records.tables import (
    INTERVAL_CHANGE,
    Calibration,
    Disposition,
    Event,
    ImpactLine,
    ImpactReview,
    Instrument,
    IntermediateCheck,
    Reading,
    Refusal,
)

Register = Mapping[str, InstrumentOnRecord]


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


@dataclass(frozen=True)
class InstrumentHistory:
    """One instrument's whole history."""

    status: InstrumentStatus
    calibrations: tuple[RecordCells, ...]  # with acceptance, curve and files
    events: tuple[RecordCells, ...]
    checks: tuple[RecordCells, ...]
    pairings: tuple[RecordCells, ...]
    files: tuple[RecordCells, ...]
    reviews: tuple[RecordCells, ...]  # impact reviews that a calibration of it opened
    used: RecordCells  # how many readings rest on it, the first and the last


def instrument_statuses(session: Session, at: datetime) -> list[InstrumentStatus]:
    """Every instrument with its status at a time."""
    return statuses(session, session.exec(select(Instrument).order_by(col(Instrument.tag))).all(), at)


def statuses(session: Session, wanted: Sequence[Instrument], at: datetime) -> list[InstrumentStatus]:
    """Status of some instruments at a time."""
    own = {key(instrument.id) for instrument in wanted}
    register, pairs = load_register(session, own), all_pairs(session, own)
    partners = {number for pair in pairs for number in (pair.probe_id, pair.meter_id)}
    tags = tags_of(session, partners)
    changed, photos = _latest_values(session, own, at), photo_counts(session, own)
    return [
        replace(
            _status(
                instrument, register, _partners(instrument, pairs, tags, at), changed.get(key(instrument.id), {}), at
            ),
            photos=photos.get(key(instrument.id), 0),
        )
        for instrument in wanted
    ]


def _status(
    instrument: Instrument, register: Register, partners: tuple[str, ...], changed: RecordCells, at: datetime
) -> InstrumentStatus:
    decision = gate(register, instrument.tag, at, at)
    return InstrumentStatus(
        typed(instrument) | changed,
        None if decision.calibration is None else decision.calibration.certificate,
        None if decision.due_on is None else str(decision.due_on),
        decision.reasons,
        is_retired(register[instrument.tag], at),
        partners,
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
    return tuple(sorted(tags[number] for number in others))


def _latest_values(session: Session, instruments: Collection[int], at: datetime) -> dict[int, RecordCells]:
    """Cells that events have changed since an instrument was registered: where it is, and its calibration interval."""
    columns = {"move": "location", INTERVAL_CHANGE: "interval_months"}
    found: dict[int, RecordCells] = defaultdict(dict)
    events = [
        one
        for one in session.exec(among(select(Event), Event.instrument_id, instruments))
        if one.kind in columns and one.value is not None and moment(one.at) <= at
    ]
    for one in sorted(events, key=lambda each: (moment(each.at), each.id or 0)):
        found[one.instrument_id][columns[one.kind]] = int(one.value or 0) if one.kind == INTERVAL_CHANGE else one.value
    return found


def instrument_history(session: Session, tag: str, at: datetime) -> InstrumentHistory:
    """One instrument with everything that happened to it; raises NotInRecordsError."""
    one = instrument_tagged(session, tag)
    own = key(one.id)
    events = session.exec(select(Event).where(Event.instrument_id == own).order_by(col(Event.id)))
    return InstrumentHistory(
        statuses(session, [one], at)[0],
        tuple(
            each | {"files": files_of(session, calibration_id=each["id"])}
            for each in calibrations_on_file(session, tag)
        ),
        tuple(typed(event, "instrument_id") | _person(session, "event", event.id) for event in events),
        tuple(checks(session, tag)),
        tuple(pairings_of(session, own)),
        tuple(files_of(session, instrument_id=own)),
        tuple(_reviews(session, own)),
        _used(session, own),
    )


def _person(session: Session, table: str, record_id: int | None) -> RecordCells:
    return {"person": ledger.written(session, table, key(record_id))[0]}


def _used(session: Session, instrument_id: int) -> RecordCells:
    """Readings taken with an instrument, as meter or as probe, those that the gate refused beside them."""

    def times(table: type[Reading] | type[Refusal]) -> list[datetime]:
        mine = or_(col(table.instrument_id) == instrument_id, col(table.probe_id) == instrument_id)
        return sorted(moment(typed_time) for typed_time in session.exec(select(table.observed_at).where(mine)))

    taken, refused = times(Reading), times(Refusal)
    return {
        "readings": len(taken),
        "refused_readings": len(refused),
        "first_reading": taken[0].isoformat() if taken else None,
        "last_reading": taken[-1].isoformat() if taken else None,
    }


def _reviews(session: Session, instrument_id: int) -> Iterator[RecordCells]:
    """Impact reviews that calibrations of an instrument opened, with the number of lines nobody has disposed of."""
    query = (
        select(ImpactReview, Calibration.certificate)
        .join(Calibration)
        .where(Calibration.instrument_id == instrument_id)
    )
    for review, certificate in session.exec(query.order_by(col(ImpactReview.id))):
        lines = set(session.exec(select(ImpactLine.id).where(ImpactLine.impact_review_id == review.id)))
        disposed = set(
            session.exec(
                select(Disposition.impact_line_id).join(ImpactLine).where(ImpactLine.impact_review_id == review.id)
            )
        )
        yield {
            "review": review.id,
            "certificate": certificate,
            "criterion": review.criterion,
            "lines": len(lines),
            "open_lines": len(lines - disposed),
        }


def checks(session: Session, tag: str | None = None) -> list[RecordCells]:
    """Intermediate checks of one instrument, or of all."""
    of_instrument = col(IntermediateCheck.instrument_id) == col(Instrument.id)
    query = (
        select(IntermediateCheck, Instrument.tag).join(Instrument, of_instrument).order_by(col(IntermediateCheck.id))
    )
    if tag is not None:
        query = query.where(Instrument.id == instrument_tagged(session, tag).id)
    return [{"tag": owner} | typed(one, "instrument_id") for one, owner in session.exec(query)]
