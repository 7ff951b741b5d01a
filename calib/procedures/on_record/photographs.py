"""Photographs kept with the readings and outlets of a job, as the records hold them."""

from dataclasses import dataclass

from sqlmodel import Session, and_, col, or_, select

from calib.procedures.on_record.attached_files import PHOTOS, as_it_was
from calib.procedures.on_record.recorded import entry_of
from calib.procedures.on_record.what_counts import not_retracted
from calib.records.tables.files import Attached, Attachment
from calib.records.tables.ledger import LedgerEntry
from calib.records.tables.outlets import Outlet
from calib.records.tables.readings import Reading


@dataclass(frozen=True)
class JobPhotograph:
    """A photograph kept with a reading of a job, or with an outlet."""

    outlet: str
    reading: int | None  # absent: kept with the outlet
    name: str
    media_type: str
    sha256: str
    remarks: str | None
    attached_by: str
    attached_at: str
    content: bytes


def photographs_of_job(session: Session, job: int) -> list[JobPhotograph]:
    """Photographs of the outlets of a job and of its readings that count, outlet by outlet in the order of the records.

    Raises RecordsError where the content of one is no longer what it was.
    """
    owner = or_(Attached.outlet_id == Outlet.id, and_(Attached.reading_id == Reading.id, not_retracted(Reading)))
    query = (
        select(  # type: ignore[call-overload]
            Outlet.outlet,
            Attached.reading_id,
            Attachment.name,
            Attachment.media_type,
            Attachment.sha256,
            Attached.remarks,
            LedgerEntry.person,
            LedgerEntry.time,
            Attachment.content,
        )
        .select_from(Attached)
        .join(Attachment)
        .join(LedgerEntry, entry_of(Attached))
        .outerjoin(Reading, col(Attached.reading_id) == Reading.id)
        .join(Outlet, col(Outlet.id).in_([Attached.outlet_id, Reading.outlet_id]))
        .where(Outlet.job_id == job, owner, not_retracted(Attached), col(Attachment.media_type).in_(PHOTOS))
        .order_by(col(Outlet.id), col(Attached.reading_id).is_not(None), Attached.reading_id, col(Attached.id))
    )
    photographs = [JobPhotograph(*row) for row in session.exec(query)]
    for each in photographs:
        as_it_was(each.name, each.sha256, each.content)
    return photographs
