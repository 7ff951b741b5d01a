"""What a job's flows prove against the design, and the risks of the decisions (JCGM 106), as `calib conformity` answers."""

from collections.abc import Iterator, Sequence

from calib.arrays import finite
from calib.faces.cautions import RULES_IN_WORDS
from calib.faces.parts.decisions import kinds_told, risks_told
from calib.faces.parts.joint_probability import joint_document, joint_lines
from calib.faces.parts.limits import one_sided_lines
from calib.faces.parts.plant_drift import drift_document, drift_sentence
from calib.faces.parts.reading_in_full import reading_content
from calib.faces.plain_text import table_text, wrapped, wrapped_lines
from calib.faces.written import Content, figure_text, probability_text, tolerance_text
from calib.procedures.measure.evaluate import Evaluation
from calib.procedures.measure.risks import FEWEST_OF_A_PROCESS, RisksOfJob
from calib.procedures.on_record.flow_unit import flow_unit_of_report

_OUTLETS = (
    "outlet", "flow ± U", "% of design", "limits", "C_m", "conformity", "probability", "risk if accepted", "if rejected",
)  # fmt: skip
_DECISIONS = ("decisions", "judged", "accepted", "wrong among accepted", "among rejected")
# Global risks where a process holds, and the mean of the specific ones where none does.
_RISKS = {"global": "global", "mean_specific": "mean specific"}


def document(evaluation: Evaluation, of_job: RisksOfJob, units: str | None) -> Content:
    """What the flows that are judged prove, and the risks of the decisions; in one unit, as in the report."""
    units = units or flow_unit_of_report(evaluation.outlets.values())
    return {
        "job": evaluation.job.job,
        "decision_rule": evaluation.job.decision_rule,
        "decision_rule_in_words": RULES_IN_WORDS[evaluation.job.decision_rule],
        "outlets": [
            _judged(reading_content(evaluation, row, units), of_job, place) for place, row in enumerate(of_job.rows)
        ],
        "risks": risks(of_job),
        "joint_probability": joint_document(of_job),
        "plant_drift": drift_document(evaluation),
    }


def _judged(reading: Content, of_job: RisksOfJob, place: int) -> Content:
    of_outlets = of_job.of_outlets
    return {
        "outlet": reading["outlet"],
        "system": reading["system"],
        "reading": reading["reading"],
        "statement": (reading["design"]["flow"] or reading["flow"])["statement"],
        **reading["design"],
        "capability_index": finite(of_job.capability_index[place]),
        "stage": reading["stage"],
        "global_consumer_risk": None if of_outlets is None else finite(of_outlets.consumer[place]),
        "global_producer_risk": None if of_outlets is None else finite(of_outlets.producer[place]),
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
        "readings_before_adjustment": of_job.before_adjustment,
        "about_the_risks": list(_about(of_job)),
        "decisions": [
            {
                "system": decision.system,
                "judged": decision.judged,
                "accepted": decision.accepted,
                "expected_wrongly_accepted": decision.wrongly_accepted,
                "expected_wrongly_rejected": decision.wrongly_rejected,
                "global_consumer_risk": finite(decision.consumer_risk),
                "global_producer_risk": finite(decision.producer_risk),
                "outlets_of_process": decision.by_process,
                "mean_specific_consumer_risk": finite(decision.mean_consumer_risk),
                "mean_specific_producer_risk": finite(decision.mean_producer_risk),
                "outlets_after_adjustment": decision.after_adjustment,
            }
            for decision in of_job.counted
        ],
    }


def _about(of_job: RisksOfJob) -> Iterator[str]:
    """What the risks are of, and what they are not."""
    process, whole = of_job.process, of_job.counted[-1]
    if process is not None:
        yield (
            f"global risks: true flows about {100.0 * process.mean:.1f} % of design with a standard deviation of "
            f"{100.0 * process.standard_deviation:.1f} % ({process.basis})"
        )
    else:
        yield (
            f"no global risks: a process is estimated from {FEWEST_OF_A_PROCESS} readings before adjustment or more "
            f"(there {'is' if of_job.before_adjustment == 1 else 'are'} {of_job.before_adjustment}), or declared"
        )
    if whole.after_adjustment:
        yield (
            "mean specific risk, after setting to the reading: about right if the error stays at the outlet, high if it was read "
            "afresh; outlets left untouched can be worse, up to half again in simulations"
        )
    if whole.judged - whole.by_process - whole.after_adjustment:
        yield (
            "mean specific risk of readings that no process describes: it is the expected number of wrong decisions over the "
            "number of readings, and knows nothing of what is usual in the installation"
        )


# --- for people ------------------------------------------------------------------------------------------------------------------


def text(answer: Content) -> str:
    """The same for people."""
    outlets = table_text(_OUTLETS, [_outlet_cells(outlet) for outlet in answer["outlets"]])
    risks = ["", *_risk_lines(answer["risks"])] if answer["risks"] else []
    told = [*map(drift_sentence, answer["plant_drift"]), *joint_lines(answer["joint_probability"])]
    joint = wrapped_lines(told)
    one_sided = one_sided_lines([(outlet["outlet"], outlet) for outlet in answer["outlets"]])
    risks = [*(["", *one_sided] if one_sided else []), *risks]
    return "\n".join(
        [*wrapped(answer["decision_rule_in_words"]), "", outlets, *risks, *(["", *joint] if joint else [])]
    )


def _outlet_cells(outlet: Content) -> tuple[str, ...]:
    return (
        outlet["outlet"],
        outlet["statement"],
        f"{outlet['percent_of_design']:.1f}",
        tolerance_text(outlet),
        figure_text(outlet["capability_index"], ".2f"),
        outlet["conformity"],
        probability_text(outlet["probability_of_conformity"]),
        f"{100 * outlet['consumer_risk']:.2g} %",
        f"{100 * outlet['producer_risk']:.2g} %",
    )


def _risk_lines(risks: Content) -> list[str]:
    given = kinds_told(risks["decisions"])
    header = [*_DECISIONS, *(column for name in given for column in (f"{_RISKS[name]}: consumer", "producer"))]
    lines = [table_text(header, [_decision_cells(decision, given) for decision in risks["decisions"]])]
    return [*lines, "", *wrapped_lines(risks["about_the_risks"])]


def _decision_cells(decision: Content, given: Sequence[str]) -> tuple[str, ...]:
    return (
        f"system {decision['system']}" if decision["system"] else "whole job",
        str(decision["judged"]),
        str(decision["accepted"]),
        f"{decision['expected_wrongly_accepted']:.2f}",
        f"{decision['expected_wrongly_rejected']:.2f}",
        *("-" if risk is None else f"{100 * risk:.2g} %" for risk in risks_told(decision, given)),
    )
