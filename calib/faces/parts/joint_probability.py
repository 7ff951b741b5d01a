"""The probability that all outlets conform at once, as every answer that judges a job says it."""

from calib.confirmation.joint_conformity import JointProbability
from calib.faces.written import Content, probability_text
from calib.procedures.measure.risks import RisksOfJob


def joint_document(of_job: RisksOfJob) -> list[Content]:
    """Of each system and of the job: a probability with the error of its computation, and both answers to what is not known."""
    return [
        {
            "system": decision.system,
            "outlets": decision.judged,
            **_computed(decision.all_conform.counts),
            "if_common": _computed(decision.all_conform.if_common),
            "if_independent": _computed(decision.all_conform.if_independent),
        }
        for decision in of_job.counted
    ]


def _computed(answer: JointProbability) -> Content:
    return {"probability": answer.probability, "numerical_error": answer.numerical_error}


def joint_lines(joint: list[Content]) -> list[str]:
    """The same in sentences."""
    return [joint_sentence(each) for each in joint]


def joint_sentence(each: Content) -> str:
    """Of one system, or of the job."""
    where = f"of system {each['system']}" if each["system"] else "of the whole job"
    flows = (
        "the judged flow {} conforms"
        if each["outlets"] == 1
        else f"all {each['outlets']} judged flows {{}} conform at once"
    )
    common, independent = (probability_text(each[name]["probability"]) for name in ("if_common", "if_independent"))
    not_known = (
        ""
        if common == independent
        else f"; {common} if what is not known to be shared is common, {independent} if it is not"
    )
    return f"{flows.format(where)} with probability {probability_text(each['probability'])}{_error(each)}{not_known}"


def _error(each: Content) -> str:
    """The error of the computation, where a digit that is printed can be wrong by it."""
    return f" (computed to ± {100 * each['numerical_error']:.1g} %)" if each["numerical_error"] > 0 else ""
