"""Fit the correction curve of a calibration from its comparisons as typed.

The rule by which a curve is made has editions: a stored curve names the one that made it, and an earlier one is kept for ever, so
that the curve can be made anew and compared.

    1    scatter of the chosen candidate alone; the reference part U/k as exactly known
    2    without stated repeatability the scatter of all candidates, and never less than the rounding of the certificate's digits;
         degrees of freedom of U/k from k, at the coverage probability that the certificate states
    3    the same scatter, and no less than the rounding of digits, of the shapes of instruments that indicate another quantity
    4    the digits of an indication are rounded whatever U of the reference value, to no more than the instrument's resolution

Decision (2026-11-29). A new edition counts for certificates recorded from then on, and for curves that a person chooses from then
on; a stored curve stays as it is. Option: refit all, which would change the U of reported flows without anyone's act. Cost: two
certificates with the same digits may have different scatter, by the day they were recorded; `calib calibration choose` with the
same degree takes the new edition.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calib.curves.choice import (
    Choice,
    Comparisons,
    Scatter,
    averaged_scatter,
    choose,
    choose_response,
    own_scatter,
)
from calib.curves.response import CANDIDATES, LINE, PROPORTIONAL, Shape
from calib.errors import CurveError
from calib.procedures.certificate.phase import phase_in_use
from calib.procedures.typed.sheets import Cells
from calib.quantities import Unit, unit
from calib.records.tables.curves import StoredCurve
from calib.records.words import BY_THE_RULE
from calib.uncertainty.coverage import COVERAGE_PROBABILITY, degrees_of_freedom_from_factor
from calib.uncertainty.estimate import from_expanded, resolution


@dataclass(frozen=True)
class FittedCurve:
    """A fitted correction curve and where it comes from."""

    phase: str  # of the comparisons that it was made from
    choice: Choice
    measuring_interval: str  # lowest and highest indication compared, in the certificate's digits and unit
    edition: int  # of the rule


@dataclass(frozen=True)
class CurveWish:
    """The curve that a person asks for: a degree of polynomial, or another shape."""

    degree: int | None = None
    shape: str | None = None


@dataclass(frozen=True)
class Edition:
    """An edition of the rule."""

    ordinal: int
    comparisons: Callable[[Cells, Sequence[Cells]], Comparisons]  # of one phase, in SI
    scatter: Scatter  # of polynomials
    scatter_of_shapes: Scatter  # of others


def fit_curve(
    instrument: Cells,
    comparisons: Sequence[Cells],
    wish: CurveWish | None = None,
    correlations: Sequence[Mapping[str, Any]] = (),
) -> FittedCurve:
    """Calibration curve from the comparisons as left, or as found where there are none as left; raises CurveError.

    A correction curve where the instrument indicates the quantity itself, else a response curve. `correlations` are those of
    reference values that the certificate states, of either phase. By the latest edition of the rule.
    """
    return fit_by(FOURTH_EDITION, instrument, comparisons, wish, correlations)


def fit_by(
    edition: Edition,
    instrument: Cells,
    comparisons: Sequence[Cells],
    wish: CurveWish | None = None,
    correlations: Sequence[Mapping[str, Any]] = (),
) -> FittedCurve:
    """The same by an edition of the rule."""
    phase = phase_in_use(comparison["phase"] for comparison in comparisons)
    used = [comparison for comparison in comparisons if comparison["phase"] == phase]
    points = edition.comparisons(instrument, used)
    stated = [each for each in correlations if each["phase"] == phase]
    if stated:
        points = replace(points, correlation=correlation_matrix(stated, len(used)))
    choice = _chosen(instrument, points, wish or CurveWish(), edition)
    lowest, highest = (
        extreme(used, key=lambda comparison: float(_cell(comparison, "indication"))) for extreme in (min, max)
    )
    interval = " to ".join(
        f"{comparison['indication']} {comparison['indication_unit'] or comparison['unit']}"
        for comparison in (lowest, highest)
    )
    return FittedCurve(phase, choice, interval, edition.ordinal)


def _chosen(instrument: Cells, points: Comparisons, wish: CurveWish, edition: Edition) -> Choice:
    indicated = quantity_indicated(instrument)
    if indicated == instrument["quantity"]:
        if wish.shape in (None, "polynomial"):
            return choose(points, wish.degree, edition.scatter)
        shapes: Sequence[Shape] = (PROPORTIONAL,)
    else:
        shapes = CANDIDATES.get(indicated, (PROPORTIONAL, LINE))
    if points.correlation is not None:
        raise CurveError(
            "correlations of reference values are fitted to a correction polynomial alone: this is a response curve"
        )
    if wish.degree is not None:
        raise CurveError(f"a degree is for polynomials; name a shape here: {', '.join(shape.name for shape in shapes)}")
    return choose_response(points, shapes, wish.shape, edition.scatter_of_shapes)


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


def quantity_indicated(instrument: Cells) -> str:
    """The same where it measures one; raises CurveError where none was typed."""
    return instrument.get("indication_quantity") or _cell(instrument, "quantity")


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
    quantity, indicated = _cell(instrument, "quantity"), quantity_indicated(instrument)
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
        variances = [
            u.difference_to_si(float(_cell(comparison, "repeatability"))) ** 2 / int(comparison["observations"] or 1)
            for u, comparison in zip(of_indication, comparisons, strict=True)
        ]
        independent = np.sqrt(np.array(variances) + resolution(_step_shown(instrument)) ** 2)
    return Comparisons(
        column("reference", of_value), column("indication", of_indication), np.array(standard), independent
    )


def comparisons_with_digits(instrument: Cells, comparisons: Sequence[Cells]) -> Comparisons:
    """The same with what the certificate's k and its digits tell: degrees of freedom of U/k, and how the digits are rounded."""
    return _with_rounding(comparisons_in_si(instrument, comparisons), comparisons, _Steps.of(instrument, comparisons))


def comparisons_with_digits_held_against_u(instrument: Cells, comparisons: Sequence[Cells]) -> Comparisons:
    """The same as editions 2 and 3 had it: a place of the indication that is worth more than U is no rounding either.

    An indication of another quantity is held against U by the slope over all comparisons.
    """
    points, steps = comparisons_in_si(instrument, comparisons), _Steps.typed(instrument, comparisons)
    slope = 1.0
    if quantity_indicated(instrument) != instrument["quantity"]:
        slope = float(np.ptp(points.reference) / (np.ptp(points.indication) or math.inf))
    is_rounding = steps.indication * slope <= steps.least_expanded
    return _with_rounding(points, comparisons, steps if is_rounding else replace(steps, indication=0.0))


def _with_rounding(points: Comparisons, comparisons: Sequence[Cells], steps: "_Steps") -> Comparisons:
    return replace(
        points,
        reference_degrees_of_freedom=reference_degrees_of_freedom(comparisons),
        reference_rounding=resolution(steps.reference if steps.reference <= steps.least_expanded else 0.0),
        indication_rounding=resolution(steps.indication),
    )


# k = 2 is written for up to so much, at the probability that stands for two standard deviations.
_WRITTEN_AS_2 = 2.05


def reference_degrees_of_freedom(comparisons: Sequence[Cells]) -> float:
    """Degrees of freedom of the reference part: nu with t_p(nu) = k at the probability stated, the smallest of all comparisons.

    Without a stated probability 95.45 %. There k up to 2.05 is taken as a rounded 2, and any k that is not above the normal
    distribution's as infinite. Source: GUM G.3; EA-4/02 M:2013, Annex E, from memory.
    """
    return min((_of_factor(comparison) for comparison in comparisons), default=math.inf)


def _of_factor(comparison: Cells) -> float:
    k, stated = float(_cell(comparison, "coverage_factor")), comparison.get("coverage_probability_percent")
    probability = COVERAGE_PROBABILITY if stated is None else float(Decimal(stated) / 100)
    if probability == COVERAGE_PROBABILITY and k <= _WRITTEN_AS_2:
        return math.inf
    return float(degrees_of_freedom_from_factor(k, probability))


@dataclass(frozen=True)
class _Steps:
    """What the last digits written are worth [SI]; of a column the finest place: who types 5 for 5.00 rounds to no whole number.

    Nor does whoever types a reference value of 50 with a U of 0.1: a place larger than U is no rounding of it. Of an indication's
    digits U says nothing: these are the instrument's.
    """

    reference: float
    indication: float
    least_expanded: float  # U of a comparison [SI]

    @staticmethod
    def typed(instrument: Cells, comparisons: Sequence[Cells]) -> "_Steps":
        """As typed on the certificate; 0 without comparisons."""
        quantity, indicated = _cell(instrument, "quantity"), quantity_indicated(instrument)
        return _Steps(
            min((_step(quantity, _cell(each, "unit"), _cell(each, "reference")) for each in comparisons), default=0.0),
            min(
                (
                    _step(indicated, each["indication_unit"] or _cell(each, "unit"), _cell(each, "indication"))
                    for each in comparisons
                ),
                default=0.0,
            ),
            min(
                (
                    unit(quantity, _cell(each, "unit")).difference_to_si(float(_cell(each, "expanded_uncertainty")))
                    for each in comparisons
                ),
                default=0.0,
            ),
        )

    @staticmethod
    def of(instrument: Cells, comparisons: Sequence[Cells]) -> "_Steps":
        """The same, the indication rounded to no more than the instrument's resolution: 5 for 5.0 there where it shows tenths."""
        steps = _Steps.typed(instrument, comparisons)
        return replace(steps, indication=min(steps.indication, _step_shown(instrument)))


def _step_shown(instrument: Cells) -> float:
    """The resolution of an instrument [SI]."""
    own = unit(quantity_indicated(instrument), _cell(instrument, "unit"))
    return own.difference_to_si(float(_cell(instrument, "resolution")))


def _step(quantity: str, symbol: str, digits: str) -> float:
    """What the last digit written is worth [SI]."""
    return unit(quantity, symbol).difference_to_si(10.0 ** last_place(digits))


def last_place(digits: str) -> int:
    """The power of ten of the last digit written: -2 of "4.50", 0 of "12"."""
    exponent = Decimal(digits).as_tuple().exponent
    return exponent if isinstance(exponent, int) else 0


FIRST_EDITION = Edition(1, comparisons_in_si, own_scatter, own_scatter)
SECOND_EDITION = Edition(2, comparisons_with_digits_held_against_u, averaged_scatter, own_scatter)
THIRD_EDITION = Edition(3, comparisons_with_digits_held_against_u, averaged_scatter, averaged_scatter)
FOURTH_EDITION = Edition(4, comparisons_with_digits, averaged_scatter, averaged_scatter)
EDITIONS = {edition.ordinal: edition for edition in (FIRST_EDITION, SECOND_EDITION, THIRD_EDITION, FOURTH_EDITION)}


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
        rule_edition=None if fitted.edition == FIRST_EDITION.ordinal else fitted.edition,
    )
