"""A job's balance, as `calib balance` answers: totals of its systems, of the whole and of its rooms."""

from calib.arrays import finite
from calib.faces.parts.cross_checks import (
    CROSS_CHECK_COLUMNS,
    CROSS_CHECKS_TITLE,
    cross_check_lines,
    cross_check_rows,
    cross_checks_document,
)
from calib.faces.parts.joint_probability import joint_document, joint_lines
from calib.faces.parts.limits import NO_GUARD, guard_content, limits_content, one_sided_lines
from calib.faces.parts.not_measured import not_measured, not_measured_lines
from calib.faces.parts.plant_drift import drift_document, drift_sentence
from calib.faces.parts.reading_in_full import result, state_text
from calib.faces.parts.sharing import SHARING_COLUMNS, SHARING_TITLE, sharing_document, sharing_rows, what_to_declare
from calib.faces.parts.state_of_flows import state_document, state_lines
from calib.faces.parts.value_in_unit import value_in
from calib.faces.plain_text import table_text, wrapped_lines
from calib.faces.written import (
    Content,
    design_text,
    figure_text,
    probability_text,
    tolerance_text,
    total_in_full,
    total_name,
)
from calib.procedures.measure.cross_checks import CrossChecks
from calib.procedures.measure.evaluate import Evaluation
from calib.procedures.measure.results import Results
from calib.procedures.measure.risks import RisksOfJob
from calib.procedures.measure.totals import Total, Totals
from calib.procedures.on_record.flow_unit import common_flow_unit, flow_unit, flow_unit_of_report
from calib.quantities import Unit

_TOTALS = ("system", "service", "flow ± U", "design", "% of design", "conformity", "probability", "measured")
_ROOMS = ("room", "supply less extract ± U", "the design asks for", "probability", "measured")
_WANTED = {"positive": "a surplus of supply", "negative": "a surplus of extract", None: "nothing"}


def document(evaluation: Evaluation, of_job: RisksOfJob, checked: CrossChecks, units: str | None) -> Content:
    """Totals of the systems, of the job and of the rooms, whether all of a system's flows conform at once, and the cross-checks.

    All in one unit, as in the report: that of `units`, else the one in which most of the job's flows were typed.
    """
    units = units or flow_unit_of_report(evaluation.outlets.values())
    return (
        {"job": evaluation.job.job}
        | totals(evaluation, units)
        | {
            "joint_probability": joint_document(of_job),
            "plant_drift": drift_document(evaluation),
            "not_measured": not_measured(evaluation, units),
            "cross_checks": cross_checks_document(checked, evaluation, units),
        }
    )


def totals(evaluation: Evaluation, units: str | None = None) -> Content:
    """Totals of the systems, of the job and of the rooms."""
    return {
        "totals": [_total(evaluation, evaluation.of_systems, row, units) for row in range(len(evaluation.totals))],
        "job_totals": [
            _total(evaluation, evaluation.of_job, row, units) for row in range(len(evaluation.of_job.totals))
        ],
        "rooms": [_room(evaluation, row, units) for row in range(len(evaluation.of_rooms.totals))],
        "compared": state_document(evaluation),
    }


def _total(evaluation: Evaluation, totals: Totals, row: int, units: str | None) -> Content:
    """One total of a system or of the job: its flow, how much was measured, and its share of the design."""
    total = totals.totals[row]
    in_unit = _unit_of(evaluation, total, units)
    flow = totals.flow if total.measured > 0 else None
    density = None if evaluation.compared is None else evaluation.compared.density
    return {
        "system": total.system,
        "service": total.service,
        "outlets": total.outlets,
        "outlets_measured": total.measured,
        "state": state_text(density),
        "density_kg_per_m3": density,
        "flow": None if flow is None else result(flow, row, in_unit, density),
        "design": _design_of(totals, row, in_unit),
        "contributions": [] if flow is None else _contributions(evaluation, flow, row, in_unit),
        **({} if flow is None else sharing_document(evaluation, flow, row, totals.not_known[row], in_unit)),
    }


def _contributions(evaluation: Evaluation, flow: Results, row: int, in_unit: Unit) -> list[Content]:
    """What each influence contributes to a total, with all that its readings share; those that contribute nothing are left out."""
    assert evaluation.compared is not None and flow.combined.part_degrees_of_freedom is not None  # noqa: S101, PT018 (measured)
    lines = zip(
        (each.name for each in evaluation.compared.of_totals.contributions),
        flow.combined.uncertainties[row].tolist(),
        flow.combined.part_degrees_of_freedom[row].tolist(),
        flow.combined.variance_percent[row].tolist(),
        strict=True,
    )
    return [
        {
            "name": name,
            "standard_uncertainty": float(in_unit.difference_from_si(u)),
            "degrees_of_freedom": finite(dof),
            "variance_percent": percent,
        }
        for name, u, dof, percent in lines
        if u > 0
    ]


def _unit_of(evaluation: Evaluation, total: Total, units: str | None) -> Unit:
    outlets = evaluation.outlets
    return common_flow_unit(flow_unit(outlets[outlet], units).symbol for outlet in total.sign if outlet in outlets)


def _design_of(totals: Totals, row: int, in_unit: Unit) -> Content | None:
    total, judged = totals.totals[row], totals.judgement
    if finite(total.design) is None:
        return None
    decided = judged is not None and bool(judged.statement[row])
    return {
        **value_in(in_unit, total.design),
        **limits_content(total.declared, total.design, in_unit),
        **(guard_content(judged, row, in_unit) if judged is not None else NO_GUARD),
        "percent_of_design": None if judged is None else finite(judged.percent_of_design[row]),
        "conformity": str(judged.statement[row]) if judged is not None and decided else None,
        "probability_of_conformity": float(judged.probability[row]) if judged is not None and decided else None,
    }


def _room(evaluation: Evaluation, row: int, units: str | None) -> Content:
    room, rooms = evaluation.of_rooms.totals[row], evaluation.of_rooms
    return (
        {"room": room.room}
        | _total(evaluation, rooms, row, units)
        | {
            "wanted": room.wanted or None,
            "probability_as_wanted": None if rooms.as_wanted is None else finite(rooms.as_wanted[row]),
        }
    )


# --- for people ------------------------------------------------------------------------------------------------------------------


def text(answer: Content) -> str:
    """The same for people."""
    rows = [(total["system"], total_name(total), *_total_cells(total)) for total in answer["totals"]]
    rows += [("all systems", total_name(total), *_total_cells(total)) for total in answer["job_totals"]]
    rooms = ["", table_text(_ROOMS, [_room_cells(room) for room in answer["rooms"]])] if answer["rooms"] else []
    every = [*answer["totals"], *answer["job_totals"], *answer["rooms"]]
    shared = sharing_rows(every)
    not_known = (
        ["", f"{SHARING_TITLE}:", table_text(SHARING_COLUMNS, shared), *wrapped_lines(what_to_declare(every))]
        if shared
        else []
    )
    states = wrapped_lines(state_lines(answer["compared"], every))
    said = ["", *states] if states else []
    one_sided = one_sided_lines([(total_in_full(total), total["design"]) for total in every if total["design"]])
    told = [*map(drift_sentence, answer["plant_drift"]), *joint_lines(answer["joint_probability"])]
    joint = wrapped_lines(told)
    beside = ["", *joint] if joint else []
    left = ["", *not_measured_lines(answer["not_measured"])] if answer["not_measured"] else []
    checks = answer["cross_checks"]
    checked = (
        ["", f"{CROSS_CHECKS_TITLE}:", table_text(CROSS_CHECK_COLUMNS, cross_check_rows(checks)),
         *wrapped_lines(cross_check_lines(checks))]
        if checks
        else []
    )  # fmt: skip
    return "\n".join([table_text(_TOTALS, rows), *rooms, *left, *said, *beside, *one_sided, *checked, *not_known])


def _total_cells(total: Content) -> tuple[str, ...]:
    design = total["design"] or {}
    percent = design.get("percent_of_design")
    probability = design.get("probability_of_conformity")
    shown = (
        f"{design_text(design['value'], digits=5)} {design['unit']} {tolerance_text(design)}".rstrip()
        if design
        else "-"
    )
    return (
        total["flow"]["statement"] if total["flow"] else "not measured",
        shown,
        figure_text(percent, ".1f"),
        design.get("conformity") or "-",
        "-" if probability is None else probability_text(probability),
        _measured(total),
    )


def _room_cells(room: Content) -> tuple[str, ...]:
    probability = room["probability_as_wanted"]
    return (
        room["room"],
        room["flow"]["statement"] if room["flow"] else "not measured",
        _WANTED[room["wanted"]],
        "-" if probability is None else probability_text(probability),
        _measured(room),
    )


def _measured(total: Content) -> str:
    return f"{total['outlets_measured']} of {total['outlets']}"
