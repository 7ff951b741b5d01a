"""Withdraw a reading that was typed wrongly, with the reason: it stays on record, shown, and yields no flow."""

from dataclasses import dataclass

from sqlmodel import Session

from calib.procedures.impact.take_back import HungOn, hung_on_reading, take_back
from calib.procedures.on_record.jobs_by_name import typed_in_job
from calib.records import ledger
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
    reading, outlet = typed_in_job(session, job, Reading, reading_id)
    hung_on = hung_on_reading(session, reading_id)
    take_back(session, reading, reason, signature)
    return WithdrawnReading(reading_id, outlet.outlet, hung_on)
