"""The report as one table."""

import csv
import io
from collections.abc import Mapping
from typing import Any

from calib.faces.written import Content

_CSV_COLUMNS = (
    "record", "system", "service", "outlet", "instrument", "certificate", "observed_at", "velocity", "velocity_unit",
    "velocity_standard_uncertainty", "flow", "flow_unit", "standard_uncertainty", "expanded_uncertainty", "coverage_factor",
    "coverage_probability", "effective_degrees_of_freedom", "statement", "design_flow", "tolerance_percent", "percent_of_design",
    "conformity", "probability_of_conformity", "in_totals", "outlets", "outlets_measured", "reasons", "place", "room", "probe",
    "conditions", "density_kg_m3", "found_factor", "consumer_risk", "producer_risk", "flags", "wanted", "probability_as_wanted",
    "revision", "column", "before", "after", "job", "state", "issued", "issued_by", "decision_rule", "ledger_digest",
    "laboratory", "calibrated_on", "due_on",
)  # fmt: skip


def as_csv(report: Content) -> str:
    """The report as one table: a row for itself and for each record of it, from reading to instrument and reference standard."""
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, _CSV_COLUMNS, restval="", lineterminator="\n")
    writer.writeheader()
    rows = [
        _csv_report(report),
        *(_csv_reading(one) for one in report["readings"]),
        *(_csv_total("total", one) for one in report["totals"]),
        *(_csv_total("job total", one) for one in report["job_totals"]),
        *(_csv_total("room", one) | _same(one, "room", "wanted", "probability_as_wanted") for one in report["rooms"]),
        *(
            {"record": "refusal", "reasons": " | ".join(one["reasons"])}
            | _same(one, "system", "service", "outlet", "instrument", "observed_at")
            for one in report["refusals"]
        ),
        *(
            {
                "record": "amendment",
                "outlet": one["record"],
                "reasons": one["reason"],
                "revision": one["revision"],
                **change,
            }
            for one in report["amendments"]
            for change in one["changes"]
        ),
        *({"record": "change", "column": one["what"]} | _same(one, "before", "after") for one in report["changes"]),
        *(
            {"record": record, "instrument": one["tag"]}
            | _same(one, "certificate", "laboratory", "calibrated_on", "due_on")
            for record, part in (("instrument", "instruments"), ("reference standard", "reference_standards"))
            for one in report[part]
        ),
        *(_csv_open_review(one) for one in report["open_reviews"]),
    ]
    for row in rows:
        writer.writerow({name: _harmless(cell) for name, cell in row.items()})
    return out.getvalue()


def _csv_report(report: Content) -> Content:
    return {
        "record": "report",
        "state": "draft" if report["is_draft"] else "issued",
        "reasons": report["revision_reason"],
    } | _same(report, "job", "revision", "issued", "issued_by", "decision_rule", "ledger_digest")


def _csv_open_review(one: Content) -> Content:
    readings = ", ".join(map(str, one["readings"])) or "none"
    return {
        "record": "open review",
        "reasons": (
            f"found beyond its limits when calibrated on {one['calibrated_on']}; readings of this job that rest on it: {readings}; "
            f"lines of the review without a disposition: {one['open_lines_in_all']}"
        ),
        **_same(one, "instrument", "certificate"),
    }


def _csv_reading(one: Content) -> Content:
    velocity, design = one["velocity"] or {}, one["design"] or {}
    return {
        "record": "reading",
        "velocity": velocity.get("value"),
        "velocity_unit": velocity.get("unit"),
        "velocity_standard_uncertainty": velocity.get("standard_uncertainty"),
        **_csv_flow(one["flow"]),
        "design_flow": design.get("value"),
        **_same(one, "system", "service", "outlet", "instrument", "certificate", "observed_at", "in_totals"),
        **_csv_design(design),
        **_same(one, "place", "room"),
        **_csv_rests_on(one),
    }


def _csv_rests_on(one: Content) -> Content:
    probe, air, factor = one["probe"] or {}, one["conditions"] or {}, one["found_factor"] or {}
    return {
        "probe": probe.get("tag"),
        "conditions": air.get("name"),
        "density_kg_m3": air["density"]["value"] if air else None,
        "found_factor": factor.get("factor"),
        "flags": " | ".join(one["flags"]),
    }


def _csv_total(record: str, one: Content) -> Content:
    design = one["design"] or {}
    return (
        {"record": record, "design_flow": design.get("value"), **_csv_flow(one["flow"]), **_csv_design(design)}
        | _same(one, "system", "service", "outlets", "outlets_measured")
    )  # fmt: skip


def _csv_design(design: Content) -> Content:
    return _same(
        design,
        "tolerance_percent",
        "percent_of_design",
        "conformity",
        "probability_of_conformity",
        "consumer_risk",
        "producer_risk",
    )


def _csv_flow(flow: Content | None) -> Content:
    if flow is None:
        return {}
    return {"flow": flow["value"], "flow_unit": flow["unit"]} | _same(
        flow,
        "standard_uncertainty",
        "expanded_uncertainty",
        "coverage_factor",
        "coverage_probability",
        "effective_degrees_of_freedom",
        "statement",
    )


def _same(source: Mapping[str, Any], *names: str) -> Content:
    return {name: source[name] for name in names if name in source}


def _harmless(cell: Any) -> Any:
    """Text that a spreadsheet would run as a formula gets an apostrophe before it; numbers stay numbers."""
    return f"'{cell}" if isinstance(cell, str) and cell[:1] in ("=", "+", "-", "@", "\t", "\r") else cell
