"""Jobs as a list: how many outlets each has, how many of them a reading is on record of, and what was issued."""

from dataclasses import dataclass

from sqlmodel import Session, col, func, select

from calib.procedures.on_record.jobs_by_name import jobs_in_force
from calib.procedures.on_record.what_counts import not_retracted
from calib.records.record import key
from calib.records.tables.jobs import Job
from calib.records.tables.outlets import Outlet
from calib.records.tables.readings import Reading
from calib.records.tables.reports import IssuedReport


@dataclass(frozen=True)
class JobOnFile:
    """A job with what there is of it."""

    job: Job
    outlets: int
    read: int  # outlets that a reading is on record of, whatever the gate says of it today
    revision: int | None  # issued last; None: nothing was issued
    last_read_on: str | None  # day of the last reading, as typed; None: nothing was read


def jobs_on_file(session: Session) -> list[JobOnFile]:
    """Every job, in the order in which they were recorded."""
    outlets = dict(session.exec(select(Outlet.job_id, func.count()).group_by(col(Outlet.job_id))).all())
    of_readings = select(Outlet.job_id, func.count(func.distinct(col(Reading.outlet_id)))).join(Reading)
    of_readings = of_readings.where(not_retracted(Reading))
    read = dict(session.exec(of_readings.group_by(col(Outlet.job_id))).all())
    latest = select(Outlet.job_id, func.max(Reading.observed_at)).join(Reading).where(not_retracted(Reading))
    days = {job: time[:10] for job, time in session.exec(latest.group_by(col(Outlet.job_id)))}
    issued = select(IssuedReport.job_id, func.max(IssuedReport.revision)).group_by(col(IssuedReport.job_id))
    revisions = dict(session.exec(issued).all())
    return [
        JobOnFile(
            job,
            outlets.get(key(job.id), 0),
            read.get(key(job.id), 0),
            revisions.get(key(job.id)),
            days.get(key(job.id)),
        )
        for job in jobs_in_force(session).values()
    ]
