"""A job's report: one content, written as JSON, CSV and HTML.

Numbers in the content are unrounded; a `statement` is the rounded text.
"""

import csv
import io
import json
import math
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

import numpy as np

from calib import __version__
from calib.curves.curve import CorrectionCurve, Curve
from calib.curves.response import ResponseCurve, ResponseFit, from_text
from calib.faces.cautions import CAUTIONS, RULES
from calib.procedures.budget_of import RECTANGULAR
from calib.procedures.evaluate import NET, Evaluation, Measured, Refused, Results
from calib.quantities import UNITS, Unit, preferred, unit
from calib.records import tables
from calib.uncertainty.budget import dominant
from calib.uncertainty.propagation import Combined, Contribution
from calib.uncertainty.statement import statement

Content = dict[str, Any]


def content(found: Evaluation, issued: datetime, ledger_digest: str, units: str | None = None) -> Content:
    """Everything that a report says. `units` is "si", "ip", or None for the units that were typed."""
    return {
        "job": found.job.job,
        "title": found.job.title,
        "site": found.job.site,
        "client": found.job.client,
        "issued": issued.isoformat(),
        "decision_rule": found.job.decision_rule,
        "decision_rule_in_words": RULES[found.job.decision_rule],
        "ledger_digest": ledger_digest,
        "readings": [reading_content(found, row, units) for row in range(len(found.measured))],
        "totals": _totals(found, units),
        "refusals": [_refusal(one) for one in found.refused],
        "instruments": _instruments(found.measured, found),
        "cautions": list(CAUTIONS),
        "written_by": f"calib {__version__}",
    }


def flow_unit(outlet: tables.Outlet, units: str | None) -> Unit:
    """Unit in which an outlet's flow is printed."""
    return preferred("volume flow", units) if units else unit("volume flow", outlet.flow_unit or "L/s")


def velocity_unit(reading: tables.Reading, units: str | None) -> Unit:
    """Unit in which a reading's velocity is printed."""
    if units:
        return preferred("air velocity", units)
    # A reading in volts or pascals is a velocity in m/s.
    return unit("air velocity", reading.unit if reading.unit in UNITS["air velocity"] else "m/s")


def _finite(number: float) -> float | None:
    """JSON knows no infinity: what is infinite, or not there, is null."""
    return float(number) if math.isfinite(number) else None


def reading_content(found: Evaluation, row: int, units: str | None) -> Content:
    """One reading of a job with its flow, its budget and its conformity."""
    assert found.velocity is not None and found.flow is not None and found.flows is not None  # noqa: S101, PT018
    one = found.measured[row]
    in_flow, in_velocity = flow_unit(one.outlet, units), velocity_unit(one.reading, units)
    velocity_u = float(found.velocity.combined.standard_uncertainty[row])
    return {
        "reading": one.reading.id,
        "outlet": one.outlet.outlet,
        "system": one.outlet.system,
        "service": one.outlet.service,
        "instrument": one.instrument.tag,
        "certificate": one.calibration.certificate,
        "observed_at": one.reading.observed_at,
        "indication": one.reading.indication or f"{one.observed.mean:.6g}",
        "observations": one.reading.observations,
        "observations_counted": one.indication.observations,
        "effective_observations": one.indication.effective_observations,
        "logged": one.observed.logged,
        "indication_unit": one.reading.unit,
        "method": one.method.method,
        "operator": one.reading.operator,
        "remarks": one.reading.remarks,
        "averaging_s": one.reading.averaging_s,
        "in_totals": one.in_totals,
        "velocity": {
            "value": float(in_velocity.from_si(found.velocity.value[row])),
            "unit": in_velocity.symbol,
            "standard_uncertainty": float(in_velocity.difference_from_si(velocity_u)),
        },
        "flow": result(found.flow, row, in_flow),
        "dominant_contribution": dominant(
            tuple(each.name for each in found.flows.contributions), found.flow.combined.uncertainties[row], RECTANGULAR
        ),
        "contributions": [
            _contribution(contribution, number, found.flow.combined, row, one, in_flow)
            for number, contribution in enumerate(found.flows.contributions)
        ],
        "design": _design(found, row, in_flow),
    }


def result(results: Results, row: int, in_unit: Unit) -> Content:
    """One value with its uncertainty, in a unit."""
    value = float(in_unit.from_si(results.value[row]))
    expanded = float(in_unit.difference_from_si(results.expanded_uncertainty[row]))
    k = float(results.coverage_factor[row])
    return {
        "value": value,
        "unit": in_unit.symbol,
        "standard_uncertainty": float(in_unit.difference_from_si(results.combined.standard_uncertainty[row])),
        "expanded_uncertainty": expanded,
        "coverage_factor": k,
        "coverage_probability": results.coverage_probability,
        "effective_degrees_of_freedom": _finite(results.combined.degrees_of_freedom[row]),
        "statement": statement(value, expanded, in_unit.symbol, k),
    }


def _contribution(
    one: Contribution, number: int, combined: Combined, row: int, measured: Measured, in_unit: Unit
) -> Content:
    return {
        "name": one.name,
        "evaluation": "A" if one.type_a[row] else "B",
        "standard_uncertainty": float(in_unit.difference_from_si(combined.uncertainties[row, number])),
        "degrees_of_freedom": _finite(one.degrees_of_freedom[row]),
        "variance_percent": float(combined.variance_percent[row, number]),
        "shared_with": shared_with(one.name, measured),
    }


def shared_with(name: str, measured: Measured) -> str:
    """Which other readings carry the same error."""
    if name in ("calibration scatter", "reference standard", "stability"):
        return f"readings with certificate {measured.calibration.certificate}"
    if name == "dimension":
        return f"readings at {measured.outlet.outlet}"
    if name == "outlet factor":
        return f"outlets whose factor comes from: {measured.outlet.outlet_factor_source}"
    return "this reading alone"


def _design(found: Evaluation, row: int, in_unit: Unit) -> Content | None:
    assert found.judgement is not None  # noqa: S101
    outlet = found.measured[row].outlet
    if outlet.design_flow is None:
        return None
    typed = unit("volume flow", str(outlet.flow_unit))
    return {
        "value": float(in_unit.from_si(typed.to_si(float(outlet.design_flow)))),
        "unit": in_unit.symbol,
        "tolerance_percent": float(str(outlet.tolerance_percent)),
        "percent_of_design": float(found.judgement.percent_of_design[row]),
        "conformity": str(found.judgement.statement[row]),
        "probability_of_conformity": float(found.judgement.probability[row]),
    }


def _totals(found: Evaluation, units: str | None) -> list[Content]:
    written = []
    for row, one in enumerate(found.totals):
        symbols = {flow_unit(each.outlet, units).symbol for each in found.measured if each.outlet.system == one.system}
        in_unit = unit("volume flow", symbols.pop() if len(symbols) == 1 else "L/s")
        flow = None if found.total_flow is None or one.measured == 0 else result(found.total_flow, row, in_unit)
        written.append(
            {
                "system": one.system,
                "service": one.service,
                "outlets": one.outlets,
                "outlets_measured": one.measured,
                "flow": flow,
            }
        )
    return written


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


def _instruments(measured: Sequence[Measured], found: Evaluation) -> list[Content]:
    used = {one.calibration.record_id: one for one in measured}
    return [
        _instrument(one, found.calibrations[number], found.curves[number])
        for number, one in sorted(used.items(), key=lambda item: (item[1].instrument.tag, item[0]))
    ]


def _instrument(one: Measured, calibration: tables.Calibration, kept: tables.CorrectionCurve) -> Content:
    return {
        "tag": one.instrument.tag,
        "kind": one.instrument.kind,
        "maker": one.instrument.maker,
        "model": one.instrument.model,
        "serial": one.instrument.serial,
        "certificate": calibration.certificate,
        "laboratory": calibration.laboratory,
        "accreditation": calibration.accreditation,
        "calibrated_on": calibration.calibrated_on,
        "accepted_on": str(one.calibration.accepted_on),
        "due_on": str(one.decision.due_on),
        "measuring_interval": kept.measuring_interval,
        "reference_standards": list(one.calibration.standards),
        "curve": curve(kept, one.instrument),
    }


def curve(kept: tables.CorrectionCurve, instrument: tables.Instrument) -> Content:
    """A calibration curve: a polynomial in the instrument's own unit, another shape in SI."""
    found = from_text(kept.parameters)
    fit = found.polynomial if isinstance(found, CorrectionCurve) else response_of(found).fit
    stated = found.stated_repeatability
    return {
        "made_from": kept.phase,
        "shape": kept.shape,
        "degree": kept.degree,
        **_shape_of(found, instrument),
        "chi_squared": fit.chi_squared if stated else None,
        "degrees_of_freedom": found.degrees_of_freedom,
        "probability": fit.probability if stated else None,
        "scatter_enlarged_by": found.scale,
        "chosen_by": kept.chosen_by,
        "reason": kept.reason,
    }


def response_of(found: Curve) -> ResponseCurve:
    """The curve as a response curve; each curve is that or a correction curve."""
    assert isinstance(found, ResponseCurve)  # noqa: S101
    return found


def _shape_of(found: Curve, instrument: tables.Instrument) -> Content:
    own = unit(instrument.quantity, instrument.unit) if isinstance(found, CorrectionCurve) else None
    if isinstance(found, CorrectionCurve) and own is not None:
        coefficients, covariance = found.polynomial.in_unit(own.scale, own.offset).in_powers_of_x()
        symbol, written = own.symbol, formula(coefficients.tolist())
    else:
        fit = response_of(found).fit
        coefficients, covariance = fit.coefficients, fit.covariance
        symbol, written = "SI units", response_formula(fit)
    return {
        "title": f"degree {coefficients.size - 1}" if own is not None else response_of(found).fit.shape.title,
        "unit": symbol,
        "coefficients": coefficients.tolist(),
        "standard_uncertainties": np.sqrt(np.clip(np.diag(covariance), 0.0, None)).tolist(),
        "formula": written,
    }


def response_formula(fit: ResponseFit) -> str:
    """A response with its coefficients: x² = a + b vⁿ with a = 1.46933, b = 0.913071, n = 0.420905."""
    values = ", ".join(
        f"{name} = {value:.6g}" for name, value in zip(fit.shape.parameters, fit.coefficients, strict=True)
    )
    return f"{fit.shape.equation} with {values}"


_POWERS = ("", " x", " x²", " x³")


def formula(coefficients: Sequence[float]) -> str:
    """Correction as a polynomial in the indication: c(x) = -0.08856 + 0.039079 x."""
    terms = [f"{coefficients[0]:.6g}"]
    for power, coefficient in enumerate(coefficients[1:], start=1):
        terms.append(f"{'−' if coefficient < 0 else '+'} {abs(coefficient):.6g}{_POWERS[power]}")
    return "c(x) = " + " ".join(terms).replace("-", "−").replace("e−", "e-")


def as_json(report: Content) -> str:
    """The report for machines."""
    return json.dumps(report, indent=2, ensure_ascii=False) + "\n"


_CSV_COLUMNS = (
    "record", "system", "service", "outlet", "instrument", "certificate", "observed_at", "velocity", "velocity_unit",
    "velocity_standard_uncertainty", "flow", "flow_unit", "standard_uncertainty", "expanded_uncertainty", "coverage_factor",
    "coverage_probability", "effective_degrees_of_freedom", "statement", "design_flow", "tolerance_percent", "percent_of_design",
    "conformity", "probability_of_conformity", "in_totals", "outlets", "outlets_measured", "reasons",
)  # fmt: skip


def as_csv(report: Content) -> str:
    """The report as one table: a row for each reading, total and refusal."""
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, _CSV_COLUMNS, restval="", lineterminator="\n")
    writer.writeheader()
    rows = [
        *(_csv_reading(one) for one in report["readings"]),
        *(
            {"record": "total", **_csv_flow(one["flow"])}
            | _same(one, "system", "service", "outlets", "outlets_measured")
            for one in report["totals"]
        ),
        *(
            {"record": "refusal", "reasons": " | ".join(one["reasons"])}
            | _same(one, "system", "service", "outlet", "instrument", "observed_at")
            for one in report["refusals"]
        ),
    ]
    for row in rows:
        writer.writerow({name: _harmless(cell) for name, cell in row.items()})
    return out.getvalue()


def _csv_reading(one: Content) -> Content:
    velocity, design = one["velocity"], one["design"] or {}
    return {
        "record": "reading",
        "velocity": velocity["value"],
        "velocity_unit": velocity["unit"],
        "velocity_standard_uncertainty": velocity["standard_uncertainty"],
        **_csv_flow(one["flow"]),
        "design_flow": design.get("value"),
        **_same(one, "system", "service", "outlet", "instrument", "certificate", "observed_at", "in_totals"),
        **_same(design, "tolerance_percent", "percent_of_design", "conformity", "probability_of_conformity"),
    }


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


def total_name(one: Mapping[str, Any]) -> str:
    """What a total is called."""
    return "net (supply − return − exhaust)" if one["service"] == NET else str(one["service"])
