"""One reading within its job."""

from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session

from calib.errors import NotInRecordsError, RefusedError, Step
from calib.procedures.measure.evaluate import Evaluation, evaluate
from calib.records.tables import Job, Outlet, Reading
from calib.uncertainty.coverage import COVERAGE_PROBABILITY

_LARGEST_KEY = 2**63  # of the database


@dataclass(frozen=True)
class ReadingInJob:
    """A job evaluated, and the row of one of its readings."""

    evaluation: Evaluation
    row: int


def reading_in_job(
    session: Session, number: int, now: datetime, coverage_probability: float = COVERAGE_PROBABILITY
) -> ReadingInJob:
    """Evaluate the job of a reading; raises NotInRecordsError, or RefusedError where it does not stand any more."""
    reading = session.get(Reading, number) if 0 < number < _LARGEST_KEY else None
    outlet = None if reading is None else session.get(Outlet, reading.outlet_id)
    job = None if outlet is None else session.get(Job, outlet.job_id)
    if job is None:
        raise NotInRecordsError(f"no reading {number} in the records: {Step.LIST_READINGS} shows the numbers")
    found = evaluate(session, job.job, now, coverage_probability)
    for row, one in enumerate(found.measured):
        if one.reading.id == number:
            return ReadingInJob(found, row)
    reasons = next(one.reasons for one in found.refused if one.typed is reading)
    raise RefusedError(f"reading {number} yields no flow: {'; '.join(reasons)}")
