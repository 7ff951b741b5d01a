"""Budgets in full as answers: one of each kind of measurement, every number that a reader needs to work the flow out by hand."""

from calib.arrays import finite
from calib.faces.parts.value_in_unit import velocity_unit
from calib.faces.written import Content
from calib.procedures.measure import budgets_in_full as full
from calib.procedures.measure.evaluate import Evaluation
from calib.procedures.measure.indicated import unit_of_value
from calib.procedures.measure.standing import Standing
from calib.procedures.on_record.flow_unit import flow_unit
from calib.quantities import Unit, coherent, unit

_ONE = Unit("1", "1", 1.0, 0.0)


def budgets_in_full(evaluation: Evaluation, units: str | None) -> list[Content]:
    """One budget in full of each kind of measurement of a job."""
    return [_budget(evaluation, each, units) for each in full.in_full(evaluation)] if evaluation.measured else []


def _budget(evaluation: Evaluation, budget: full.InFull, units: str | None) -> Content:
    measured = evaluation.measured[budget.row]
    in_flow = flow_unit(measured.outlet, units)
    kinds = [*(each.of for each in budget.quantities), *(each.of for each in budget.constants)]
    unit_of = {each: _unit_of(each, measured, units) for each in kinds}
    return {
        "reading": measured.reading.id,
        "kind": {
            "measured": budget.kind.way.name,
            "opening": budget.kind.opening,
            "shape": budget.kind.shape,
            "is_traverse": budget.kind.is_traverse,
            "has_probe": budget.kind.has_probe,
            "is_polynomial": budget.kind.is_polynomial,
            "is_direct": budget.kind.is_direct,
            "has_two_figures": budget.kind.has_two_figures,
            "has_drift": budget.kind.has_drift,
            "is_widened": budget.kind.is_widened,
        },
        "quantities": [_quantity(each, unit_of[each.of], in_flow) for each in budget.quantities],
        "constants": [
            {"symbol": each.symbol, "value": unit_of[each.of].from_si(each.value), "unit": unit_of[each.of].symbol}
            for each in budget.constants
        ],
        "conversions": _conversions([in_flow, *unit_of.values(), *_typed(measured)]),
    }


def _quantity(quantity: full.InputQuantity, in_unit: Unit, in_flow: Unit) -> Content:
    return {
        "symbol": quantity.symbol,
        "name": quantity.name,
        "estimate": in_unit.difference_from_si(quantity.estimate),
        "unit": in_unit.symbol,
        "standard_uncertainty": in_unit.difference_from_si(quantity.standard_uncertainty),
        "evaluation": "A" if quantity.type_a else "B",
        "distribution": quantity.distribution,
        "degrees_of_freedom": finite(quantity.degrees_of_freedom),
        "sensitivity_coefficient": in_flow.difference_from_si(in_unit.difference_to_si(quantity.sensitivity)),
        "sensitivity_unit": in_flow.symbol if in_unit is _ONE else f"{in_flow.symbol} per {in_unit.symbol}",
        "contribution": in_flow.difference_from_si(quantity.contribution),
        "variance_percent": quantity.variance_percent,
    }


def _unit_of(of: str, measured: Standing, units: str | None) -> Unit:
    """Unit of an input quantity: that of the instrument's curve, of the drawing of the opening, of the report."""
    outlet = measured.outlet
    if of == "velocity":
        return velocity_unit(measured.reading.unit, units)
    if of in ("indication", "flow"):
        return unit_of_value(measured.instrument)
    if of == "length":
        return unit("length", str(outlet.dimension_unit))
    if of == "area":
        own = measured.factor is None and outlet.effective_area_unit is not None
        return unit("area", str(outlet.effective_area_unit) if own else "m2")
    return unit("density", "kg/m3") if of == "density" else _ONE


def _typed(measured: Standing) -> list[Unit]:
    """Units of the indications and of the curves."""
    own = unit(measured.instrument.indicated, measured.reading.unit)
    probe = [] if measured.probe is None else [unit_of_value(measured.probe)]
    return [own, unit_of_value(measured.instrument), *probe]


def _conversions(units: list[Unit]) -> list[Content]:
    """What each unit is in the coherent SI unit, where it is not that unit."""
    named = {unit.symbol: unit for unit in units if unit is not _ONE}
    return [
        {"unit": unit.symbol, "value": unit.scale, "si_unit": coherent(unit.quantity).symbol}
        for unit in named.values()
        if unit.symbol != coherent(unit.quantity).symbol
    ]
