"""Find jobs and their outlets by the names that people type."""

from sqlmodel import Session, col, func, select

from calib.procedures.on_record.by_name import not_there
from calib.records.tables.jobs import Job
from calib.records.tables.outlets import Outlet


def job_named(session: Session, name: str) -> Job:
    """The job of a name; raises NotInRecordsError."""
    job = session.exec(select(Job).where(Job.job == name)).first()
    if job is None:
        raise not_there(f"job {name!r} in the records", session.exec(select(Job.job).order_by(col(Job.id))))
    return job


def jobs_like(session: Session, pattern: str) -> list[str]:
    """Names of the jobs whose name in lower case is like a pattern (SQL LIKE), in the order in which they were recorded."""
    return list(session.exec(select(Job.job).where(func.lower(Job.job).like(pattern)).order_by(col(Job.id))))


def outlet_named(session: Session, job: str, name: str) -> Outlet:
    """An outlet of a job, as it was first typed; raises NotInRecordsError."""
    of_job = job_named(session, job)
    outlets = session.exec(select(Outlet).where(Outlet.job_id == of_job.id).order_by(col(Outlet.id))).all()
    outlet = next((each for each in outlets if each.outlet == name), None)
    if outlet is None:
        raise not_there(f"outlet {name!r} in job {job}", (each.outlet for each in outlets))
    return outlet
