"""A job's report: one content, written as JSON, CSV and HTML.

Numbers in the content are unrounded; a `statement` is the rounded text.
"""

import json
import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from calib import __version__
from calib.faces.answers.budgets_in_full import budgets_in_full
from calib.faces.answers.curve import curve
from calib.faces.answers.evidence import certified
from calib.faces.answers.reading import flow_unit, reading_content, result
from calib.faces.cautions import CAUTIONS, RULES
from calib.faces.unswept import unswept
from calib.faces.written import Content
from calib.procedures.impact.reviews import Review
from calib.procedures.measure.evaluate import Evaluation, Refused, Total
from calib.procedures.measure.risks import RisksOfJob
from calib.procedures.measure.totals import Totals
from calib.procedures.on_record.calibrations import CalibrationOnFile
from calib.procedures.report.amendments import Amendment
from calib.procedures.report.collect import JobReport, instruments_of
from calib.procedures.report.issued import Issue
from calib.quantities import Unit, unit


@dataclass(frozen=True)
class Issuing:
    """Who issues a report, and why there is another revision of it."""

    person: str
    reason: str | None  # absent: the first revision


@unswept
def content(report: JobReport, issued: datetime, units: str | None = None, issuing: Issuing | None = None) -> Content:
    """Everything that a report says: a draft, unless it is being issued.

    `units` is "si", "ip", or None for the units that were typed. What changed since the revision before is filled in by `revised`.
    """
    found = report.evaluation
    return {
        "job": found.job.job,
        "title": found.job.title,
        "site": found.job.site,
        "client": found.job.client,
        "revision": 1 + len(report.issues),
        "is_draft": issuing is None,
        "issued": issued.isoformat(),
        "issued_by": None if issuing is None else issuing.person,
        "revision_reason": None if issuing is None else issuing.reason,
        "revises": [_issue(one) for one in report.issues],
        "changes": [],
        "decision_rule": found.job.decision_rule,
        "decision_rule_in_words": RULES[found.job.decision_rule],
        "ledger_digest": report.ledger_digest,
        "readings": [reading_content(found, row, units) for row in range(len(found.measured))],
        **balance_content(found, units),
        "risks": risks(report.risks),
        "amendments": [_amendment(one, found, units) for one in report.amendments],
        "open_reviews": [_open_review(one, found.job.job) for one in report.open_reviews],
        "refusals": [_refusal(one) for one in found.refused],
        "budgets_in_full": budgets_in_full(found, units),
        "instruments": _instruments(report),
        "reference_standards": _standards(report),
        "cautions": list(CAUTIONS),
        "written_by": f"calib {__version__}",
    }


def _issue(one: Issue) -> Content:
    return {"revision": one.revision, "issued": one.issued_at, "issued_by": one.person, "reason": one.reason}


def balance_content(found: Evaluation, units: str | None = None) -> Content:
    """Totals of the systems, of the job and of the rooms."""
    return {
        "totals": [total_content(found, found.of_systems, row, units) for row in range(len(found.totals))],
        "job_totals": [total_content(found, found.of_job, row, units) for row in range(len(found.of_job.totals))],
        "rooms": [_room(found, row, units) for row in range(len(found.of_rooms.totals))],
    }


def conformity_content(found: Evaluation, of_job: RisksOfJob, units: str | None = None) -> Content:
    """What the flows that are judged prove, and the risks of the decisions."""
    return {
        "decision_rule": found.job.decision_rule,
        "decision_rule_in_words": RULES[found.job.decision_rule],
        "outlets": [
            _judged(reading_content(found, row, units), of_job, place) for place, row in enumerate(of_job.rows)
        ],
        "risks": risks(of_job),
    }


def _judged(reading: Content, of_job: RisksOfJob, place: int) -> Content:
    of_outlets = of_job.of_outlets
    return {
        "outlet": reading["outlet"],
        "system": reading["system"],
        "reading": reading["reading"],
        "statement": reading["flow"]["statement"],
        **reading["design"],
        "capability_index": float(of_job.capability_index[place]),
        "global_consumer_risk": None if of_outlets is None else float(of_outlets.consumer[place]),
        "global_producer_risk": None if of_outlets is None else float(of_outlets.producer[place]),
    }


def total_content(found: Evaluation, totals: Totals, row: int, units: str | None) -> Content:
    """One total of a system or of the job: its flow, how much was measured, and its share of the design."""
    one = totals.totals[row]
    in_unit = _unit_of(found, one, units)
    stands = totals.flow is not None and one.measured > 0
    return {
        "system": one.system,
        "service": one.service,
        "outlets": one.outlets,
        "outlets_measured": one.measured,
        "flow": result(totals.flow, row, in_unit) if stands and totals.flow is not None else None,
        "design": _design_of(totals, row, in_unit),
    }


def _unit_of(found: Evaluation, one: Total, units: str | None) -> Unit:
    measured = found.measured_outlets
    symbols = {flow_unit(measured[number], units).symbol for number in one.sign if number in measured}
    return unit("volume flow", symbols.pop() if len(symbols) == 1 else "L/s")


def _design_of(totals: Totals, row: int, in_unit: Unit) -> Content | None:
    one, judged = totals.totals[row], totals.judgement
    if not math.isfinite(one.design):
        return None
    complete = judged is not None and math.isfinite(judged.percent_of_design[row])
    decided = judged is not None and bool(judged.statement[row])
    return {
        "value": float(in_unit.from_si(one.design)),
        "unit": in_unit.symbol,
        "tolerance_percent": 100.0 * one.tolerance if math.isfinite(one.tolerance) else None,
        "percent_of_design": float(judged.percent_of_design[row]) if judged is not None and complete else None,
        "conformity": str(judged.statement[row]) if judged is not None and decided else None,
        "probability_of_conformity": float(judged.probability[row]) if judged is not None and decided else None,
    }


def _room(found: Evaluation, row: int, units: str | None) -> Content:
    one, rooms = found.of_rooms.totals[row], found.of_rooms
    wanted = rooms.as_wanted is not None and math.isfinite(rooms.as_wanted[row])
    return (
        {"room": one.room}
        | total_content(found, rooms, row, units)
        | {
            "wanted": one.wanted or None,
            "probability_as_wanted": float(rooms.as_wanted[row]) if rooms.as_wanted is not None and wanted else None,
        }
    )


def risks(found: RisksOfJob) -> Content | None:
    """Risks of wrong decisions of a job; None where nothing is judged."""
    if not found.rows:
        return None
    process = found.process
    return {
        "process": None
        if process is None
        else {
            "mean_percent_of_design": 100.0 * process.mean,
            "standard_deviation_percent": 100.0 * process.standard_deviation,
            "basis": process.basis,
        },
        "decisions": [
            {
                "system": one.system,
                "judged": one.judged,
                "accepted": one.accepted,
                "expected_wrongly_accepted": one.wrongly_accepted,
                "expected_wrongly_rejected": one.wrongly_rejected,
                "global_consumer_risk": _finite(one.consumer_risk),
                "global_producer_risk": _finite(one.producer_risk),
            }
            for one in found.counted
        ],
    }


def _finite(number: float) -> float | None:
    return number if math.isfinite(number) else None


def _amendment(one: Amendment, found: Evaluation, units: str | None) -> Content:
    return {
        "record": one.record,
        "revision": one.revision,
        "changes": [
            {"column": name, "before": before, "after": after} for name, (before, after) in one.changes.items()
        ],
        "reason": one.reason,
        "by": one.person,
        "at": one.time,
        "flows": [
            {
                "reading": each.measured.reading.id,
                "before": result(each.flow, 0, flow_unit(each.measured.outlet, units)),
                "after": result(found.flow, each.row, flow_unit(each.measured.outlet, units)),
            }
            for each in one.flows_before
            if found.flow is not None
        ],
    }


def _open_review(one: Review, job: str) -> Content:
    lines = one.of_job(job)
    return {
        "instrument": one.tag,
        "certificate": one.certificate,
        "calibrated_on": one.calibrated_on,
        "opened_at": one.time,
        "readings": [each.record for each in lines if each.record_table == "reading"],
        "lines": len(lines),
        "open_lines": sum(each.is_open for each in lines),
        "open_lines_in_all": one.open_lines,
    }


def _refusal(one: Refused) -> Content:
    return {
        "outlet": one.outlet.outlet,
        "system": one.outlet.system,
        "service": one.outlet.service,
        "instrument": one.instrument.tag,
        "observed_at": one.typed.observed_at,
        "indication": one.typed.indication,
        "observations": one.typed.observations,
        "unit": one.typed.unit,
        "operator": one.typed.operator,
        "remarks": one.typed.remarks,
        "reasons": list(one.reasons),
    }


def _instruments(report: JobReport) -> list[Content]:
    due = {names: decision for one in report.evaluation.measured for names, decision in instruments_of(one).items()}
    return [
        _instrument(report.calibrations[names], due[names].due_on, report.standards.of.get(names, ()))
        for names in sorted(due)
    ]


def _standards(report: JobReport) -> list[Content]:
    """Reference standards of the register that the instruments' calibrations rest on, where no flow was measured with them."""
    return [
        _instrument(one.kept, one.due_on, report.standards.of.get(names, ()))
        for names, one in report.standards.standards.items()
        if names not in report.calibrations
    ]


def _instrument(kept: CalibrationOnFile, due_on: date | None, standards: Sequence[tuple[str, str]]) -> Content:
    instrument, calibration, record = kept.instrument, kept.calibration, kept.curve
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
        "accepted_on": None if kept.acceptance is None else kept.acceptance.accepted_on,
        "due_on": str(due_on),
        "measuring_interval": record.measuring_interval,
        "reference_standards": list(kept.standards),
        "standards": [{"tag": tag, "certificate": certificate} for tag, certificate in standards],
        "curve": curve(record, instrument),
        **certified(kept),
    }


def as_json(report: Content) -> str:
    """The report for machines: each record, as a reading or a total, on a line of its own."""
    return "{\n" + ",\n".join(f"{_encoded(name)}: {_laid_out(value)}" for name, value in report.items()) + "\n}\n"


# All at once it is encoded ten times faster than with an indent.
_encoded = json.JSONEncoder(ensure_ascii=False).encode


def _laid_out(value: Any) -> str:
    return "[\n" + ",\n".join(map(_encoded, value)) + "\n]" if isinstance(value, list) and value else _encoded(value)
