"""Load and evaluate everything that a job's report says."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

from sqlmodel import Session

from calib import __version__
from calib.confirmation.interval import Decision
from calib.procedures.factors.factors_on_file import FactorOnFile, revisions_of_factors
from calib.procedures.measure.cross_checks import CrossChecks, cross_checks_of
from calib.procedures.measure.evaluate import Evaluation, evaluate
from calib.procedures.measure.gate_reading import air_of_reading
from calib.procedures.measure.risks import RisksOfJob, risks_of
from calib.procedures.measure.standing import Standing
from calib.procedures.on_record.calibrations import CalibrationOnFile, calibrations_by_key
from calib.procedures.on_record.company import CompanyOnRecord, company_on_record
from calib.procedures.on_record.photographs import JobPhotograph, photographs_of_job
from calib.procedures.on_record.reviews import Review, reviews_of_job
from calib.procedures.on_record.sources import declared_sources
from calib.procedures.on_record.validations import ValidationOnRecord, latest_validation
from calib.procedures.report.amendments import Amendment, amendments_of
from calib.procedures.report.issued import Issue, issued_bytes, issues_of
from calib.procedures.report.standards_used import StandardsUsed, standards_used
from calib.records import ledger
from calib.records.record import key
from calib.records.tables.factors import Source
from calib.uncertainty.coverage import COVERAGE_PROBABILITY


@dataclass(frozen=True)
class JobReport:
    """A job evaluated, with the calibrations it rests on and the state of the ledger."""

    evaluation: Evaluation
    amendments: tuple[Amendment, ...]
    risks: RisksOfJob
    calibrations: dict[tuple[str, str], CalibrationOnFile]  # by tag and certificate number
    ledger_digest: str
    reviews: tuple[Review, ...] = ()  # of what shook results already given, with a line on this job
    standards: StandardsUsed = field(
        default_factory=lambda: StandardsUsed({}, {})
    )  # reference standards of the register
    issues: tuple[Issue, ...] = ()  # of this job's report, the first one first
    issued_before: bytes | None = None  # the last issue as JSON; absent where there is none
    cross_checks: CrossChecks = field(default_factory=CrossChecks)
    validation: ValidationOnRecord | None = None  # of the version that runs; absent: none is on record
    company: CompanyOnRecord | None = None  # absent: nobody named it
    sources: Mapping[str, Source] = field(
        default_factory=dict
    )  # declared, by the names that the job's outlets have for them
    factors: tuple[
        FactorOnFile, ...
    ] = ()  # found in the field, that a flow rests on: every revision, the first one first

    photographs: tuple[JobPhotograph, ...] | None = None  # absent: not asked for

    @property
    def open_reviews(self) -> tuple[Review, ...]:
        """Those that are open: none of what was recorded since an issue, nor one that waits for this report alone."""
        job = self.evaluation.job.job
        return tuple(review for review in self.reviews if review.is_open_for(job))

    @property
    def every_calibration(self) -> dict[tuple[str, str], CalibrationOnFile]:
        """Those of the instruments and of the reference standards of the register, by tag and certificate number."""
        return {names: standard.calibration for names, standard in self.standards.standards.items()} | self.calibrations


def report(
    session: Session,
    job: str,
    now: datetime,
    coverage_probability: float = COVERAGE_PROBABILITY,
    *,
    with_photographs: bool = False,
) -> JobReport:
    """Evaluate a job for its report; raises NotInRecordsError, and RecordsError where a photograph is not what it was."""
    evaluation = evaluate(session, job, now, coverage_probability)
    used = {
        names: decision.calibration.on_file
        for each in evaluation.measured
        for names, decision in instruments_of(each).items()
        if decision.calibration is not None
    }
    on_file = calibrations_by_key(session, set(used.values()))
    calibrations = {names: on_file[used[names]] for names in sorted(used)}
    amendments = amendments_of(session, evaluation, now)
    issues = issues_of(session, job)
    return JobReport(
        evaluation,
        amendments,
        risks_of(evaluation),
        calibrations,
        ledger.ledger_head(session)[1],
        tuple(reviews_of_job(session, job)),
        standards_used(session, calibrations),
        issues,
        _as_json(session, issues[-1]) if issues else None,
        cross_checks_of(session, evaluation),
        latest_validation(session, __version__),
        company_on_record(session),
        declared_sources(session, _named(evaluation)),
        tuple(
            revisions_of_factors(
                session, {each.factor.factor for each in evaluation.measured if each.factor is not None}
            )
        ),
        tuple(photographs_of_job(session, key(evaluation.job.id))) if with_photographs else None,
    )


def _named(evaluation: Evaluation) -> set[str]:
    """Sources of outlet factors as the outlets of a job name them."""
    named = (each.outlet.outlet_factor_source for each in evaluation.measured)
    return {name for name in named if name is not None}


def _as_json(session: Session, issue: Issue) -> bytes | None:
    is_kept = any(form.form == "json" for form in issue.forms)
    return issued_bytes(session, issue.job, issue.revision, "json") if is_kept else None


def instruments_of(standing: Standing) -> dict[tuple[str, str], Decision]:
    """Every instrument that a reading rests on, by tag and certificate number: its own, its probe, those of the conditions."""
    air, system = air_of_reading(standing), standing.system
    rows = () if air is None else air.rows
    used = [
        (system.instrument, system.decision),
        (system.probe, system.probe_decision),
        *((row.instrument, row.decision) for row in rows),
    ]
    return {
        (instrument.tag, decision.calibration.certificate): decision
        for instrument, decision in used
        if instrument is not None and decision is not None and decision.calibration is not None
    }
