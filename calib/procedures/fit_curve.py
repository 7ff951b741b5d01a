"""Fit the correction curve of a calibration from its comparisons as typed."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from calib.curves.choice import Choice, Comparisons, choose
from calib.errors import CurveError
from calib.quantities import unit
from calib.uncertainty.estimate import from_expanded, resolution

Cells = Mapping[str, str | None]  # column -> as typed


@dataclass(frozen=True)
class FittedCurve:
    """A fitted correction curve and where it comes from."""

    phase: str  # "as-left", or "as-found" where no adjustment was made
    choice: Choice
    measuring_interval: str  # lowest and highest indication compared, in the certificate's digits and unit


def fit_curve(instrument: Cells, comparisons: Sequence[Cells], degree: int | None = None) -> FittedCurve:
    """Correction curve from the comparisons as left, or as found where there are none as left; raises CurveError."""
    phase = "as-left" if any(one["phase"] == "as-left" for one in comparisons) else "as-found"
    used = [one for one in comparisons if one["phase"] == phase]
    choice = choose(points_of(instrument, used), degree)
    lowest, highest = (extreme(used, key=lambda one: float(_cell(one, "indication"))) for extreme in (min, max))
    interval = f"{lowest['indication']} {lowest['unit']} to {highest['indication']} {highest['unit']}"
    return FittedCurve(phase, choice, interval)


def points_of(instrument: Cells, comparisons: Sequence[Cells]) -> Comparisons:
    """Comparisons of one phase as arrays in SI.

    d^2 = repeatability^2/observations + resolution^2/12; without stated repeatability d is unknown. Raises CurveError where only
    some of the comparisons state it.
    """
    stated = [one["repeatability"] is not None for one in comparisons]
    if any(stated) and not all(stated):
        raise CurveError(
            "repeatability is stated for some comparisons of a phase and blank for others: state it for all, or for none"
        )
    quantity = _cell(instrument, "quantity")
    units = [unit(quantity, _cell(one, "unit")) for one in comparisons]
    reference = [u.to_si(float(_cell(one, "reference"))) for u, one in zip(units, comparisons, strict=True)]
    indication = [u.to_si(float(_cell(one, "indication"))) for u, one in zip(units, comparisons, strict=True)]
    standard = [
        u.difference_to_si(
            from_expanded(float(_cell(one, "expanded_uncertainty")), float(_cell(one, "coverage_factor")))
        )
        for u, one in zip(units, comparisons, strict=True)
    ]
    independent = None
    if stated and all(stated):
        step = unit(quantity, _cell(instrument, "unit")).difference_to_si(float(_cell(instrument, "resolution")))
        variances = [
            u.difference_to_si(float(_cell(one, "repeatability"))) ** 2 / int(one["observations"] or 1)
            for u, one in zip(units, comparisons, strict=True)
        ]
        independent = np.sqrt(np.array(variances) + resolution(step) ** 2)
    return Comparisons(np.array(reference), np.array(indication), np.array(standard), independent)


def _cell(cells: Cells, column: str) -> str:
    cell = cells[column]
    if cell is None:
        raise CurveError(f"{column} is blank")
    return cell
