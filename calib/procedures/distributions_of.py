"""Propagation of distributions for one reading (JCGM 101), beside the law of propagation."""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calib.measurement import Readings
from calib.procedures.reading_of import ReadingInJob
from calib.uncertainty.distributions import InputDistribution, Normal, Rectangular, StudentT
from calib.uncertainty.joint_distributions import MultivariateT
from calib.uncertainty.monte_carlo import MonteCarloResult, propagate_distributions
from calib.uncertainty.validation import Validation, validate_law

_CLAUSE_8 = 0.2  # the law is judged with a simulation five times as fine as the tolerance (JCGM 101, 8.2)

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class LawAndDistributions:
    """Both propagations of one reading's flow, in SI."""

    value: float  # by the law [m3/s]
    standard_uncertainty: float
    expanded_uncertainty: float
    simulated: MonteCarloResult
    validation: Validation


def distributions_of(found: ReadingInJob, seed: int, significant_digits: int = 2) -> LawAndDistributions:
    """Propagate the distributions of a reading's input quantities and compare the law of propagation with them."""
    flow, readings = found.evaluation.flow, found.evaluation.readings
    assert flow is not None and readings is not None  # noqa: S101, PT018 (the reading stands)
    row = found.row
    inputs, model = model_of(readings, row)
    simulated = propagate_distributions(
        model,
        inputs,
        seed=seed,
        coverage_probability=flow.coverage_probability,
        significant_digits=significant_digits,
        tolerance_fraction=_CLAUSE_8,
    )
    value, u = float(flow.value[row]), float(flow.combined.standard_uncertainty[row])
    expanded = float(flow.expanded_uncertainty[row])
    judged = validate_law(value, u, expanded, simulated.symmetric_interval, significant_digits)
    return LawAndDistributions(value, u, expanded, simulated, judged)


def model_of(readings: Readings, row: int) -> tuple[list[InputDistribution], Callable[..., Floats]]:
    """Input distributions of one reading that have a width, and the measurement model on their errors.

    The model is that of `calib.measurement`, without linearisation:
    v = f(x + errors of the indication; coefficients + their errors) + errors of the value,
    q = v A (1 + errors of the dimensions) K (1 + error of the factor) (1 + error of the method).
    """
    curve = readings.curves[readings.calibration[row]]
    x = float(readings.indication[row])
    terms = _Terms([], [])
    terms.add("indication", _repeatability(readings, row))
    terms.add("indication", _rectangular(float(readings.resolution[row]) / 2.0))
    terms.add("curve", _coefficients(readings, row))
    terms.add("value", _normal(float(curve.reference_uncertainty(x))))
    terms.add("value", _rectangular(float(readings.stability_limit[row] * curve.error_sensitivity(x))))
    for relative in readings.dimension_relative[row]:
        terms.add("factor", _rectangular(float(relative)))
    terms.add("factor", _normal(float(readings.outlet_factor_relative[row])))
    terms.add("factor", _normal(float(readings.method_relative[row])))
    opening = float(readings.area[row] * readings.outlet_factor[row])
    scale, coefficients = terms.places, curve.coefficients

    def model(*drawn: Floats) -> Floats:
        indication = np.full_like(drawn[0], x)
        value = np.zeros_like(drawn[0])
        factor = np.full_like(drawn[0], opening)
        changed: list[Floats] = []
        for place, errors in zip(_spread(scale, coefficients.size), drawn, strict=True):
            if place == "indication":
                indication += errors
            elif place == "value":
                value += errors
            elif place == "factor":
                factor *= 1.0 + errors
            else:
                changed.append(errors)
        theta = coefficients + np.column_stack(changed) if changed else np.tile(coefficients, (drawn[0].size, 1))
        return np.asarray((curve.value_with(indication, theta) + value) * factor)

    return terms.inputs, model


@dataclass(frozen=True)
class _Terms:
    places: list[str]  # where an input's error enters the model
    inputs: list[InputDistribution]

    def add(self, place: str, distribution: InputDistribution | None) -> None:
        if distribution is not None:
            self.places.append(place)
            self.inputs.append(distribution)


def _spread(places: list[str], parts: int) -> list[str]:
    """A place for each array that is drawn: the curve's coefficients are drawn together, as `parts` arrays."""
    return [one for place in places for one in ([place] * parts if place == "curve" else [place])]


def _repeatability(readings: Readings, row: int) -> InputDistribution | None:
    u, dof = float(readings.repeatability[row]), float(readings.repeatability_dof[row])
    if u <= 0:
        return None
    return Normal(0.0, u) if math.isinf(dof) else StudentT(0.0, u, dof)


def _coefficients(readings: Readings, row: int) -> InputDistribution | None:
    curve = readings.curves[readings.calibration[row]]
    covariance = curve.covariance
    if not np.any(covariance):
        return None
    return MultivariateT(np.zeros(curve.parts), covariance, curve.degrees_of_freedom)


def _normal(u: float) -> InputDistribution | None:
    return Normal(0.0, u) if u > 0 else None


def _rectangular(half_width: float) -> InputDistribution | None:
    return Rectangular(0.0, half_width) if half_width > 0 else None
