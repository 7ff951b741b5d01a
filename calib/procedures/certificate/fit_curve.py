"""Fit the correction curve of a calibration from its comparisons as typed."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calib.curves.choice import Choice, Comparisons, choose, choose_response
from calib.curves.response import CANDIDATES, LINE, PROPORTIONAL, Shape
from calib.errors import CurveError
from calib.procedures.certificate.phase import phase_in_use
from calib.procedures.typed.sheets import Cells
from calib.quantities import Unit, unit
from calib.records.tables.curves import StoredCurve
from calib.records.words import BY_THE_RULE
from calib.uncertainty.estimate import from_expanded, resolution


@dataclass(frozen=True)
class FittedCurve:
    """A fitted correction curve and where it comes from."""

    phase: str  # of the comparisons that it was made from
    choice: Choice
    measuring_interval: str  # lowest and highest indication compared, in the certificate's digits and unit


@dataclass(frozen=True)
class CurveWish:
    """The curve that a person asks for: a degree of polynomial, or another shape."""

    degree: int | None = None
    shape: str | None = None


def fit_curve(
    instrument: Cells,
    comparisons: Sequence[Cells],
    wish: CurveWish | None = None,
    correlations: Sequence[Mapping[str, Any]] = (),
) -> FittedCurve:
    """Calibration curve from the comparisons as left, or as found where there are none as left; raises CurveError.

    A correction curve where the instrument indicates the quantity itself, else a response curve. `correlations` are those of
    reference values that the certificate states, of either phase.
    """
    phase = phase_in_use(comparison["phase"] for comparison in comparisons)
    used = [comparison for comparison in comparisons if comparison["phase"] == phase]
    points = comparisons_in_si(instrument, used)
    stated = [each for each in correlations if each["phase"] == phase]
    if stated:
        points = replace(points, correlation=correlation_matrix(stated, len(used)))
    choice = _chosen(instrument, points, wish or CurveWish())
    lowest, highest = (
        extreme(used, key=lambda comparison: float(_cell(comparison, "indication"))) for extreme in (min, max)
    )
    interval = " to ".join(
        f"{comparison['indication']} {comparison['indication_unit'] or comparison['unit']}"
        for comparison in (lowest, highest)
    )
    return FittedCurve(phase, choice, interval)


def _chosen(instrument: Cells, points: Comparisons, wish: CurveWish) -> Choice:
    quantity = _cell(instrument, "quantity")
    indicated = indication_quantity(instrument) or quantity
    if indicated == quantity:
        if wish.shape in (None, "polynomial"):
            return choose(points, wish.degree)
        shapes: Sequence[Shape] = (PROPORTIONAL,)
    else:
        shapes = CANDIDATES.get(indicated, (PROPORTIONAL, LINE))
    if points.correlation is not None:
        raise CurveError(
            "correlations of reference values are fitted to a correction polynomial alone: this is a response curve"
        )
    if wish.degree is not None:
        raise CurveError(f"a degree is for polynomials; name a shape here: {', '.join(shape.name for shape in shapes)}")
    return choose_response(points, shapes, wish.shape)


def correlation_matrix(correlations: Sequence[Mapping[str, Any]], points: int) -> NDArray[np.float64]:
    """(points, points) matrix of the correlations of one phase; 1 on its diagonal, 0 where none is stated."""
    matrix = np.eye(points)
    for each in correlations:
        i, k = int(each["point"]) - 1, int(each["other_point"]) - 1
        matrix[i, k] = matrix[k, i] = float(each["correlation"])
    return matrix


def indication_quantity(instrument: Cells) -> str | None:
    """Quantity that an instrument indicates: the one it measures, unless another was typed; None where neither was."""
    return instrument.get("indication_quantity") or instrument.get("quantity")


def comparisons_in_si(instrument: Cells, comparisons: Sequence[Cells]) -> Comparisons:
    """Comparisons of one phase as arrays in SI.

    d^2 = repeatability^2/observations + resolution^2/12, of the indication; without stated repeatability d is unknown. Raises
    CurveError where only some of the comparisons state it.
    """
    stated = [comparison["repeatability"] is not None for comparison in comparisons]
    if any(stated) and not all(stated):
        raise CurveError(
            "repeatability is stated for some comparisons of a phase and blank for others: state it for all, or for none"
        )
    quantity = _cell(instrument, "quantity")
    indicated = indication_quantity(instrument) or quantity
    of_value = [unit(quantity, _cell(comparison, "unit")) for comparison in comparisons]
    of_indication = [
        unit(indicated, comparison["indication_unit"] or _cell(comparison, "unit")) for comparison in comparisons
    ]

    def column(name: str, units: Sequence[Unit]) -> NDArray[np.float64]:
        return np.array(
            [u.to_si(float(_cell(comparison, name))) for u, comparison in zip(units, comparisons, strict=True)]
        )

    standard = [
        u.difference_to_si(
            from_expanded(float(_cell(comparison, "expanded_uncertainty")), float(_cell(comparison, "coverage_factor")))
        )
        for u, comparison in zip(of_value, comparisons, strict=True)
    ]
    independent = None
    if stated and all(stated):
        step = unit(indicated, _cell(instrument, "unit")).difference_to_si(float(_cell(instrument, "resolution")))
        variances = [
            u.difference_to_si(float(_cell(comparison, "repeatability"))) ** 2 / int(comparison["observations"] or 1)
            for u, comparison in zip(of_indication, comparisons, strict=True)
        ]
        independent = np.sqrt(np.array(variances) + resolution(step) ** 2)
    return Comparisons(
        column("reference", of_value), column("indication", of_indication), np.array(standard), independent
    )


def _cell(cells: Cells, column: str) -> str:
    cell = cells[column]
    if cell is None:
        raise CurveError(f"{column} is blank")
    return cell


def curve_record(
    calibration_id: int, fitted: FittedCurve, chosen_by: str = BY_THE_RULE, reason: str | None = None
) -> StoredCurve:
    """The record of a fitted curve."""
    curve, chosen = fitted.choice.curve, fitted.choice.chosen
    return StoredCurve(
        calibration_id=calibration_id,
        shape=chosen.shape,
        degree=chosen.degree,
        phase=fitted.phase,
        low=curve.low,
        high=curve.high,
        measuring_interval=fitted.measuring_interval,
        parameters=curve.as_text(),
        chosen_by=chosen_by,
        reason=reason or fitted.choice.reason,
    )
