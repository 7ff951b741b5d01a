"""One instrument with everything that happened to it, as the records hold it."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session, col, or_, select

from calib.procedures.on_record.amendments_on_file import amendments_on_file
from calib.procedures.on_record.attached_files import files_of
from calib.procedures.on_record.by_name import amended_instrument, instrument_tagged
from calib.procedures.on_record.calibrations import calibrations_on_file
from calib.procedures.on_record.instruments import InstrumentStatus, checks_of, statuses
from calib.procedures.on_record.probe_pairs import pairings_of
from calib.procedures.on_record.recorded import recorded_by
from calib.procedures.on_record.reviews import reviews_numbered
from calib.procedures.on_record.reviews_of_register import reviews_about
from calib.procedures.on_record.taken_back import shown_back, taken_back
from calib.procedures.on_record.what_counts import not_retracted
from calib.records.record import RecordCells, key, moment, typed
from calib.records.tables.events import Event, IntermediateCheck
from calib.records.tables.files import Attached
from calib.records.tables.readings import Reading, Refusal


@dataclass(frozen=True)
class InstrumentHistory:
    """One instrument's whole history."""

    status: InstrumentStatus
    calibrations: tuple[RecordCells, ...]  # with acceptance, curve and files
    events: tuple[RecordCells, ...]
    checks: tuple[RecordCells, ...]
    pairings: tuple[RecordCells, ...]
    files: tuple[RecordCells, ...]
    reviews: tuple[RecordCells, ...]  # impact reviews of it, and those that a calibration of it is a line of
    amendments: tuple[RecordCells, ...]  # of its cells in the register
    used: RecordCells  # how many readings rest on it, the first and the last


def instrument_history(session: Session, tag: str, at: datetime) -> InstrumentHistory:
    """One instrument with everything that happened to it; raises NotInRecordsError."""
    instrument = instrument_tagged(session, tag)
    own = key(instrument.id)
    events = session.exec(select(Event).where(Event.instrument_id == own).order_by(col(Event.id))).all()
    checks = checks_of(session, tag)
    back = {
        table: taken_back(session, table, [key(each.id) for each in records])
        for table, records in ((Event, events), (IntermediateCheck, checks))
    }
    recorded = recorded_by(session, Event, [key(event.id) for event in events])
    checked = recorded_by(session, IntermediateCheck, [key(check.id) for check in checks])
    calibrations = calibrations_on_file(session, tag)
    files = files_of(session, Attached.calibration_id, [each["id"] for each in calibrations])
    return InstrumentHistory(
        statuses(session, [instrument], at)[0],
        tuple(each | {"files": files[each["id"]]} for each in calibrations),
        tuple(
            typed(event, "instrument_id") | recorded[key(event.id)] | shown_back(back[Event], event.id)
            for event in events
        ),
        tuple(
            {"tag": tag}
            | typed(check, "instrument_id")
            | {"recorded_at": checked[key(check.id)]["recorded_at"]}
            | shown_back(back[IntermediateCheck], check.id)
            for check in checks
        ),
        tuple(pairings_of(session, own)),
        tuple(files_of(session, Attached.instrument_id, [own])[own]),
        tuple(_reviews(session, own)),
        tuple(_amendments(session, tag)),
        _used(session, own),
    )


def _amendments(session: Session, tag: str) -> Iterator[RecordCells]:
    """A row for each cell that was amended."""
    for each in amendments_on_file(session, amended_instrument(session, tag)):
        for column, (before, after) in each.changes.items():
            yield {
                "revision": each.revision,
                "column": column,
                "before": before or None,
                "after": after or None,
                "holds_from": each.holds_from,
                "reason": each.reason,
                "person": each.person,
                "time": each.time,
            }


def _used(session: Session, instrument_id: int) -> RecordCells:
    """Readings taken with an instrument, as meter or as probe, those that the gate refused beside them."""

    def times(table: type[Reading] | type[Refusal]) -> list[datetime]:
        mine = or_(col(table.instrument_id) == instrument_id, col(table.probe_id) == instrument_id)
        return sorted(
            moment(typed_time)
            for typed_time in session.exec(select(table.observed_at).where(mine, not_retracted(table)))
        )

    taken, refused = times(Reading), times(Refusal)
    return {
        "readings": len(taken),
        "refused_readings": len(refused),
        "first_reading": taken[0].isoformat() if taken else None,
        "last_reading": taken[-1].isoformat() if taken else None,
    }


def _reviews(session: Session, instrument_id: int) -> Iterator[RecordCells]:
    """Impact reviews that concern an instrument, with the number of their open lines."""
    for review in reviews_numbered(session, reviews_about(session, [instrument_id])):
        yield {
            "review": review.review,
            "instrument": review.tag,
            "certificate": review.certificate,
            "happened": review.happened,
            "criterion": review.criterion,
            "lines": len(review.lines),
            "open_lines": review.open_lines,
        }
