"""Load and evaluate everything that a job's report says."""

from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session

from calib.procedures.evaluate import Evaluation, evaluate
from calib.procedures.look_up import CalibrationOnFile, calibration_on_file
from calib.records import ledger
from calib.uncertainty.coverage import COVERAGE_PROBABILITY


@dataclass(frozen=True)
class JobReport:
    """A job evaluated, with the calibrations it rests on and the state of the ledger."""

    evaluation: Evaluation
    calibrations: dict[tuple[str, str], CalibrationOnFile]  # by tag and certificate number
    ledger_digest: str


def report(session: Session, job: str, now: datetime, coverage_probability: float = COVERAGE_PROBABILITY) -> JobReport:
    """Evaluate a job for its report; raises NotInRecordsError."""
    found = evaluate(session, job, now, coverage_probability)
    used = {(one.instrument.tag, one.calibration.certificate) for one in found.measured}
    calibrations = {names: calibration_on_file(session, *names) for names in sorted(used)}
    return JobReport(found, calibrations, ledger.head(session)[1])
