"""Totals of systems, job and rooms, what the judged flows prove, and the risks of the decisions, unrounded."""

import math

from calib.faces.answers.reading import flow_unit, reading_content, result
from calib.faces.cautions import RULES
from calib.faces.written import Content
from calib.procedures.measure.evaluate import Evaluation, Total
from calib.procedures.measure.risks import RisksOfJob
from calib.procedures.measure.totals import Totals
from calib.quantities import Unit, unit


def balance_content(evaluation: Evaluation, units: str | None = None) -> Content:
    """Totals of the systems, of the job and of the rooms."""
    return {
        "totals": [
            total_content(evaluation, evaluation.of_systems, row, units) for row in range(len(evaluation.totals))
        ],
        "job_totals": [
            total_content(evaluation, evaluation.of_job, row, units) for row in range(len(evaluation.of_job.totals))
        ],
        "rooms": [_room(evaluation, row, units) for row in range(len(evaluation.of_rooms.totals))],
    }


def conformity_content(evaluation: Evaluation, of_job: RisksOfJob, units: str | None = None) -> Content:
    """What the flows that are judged prove, and the risks of the decisions."""
    return {
        "decision_rule": evaluation.job.decision_rule,
        "decision_rule_in_words": RULES[evaluation.job.decision_rule],
        "outlets": [
            _judged(reading_content(evaluation, row, units), of_job, place) for place, row in enumerate(of_job.rows)
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


def total_content(evaluation: Evaluation, totals: Totals, row: int, units: str | None) -> Content:
    """One total of a system or of the job: its flow, how much was measured, and its share of the design."""
    total = totals.totals[row]
    in_unit = _unit_of(evaluation, total, units)
    stands = totals.flow is not None and total.measured > 0
    return {
        "system": total.system,
        "service": total.service,
        "outlets": total.outlets,
        "outlets_measured": total.measured,
        "flow": result(totals.flow, row, in_unit) if stands and totals.flow is not None else None,
        "design": _design_of(totals, row, in_unit),
    }


def _unit_of(evaluation: Evaluation, total: Total, units: str | None) -> Unit:
    measured = evaluation.measured_outlets
    symbols = {flow_unit(measured[outlet], units).symbol for outlet in total.sign if outlet in measured}
    return unit("volume flow", symbols.pop() if len(symbols) == 1 else "L/s")


def _design_of(totals: Totals, row: int, in_unit: Unit) -> Content | None:
    total, judged = totals.totals[row], totals.judgement
    if not math.isfinite(total.design):
        return None
    complete = judged is not None and math.isfinite(judged.percent_of_design[row])
    decided = judged is not None and bool(judged.statement[row])
    return {
        "value": float(in_unit.from_si(total.design)),
        "unit": in_unit.symbol,
        "tolerance_percent": 100.0 * total.tolerance if math.isfinite(total.tolerance) else None,
        "percent_of_design": float(judged.percent_of_design[row]) if judged is not None and complete else None,
        "conformity": str(judged.statement[row]) if judged is not None and decided else None,
        "probability_of_conformity": float(judged.probability[row]) if judged is not None and decided else None,
    }


def _room(evaluation: Evaluation, row: int, units: str | None) -> Content:
    room, rooms = evaluation.of_rooms.totals[row], evaluation.of_rooms
    wanted = rooms.as_wanted is not None and math.isfinite(rooms.as_wanted[row])
    return (
        {"room": room.room}
        | total_content(evaluation, rooms, row, units)
        | {
            "wanted": room.wanted or None,
            "probability_as_wanted": float(rooms.as_wanted[row]) if rooms.as_wanted is not None and wanted else None,
        }
    )


def risks(of_job: RisksOfJob) -> Content | None:
    """Risks of wrong decisions of a job; None where nothing is judged."""
    if not of_job.rows:
        return None
    process = of_job.process
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
                "system": lot.system,
                "judged": lot.judged,
                "accepted": lot.accepted,
                "expected_wrongly_accepted": lot.wrongly_accepted,
                "expected_wrongly_rejected": lot.wrongly_rejected,
                "global_consumer_risk": _finite(lot.consumer_risk),
                "global_producer_risk": _finite(lot.producer_risk),
            }
            for lot in of_job.counted
        ],
    }


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
