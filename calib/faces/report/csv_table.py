"""The report as one table."""

import csv
import io
from collections.abc import Iterator, Mapping
from typing import Any

from calib.faces.parts.cross_checks import cross_check_rows
from calib.faces.parts.review_on_job import decided_text
from calib.faces.written import Content, with_units

_CSV_COLUMNS = (
    "record", "system", "service", "outlet", "instrument", "certificate", "observed_at", "velocity", "velocity_unit",
    "velocity_standard_uncertainty", "flow", "flow_unit", "standard_uncertainty", "expanded_uncertainty", "coverage_factor",
    "coverage_probability", "effective_degrees_of_freedom", "statement", "design_flow", "tolerance_percent", "percent_of_design",
    "conformity", "probability_of_conformity", "in_totals", "outlets", "outlets_measured", "reasons", "place", "room", "probe",
    "conditions", "density_kg_m3", "found_factor", "consumer_risk", "producer_risk", "flags", "wanted", "probability_as_wanted",
    "revision", "column", "before", "after", "job", "state", "issued", "issued_by", "decision_rule", "ledger_digest",
    "laboratory", "calibrated_on", "due_on", "flow_density_kg_per_m3", "design_density_kg_per_m3", "flow_at_design_density",
    "flow_at_design_density_expanded_uncertainty", "stage", "probability", "numerical_error",
    "lower_limit", "upper_limit", "guard_band", "guard_factor",
    "drift_percent", "standard_uncertainty_percent", "carried_percent",
    "interval_low", "interval_high", "normalised_error", "agrees",
    "reading", "indications", "throttled_indications", "indication_unit", "method", "operator", "remarks", "averaging_s",
    "shape", "width", "height", "diameter", "dimension_unit", "dimension_limit",
    "factor_kind", "factor_value", "factor_unit", "factor_standard_uncertainty", "factor_source", "source_document",
    "method_percent", "method_degrees_of_freedom", "method_common_percent", "method_common_degrees_of_freedom",
    "method_own_percent", "method_own_degrees_of_freedom", "method_basis", "pair",
)  # fmt: skip


_OF_PHOTOGRAPHS = ("file", "sha256")  # columns that stand behind the others where photographs are asked for


def as_csv(report: Content) -> str:
    """The report as one table: a row for itself and for each record of it, from reading to instrument and reference standard."""
    out = io.StringIO(newline="")
    columns = (*_CSV_COLUMNS, *(_OF_PHOTOGRAPHS if "photographs" in report else ()))
    writer = csv.DictWriter(out, columns, restval="", lineterminator="\n")
    writer.writeheader()
    rows = [
        _csv_report(report),
        *(_csv_reading(each) for each in report["readings"]),
        *(_csv_total("total", each) for each in report["totals"]),
        *(_csv_total("job total", each) for each in report["job_totals"]),
        *(
            _csv_total("room", each) | _same(each, "room", "wanted", "probability_as_wanted")
            for each in report["rooms"]
        ),
        *(
            {"record": "refusal", "reasons": " | ".join(each["reasons"]), "indication_unit": each["unit"]}
            | {"indications": each["observations"] or each["indication"]}
            | _same(each, "system", "service", "outlet", "instrument", "observed_at", "operator", "remarks")
            for each in report["refusals"]
        ),
        *(
            {"record": "not measured", "reasons": " | ".join(each["reasons"])}
            | {"design_flow": (each["design"] or {}).get("value"), "flow_unit": (each["design"] or {}).get("unit")}
            | _same(each, "system", "service", "outlet", "place", "room")
            for each in report["not_measured"]
        ),
        *(
            {
                "record": "amendment",
                "outlet": each["record"],
                "reasons": each["reason"],
                "revision": each["revision"],
                **change,
            }
            for each in report["amendments"]
            for change in each["changes"]
        ),
        *(
            {"record": "change", "column": each["what"], "reasons": " | ".join(each["because"])}
            | _same(each, "before", "after")
            for each in report["changes"]
        ),
        *(
            {"record": record, "instrument": each["tag"]}
            | _same(each, "certificate", "laboratory", "calibrated_on", "due_on")
            for record, part in (("instrument", "instruments"), ("reference standard", "reference_standards"))
            for each in report[part]
        ),
        *(row for factor in report["found_factors"] for row in _csv_found_factor(factor)),
        *(_csv_open_review(each) for each in report["open_reviews"]),
        *(_csv_decided(each) for each in report["reviews"] if each["decision"] is not None),
        *(
            {"record": "plant drift", "observed_at": each["first_observed_at"]}
            | _same(
                each, "system", "service", "outlet", "drift_percent", "standard_uncertainty_percent", "carried_percent"
            )
            for each in report["plant_drift"]
        ),
        *(
            {"record": "cross-check", "outlet": flow, "reasons": f"{first} | {second}"}
            | _csv_flow(check["difference"])
            | _same(check, "system", "service", "room", "normalised_error", "agrees")
            for check, (flow, first, second, *_) in zip(
                report["cross_checks"], cross_check_rows(report["cross_checks"]), strict=True
            )
        ),
        *(
            {"record": "joint probability", "outlets": each["outlets"]}
            | _same(each, "system", "probability", "numerical_error")
            for each in report["joint_probability"]
        ),
        *(
            {"record": "photograph", "file": each["name"]} | _same(each, "outlet", "reading", "remarks", "sha256")
            for each in report.get("photographs", ())
        ),
    ]
    for row in rows:
        writer.writerow({name: _harmless(cell) for name, cell in row.items()})
    return out.getvalue()


def _csv_report(report: Content) -> Content:
    return {
        "record": "report",
        "state": "draft" if report["is_draft"] else "issued",
        "reasons": " | ".join(filter(None, (report["revision_reason"], report["gaps_reason"]))),
    } | _same(report, "job", "revision", "issued", "issued_by", "decision_rule", "ledger_digest")


def _csv_found_factor(factor: Content) -> Iterator[Content]:
    """A revision of a factor found on site, as it is used with the same calibration, and a row for each of its pairs."""
    said = {"found_factor": factor["factor"], "factor_kind": "found factor", "factor_unit": "1"}
    said |= _same(factor, "revision", "instrument", "certificate", "method")
    u = factor["same_calibration"]["standard_uncertainty"]
    reasons = " | ".join([factor["reason"], *factor["cautions"]])
    yield {
        "record": "found factor",
        "factor_value": factor["value"],
        "factor_standard_uncertainty": u,
        "reasons": reasons,
    } | said
    for pair in factor["pairs"]:
        of_pair = {
            "pair": f"{pair['traverse']}:{pair['face']}",
            "factor_value": pair["value"],
            **_same(pair, "outlet", "observed_at"),
        }
        yield {"record": "factor pair"} | said | of_pair


def _csv_open_review(review: Content) -> Content:
    readings = ", ".join(map(str, review["readings"])) or "none"
    return {
        "record": "open review",
        "reasons": (
            f"{review['happened']}; readings of this job that rest on it: "
            f"{readings}; lines of the review without a disposition: {review['open_lines_in_all']}"
        ),
        **_same(review, "instrument", "certificate"),
    }


def _csv_decided(review: Content) -> Content:
    reasons = f"{review['happened']}; {decided_text(review)}"
    return {"record": "decided review", "reasons": reasons, **_same(review, "instrument", "certificate")}


def _csv_reading(reading: Content) -> Content:
    velocity, design = reading["velocity"] or {}, reading["design"] or {}
    return {
        "record": "reading",
        "velocity": velocity.get("value"),
        "velocity_unit": velocity.get("unit"),
        "velocity_standard_uncertainty": velocity.get("standard_uncertainty"),
        **_csv_flow(reading["flow"]),
        "design_flow": design.get("value"),
        **_same(reading, "system", "service", "outlet", "instrument", "certificate", "observed_at", "in_totals"),
        **_csv_design(design),
        **_csv_state(design),
        **_same(reading, "place", "room", "stage"),
        **_csv_rests_on(reading),
        **_same(reading, "reading", "indication_unit", "method", "operator", "remarks", "averaging_s"),
        **_csv_evidence(reading["evidence"]),
    }


def _csv_evidence(evidence: Content) -> Content:
    """What a flow was worked out from, as typed; several indications are joined by semicolons, points of a traverse by blanks."""
    parted = " " if any("=" in each for each in evidence["indications"]) else ";"
    factor, method = evidence["factor"] or {}, evidence["method"]
    return {
        "indications": parted.join(evidence["indications"]),
        "throttled_indications": ";".join(evidence["throttled_indications"]),
        **(evidence["dimensions"] or {}),
        **{f"factor_{name}": cell for name, cell in factor.items()},
        "source_document": " | ".join(each["document"] for each in evidence["sources"]),
        "method_percent": method["relative_standard_uncertainty_percent"],
        "method_degrees_of_freedom": method["degrees_of_freedom"],
        "method_basis": method["basis"],
        **{f"method_{part}_percent": method[f"{part}_standard_uncertainty_percent"] for part in ("common", "own")},
        **{f"method_{part}_degrees_of_freedom": method[f"{part}_degrees_of_freedom"] for part in ("common", "own")},
    }


def _csv_state(design: Content) -> Content:
    """The density that a design states, and the flow as it is judged there."""
    flow = design.get("flow") or {}
    return {
        "design_density_kg_per_m3": design.get("density_kg_per_m3"),
        "flow_at_design_density": flow.get("value"),
        "flow_at_design_density_expanded_uncertainty": flow.get("expanded_uncertainty"),
    }


def _csv_rests_on(reading: Content) -> Content:
    probe, air, factor = reading["probe"] or {}, reading["conditions"] or {}, reading["found_factor"] or {}
    return {
        "probe": probe.get("tag"),
        "conditions": air.get("name"),
        "density_kg_m3": air["density"]["value"] if air else None,
        "found_factor": factor.get("factor"),
        "flags": " | ".join(reading["flags"]),
    }


def _csv_total(record: str, total: Content) -> Content:
    design = total["design"] or {}
    return (
        {"record": record, "design_flow": design.get("value"), **_csv_flow(total["flow"]), **_csv_design(design),
         "flow_density_kg_per_m3": total["density_kg_per_m3"],
         "design_density_kg_per_m3": total["density_kg_per_m3"] if design else None}
        | _same(total, "system", "service", "outlets", "outlets_measured")
    )  # fmt: skip


def _csv_design(design: Content) -> Content:
    return _same(
        design,
        "tolerance_percent",
        "lower_limit",
        "upper_limit",
        "guard_band",
        "guard_factor",
        "percent_of_design",
        "conformity",
        "probability_of_conformity",
        "consumer_risk",
        "producer_risk",
    )


def _csv_flow(flow: Content | None) -> Content:
    if flow is None:
        return {}
    ends = {f"interval_{end}": flow["interval"][end] for end in ("low", "high")} if flow["interval"] else {}
    return (
        {"flow": flow["value"], "flow_unit": flow["unit"], **ends}
        | _same(
            flow,
            "standard_uncertainty",
            "expanded_uncertainty",
            "coverage_factor",
            "coverage_probability",
            "effective_degrees_of_freedom",
        )
        | {"statement": with_units(flow["statement"])}
    )


def _same(source: Mapping[str, Any], *names: str) -> Content:
    return {name: source[name] for name in names if name in source}


def _harmless(cell: Any) -> Any:
    """Text that a spreadsheet would run as a formula gets an apostrophe before it; numbers stay numbers."""
    return f"'{cell}" if isinstance(cell, str) and cell[:1] in ("=", "+", "-", "@", "\t", "\r") else cell
