"""Send an entry from a device: it is written once, however often it arrives, under the key that the device gave it.

A device's clock is off by

    offset = (time of sending by the device's clock) - (time of arrival by this clock)        [s, whole as all times]

so the time of an observation is kept as the device's clock had it less that offset. The offset is kept beside it: the time as the
device had it is the kept one plus the offset.

Decision (2026-11-29). The way is not subtracted from the offset. Options: two questions to measure it (a device in a basement is
glad of one answer). Cost: what is sent slowly, by so many seconds, is kept as observed by so many later.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from sqlmodel import Session, select

from calib.counted import count_of
from calib.errors import BadInputError, CalibError, Finding
from calib.procedures.enter.on_site import WrittenAs, write_entry, written_as
from calib.procedures.enter.sitting import TypedEntry
from calib.procedures.on_record.by_keys import numbered
from calib.procedures.on_record.by_name import tags_of
from calib.procedures.on_record.corrected_readings import indications_at_points
from calib.procedures.on_record.outlets import readings_at
from calib.procedures.people.authorise import append
from calib.procedures.typed.cells import same_time, time_with_zone
from calib.procedures.typed.sheets import typed_row
from calib.records import ledger
from calib.records.record import typed
from calib.records.tables.entries import SentEntry
from calib.records.tables.jobs import Job
from calib.records.tables.outlets import Outlet
from calib.records.tables.readings import Reading, Refusal

LONGEST_KEY = 100  # signs
_LONGEST_DEVICE = 200


@dataclass(frozen=True)
class Sending:
    """What a device says of an entry that it sends."""

    client_key: str  # of this entry and of no other, on any device
    sent_at: str  # by the device's own clock, with its zone: 2026-11-29T09:30:05+01:00
    device: str


class MeanwhileError(CalibError):
    """Readings stand at the outlet that whoever typed an entry did not know of; nothing was written."""

    def __init__(self, readings: Sequence[int]) -> None:
        self.readings = tuple(readings)
        was = "was" if len(readings) == 1 else "were"
        super().__init__(f"{count_of(len(readings), 'reading', 'readings')} {was} recorded here meanwhile")


@dataclass(frozen=True)
class Arrived:
    """An entry as it stands in the records once it was sent."""

    written: WrittenAs
    again: bool  # it had arrived before: nothing was written now
    reasons: tuple[str, ...] = ()  # of the gate, where it was kept as a refusal now
    remarks: tuple[str, ...] = ()


def send_entry(
    session: Session,
    entry: TypedEntry,
    sending: Sending,
    signature: ledger.Signature,
    now: datetime,
    *,
    sure: bool,
    keep_refused: bool,
    known: Collection[int] | None = None,
) -> Arrived:
    """Write an entry that a device sends, or find it where it was written; its `observed_at` is by the device's clock.

    `known` are the readings of the outlet that whoever typed it knew; absent: whatever stands there is no question.
    Without `observed_at` it is observed when it is sent: a page that a person looks at has no clock to tell.
    Raises as `write_entry` does, where nothing is written and the same may be sent again; BadInputError too where the key was
    given to another entry, or the times of the device contradict each other; MeanwhileError.
    """
    findings = [*_of_texts(sending), *_of_times(sending.sent_at, entry.cells)]
    if findings:
        raise BadInputError(findings)
    before = session.exec(select(SentEntry).where(SentEntry.client_key == sending.client_key)).first()
    if before is not None:
        return _found(session, entry, before)
    _must_be_known(session, entry, known)
    offset = int((datetime.fromisoformat(sending.sent_at) - now).total_seconds())
    dated = _by_this_clock(entry, sending.sent_at, offset)
    imported = write_entry(session, dated, signature, now, sure=sure, keep_refused=keep_refused)
    written = written_as(session, dated)
    assert written is not None  # noqa: S101 (it was written)
    sent = SentEntry(
        record_table=_table(written).__tablename__, record_id=written.record_id, clock_offset_s=str(offset),
        client_key=sending.client_key, sent_at=sending.sent_at, device=sending.device.strip()[:_LONGEST_DEVICE],
    )  # fmt: skip
    append(session, [sent], signature)
    reasons = tuple(reason for refusal in imported.refusals for reason in refusal.reasons)
    return Arrived(written, again=False, reasons=reasons, remarks=imported.remarks)


def _must_be_known(session: Session, entry: TypedEntry, known: Collection[int] | None) -> None:
    if known is None:
        return
    standing = readings_at(session, entry.cells["job"], entry.cells["outlet"])
    meanwhile = [reading for reading in standing if reading not in known]
    if meanwhile:
        raise MeanwhileError(meanwhile)


def _of_texts(sending: Sending) -> list[Finding]:
    client_key, findings = sending.client_key, []
    if not client_key or len(client_key) > LONGEST_KEY or not client_key.isprintable():
        findings.append(
            Finding.typed(
                "client_key", client_key[:LONGEST_KEY], f"a key of 1 to {LONGEST_KEY} signs, of this entry alone"
            )
        )
    if not sending.device.strip():
        findings.append(Finding.typed("device", None, "what it is sent from"))
    return findings


def _of_times(sent_at: str, cells: Mapping[str, str]) -> list[Finding]:
    """What is wrong with the times of a device, each by its own clock."""
    observed_at = cells.get("observed_at", sent_at)
    times = {"sent_at": sent_at, "observed_at": observed_at}
    wrong = {column: time_with_zone(cell) for column, cell in times.items()}
    findings = [Finding.typed(column, times[column], told) for column, told in wrong.items() if told is not None]
    if not findings and datetime.fromisoformat(observed_at) > datetime.fromisoformat(sent_at):
        expected = f"a time before {sent_at}, at which it was sent, by the same clock"
        findings.append(Finding.typed("observed_at", observed_at, expected))
    return findings


def _by_this_clock(entry: TypedEntry, sent_at: str, offset: int) -> TypedEntry:
    """The same with the time of observation by this clock."""
    observed_at = datetime.fromisoformat(entry.cells.get("observed_at", sent_at)) - timedelta(seconds=offset)
    return replace(entry, cells={**entry.cells, "observed_at": observed_at.isoformat()})


def _table(written: WrittenAs) -> type[Reading] | type[Refusal]:
    return Refusal if written.refused else Reading


def _found(session: Session, entry: TypedEntry, sent: SentEntry) -> Arrived:
    """What was written of an entry before; raises BadInputError where its key was given to another one."""
    written = WrittenAs(sent.record_id, refused=sent.record_table == Refusal.__tablename__)
    if not _is_that_of(session, written, _by_this_clock(entry, sent.sent_at, int(sent.clock_offset_s))):
        expected = (
            f"a key of this entry alone: it is that of {sent.record_table} {sent.record_id}, which says otherwise"
        )
        raise BadInputError([Finding.typed("client_key", sent.client_key, expected)])
    return Arrived(written, again=True)


def _is_that_of(session: Session, written: WrittenAs, entry: TypedEntry) -> bool:
    """Whether a record is what an entry says: where, with what, when, and each value."""
    record = numbered(session, _table(written), written.record_id)
    assert record is not None  # noqa: S101 (the sent entry names it)
    outlet, tags = session.get_one(Outlet, record.outlet_id), tags_of(session, {record.instrument_id})
    on_record = typed(record) | {
        "outlet": outlet.outlet,
        "job": session.get_one(Job, outlet.job_id).job,
        "instrument": tags[record.instrument_id],
        "observed_at": same_time(record.observed_at),
    }
    sent = typed_row(None, entry.cells).cells
    sent["observed_at"] = same_time(sent["observed_at"])
    return indications_at_points(session, record) == dict(entry.points) and all(
        on_record[column] == sent[column] for column in on_record.keys() & sent.keys()
    )
