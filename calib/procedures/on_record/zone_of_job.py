"""The zone in which a job's times of day are meant: that of this machine, unless its readings were observed in another.

Decision (2026-11-29). Records keep the offset of each time and no zone. Where the machine's zone had the offset of the job's last
reading at that time, it is the job's, summer time and all; else that offset is. Options: a column of the job (typed for each, and
seldom wrong). Cost: a job elsewhere that goes on over a change to summer time is read an hour off, and says the time it took.
"""

from datetime import datetime, tzinfo

from sqlmodel import Session, col, select

from calib.procedures.on_record.jobs_by_name import job_named
from calib.records.tables.outlets import Outlet
from calib.records.tables.readings import Reading


def zone_of_job(session: Session, job: str) -> tzinfo | None:
    """The zone; None: that of this machine. Raises NotInRecordsError."""
    own = select(Reading.observed_at).join(Outlet, col(Outlet.id) == col(Reading.outlet_id))
    own = own.where(Outlet.job_id == job_named(session, job).id).order_by(col(Reading.id).desc()).limit(1)
    last = session.exec(own).first()
    if last is None:
        return None
    observed = datetime.fromisoformat(last)
    return None if observed.astimezone().utcoffset() == observed.utcoffset() else observed.tzinfo
