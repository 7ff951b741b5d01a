"""A job's report: one content, written as JSON, CSV and HTML.

Numbers in the content are unrounded; a `statement` is the rounded text.
"""

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import Any

from calib import __version__
from calib.faces.answers.balance import totals
from calib.faces.answers.company import document as company_document
from calib.faces.answers.conformity import risks
from calib.faces.cautions import CAUTIONS, RULES_IN_WORDS
from calib.faces.parts.budgets_in_full import budgets_in_full
from calib.faces.parts.cross_checks import cross_checks_document
from calib.faces.parts.curve import curve
from calib.faces.parts.evidence import certified
from calib.faces.parts.factor_revision import revision
from calib.faces.parts.joint_probability import joint_document
from calib.faces.parts.not_measured import not_measured
from calib.faces.parts.plant_drift import drift_document
from calib.faces.parts.reading_evidence import evidence
from calib.faces.parts.reading_in_full import reading_content, result
from calib.faces.parts.review_on_job import review_document
from calib.faces.parts.summary import summary_document
from calib.faces.written import Content
from calib.procedures.measure.evaluate import Evaluation, Refused
from calib.procedures.on_record.calibrations import CalibrationOnFile
from calib.procedures.on_record.flow_unit import flow_unit, flow_unit_of_report
from calib.procedures.on_record.photographs import JobPhotograph
from calib.procedures.on_record.reviews import Review
from calib.procedures.report.amendments import Amendment
from calib.procedures.report.collect import JobReport, instruments_of
from calib.procedures.report.issued import Issue
from calib.records.record import key
from calib.unswept import unswept

REPORT_SCHEMA = (
    "urn:calib:report:1"  # report.schema.json beside this file: fields may be added, those named keep name and meaning
)


@dataclass(frozen=True)
class Issuing:
    """Who issues a report, and why there is another revision of it."""

    person: str
    reason: str | None  # absent: the first revision
    gaps_reason: str | None = None  # why without outlets that were not measured


@unswept
def content(report: JobReport, issued: datetime, units: str | None = None, issuing: Issuing | None = None) -> Content:
    """Everything that a report says: a draft, unless it is being issued.

    `units` is "si", "ip", or None for the unit in which most of the job's flows were typed: all flows of a report have one unit.
    What changed since the revision before is filled in by `revised`.
    """
    evaluation = report.evaluation
    units = units or flow_unit_of_report(evaluation.outlets.values())
    of_systems = totals(evaluation, units)
    return {
        "schema": REPORT_SCHEMA,
        "job": evaluation.job.job,
        "title": evaluation.job.title,
        "site": evaluation.job.site,
        "client": evaluation.job.client,
        **company_document(report.company),
        "revision": 1 + len(report.issues),
        "is_draft": issuing is None,
        "issued": issued.isoformat(),
        "issued_by": None if issuing is None else issuing.person,
        "revision_reason": None if issuing is None else issuing.reason,
        "gaps_reason": None if issuing is None else issuing.gaps_reason,
        "revises": [_issue(issue) for issue in report.issues],
        "changes": [],
        "decision_rule": evaluation.job.decision_rule,
        "decision_rule_in_words": RULES_IN_WORDS[evaluation.job.decision_rule],
        "agreed_by": evaluation.job.agreed_by,
        "agreed_on": evaluation.job.agreed_on,
        "ledger_digest": report.ledger_digest,
        "issue_digest": None,  # of an issue, once its forms are known
        "summary": summary_document(evaluation, of_systems, units),
        "readings": [
            reading_content(evaluation, row, units) | {"evidence": evidence(evaluation, row, report.sources)}
            for row in range(len(evaluation.measured))
        ],
        **of_systems,
        "risks": risks(report.risks),
        "joint_probability": joint_document(report.risks),
        "plant_drift": drift_document(evaluation),
        "amendments": [_amendment(amendment, evaluation, units) for amendment in report.amendments],
        "open_reviews": [_open_review(review, evaluation.job.job) for review in report.open_reviews],
        "reviews": [review_document(review, evaluation.job.job, 1 + len(report.issues)) for review in report.reviews],
        "refusals": [_refusal(refused, evaluation) for refused in evaluation.refused],
        "not_measured": not_measured(evaluation, units),
        "cross_checks": cross_checks_document(report.cross_checks, evaluation, units),
        "found_factors": [revision(factor, units) for factor in report.factors],
        "budgets_in_full": budgets_in_full(evaluation, units),
        "instruments": _instruments(report),
        "reference_standards": _standards(report),
        **({} if report.photographs is None else {"photographs": [_photograph(each) for each in report.photographs]}),
        "cautions": list(CAUTIONS),
        "written_by": f"calib {__version__}",
        "validation": None if report.validation is None else asdict(report.validation),
    }


def _photograph(photograph: JobPhotograph) -> Content:
    return {
        "outlet": photograph.outlet,
        "reading": photograph.reading,
        "name": photograph.name,
        "media_type": photograph.media_type,
        "sha256": photograph.sha256,
        "remarks": photograph.remarks,
        "by": photograph.attached_by,
        "at": photograph.attached_at,
    }


def _issue(issue: Issue) -> Content:
    return {"revision": issue.revision, "issued": issue.issued_at, "issued_by": issue.person, "reason": issue.reason}


def _amendment(amendment: Amendment, evaluation: Evaluation, units: str | None) -> Content:
    return {
        "record": amendment.record,
        "revision": amendment.revision,
        "changes": [
            {"column": name, "before": before, "after": after} for name, (before, after) in amendment.changes.items()
        ],
        "reason": amendment.reason,
        "by": amendment.person,
        "at": amendment.time,
        "flows": [
            {
                "reading": each.measured.reading.id,
                "before": result(each.flows, each.place, flow_unit(each.measured.outlet, units)),
                "after": result(evaluation.flow, each.row, flow_unit(each.measured.outlet, units)),
            }
            for each in amendment.flows_before
            if evaluation.flow is not None
        ],
    }


def _open_review(review: Review, job: str) -> Content:
    lines = review.of_job(job)
    return {
        "instrument": review.tag,
        "certificate": review.certificate,
        "calibrated_on": review.calibrated_on,
        "review": review.review,
        "happened": review.happened,
        "opened_at": review.time,
        "readings": [each.record for each in lines if each.record_table == "reading"],
        "lines": len(lines),
        "open_lines": sum(each.is_open for each in lines),
        "open_lines_in_all": review.open_lines,
    }


def _refusal(refused: Refused, evaluation: Evaluation) -> Content:
    counting = evaluation.counting.get(key(refused.outlet.id))
    return {
        "outlet": refused.outlet.outlet,
        "system": refused.outlet.system,
        "service": refused.outlet.service,
        "instrument": refused.instrument.tag,
        "observed_at": refused.typed.observed_at,
        "indication": refused.typed.indication,
        "observations": refused.typed.observations,
        "unit": refused.typed.unit,
        "operator": refused.typed.operator,
        "remarks": refused.typed.remarks,
        "reasons": list(refused.reasons),
        "counts_instead": None if counting is None else evaluation.measured[counting].reading.id,
    }


def _instruments(report: JobReport) -> list[Content]:
    due = {
        names: decision
        for measured in report.evaluation.measured
        for names, decision in instruments_of(measured).items()
    }
    return [
        _instrument(report.calibrations[names], due[names].due_on, report.standards.of.get(names, ()))
        for names in sorted(due)
    ]


def _standards(report: JobReport) -> list[Content]:
    """Reference standards of the register that the instruments' calibrations rest on, where no flow was measured with them."""
    return [
        _instrument(standard.calibration, standard.due_on, report.standards.of.get(names, ()))
        for names, standard in report.standards.standards.items()
        if names not in report.calibrations
    ]


def _instrument(on_file: CalibrationOnFile, due_on: date | None, standards: Sequence[tuple[str, str]]) -> Content:
    instrument, calibration, record = on_file.instrument, on_file.calibration, on_file.curve
    return {
        "tag": instrument.tag,
        "kind": instrument.kind,
        "maker": instrument.maker,
        "model": instrument.model,
        "serial": instrument.serial,
        "certificate": calibration.certificate,
        "laboratory": calibration.laboratory,
        "accreditation": calibration.accreditation,
        "calibrated_on": calibration.calibrated_on,
        "accepted_on": None if on_file.acceptance is None else on_file.acceptance.accepted_on,
        "departure_reason": None if on_file.acceptance is None else on_file.acceptance.departure_reason,
        **on_file.two_days,
        "due_on": str(due_on),
        "measuring_interval": record.measuring_interval,
        "signatures": [dict(each) for each in on_file.signatures],
        "reference_standards": list(on_file.standards),
        "standards": [{"tag": tag, "certificate": certificate} for tag, certificate in standards],
        "curve": curve(record, instrument),
        **certified(on_file),
    }


def as_json(report: Content) -> str:
    """The report for machines: each record, as a reading or a total, on a line of its own."""
    return "{\n" + ",\n".join(f"{_encoded(name)}: {_laid_out(value)}" for name, value in report.items()) + "\n}\n"


# All at once it is encoded ten times faster than with an indent.
_encoded = json.JSONEncoder(ensure_ascii=False).encode


def _laid_out(value: Any) -> str:
    return "[\n" + ",\n".join(map(_encoded, value)) + "\n]" if isinstance(value, list) and value else _encoded(value)
