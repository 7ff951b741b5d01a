"""Withdraw a reading that was typed wrongly, with the reason: it stays on record, shown, and yields no flow."""

from dataclasses import dataclass

from sqlmodel import Session

from calib.errors import NotInRecordsError, Step
from calib.procedures.impact.take_back import HungOn, hung_on_reading, take_back
from calib.procedures.on_record.by_keys import LARGEST_KEY
from calib.procedures.on_record.jobs_by_name import job_named
from calib.records import ledger
from calib.records.record import key
from calib.records.tables.outlets import Outlet
from calib.records.tables.readings import Reading


@dataclass(frozen=True)
class WithdrawnReading:
    """A reading that was withdrawn, and what hung on it."""

    reading: int
    outlet: str
    hung_on: HungOn


def withdraw_reading(
    session: Session, job: str, reading_id: int, reason: str, signature: ledger.Signature
) -> WithdrawnReading:
    """Append the retraction of a reading; raises NotInRecordsError, or BadInputError where it is withdrawn or has no reason."""
    reading, outlet = reading_of_job(session, job, reading_id)
    hung_on = hung_on_reading(session, reading_id)
    take_back(session, reading, reason, signature)
    return WithdrawnReading(reading_id, outlet.outlet, hung_on)


def reading_of_job(session: Session, job: str, reading_id: int) -> tuple[Reading, Outlet]:
    """A reading of a job by its key, withdrawn or not, and its outlet; raises NotInRecordsError."""
    of_job = job_named(session, job)
    reading = session.get(Reading, reading_id) if 0 < reading_id < LARGEST_KEY else None
    outlet = None if reading is None else session.get(Outlet, reading.outlet_id)
    if reading is None or outlet is None or outlet.job_id != key(of_job.id):
        raise NotInRecordsError(f"no reading {reading_id} in job {job}: {Step.LIST_READINGS} shows the numbers")
    return reading, outlet
