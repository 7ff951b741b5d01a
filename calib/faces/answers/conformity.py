"""What a job's flows prove against the design, and the risks of the decisions (JCGM 106), as `calib conformity` answers."""

from calib.arrays import finite
from calib.faces.cautions import RULES_IN_WORDS
from calib.faces.parts.reading_in_full import reading_content
from calib.faces.plain_text import table_text
from calib.faces.written import Content, probability_text
from calib.procedures.measure.evaluate import Evaluation
from calib.procedures.measure.risks import RisksOfJob

_OUTLETS = (
    "outlet", "flow ± U", "% of design", "C_m", "conformity", "probability", "risk if accepted", "if rejected",
)  # fmt: skip
_DECISIONS = (
    "decisions", "judged", "accepted", "wrong among accepted", "among rejected", "global: consumer", "producer",
)  # fmt: skip


def document(evaluation: Evaluation, of_job: RisksOfJob, units: str | None) -> Content:
    """What the flows that are judged prove, and the risks of the decisions."""
    return {
        "job": evaluation.job.job,
        "decision_rule": evaluation.job.decision_rule,
        "decision_rule_in_words": RULES_IN_WORDS[evaluation.job.decision_rule],
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
        "statement": (reading["design"]["flow"] or reading["flow"])["statement"],
        **reading["design"],
        "capability_index": float(of_job.capability_index[place]),
        "global_consumer_risk": None if of_outlets is None else float(of_outlets.consumer[place]),
        "global_producer_risk": None if of_outlets is None else float(of_outlets.producer[place]),
    }


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
                "system": decision.system,
                "judged": decision.judged,
                "accepted": decision.accepted,
                "expected_wrongly_accepted": decision.wrongly_accepted,
                "expected_wrongly_rejected": decision.wrongly_rejected,
                "global_consumer_risk": finite(decision.consumer_risk),
                "global_producer_risk": finite(decision.producer_risk),
            }
            for decision in of_job.counted
        ],
    }


# --- for people ------------------------------------------------------------------------------------------------------------------


def text(answer: Content) -> str:
    """The same for people."""
    outlets = table_text(_OUTLETS, [_outlet_cells(outlet) for outlet in answer["outlets"]])
    risks = ["", *_risk_lines(answer["risks"])] if answer["risks"] else []
    return "\n".join([answer["decision_rule_in_words"], "", outlets, *risks])


def _outlet_cells(outlet: Content) -> tuple[str, ...]:
    return (
        outlet["outlet"],
        outlet["statement"],
        f"{outlet['percent_of_design']:.1f}",
        f"{outlet['capability_index']:.2f}",
        outlet["conformity"],
        probability_text(outlet["probability_of_conformity"]),
        f"{100 * outlet['consumer_risk']:.2g} %",
        f"{100 * outlet['producer_risk']:.2g} %",
    )


def _risk_lines(risks: Content) -> list[str]:
    lines = [table_text(_DECISIONS, [_decision_cells(decision) for decision in risks["decisions"]])]
    process = risks["process"]
    if process:
        told = (
            f"global risks: true flows about {process['mean_percent_of_design']:.1f} % of design with a standard deviation of "
            f"{process['standard_deviation_percent']:.1f} % ({process['basis']})"
        )
        lines += ["", told]
    return lines


def _decision_cells(decision: Content) -> tuple[str, ...]:
    both = (decision[name] for name in ("global_consumer_risk", "global_producer_risk"))
    return (
        f"system {decision['system']}" if decision["system"] else "whole job",
        str(decision["judged"]),
        str(decision["accepted"]),
        f"{decision['expected_wrongly_accepted']:.2f}",
        f"{decision['expected_wrongly_rejected']:.2f}",
        *("-" if risk is None else f"{100 * risk:.2g} %" for risk in both),
    )
