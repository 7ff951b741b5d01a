"""Find jobs, their outlets and what was read there by the names and numbers that people type."""

from collections.abc import Collection
from typing import TypeVar

from sqlmodel import Session, col, func, select

from calib.errors import NotInRecordsError, Step
from calib.procedures.on_record.amended import Amended, revisions_by_owner
from calib.procedures.on_record.by_keys import among, numbered
from calib.procedures.on_record.by_name import not_there
from calib.records.record import key
from calib.records.tables.jobs import Job, JobRevision
from calib.records.tables.outlets import Outlet
from calib.records.tables.readings import Reading, Refusal

_Typed = TypeVar("_Typed", Reading, Refusal)


def job_named(session: Session, name: str) -> Job:
    """The job of a name, as it counts now; raises NotInRecordsError."""
    return amended_job(session, name).now


def amended_job(session: Session, name: str) -> Amended[Job]:
    """The job of a name with what was amended; raises NotInRecordsError."""
    both = select(Job, JobRevision).outerjoin(JobRevision).where(Job.job == name).order_by(col(JobRevision.revision))
    rows = session.exec(both).all()
    if not rows:
        raise not_there(f"job {name!r} in the records", session.exec(select(Job.job).order_by(col(Job.id))), name)
    return Amended(rows[0][0], [revision for _, revision in rows if revision is not None])


def jobs_in_force(session: Session, keys: Collection[int] | None = None) -> dict[int, Job]:
    """Jobs by their key, as they count now, in the order in which they were recorded: some of them, or all."""
    revisions = revisions_by_owner(session, JobRevision, JobRevision.job_id, keys)
    jobs = session.exec(among(select(Job), Job.id, keys).order_by(col(Job.id)))
    return {key(job.id): Amended(job, revisions.get(key(job.id), ())).now for job in jobs}


def latest_jobs(session: Session, most: int) -> list[str]:
    """Names of the jobs that were recorded last, the latest first."""
    return list(session.exec(select(Job.job).order_by(col(Job.id).desc()).limit(most)))


def jobs_like(session: Session, pattern: str) -> list[str]:
    """Names of the jobs whose name in lower case is like a pattern (SQL LIKE), in the order in which they were recorded."""
    return list(session.exec(select(Job.job).where(func.lower(Job.job).like(pattern)).order_by(col(Job.id))))


def outlet_named(session: Session, job: str, name: str) -> Outlet:
    """An outlet of a job, as it was first typed; raises NotInRecordsError."""
    of_job = job_named(session, job)
    outlets = session.exec(select(Outlet).where(Outlet.job_id == of_job.id).order_by(col(Outlet.id))).all()
    outlet = next((each for each in outlets if each.outlet == name), None)
    if outlet is None:
        raise not_there(f"outlet {name!r} in job {job}", (each.outlet for each in outlets), name)
    return outlet


def typed_in_job(session: Session, job: str, table: type[_Typed], record_id: int) -> tuple[_Typed, Outlet]:
    """A reading of a job, or a refusal, by its number, taken back or not, and its outlet; raises NotInRecordsError."""
    of_job = job_named(session, job)
    record = numbered(session, table, record_id)
    outlet = None if record is None else session.get(Outlet, record.outlet_id)
    if record is None or outlet is None or outlet.job_id != key(of_job.id):
        what = "reading" if table is Reading else "refused reading"
        raise NotInRecordsError(f"no {what} {record_id} in job {job}: {Step.LIST_READINGS} shows the numbers")
    return record, outlet
