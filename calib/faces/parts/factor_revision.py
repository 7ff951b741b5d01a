"""One revision of a factor found in the field: what every answer on factors says of it."""

import math
from collections.abc import Sequence

from calib.arrays import finite
from calib.faces.parts.value_in_unit import system_of_units
from calib.faces.plain_text import table_text
from calib.faces.written import Content, two_digits
from calib.procedures.factors.factors_on_file import FactorOnFile, PairOnFile
from calib.procedures.measure.results import Results
from calib.procedures.on_record.in_force import face_indications
from calib.procedures.pairs.factor_uncertainty import OTHER, SAME, factor_results
from calib.quantities import Unit, preferred, unit
from calib.records.tables.factors import FoundFactor
from calib.records.tables.outlets import Outlet
from calib.uncertainty.statement import round_result

# Contribution -> what it is called in a table.
CALLED = {
    "spread": "spread of the pairs",
    "reference": "what their traverses share",
    "instrument": "calibration at the face",
}


def revision(factor: FactorOnFile, units: str | None = None) -> Content:
    """One revision of a factor, as it was recorded."""
    record = factor.factor
    results, shown = factor_results(record), unit(factor.instrument.indicated, factor.instrument.unit)
    return {
        "factor": record.factor,
        "revision": record.revision,
        "counts": factor.latest,
        "scope": record.scope,
        "job": factor.job,
        "outlet": None if factor.outlet is None else factor.outlet.outlet,
        "outlet_type": record.outlet_type,
        "instrument": factor.instrument.tag,
        "certificate": factor.calibration.certificate,
        "method": factor.method.method,
        "pattern": factor.method.pattern,
        "value": record.value,
        "effective_area": _effective_area(factor, units),
        "same_calibration": _case(results, SAME),
        "recalibrated": _case(results, OTHER),
        "contributions": [_contribution(record, name) for name in CALLED],
        "pairs": [
            _pair(pair) | {"indication": {"value": float(shown.from_si(x)), "unit": shown.symbol}}
            for pair, x in zip(factor.pairs, face_indications(record), strict=True)
        ],
        "reason": record.reason,
        "found_by": factor.written.person,
        "found_at": factor.written.time,
        "cautions": list(factor.cautions),
    }


def _case(results: Results, row: int) -> Content:
    value, expanded = float(results.value[row]), float(results.expanded_uncertainty[row])
    u, dof = float(results.combined.standard_uncertainty[row]), float(results.degrees_of_freedom[row])
    k = float(results.coverage_factor[row])
    return {
        "standard_uncertainty": u,
        "relative_standard_uncertainty_percent": 100.0 * u / value,
        "effective_degrees_of_freedom": finite(dof),
        "coverage_factor": k,
        "coverage_probability": results.coverage_probability,
        "expanded_uncertainty": expanded,
        "statement": f"K = {round_result(value, expanded)}, k = {k:.2f}",
    }


def _effective_area(factor: FactorOnFile, units: str | None) -> Content | None:
    if factor.factor.effective_area is None:
        return None
    in_unit = _area_unit(factor.outlet, units)
    value = float(in_unit.from_si(factor.factor.effective_area))
    expanded = value * float(factor_results(factor.factor).expanded_uncertainty[SAME]) / factor.factor.value
    return {
        "value": value,
        "unit": in_unit.symbol,
        "expanded_uncertainty": expanded,
        "statement": f"({round_result(value, expanded)}) {in_unit.symbol}",
    }


def _area_unit(outlet: Outlet | None, units: str | None) -> Unit:
    system = system_of_units(units)
    if system is not None or outlet is None:
        return preferred("area", system or "si")
    in_feet = outlet.dimension_unit in ("in", "ft")
    return unit("area", outlet.effective_area_unit or ("ft2" if in_feet else "m2"))


def _contribution(record: FoundFactor, name: str) -> Content:
    relative = {
        "spread": record.relative_spread,
        "reference": record.relative_reference,
        "instrument": record.relative_instrument,
    }
    return {
        "name": name,
        "relative_standard_uncertainty_percent": 100.0 * relative[name],
        "degrees_of_freedom": record.degrees_of_freedom if name == "spread" else None,
    }


def _pair(pair: PairOnFile) -> Content:
    return {
        "traverse": pair.traverse.reading.id,
        "duct": pair.traverse.outlet.outlet,
        "job_of_duct": pair.traverse.job,
        "traversed_at": pair.traverse.reading.observed_at,
        "face": pair.face.reading.id,
        "outlet": pair.face.outlet.outlet,
        "job_of_outlet": pair.face.job,
        "observed_at": pair.face.reading.observed_at,
        "value": pair.value,
    }


# --- for people ------------------------------------------------------------------------------------------------------------------


def holds_for(factor: Content) -> str:
    """For which outlets, and for readings taken with what, a factor holds."""
    pattern = "" if factor["pattern"] in (None, factor["method"]) else f" (pattern {factor['pattern']})"
    return f"{where(factor)}, readings with {factor['instrument']} by the method {factor['method']}{pattern}"


def where(factor: Content) -> str:
    """The outlet or the type of outlet that a factor is for."""
    return f"outlet {factor['outlet']} of {factor['job']}" if factor["outlet"] else f"type {factor['outlet_type']}"


def head_text(factor: Content) -> str:
    """The factor with U in both cases, and what it holds for."""
    lines = [
        f"{factor['factor']}, revision {factor['revision']}",
        f"  {factor['same_calibration']['statement']} for readings with the same calibration (certificate {factor['certificate']})",
        f"  {factor['recalibrated']['statement']} after a recalibration",
    ]
    if factor["effective_area"]:
        lines.append(f"  effective area {factor['effective_area']['statement']}, with the same calibration")
    return "\n".join([*lines, f"  holds for {holds_for(factor)}"])


def tables_text(factor: Content) -> str:
    """Pairs, uncertainties and cautions of one revision."""
    cautions = [f"caution: {caution}" for caution in factor["cautions"]]
    return "\n".join([_pair_table(factor), "", _uncertainty_table(factor), *cautions])


def _pair_table(factor: Content) -> str:
    """The pairs, with flows and velocities where the answer has them."""
    shown = factor["pairs"]
    with_values = all("flow" in each for each in shown)
    more = _units_of(shown) if with_values else ()
    header = ("pair", "duct", "observed", "outlet", "observed", *more, "K")
    rows = [
        (
            f"{each['traverse']}:{each['face']}",
            each["duct"],
            each["traversed_at"],
            each["outlet"],
            each["observed_at"],
            *((f"{each['flow']['value']:.5g}", f"{each['velocity']['value']:.4g}") if with_values else ()),
            f"{each['value']:.4f}",
        )
        for each in shown
    ]
    return table_text(header, rows)


def _units_of(pairs: Sequence[Content]) -> tuple[str, str]:
    """Headings with units; ducts of several jobs may have several, and then the first pair's is not everyone's."""
    flows, velocities = ({each[name]["unit"] for each in pairs} for name in ("flow", "velocity"))
    return f"q [{', '.join(sorted(flows))}]", f"v [{', '.join(sorted(velocities))}]"


def _uncertainty_table(factor: Content) -> str:
    """Relative standard uncertainties, with the same calibration and after a recalibration."""
    rows = []
    for each in factor["contributions"]:
        u = two_digits(each["relative_standard_uncertainty_percent"])
        rows.append((CALLED[each["name"]], "cancels" if each["name"] == "instrument" else u, u, _degrees(each)))
    combined = [
        two_digits(factor[case]["relative_standard_uncertainty_percent"])
        for case in ("same_calibration", "recalibrated")
    ]
    header = ("relative u [%]", "same calibration", "recalibrated", "dof")
    return table_text(header, [*rows, ("combined", *combined, _effective(factor))])


def _degrees(contribution: Content) -> str:
    return "inf" if contribution["degrees_of_freedom"] is None else f"{contribution['degrees_of_freedom']:g}"


def _effective(factor: Content) -> str:
    both = [factor[case]["effective_degrees_of_freedom"] for case in ("same_calibration", "recalibrated")]
    return ", ".join("inf" if each is None else f"{math.floor(each)}" if each < 1000 else "> 999" for each in both)
