"""One reading within its job."""

from dataclasses import dataclass, field
from datetime import datetime

from sqlmodel import Session

from calib.errors import NotInRecordsError, RefusedError, Step
from calib.procedures.measure.evaluate import Evaluation, evaluate
from calib.procedures.on_record.attached_files import files_of
from calib.procedures.on_record.by_keys import numbered
from calib.procedures.on_record.recorded import recorded_by
from calib.procedures.on_record.taken_back import taken_back
from calib.records.record import RecordCells
from calib.records.tables.files import Attached
from calib.records.tables.jobs import Job
from calib.records.tables.outlets import Outlet
from calib.records.tables.readings import Reading
from calib.uncertainty.coverage import COVERAGE_PROBABILITY


@dataclass(frozen=True)
class ReadingInJob:
    """A job evaluated, and the row of one of its readings."""

    evaluation: Evaluation
    row: int
    recorded: dict[str, str] = field(default_factory=dict)  # by whom and when: person, recorded_at
    photographs: tuple[RecordCells, ...] = ()  # kept with it


def reading_in_job(
    session: Session,
    reading_id: int,
    now: datetime,
    coverage_probability: float = COVERAGE_PROBABILITY,
    *,
    finding_factors: bool = False,
) -> ReadingInJob:
    """Evaluate the job of a reading; raises NotInRecordsError, or RefusedError where it does not stand any more.

    `finding_factors`: as `evaluate` takes it.
    """
    reading = numbered(session, Reading, reading_id)
    outlet = None if reading is None else session.get(Outlet, reading.outlet_id)
    job = None if outlet is None else session.get(Job, outlet.job_id)
    if job is None:
        raise NotInRecordsError(f"no reading {reading_id} in the records: {Step.LIST_READINGS} shows the numbers")
    evaluation = evaluate(session, job.job, now, coverage_probability, finding_factors=finding_factors)
    for row, measured in enumerate(evaluation.measured):
        if measured.reading.id == reading_id:
            photographs = files_of(session, Attached.reading_id, [reading_id])[reading_id]
            recorded = recorded_by(session, Reading, [reading_id])[reading_id]
            return ReadingInJob(evaluation, row, recorded, tuple(photographs))
    withdrawn = taken_back(session, Reading, [reading_id]).get(reading_id)
    if withdrawn is not None:
        instead = "" if withdrawn.replaced_by is None else f"; reading {withdrawn.replaced_by} took its place"
        raise RefusedError(
            f"reading {reading_id} was withdrawn at {withdrawn.at} by {withdrawn.by}: {withdrawn.reason}{instead}"
        )
    reasons = next(each.reasons for each in evaluation.refused if each.stood and each.typed.id == reading_id)
    raise RefusedError(f"reading {reading_id} yields no flow: {'; '.join(reasons)}")
