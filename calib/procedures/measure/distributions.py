"""Propagation of distributions for one reading (JCGM 101), beside the law of propagation.

    influence                                   distribution of its error
    repeatability, passes, method, factor       t with their degrees of freedom, normal where these are infinite
    calibration scatter, also of a probe        multivariate t with the n-p of the curve
    resolution, stability, dimension, decided   rectangular; a stability from history t with its degrees of freedom
    reference standard                          normal, or t where the certificate's k tells of few degrees of freedom
    resistance ratio, plant drift               normal
    density                                     temperature, pressure, humidity normal; the formula's two limits rectangular;
                                                what the reading's own instrument showed of the air as its calibration
    air temperature not observed                rectangular over the declared range

Of the area the relative half-widths that each dimension brings are drawn: exact for width times height, and for a diameter or a
flat oval but for squares of a relative half-width.
"""

import math
from dataclasses import dataclass, field

import numpy as np

from calib.airflow.air import CARBON_DIOXIDE, LARGEST_DIFFERENCE
from calib.arrays import Floats
from calib.measurement import NOT_OBSERVED, Readings
from calib.measurement.at_points import at_points
from calib.measurement.trials import (
    NO_ERRORS,
    Calibrated,
    OneReading,
    Place,
    ReadingModel,
    one_reading,
    passes_of,
    points_of,
)
from calib.procedures.measure.air import AirFound, parts_of_density
from calib.procedures.measure.reading_in_job import ReadingInJob
from calib.procedures.on_record.flow_unit import flow_unit
from calib.uncertainty.distributions import InputDistribution, Normal, Rectangular, StudentT
from calib.uncertainty.estimate import rectangular, type_a
from calib.uncertainty.joint_distributions import MultivariateT
from calib.uncertainty.monte_carlo import (
    CoverageInterval,
    MonteCarloResult,
    numerical_tolerance,
    propagate_distributions,
)
from calib.uncertainty.validation import StatedInterval, Validation, check_interval, validate_law

_CLAUSE_8 = 0.2  # the law is judged with a simulation five times as fine as the tolerance (JCGM 101, 8.2)


@dataclass(frozen=True)
class LawAndDistributions:
    """Both propagations of one reading's flow, in SI: what every answer states, and the distributions that check it."""

    value: float  # by the law [m3/s]
    standard_uncertainty: float
    expanded_uncertainty: float
    stated: CoverageInterval  # value +- U, or the ends told beside it
    simulated: MonteCarloResult
    validation: Validation
    check: StatedInterval


def distributions_of(
    reading: ReadingInJob, seed: int, significant_digits: int = 2, units: str | None = None
) -> LawAndDistributions:
    """Propagate the distributions of a reading's input quantities, and check with them the interval that is stated.

    The numerical tolerance is half a unit of the last digit of u as it is printed: in the unit of the flow.
    """
    flow, readings = reading.evaluation.flow, reading.evaluation.readings
    assert flow is not None and readings is not None  # noqa: S101, PT018 (the reading stands)
    row = reading.row
    measured = reading.evaluation.measured[row]
    inputs, model = model_of(readings, row, measured.air, measured.calibration.record_id)
    value, u = float(flow.value[row]), float(flow.combined.standard_uncertainty[row])
    in_unit = flow_unit(measured.outlet, units)
    in_si = numerical_tolerance(u, significant_digits)
    printed = in_unit.difference_to_si(numerical_tolerance(float(in_unit.difference_from_si(u)), significant_digits))
    simulated = propagate_distributions(
        model,
        inputs,
        seed=seed,
        coverage_probability=flow.coverage_probability,
        significant_digits=significant_digits,
        tolerance_fraction=_CLAUSE_8 * printed / in_si,
    )
    expanded = float(flow.expanded_uncertainty[row])
    middle = value + (0.0 if flow.second_order is None else float(flow.second_order.above[row]))
    stated = CoverageInterval(middle - expanded, middle + expanded)
    drawn = simulated.symmetric_interval
    judged = validate_law(value, u, expanded, drawn, tolerance=float(printed))
    return LawAndDistributions(value, u, expanded, stated, simulated, judged, check_interval(stated, drawn))


def model_of(
    readings: Readings, row: int, air: AirFound | None = None, calibration: int | None = None
) -> tuple[list[InputDistribution], ReadingModel]:
    """Input distributions of one reading that have a width, and the measurement model on their errors.

    The model is that of `calib.measurement` without linearisation (`calib.measurement.trials`). `air` tells what the uncertainty
    of the density is made of; without it the density's error is normal. `calibration` is that of the instrument, which may have
    observed the air too.
    """
    reading = one_reading(readings, row)
    terms = _Terms()
    _of_points(terms, readings, row, reading)
    _of_calibration(terms, reading.instrument)
    if reading.probe is not None:
        _of_calibration(terms, reading.probe)
    _of_air(terms, readings, row, air, calibration)
    _of_hood(terms, readings, row)
    _of_flow(terms, readings, row)
    return terms.inputs, ReadingModel(reading, tuple(terms.places))


@dataclass(frozen=True)
class _Terms:
    """Input distributions, and for each array that they draw the place where it enters the model."""

    places: list[Place] = field(default_factory=list)
    inputs: list[InputDistribution] = field(default_factory=list)

    def add(self, name: str, index: int, distribution: InputDistribution | None) -> None:
        if distribution is not None:
            self.places.append((name, index))
            self.inputs.append(distribution)

    def add_joint(self, name: str, count: int, distribution: InputDistribution) -> None:
        self.places.extend((name, index) for index in range(count))
        self.inputs.append(distribution)


def _of_points(terms: _Terms, readings: Readings, row: int, reading: OneReading) -> None:
    """Repeatability at each point where it is declared or observed there, else that of the passes; resolution at each place."""
    mine = points_of(readings, row)
    repeatability = readings.repeatability
    if reading.way.goes_to_zero:
        repeatability = np.where(at_points(readings).near_zero, readings.repeatability_alone, repeatability)
    for k, (u, dof) in enumerate(zip(repeatability[mine], readings.repeatability_dof[mine], strict=True)):
        terms.add("repeatability", k, _student(float(u), float(dof)))
    for place in np.unique(reading.place):
        terms.add("resolution", int(place), _rectangular(float(readings.resolution[row]) / 2.0))
    passes = passes_of(readings, row)
    if passes > 1:
        of_points = np.concatenate(list(reading.points(NO_ERRORS))) * reading.weight * passes
        means = type_a(of_points.reshape(passes, -1).sum(axis=1).tolist())
        terms.add("passes", 0, _student(means.standard_uncertainty, means.degrees_of_freedom))


def _of_calibration(terms: _Terms, calibrated: Calibrated) -> None:
    """Scatter of the curve along its directions, reference part, and the change since the calibration."""
    curve = calibrated.curve
    if np.any(curve.covariance):
        joint = MultivariateT(np.zeros(curve.parts), np.eye(curve.parts), curve.degrees_of_freedom)
        terms.add_joint(f"{calibrated.prefix}scatter", curve.parts, joint)
    if np.any(calibrated.reference):
        terms.add(f"{calibrated.prefix}reference", 0, _student(1.0, curve.reference_degrees_of_freedom))
    if np.any(calibrated.stability):
        terms.add(f"{calibrated.prefix}stability", 0, _change(calibrated.stability_dof))
    if np.any(calibrated.decided):
        terms.add(f"{calibrated.prefix}decided", 0, Rectangular(0.0, 1.0))


def _change(dof: float) -> InputDistribution:
    """Change since the calibration over its half-width: rectangular, or t with the degrees of freedom of a history."""
    return Rectangular(0.0, 1.0) if math.isinf(dof) else StudentT(0.0, rectangular(1.0), dof)


def _of_air(terms: _Terms, readings: Readings, row: int, air: AirFound | None, calibration: int | None) -> None:
    """Relative error of the density: its four parts, or as a whole."""
    if readings.air is None or readings.way_of(row).in_air is None:
        return
    if air is None:
        terms.add("density", 0, _normal(float(readings.air.relative_uncertainty[row])))
        return
    for name, part in parts_of_density(air.influences, air.density, without=calibration).items():
        relative = part / air.density
        for distribution in (
            _FORMULA
            if name == "formula"
            else (_rectangular(relative * math.sqrt(3.0)) if name == NOT_OBSERVED else _normal(relative),)
        ):
            terms.add("density", 0, distribution)


_FORMULA = (Rectangular(0.0, LARGEST_DIFFERENCE), Rectangular(0.0, CARBON_DIOXIDE))


def _of_hood(terms: _Terms, readings: Readings, row: int) -> None:
    if readings.hoods is not None and readings.way_of(row).of_two is not None:
        terms.add("resistance ratio", 0, _normal(float(readings.hoods.resistance_ratio_uncertainty[row])))


def _of_flow(terms: _Terms, readings: Readings, row: int) -> None:
    for side, relative in enumerate(readings.dimension_relative[row]):
        terms.add("dimension", side, _rectangular(float(relative)))
    terms.add("outlet factor", 0, _relative(readings.outlet_factor_relative, readings.outlet_factor_dof, row))
    terms.add("method", 0, _relative(readings.method_relative, readings.method_dof, row))
    two = readings.two_figures
    if two is not None:
        terms.add("method common", 0, _relative(two.common_relative, two.common_dof, row))
        terms.add("method own", 0, _relative(two.own_relative, two.own_dof, row))
    if readings.plant_drift is not None:
        terms.add("plant drift", 0, _normal(float(readings.plant_drift.relative[row])))


def _relative(u: Floats, dof: Floats | None, row: int) -> InputDistribution | None:
    return _student(float(u[row]), math.inf if dof is None else float(dof[row]))


def _student(u: float, dof: float) -> InputDistribution | None:
    return _normal(u) if math.isinf(dof) or u <= 0 else StudentT(0.0, u, dof)


def _normal(u: float) -> InputDistribution | None:
    return Normal(0.0, u) if u > 0 else None


def _rectangular(half_width: float) -> InputDistribution | None:
    return Rectangular(0.0, half_width) if half_width > 0 else None
