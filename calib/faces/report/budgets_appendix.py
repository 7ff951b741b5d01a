"""Budgets in full: the measurement function of each kind, its input quantities, and what a reader needs to work one flow out."""

from collections.abc import Iterator, Mapping, Sequence
from math import isclose
from typing import Any

from calib.faces.parts.reading_evidence import FOUND
from calib.faces.report.anchors import Anchors
from calib.faces.report.blocks import Block, Cell, Heading, Paragraph, Run, Table, TableColumn, TableRow, number_columns
from calib.faces.report.formulas import measurement_function
from calib.faces.report.found_factors_section import cancelling_lines
from calib.faces.report.symbols import with_symbols
from calib.faces.report.table_cells import NOTHING, degrees_cell, digits_cell, row_of, words_cell
from calib.faces.written import Content, coverage_percent_text, ends_of_interval, rounded, significant, unit_text
from calib.measurement.ways import BY_NAME
from calib.procedures.measure import budgets_in_full as full

_OPENINGS = {
    full.FACTOR: "opening with an outlet factor",
    full.EFFECTIVE_AREA: "effective area",
    full.FOUND_FACTOR: "opening with an outlet factor found in the field",
    full.FOUND_AREA: "effective area found in the field",
    full.DUCT_SECTION: "duct",
}
MEANINGS: Mapping[full.Symbol, str] = {
    "x̄": "mean indication",
    "v̄": "mean velocity; u is its repeatability",
    "q̄": "flow by the readings; u is their repeatability",
    "δ_res": "error of rounding, resolution",
    "c(x̄)": "correction by the curve; u is its scatter",
    "δ_cal": "error of the curve, its scatter",
    "δ_ref": "error of the laboratory's reference",
    "δ_stab": "change since the calibration",
    "δ_dec": "change found as found, which nobody corrects for, as decided in review",
    "δ_P": "error of the probe's calibration and its change since",
    "ρ": "density of the air",
    "δ_ρ": "error of the density by a temperature that was declared, not observed",
    "r": "ratio of the hood's resistances",
    "w": "width",
    "h": "height",
    "d": "diameter",
    "K": "outlet factor",
    "A_e": "effective area",
    "M": "what the method adds",
    "M_com": "what all readings by the method share",
    "M_own": "what the method adds to each reading by itself",
    "P": "drift of the plant since the first reading",
}


def budgets_appendix(content: Content, anchors: Anchors) -> Iterator[Block]:
    """One budget in full of each kind of measurement."""
    if not content["budgets_in_full"]:
        return
    yield Heading(2, "Appendix A: budgets in full", "in-full")
    yield Paragraph(
        with_symbols(
            "One flow of each kind of measurement, as GUM 4.1 and 5.1 set it out: X_i an input quantity, x_i its estimate, u(x_i) "
            "its standard uncertainty, ν_i its degrees of freedom, c_i = ∂q_V/∂x_i its sensitivity coefficient, u_i = |c_i| u(x_i) "
            "what it contributes, c_i in the unit of the flow by that of x_i; u² = Σ u_i². Errors have the estimate 0, M and P the "
            "estimate 1. Formulas hold in coherent SI units. Digits beyond those that mean "
            "something are there for working it out."
        )
    )
    listed = {each["symbol"] for budget in content["budgets_in_full"] for each in budget["quantities"]}
    meanings = "; ".join(f"{symbol} {said}" for symbol, said in MEANINGS.items() if symbol in listed)
    yield Paragraph(with_symbols(f"{meanings}. {_conversions(content['budgets_in_full'])}".rstrip() + "."), soft=True)
    readings = {reading["reading"]: reading for reading in content["readings"]}
    for place, budget in enumerate(content["budgets_in_full"], start=1):
        yield from _in_full(place, budget, readings[budget["reading"]], anchors)


def _in_full(place: int, budget: Content, reading: Content, anchors: Anchors) -> Iterator[Block]:
    yield Heading(3, f"A{place}. {_title(budget['kind'])}", anchors.of("in-full", budget["reading"]))
    yield Paragraph(with_symbols(*_about(budget, reading, anchors)))
    yield from measurement_function(budget["kind"])
    yield _quantities(place, budget, reading)
    yield Paragraph(with_symbols(_result(reading)), soft=True)


def _title(kind: Mapping[str, Any]) -> str:
    opening = _OPENINGS.get(kind["opening"])
    shaped = [" ".join(part for part in (kind["shape"], opening) if part)] if opening else []
    parts = [
        BY_NAME[kind["measured"]].title,
        *(["with a probe"] if kind["has_probe"] else []),
        *(["traverse"] if kind["is_traverse"] else []),
        *shaped,
        *([] if kind["is_polynomial"] else ["response curve"]),
    ]
    return ", ".join(parts)


def _about(budget: Content, reading: Content, anchors: Anchors) -> Iterator[str | Run]:
    yield "Reading "
    yield Run(str(budget["reading"]), to=anchors.of("budget", budget["reading"]))
    yield from (" at ", Run(reading["outlet"], to=anchors.of("reading", budget["reading"])), ", by ")
    yield Run(reading["instrument"], to=anchors.of("curve", reading["instrument"], reading["certificate"]))
    if reading["probe"]:
        probe = reading["probe"]
        yield from (" with ", Run(probe["tag"], to=anchors.of("curve", probe["tag"], probe["certificate"])))
    yield from (", method ", reading["method"])
    yield from _observed(reading, anchors)
    if not budget["kind"]["is_direct"] and not budget["kind"]["is_polynomial"]:
        yield "; f is the calibration curve of the instrument, solved for the value"
    if budget["kind"]["has_probe"]:
        yield "; c_P is the correction of the probe"
    in_air = BY_NAME[budget["kind"]["measured"]].in_air
    for each in budget["constants"]:
        yield f"; {each['symbol']} = {significant(each['value'], 6)} {unit_text(each['unit'])}, {in_air.rho_0 if in_air else ''}"
    yield "."
    yield from (f" {line}." for line in cancelling_lines([reading]))
    if reading["repeatability_is_pooled"]:
        yield " The repeatability rests on all readings of the job with this instrument and method, pooled."


def _observed(reading: Content, anchors: Anchors) -> Iterator[str | Run]:
    unit = unit_text(reading["indication_unit"])
    if reading["traverse"] is not None:
        weights = [point["weight"] for point in reading["traverse"]["velocities"]]
        there = Run("What each flow was worked out from", to=anchors.of("points", reading["reading"]))
        yield from ("; for the indications at its points as typed see ", there)
        is_weighted = len(set(weights)) > 1
        yield ", with weights w_j" if is_weighted else f", each with the weight w_j = {significant(weights[0], 6)}"
    elif reading["throttled_observations"]:
        open_values = reading["observations"] or reading["indication"]
        yield f"; indications with the throttle open {_apart(open_values)} {unit} (mean x̄_1)"
        yield f", set {_apart(reading['throttled_observations'])} {unit} (mean x̄_2)"
    elif reading["logged"]:
        yield f"; {reading['observations_counted']} logged indications"
        yield f", worth {reading['effective_observations']:.1f} independent ones"
    elif reading["observations"]:
        yield f"; indications {_apart(reading['observations'])} {unit}"
    else:
        yield f"; one indication, {reading['indication']} {unit}"


def _apart(observations: str) -> str:
    """2.50;2.55;2.51 as typed, with room between: 2.50; 2.55; 2.51."""
    return "; ".join(typed.strip() for typed in observations.split(";"))


# --- tables ----------------------------------------------------------------------------------------------------------------------


def _quantities(place: int, budget: Content, reading: Content) -> Table:
    flow = reading["flow"]
    columns = (
        TableColumn("X_i", is_short=True),
        TableColumn("Estimate x_i", is_number=True),
        TableColumn("Unit", is_short=True),
        TableColumn("u(x_i)", is_number=True),
        TableColumn("Evaluation", is_short=True),
        *number_columns("ν_i", "c_i", f"u_i [{unit_text(flow['unit'])}]", "Share of u² [%]"),
    )
    typed = _typed(reading["evidence"])
    rows = [_quantity(each, flow["unit"], typed) for each in budget["quantities"]]
    dof = flow["effective_degrees_of_freedom"]
    total = row_of(
        Cell(with_symbols("q_V")),
        digits_cell(flow["value"], 7, flow["unit"]),
        words_cell(unit_text(flow["unit"])),
        digits_cell(flow["standard_uncertainty"], 5, flow["unit"]),
        NOTHING,
        degrees_cell(dof),
        NOTHING,
        digits_cell(flow["standard_uncertainty"], 5, flow["unit"]),
        Cell((Run("100"),), 100.0, "%"),
        is_total=True,
    )
    return Table(f"A{place} input quantities", columns, (*rows, total))


def _interval(flow: Content) -> str:
    return f", interval {ends_of_interval(flow)}" if flow["interval"] else ""


def _quantity(each: Content, flow_unit: str, typed: Mapping[str, str | None]) -> TableRow:
    unit = each["unit"]
    dof = each["degrees_of_freedom"]
    return row_of(
        Cell(with_symbols(each["symbol"])),
        _as_typed(each["estimate"], 7, unit, typed.get(each["symbol"])),
        words_cell(unit_text(unit)),
        _as_typed(each["standard_uncertainty"], 5, unit, typed.get(f"u({each['symbol']})")),
        words_cell(f"{each['evaluation']}, {each['distribution']}"),
        degrees_cell(dof),
        digits_cell(each["sensitivity_coefficient"], 6, each["sensitivity_unit"]),
        digits_cell(each["contribution"], 5, flow_unit),
        Cell((Run(f"{each['variance_percent']:.2f}"),), each["variance_percent"], "%"),
    )


def _typed(evidence: Content) -> Mapping[str, str | None]:
    """What was typed of the quantities of a budget, with its digits: factor or effective area with its u, and the sides."""
    factor, size = evidence["factor"], evidence["dimensions"] or {}
    sides = {"w": size.get("width"), "h": size.get("height"), "d": size.get("diameter")}
    if factor is None or factor["kind"] == FOUND:
        return sides
    symbol = "K" if factor["unit"] == "1" else "A_e"
    return sides | {symbol: factor["value"], f"u({symbol})": factor["standard_uncertainty"]}


def _as_typed(value: float, digits: int, unit: str | None, typed: str | None) -> Cell:
    """A number of its own row as it was typed, where it was; else with so many digits, zeros among them; 0 itself has none."""
    if typed is not None and isclose(float(typed), value, rel_tol=1e-9):
        return Cell((Run(typed),), value, unit)
    return digits_cell(value, digits, unit) if value else Cell((Run("0"),), value, unit)


def _result(reading: Content) -> str:
    flow = reading["flow"]
    unit = unit_text(flow["unit"])
    return (
        f"U = k u = {flow['coverage_factor']:.4f} × {significant(flow['standard_uncertainty'], 5)} {unit}, "
        f"q_V = ({rounded(flow)}) {unit}{_interval(flow)}, for a coverage probability of "
        f"{coverage_percent_text(flow['coverage_probability'])} %."
    )


def _conversions(budgets: Sequence[Content]) -> str:
    """Each unit of the budgets in SI, once."""
    every = {each["unit"]: each for budget in budgets for each in budget["conversions"]}
    return "; ".join(
        f"1 {unit_text(name)} = {significant(each['value'], 9)} {unit_text(each['si_unit'])}"
        for name, each in every.items()
    )
