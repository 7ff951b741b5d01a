"""Jobs as a list: how many outlets each has, how many of them a reading is on record of, and what was issued."""

from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

from sqlmodel import Session, col, func, select

from calib.procedures.on_record.by_keys import among
from calib.procedures.on_record.jobs_by_name import jobs_in_force
from calib.procedures.on_record.what_counts import not_retracted
from calib.records.record import key
from calib.records.tables.jobs import Job
from calib.records.tables.outlets import Outlet
from calib.records.tables.readings import Reading
from calib.records.tables.reports import IssuedReport

_READINGS_OF_A_JOB = 40  # as many as a job has, or more


@dataclass(frozen=True)
class JobOnFile:
    """A job with what there is of it."""

    job: Job
    outlets: int
    read: int  # outlets that a reading is on record of, whatever the gate says of it today
    revision: int | None  # issued last; None: nothing was issued
    last_read_on: str | None  # day of the last reading, as typed; None: nothing was read


def jobs_on_file(session: Session, keys: Collection[int] | None = None) -> list[JobOnFile]:
    """Every job, in the order in which they were recorded, or those of some keys."""
    outlets = _of_jobs(session, keys, select(Outlet.job_id, func.count()))
    of_readings = select(Outlet.job_id, func.count(func.distinct(col(Reading.outlet_id)))).join(Reading)
    read = _of_jobs(session, keys, of_readings.where(not_retracted(Reading)))
    observed = select(Outlet.job_id, func.max(Reading.observed_at)).join(Reading)
    last = _of_jobs(session, keys, observed.where(not_retracted(Reading)))
    issued = among(select(IssuedReport.job_id, func.max(IssuedReport.revision)), IssuedReport.job_id, keys)
    revisions = dict(session.exec(issued.group_by(col(IssuedReport.job_id))).all())
    return [
        JobOnFile(
            job, outlets.get(own, 0), read.get(own, 0), revisions.get(own), None if own not in last else last[own][:10]
        )
        for own, job in jobs_in_force(session, keys).items()
    ]


def jobs_of_late(session: Session, most: int) -> set[int]:
    """Keys of the jobs that were recorded last, so many, and of those that the last readings are of.

    What was read long ago costs nothing.
    """
    newest = session.exec(select(Job.id).order_by(col(Job.id).desc()).limit(most))
    outlets = select(Reading.outlet_id).order_by(col(Reading.id).desc()).limit(_READINGS_OF_A_JOB * most).subquery()
    read = select(Outlet.job_id).where(col(Outlet.id).in_(select(outlets.c.outlet_id))).distinct()
    return {key(job) for job in newest} | set(session.exec(read))


def _of_jobs(session: Session, keys: Collection[int] | None, query: Any) -> dict[int, Any]:
    """What a query over outlets gives for each job."""
    return dict(session.exec(among(query, Outlet.job_id, keys).group_by(col(Outlet.job_id))).all())
