"""Budgets in full: of each kind of measurement in a job, one flow with every input quantity, as GUM 4.1 and 5.1 write them.

The flow is y = f(x_1, ...); an input quantity X_i has the estimate x_i, the standard uncertainty u(x_i), and the sensitivity
coefficient c_i = df/dx_i; it contributes |c_i| u(x_i). Quantities that stand for an error have the estimate 0, and M, which stands
for the method, has 1. Nothing is worked out anew: uncertainties and contributions are those of the evaluation.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from calib.curves.curve import CorrectionCurve, Curve
from calib.measurement import Flows, Readings
from calib.measurement.way import Way
from calib.procedures.measure.evaluate import Evaluation, Measured
from calib.procedures.measure.standing import section_of
from calib.quantities import unit
from calib.records import tables
from calib.uncertainty.estimate import rectangular, resolution
from calib.uncertainty.propagation import Contribution

# What makes a flow of what is measured.
FACTOR, EFFECTIVE_AREA, FOUND_FACTOR, FOUND_AREA, DUCT, NO_OPENING = (
    "outlet factor", "effective area", "found factor", "found area", "duct", "none",
)  # fmt: skip


@dataclass(frozen=True)
class Kind:
    """A kind of measurement: flows of one kind have one measurement function."""

    way: Way
    opening: str
    shape: str | None  # of the opening or duct, where its dimensions count
    is_traverse: bool
    has_probe: bool  # with a calibration of its own
    is_polynomial: bool  # the instrument's curve is a correction c(x)
    is_direct: bool  # one mean indication: the flow is written with it, not with the velocities that it was made into


@dataclass(frozen=True)
class InputQuantity:
    """One input quantity of a flow, in SI."""

    symbol: str
    of: str  # kind of quantity: "indication", "velocity", "flow", "length", "area", "density" or "1"
    name: str  # of its line in the budget
    estimate: float
    standard_uncertainty: float
    type_a: bool
    distribution: str
    degrees_of_freedom: float
    sensitivity: float  # dq/dx_i [m3/s per unit of X_i], with its sign
    contribution: float  # |c_i| u(x_i) [m3/s]
    variance_percent: float


@dataclass(frozen=True)
class Constant:
    """A number of the measurement function that no uncertainty is given of."""

    symbol: str
    of: str
    value: float  # [SI]


@dataclass(frozen=True)
class InFull:
    """The budget of one reading in full."""

    row: int
    kind: Kind
    quantities: tuple[InputQuantity, ...]
    constants: tuple[Constant, ...]


def in_full(found: Evaluation) -> tuple[InFull, ...]:
    """One budget of each kind of measurement, the first of its kind that stands, in the order of the readings."""
    first: dict[Kind, int] = {}
    for row, one in enumerate(found.measured):
        first.setdefault(_kind(found, one, row), row)
    return tuple(_budget(found, row, kind) for kind, row in first.items())


def _kind(found: Evaluation, one: Measured, row: int) -> Kind:
    opening = NO_OPENING if one.way.is_flow else _opening(one)
    is_polynomial = isinstance(_curve(found, row), CorrectionCurve)
    is_traverse = one.observed.traversed is not None
    is_direct = one.way.is_plain and not is_traverse and is_polynomial and one.probe is None
    shape = str(one.outlet.shape) if opening in (FACTOR, FOUND_FACTOR, DUCT) else None
    return Kind(one.way, opening, shape, is_traverse, one.probe is not None, is_polynomial, is_direct)


def _opening(one: Measured) -> str:
    if one.factor is not None:
        return FOUND_FACTOR if one.factor.effective_area is None else FOUND_AREA
    if one.outlet.effective_area is not None:
        return EFFECTIVE_AREA
    return DUCT if one.outlet.place == tables.DUCT or one.outlet.outlet_factor is None else FACTOR


def _curve(found: Evaluation, row: int) -> Curve:
    readings = _readings(found)
    return readings.curves[int(readings.calibration[row])]


def _readings(found: Evaluation) -> Readings:
    assert found.readings is not None  # noqa: S101 (a reading stands)
    return found.readings


def _flows(found: Evaluation) -> Flows:
    assert found.flows is not None  # noqa: S101 (a reading stands)
    return found.flows


@dataclass(frozen=True)
class _Row:
    """One row of an evaluation, while its budget is written out."""

    found: Evaluation
    row: int
    kind: Kind

    @property
    def flow(self) -> float:
        """The flow [m3/s]."""
        return float(_flows(self.found).flow[self.row])

    @property
    def opening(self) -> float:
        """What the mean velocity is multiplied by: K A, A_e, or 1."""
        readings = _readings(self.found)
        return float(readings.area[self.row] * readings.outlet_factor[self.row])

    def contribution(self, name: str) -> tuple[Contribution, float, float]:
        """A line of the budget, its standard uncertainty [m3/s] and its share of the variance [%]."""
        assert self.found.flow is not None  # noqa: S101 (a reading stands)
        names = [one.name for one in _flows(self.found).contributions]
        number, combined = names.index(name), self.found.flow.combined
        u, share = combined.uncertainties[self.row, number], combined.variance_percent[self.row, number]
        return _flows(self.found).contributions[number], float(u), float(share)

    def quantity(self, symbol: str, of: str, name: str, estimate: float, u: float, c: float) -> InputQuantity:
        """An input quantity that a line of the budget is about."""
        line, contributed, share = self.contribution(name)
        type_a, dof = bool(line.type_a[self.row]), float(line.degrees_of_freedom[self.row])
        return InputQuantity(
            symbol, of, name, estimate, u, type_a, _distribution(name, type_a, dof), dof, c, contributed, share
        )

    def over(self, symbol: str, of: str, name: str, estimate: float, c: float) -> InputQuantity:
        """The same, with the u(x_i) that the line has at a sensitivity coefficient."""
        _, contributed, _ = self.contribution(name)
        return self.quantity(symbol, of, name, estimate, contributed / abs(c) if c else 0.0, c)


def _distribution(name: str, type_a: bool, dof: float) -> str:
    if name in ("resolution", "dimension") or (name == "stability" and not type_a):
        return "rectangular"
    return "normal" if math.isinf(dof) else "t"


def _budget(found: Evaluation, row: int, kind: Kind) -> InFull:
    one = _Row(found, row, kind)
    of_value = _direct(one) if kind.is_direct else _of_value(one)
    listed = [each for each in (*of_value, *_outlet(one)) if each.standard_uncertainty > 0 or each.estimate != 0]
    return InFull(row, kind, tuple(listed), tuple(_constants(one)))


def _direct(one: _Row) -> Iterator[InputQuantity]:
    """Quantities at the one mean indication: the value is x + c(x)."""
    readings, curve = _readings(one.found), _curve(one.found, one.row)
    assert isinstance(curve, CorrectionCurve)  # noqa: S101 (of a direct kind)
    point = one.row if readings.points is None else int(np.searchsorted(readings.points.reading, one.row))
    x, opening = float(readings.indication[point]), one.opening
    slope = float(curve.sensitivity(x)) * opening
    yield one.quantity("x̄", "indication", "repeatability", x, float(readings.repeatability[point]), slope)
    yield one.quantity("δ_res", "indication", "resolution", 0.0, float(resolution(readings.resolution[one.row])), slope)
    yield one.over("c(x̄)", "indication", "calibration scatter", float(curve.correction(x)), opening)
    yield one.over("δ_ref", "indication", "reference standard", 0.0, opening)
    limit = float(rectangular(readings.stability_limit[point]))
    yield one.quantity("δ_stab", "indication", "stability", 0.0, limit, opening)


def _of_value(one: _Row) -> Iterator[InputQuantity]:
    """Quantities at the mean velocity, or at the flow of a hood."""
    of, letter = ("flow", "q̄") if one.kind.way.is_flow else ("velocity", "v̄")
    value, opening = float(_flows(one.found).velocity[one.row]), one.opening
    yield one.over(letter, of, "repeatability", value, opening)
    for symbol, name in (
        ("δ_res", "resolution"), ("δ_cal", "calibration scatter"), ("δ_ref", "reference standard"), ("δ_stab", "stability"),
    ):  # fmt: skip
        yield one.over(symbol, of, name, 0.0, opening)
    if one.kind.has_probe:
        yield one.over("δ_P", of, "probe", 0.0, opening)
    yield from _air(one)
    if one.kind.way.of_two is not None:
        yield _back_pressure(one)


def _air(one: _Row) -> Iterator[InputQuantity]:
    air = _readings(one.found).air
    if air is None or one.kind.way.in_air is None:
        return
    density = float(air.density[one.row])
    line, _, _ = one.contribution("density")
    u = float(air.relative_uncertainty[one.row]) * density
    c = float(line.parts[one.row, 0]) / u if u else 0.0
    yield one.quantity("ρ", "density", "density", density, u, c)


def _back_pressure(one: _Row) -> InputQuantity:
    hoods = _readings(one.found).hoods
    assert hoods is not None  # noqa: S101 (a hood stands)
    u = float(hoods.resistance_ratio_uncertainty[one.row])
    line, _, _ = one.contribution("back pressure")
    c = float(line.parts[one.row, 0]) / u if u else 0.0
    return one.quantity("r", "1", "back pressure", float(hoods.resistance_ratio[one.row]), u, c)


# --- the opening and the method --------------------------------------------------------------------------------------------------


def _outlet(one: _Row) -> Iterator[InputQuantity]:
    readings, flow, row = _readings(one.found), one.flow, one.row
    if one.kind.shape is not None:
        yield from _dimensions(one)
    relative = float(readings.outlet_factor_relative[row])
    if one.kind.opening in (FACTOR, FOUND_FACTOR):
        factor = float(readings.outlet_factor[row])
        yield one.quantity("K", "1", "outlet factor", factor, relative * factor, flow / factor)
    elif one.kind.opening in (EFFECTIVE_AREA, FOUND_AREA):
        area = float(readings.area[row])
        yield one.quantity("A_e", "area", "outlet factor", area, relative * area, flow / area)
    yield one.quantity("M", "1", "method", 1.0, float(readings.method_relative[row]), flow)


def _dimensions(one: _Row) -> Iterator[InputQuantity]:
    """Width and height, or diameter: each has its own share of the one line of the budget."""
    outlet = one.found.measured[one.row].outlet
    section = section_of(outlet)
    line, u_all, share = one.contribution("dimension")
    u = float(rectangular(unit("length", str(outlet.dimension_unit)).to_si(float(outlet.dimension_limit or 0))))
    sizes = (("d", section.width),) if outlet.shape == "round" else (("w", section.width), ("h", section.height))
    for (symbol, size), part in zip(sizes, line.parts[one.row], strict=False):
        contributed = abs(float(part))
        yield InputQuantity(
            symbol,
            "length",
            "dimension",
            size,
            u,
            False,
            "rectangular",
            math.inf,
            _size_sensitivity(one, section.width, section.height, symbol),
            contributed,
            share * (contributed / u_all) ** 2 if u_all else 0.0,
        )


def _size_sensitivity(one: _Row, width: float, height: float, symbol: str) -> float:
    """dq/d(size) = (q/A) dA/d(size) [m2/s]."""
    area = float(_readings(one.found).area[one.row])
    derived = {
        ("rectangular", "w"): height,
        ("rectangular", "h"): width,
        ("round", "d"): math.pi * width / 2,
        ("flat-oval", "w"): height,
        ("flat-oval", "h"): width - 2 * height + math.pi * height / 2,
    }
    return one.flow / area * derived[str(one.kind.shape), symbol]


def _constants(one: _Row) -> Iterator[Constant]:
    air = _readings(one.found).air
    if air is not None and one.kind.way.in_air is not None and one.kind.way.in_air.reference is not None:
        yield Constant("ρ_0", "density", float(air.reference_density[one.row]))
