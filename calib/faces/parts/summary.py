"""What a report says at a glance, as its page one and its JSON have it (`summary`)."""

from calib.arrays import finite
from calib.faces.parts.limits import limits_content
from calib.faces.parts.value_in_unit import value_in
from calib.faces.written import Content
from calib.procedures.measure.evaluate import Evaluation
from calib.procedures.measure.totals import design_of
from calib.procedures.on_record.flow_unit import flow_unit
from calib.procedures.report.summary import NeedsAttention, summary_of
from calib.quantities import Unit


def summary_document(evaluation: Evaluation, totals: Content, units: str | None) -> Content:
    """Counts that add up, who measured and when, what needs attention, the totals of the systems, how sure it is.

    `totals` are those of the same report, in its one unit.
    """
    summary = summary_of(evaluation)
    readings = [each.reading for each in evaluation.measured]
    observed = sorted((each.at, each.reading.observed_at) for each in evaluation.measured)
    relative = summary.relative_uncertainties
    return {
        "design_flows": sum(summary.designs.values()),
        "statements": dict(summary.designs),
        "design_flows_of_ducts": summary.designs_of_ducts,
        "without_design": summary.without_design,
        "ducts_without_design": summary.ducts_without_design,
        "not_measured_without_design": summary.not_measured_without_design,
        "latest_readings": summary.latest,
        "superseded_readings": summary.superseded,
        "repeats": summary.repeats,
        "measured_by": list(dict.fromkeys(each.operator for each in readings)),
        "measured_from": observed[0][1] if observed else None,
        "measured_until": observed[-1][1] if observed else None,
        "attention": [_attention(evaluation, each, units) for each in summary.attention],
        "systems": [_total(each) for each in (*totals["totals"], *totals["job_totals"])],
        "relative_expanded_uncertainty_percent": None
        if relative is None
        else {"least": 100.0 * relative[0], "largest": 100.0 * relative[1]},
        "ruled_by": [{"contribution": name, "readings": count} for name, count in summary.ruled_by.items()],
    }


def _attention(evaluation: Evaluation, each: NeedsAttention, units: str | None) -> Content:
    in_unit, design = flow_unit(each.outlet, units), design_of(each.outlet)
    low, high = each.passing or (None, None)
    return {
        "outlet": each.outlet.outlet,
        "system": each.outlet.system,
        "service": each.outlet.service,
        "statement": each.statement,
        "reading": None if each.row is None else evaluation.measured[each.row].reading.id,
        "design": {**value_in(in_unit, design), **limits_content(each.outlet, design, in_unit)},
        "observations_to_settle": each.observations,
        "passing_flows": None
        if low is None or high is None
        else {"from": _end(in_unit, low), "to": _end(in_unit, high), "unit": in_unit.symbol},
        "reasons": list(each.reasons),
    }


def _end(in_unit: Unit, flow: float) -> float | None:
    return finite(in_unit.from_si(flow))


def _total(total: Content) -> Content:
    """A total of a system or of the job in short."""
    design = total["design"] or {"value": None, "conformity": None}
    said = {name: total[name] for name in ("system", "service", "outlets", "outlets_measured", "flow")}
    return said | {"design": design["value"], "conformity": design["conformity"]}
