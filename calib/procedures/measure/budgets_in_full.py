"""Budgets in full: of each kind of measurement in a job, one flow with every input quantity, as GUM 4.1 and 5.1 write them.

The flow is y = f(x_1, ...); an input quantity X_i has the estimate x_i, the standard uncertainty u(x_i), and the sensitivity
coefficient c_i = df/dx_i; it contributes |c_i| u(x_i). Quantities that stand for an error have the estimate 0, and M, which stands
for the method, and P, for the drift of the plant, have 1. Nothing is worked out anew: uncertainties and contributions are those
of the evaluation.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np

from calib.curves.curve import CorrectionCurve, Curve
from calib.measurement import DECIDED, DENSITY, NOT_OBSERVED, Flows, Readings
from calib.measurement.way import Way
from calib.procedures.measure.evaluate import Evaluation
from calib.procedures.measure.standing import Standing, section_of
from calib.quantities import unit
from calib.records.words import DUCT
from calib.uncertainty.estimate import rectangular, resolution
from calib.uncertainty.propagation import Contribution

# What makes a flow of what is measured.
FACTOR, EFFECTIVE_AREA, FOUND_FACTOR, FOUND_AREA, DUCT_SECTION, NO_OPENING = (
    "outlet factor", "effective area", "found factor", "found area", "duct", "none",
)  # fmt: skip

# Of input quantities: the report says what each is.
Symbol = Literal[
    "x̄", "v̄", "q̄", "δ_res", "c(x̄)", "δ_cal", "δ_ref", "δ_stab", "δ_dec", "δ_P", "ρ", "δ_ρ", "r", "w", "h", "d", "K", "A_e",
    "M", "M_com", "M_own", "P",
]  # fmt: skip


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
    has_two_figures: bool = False  # of its method it is declared what readings share, and what each has by itself
    has_drift: bool = False  # of the plant: its outlet's system was read again at the end
    is_widened: bool = False  # as a review of what was found decided


@dataclass(frozen=True)
class InputQuantity:
    """One input quantity of a flow, in SI."""

    symbol: Symbol
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


def in_full(evaluation: Evaluation) -> tuple[InFull, ...]:
    """One budget of each kind of measurement, the first of its kind that stands, in the order of the readings."""
    first: dict[Kind, int] = {}
    for row, reading in enumerate(evaluation.measured):
        first.setdefault(_kind(evaluation, reading, row), row)
    return tuple(_budget(evaluation, row, kind) for kind, row in first.items())


def _kind(evaluation: Evaluation, measured: Standing, row: int) -> Kind:
    opening = NO_OPENING if measured.way.is_flow else _opening(measured)
    is_polynomial = isinstance(_curve(evaluation, row), CorrectionCurve)
    is_traverse = measured.observed.traversed is not None
    is_direct = measured.way.is_plain and not is_traverse and is_polynomial and measured.probe is None
    shape = str(measured.outlet.shape) if opening in (FACTOR, FOUND_FACTOR, DUCT_SECTION) else None
    two = measured.method.common_standard_uncertainty_percent is not None
    drift = _drift(_readings(evaluation), row) > 0
    has_probe = measured.probe is not None
    widened = _is_widened(_readings(evaluation), row)
    return Kind(measured.way, opening, shape, is_traverse, has_probe, is_polynomial, is_direct, two, drift, widened)


def _is_widened(readings: Readings, row: int) -> bool:
    own = row if readings.points is None else readings.points.reading == row
    return readings.decided is not None and bool(np.any(readings.decided[own]))


def _drift(readings: Readings, row: int) -> float:
    return 0.0 if readings.plant_drift is None else float(readings.plant_drift.relative[row])


def _opening(measured: Standing) -> str:
    if measured.factor is not None:
        return FOUND_FACTOR if measured.factor.effective_area is None else FOUND_AREA
    if measured.outlet.effective_area is not None:
        return EFFECTIVE_AREA
    return DUCT_SECTION if measured.outlet.place == DUCT or measured.outlet.outlet_factor is None else FACTOR


def _curve(evaluation: Evaluation, row: int) -> Curve:
    readings = _readings(evaluation)
    return readings.curves[int(readings.calibration[row])]


def _readings(evaluation: Evaluation) -> Readings:
    assert evaluation.readings is not None  # noqa: S101 (a reading stands)
    return evaluation.readings


def _flows(evaluation: Evaluation) -> Flows:
    assert evaluation.flows is not None  # noqa: S101 (a reading stands)
    return evaluation.flows


@dataclass(frozen=True)
class _Reading:
    """One reading of an evaluation, while its budget is written out."""

    evaluation: Evaluation
    row: int
    kind: Kind

    @property
    def flow(self) -> float:
        """The flow [m3/s]."""
        return float(_flows(self.evaluation).flow[self.row])

    @property
    def opening(self) -> float:
        """What the mean velocity is multiplied by: K A, A_e, or 1."""
        readings = _readings(self.evaluation)
        return float(readings.area[self.row] * readings.outlet_factor[self.row])

    def contribution(self, name: str) -> tuple[Contribution, float, float]:
        """A line of the budget, its standard uncertainty [m3/s] and its share of the variance [%]."""
        assert self.evaluation.flow is not None  # noqa: S101 (a reading stands)
        names = [contribution.name for contribution in _flows(self.evaluation).contributions]
        place, combined = names.index(name), self.evaluation.flow.combined
        u, share = combined.uncertainties[self.row, place], combined.variance_percent[self.row, place]
        return _flows(self.evaluation).contributions[place], float(u), float(share)

    def quantity(self, symbol: Symbol, of: str, name: str, estimate: float, u: float, c: float) -> InputQuantity:
        """An input quantity that a line of the budget is about."""
        line, contributed, share = self.contribution(name)
        type_a, dof = bool(line.type_a[self.row]), float(line.degrees_of_freedom[self.row])
        return InputQuantity(
            symbol, of, name, estimate, u, type_a, _distribution(name, type_a, dof), dof, c, contributed, share
        )

    def over(self, symbol: Symbol, of: str, name: str, estimate: float, c: float) -> InputQuantity:
        """The same, with the u(x_i) that the line has at a sensitivity coefficient."""
        _, contributed, _ = self.contribution(name)
        return self.quantity(symbol, of, name, estimate, contributed / abs(c) if c else 0.0, c)


def _distribution(name: str, type_a: bool, dof: float) -> str:
    if name in ("resolution", "dimension", NOT_OBSERVED, DECIDED) or (name == "stability" and not type_a):
        return "rectangular"
    return "normal" if math.isinf(dof) else "t"


def _budget(evaluation: Evaluation, row: int, kind: Kind) -> InFull:
    reading = _Reading(evaluation, row, kind)
    of_value = _direct(reading) if kind.is_direct else _of_value(reading)
    listed = [each for each in (*of_value, *_outlet(reading)) if each.standard_uncertainty > 0 or each.estimate != 0]
    return InFull(row, kind, tuple(listed), tuple(_constants(reading)))


def _direct(reading: _Reading) -> Iterator[InputQuantity]:
    """Quantities at the one mean indication: the value is x + c(x)."""
    readings, curve = _readings(reading.evaluation), _curve(reading.evaluation, reading.row)
    assert isinstance(curve, CorrectionCurve)  # noqa: S101 (of a direct kind)
    point = reading.row if readings.points is None else int(np.searchsorted(readings.points.reading, reading.row))
    x, opening = float(readings.indication[point]), reading.opening
    slope = float(curve.sensitivity(x)) * opening
    yield reading.quantity("x̄", "indication", "repeatability", x, float(readings.repeatability[point]), slope)
    yield reading.quantity(
        "δ_res", "indication", "resolution", 0.0, float(resolution(readings.resolution[reading.row])), slope
    )
    yield reading.over("c(x̄)", "indication", "calibration scatter", float(curve.correction(x)), opening)
    yield reading.over("δ_ref", "indication", "reference standard", 0.0, opening)
    limit = float(rectangular(readings.stability_limit[point]))
    yield reading.quantity("δ_stab", "indication", "stability", 0.0, limit, opening)
    yield from _decided(reading, "indication")


def _of_value(reading: _Reading) -> Iterator[InputQuantity]:
    """Quantities at the mean velocity, or at the flow of a hood."""
    of = "flow" if reading.kind.way.is_flow else "velocity"
    value, opening = float(_flows(reading.evaluation).velocity[reading.row]), reading.opening
    yield reading.over("q̄" if reading.kind.way.is_flow else "v̄", of, "repeatability", value, opening)
    errors: tuple[tuple[Symbol, str], ...] = (
        ("δ_res", "resolution"), ("δ_cal", "calibration scatter"), ("δ_ref", "reference standard"), ("δ_stab", "stability"),
    )  # fmt: skip
    for symbol, name in errors:
        yield reading.over(symbol, of, name, 0.0, opening)
    yield from _decided(reading, of)
    if reading.kind.has_probe:
        yield reading.over("δ_P", of, "probe", 0.0, opening)
    yield from _air(reading)
    if reading.kind.way.of_two is not None:
        yield _back_pressure(reading)


def _decided(reading: _Reading, of: str) -> Iterator[InputQuantity]:
    if reading.kind.is_widened:
        yield reading.over("δ_dec", of, DECIDED, 0.0, reading.opening)


def _air(reading: _Reading) -> Iterator[InputQuantity]:
    air = _readings(reading.evaluation).air
    if air is None or reading.kind.way.in_air is None:
        return
    density = float(air.density[reading.row])
    by_density = _flows(reading.evaluation).by_density
    c = 0.0 if by_density is None else float(by_density[reading.row]) / density
    # Without what the reading's own instrument brings, which stands with the rest of its calibration.
    yield reading.over("ρ", "density", DENSITY, density, c)
    if air.not_observed is not None:
        declared = float(air.not_observed[reading.row]) * density
        yield reading.quantity("δ_ρ", "density", NOT_OBSERVED, 0.0, declared, c)


def _back_pressure(reading: _Reading) -> InputQuantity:
    hoods = _readings(reading.evaluation).hoods
    assert hoods is not None  # noqa: S101 (a hood stands)
    u = float(hoods.resistance_ratio_uncertainty[reading.row])
    line, _, _ = reading.contribution("back pressure")
    c = float(line.parts[reading.row, 0]) / u if u else 0.0
    return reading.quantity("r", "1", "back pressure", float(hoods.resistance_ratio[reading.row]), u, c)


# --- the opening and the method --------------------------------------------------------------------------------------------------


def _outlet(reading: _Reading) -> Iterator[InputQuantity]:
    readings, flow, row = _readings(reading.evaluation), reading.flow, reading.row
    if reading.kind.shape is not None:
        yield from _dimensions(reading)
    relative = float(readings.outlet_factor_relative[row])
    if reading.kind.opening in (FACTOR, FOUND_FACTOR):
        factor = float(readings.outlet_factor[row])
        yield reading.quantity("K", "1", "outlet factor", factor, relative * factor, flow / factor)
    elif reading.kind.opening in (EFFECTIVE_AREA, FOUND_AREA):
        area = float(readings.area[row])
        yield reading.quantity("A_e", "area", "outlet factor", area, relative * area, flow / area)
    two = readings.two_figures
    if two is None or not reading.kind.has_two_figures:
        yield reading.quantity("M", "1", "method", 1.0, float(readings.method_relative[row]), flow)
    else:
        yield reading.quantity("M_com", "1", "method common", 1.0, float(two.common_relative[row]), flow)
        yield reading.quantity("M_own", "1", "method own", 1.0, float(two.own_relative[row]), flow)
    if reading.kind.has_drift:
        yield reading.quantity("P", "1", "plant drift", 1.0, _drift(readings, row), flow)


def _dimensions(reading: _Reading) -> Iterator[InputQuantity]:
    """Width and height, or diameter: each has its own share of the one line of the budget."""
    outlet = reading.evaluation.measured[reading.row].outlet
    section = section_of(outlet)
    line, u_all, share = reading.contribution("dimension")
    u = float(rectangular(unit("length", str(outlet.dimension_unit)).to_si(float(outlet.dimension_limit or 0))))
    sizes: list[tuple[Symbol, float]] = [("w", section.width), ("h", section.height)]
    if outlet.shape == "round":
        sizes = [("d", section.width)]
    for (symbol, size), part in zip(sizes, line.parts[reading.row], strict=False):
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
            _size_sensitivity(reading, section.width, section.height, symbol),
            contributed,
            share * (contributed / u_all) ** 2 if u_all else 0.0,
        )


def _size_sensitivity(reading: _Reading, width: float, height: float, symbol: str) -> float:
    """dq/d(size) = (q/A) dA/d(size) [m2/s]."""
    area = float(_readings(reading.evaluation).area[reading.row])
    derived = {
        ("rectangular", "w"): height,
        ("rectangular", "h"): width,
        ("round", "d"): math.pi * width / 2,
        ("flat-oval", "w"): height,
        ("flat-oval", "h"): width - 2 * height + math.pi * height / 2,
    }
    return reading.flow / area * derived[str(reading.kind.shape), symbol]


def _constants(reading: _Reading) -> Iterator[Constant]:
    air = _readings(reading.evaluation).air
    if air is not None and reading.kind.way.in_air is not None and reading.kind.way.in_air.reference is not None:
        yield Constant("ρ_0", "density", float(air.reference_density[reading.row]))
