"""Which meters may be used at a job: what a device keeps of it for work without network."""

from datetime import datetime
from itertools import islice

from sqlmodel import Session, col, select

from calib.procedures.fleet.ready import Readiness, ready
from calib.procedures.fleet.ready_instead import ready_instead
from calib.procedures.on_record.jobs_by_name import job_named
from calib.procedures.on_record.what_counts import not_retracted
from calib.records.tables.instruments import Instrument
from calib.records.tables.outlets import Outlet
from calib.records.tables.readings import Reading

_LAST_READINGS = 100  # of a person, that tell which meters they carry


def ready_for_job(session: Session, job: str, person: str, chosen: str, now: datetime, most: int) -> list[Readiness]:
    """Meters that may be used now at a job, so many at most; raises NotInRecordsError.

    First the one that was chosen, if any, then those used there, the latest first, then those that a person used last elsewhere,
    then whatever measures the same as the first of these.
    """
    job_id = job_named(session, job).id
    used = select(Instrument.tag).join(Reading, col(Reading.instrument_id) == Instrument.id)
    latest_first = used.where(not_retracted(Reading)).order_by(col(Reading.id).desc())
    there = latest_first.join(Outlet, col(Outlet.id) == Reading.outlet_id).where(Outlet.job_id == job_id)
    own = latest_first.where(Reading.operator == person).limit(_LAST_READINGS)
    tags = list(dict.fromkeys([*([chosen] if chosen else []), *session.exec(there), *session.exec(own)]))
    may_be_used = [each for each in ready(session, tags, now, now, None) if each.decision.allowed][:most]
    if len(may_be_used) == most or not tags:
        return may_be_used
    others = (each for each in ready_instead(session, tags[0], now, now) if each.instrument.tag not in tags)
    return [*may_be_used, *islice(others, most - len(may_be_used))]
