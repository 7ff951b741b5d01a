"""One reading in many trials: the measurement model on drawn errors of its input quantities (JCGM 101, 7.4).

The model of `calib.measurement` without linearisation: in each trial every point gets its indication, its corrected value
and its velocity anew, and only then the mean is taken. What is stated for a value and not for each trial (reference part, limits
of change) is taken at the estimates, and so is whether a point is below the lowest comparison. The errors and where they enter,
by the name of their place:

    repeatability k, resolution k      to the indication of point k, and to those of its place in every pass
    scatter j                          along direction j of the curve's coefficients, in standard uncertainties
    reference, stability, decided      times the reference part, the limits of change and what a review widened by, at each point
    density                            relative, to the density of the air; with it what the instrument showed of that air is
                                       wrong by, from scatter, reference and stability
    probe scatter j, ...               the same of the probe
    passes                             to the mean value
    resistance ratio                   to that of a hood
    dimension k, outlet factor, method, method common, method own, plant drift      relative, to the flow
"""

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from calib.arrays import Floats, Integers, Truths
from calib.curves.curve import Curve
from calib.curves.regression import cholesky_of
from calib.measurement.below_lowest import Held, asked_at, coefficient_held, correction_held
from calib.measurement.readings import Readings
from calib.measurement.way import Way
from calib.uncertainty.estimate import rectangular

Place = tuple[str, int]
RELATIVE = (
    ("dimension", 0), ("dimension", 1), ("outlet factor", 0), ("method", 0), ("method common", 0), ("method own", 0),
    ("plant drift", 0),
)  # fmt: skip


@dataclass(frozen=True)
class Errors:
    """Errors of the input quantities in t trials, each (t,); 0 in a place where nothing was drawn."""

    trials: int
    drawn: Mapping[Place, Floats]

    def at(self, name: str, index: int = 0) -> Floats | float:
        """Errors in a place."""
        return self.drawn.get((name, index), 0.0)

    def directions(self, name: str, count: int) -> Floats:
        """(t, count) errors in the places of one name."""
        return np.column_stack([np.broadcast_to(self.at(name, index), self.trials) for index in range(count)])


NO_ERRORS = Errors(1, {})


def errors_at(places: Sequence[Place], drawn: Sequence[Floats]) -> Errors:
    """Errors from what was drawn for each place; those of one place add."""
    summed: dict[Place, Floats] = {}
    for place, values in zip(places, drawn, strict=True):
        summed[place] = summed[place] + values if place in summed else values
    first, *_ = drawn
    return Errors(first.size, summed)


@dataclass(frozen=True)
class Calibrated:
    """An instrument or probe at the P points of a reading."""

    prefix: str  # of its places
    curve: Curve
    root: Floats  # (p, p) directions of its coefficients, each one standard uncertainty long
    reference: Floats  # (P,) reference part at the estimates
    stability: Floats  # (P,) half-width of the change since calibration there, in the value
    decided: Floats  # (P,) half-width that reviews widened the value by
    below: Truths  # (P,) below the lowest comparison, at the estimates
    held: Held  # what the curve holds on to there
    stability_dof: float = math.inf  # finite where it comes from a history

    def with_errors(self, given: Errors) -> Callable[[int, Floats], Floats]:
        """The value (t,) at point k and indications (t,)."""
        coefficients = self._coefficients(given)
        reference, stability = given.at(f"{self.prefix}reference"), given.at(f"{self.prefix}stability")
        decided = given.at(f"{self.prefix}decided")

        def value(k: int, x: Floats) -> Floats:
            errors_of_value = self.reference[k] * reference + self.stability[k] * stability + self.decided[k] * decided
            return np.asarray(self._on_the_curve(k, x, coefficients) + errors_of_value)

        return value

    def _on_the_curve(self, k: int, x: Floats, coefficients: Floats) -> Floats:
        if not self.below[k]:
            return self.curve.value_with(x, coefficients)
        at = np.full_like(x, self.curve.low)
        lowest = self.curve.value(at)
        # The scatter there is that of the lowest comparison, whatever is held on to.
        scattered = self.curve.value_with(at, coefficients) - lowest
        return self.held(lowest, self.curve.error_sensitivity(at), x, at)[0] + scattered

    def _coefficients(self, given: Errors) -> Floats:
        """(t, p) coefficients of the curve."""
        own = self.curve.coefficients
        if not any((f"{self.prefix}scatter", index) in given.drawn for index in range(own.size)):
            return np.broadcast_to(own, (given.trials, own.size))
        along = given.directions(f"{self.prefix}scatter", own.size)
        return np.asarray(own + along @ self.root.T)


@dataclass(frozen=True)
class OneReading:
    """One reading with its P points."""

    indication: Floats  # (P,)
    weight: Floats  # (P,) in the mean of all passes
    place: Integers  # (P,) number of the point in its pass
    instrument: Calibrated
    probe: Calibrated | None
    way: Way
    density: float  # [kg/m3]
    reference_density: float  # [kg/m3]
    resistance_ratio: float  # of a hood with its throttle open and set
    opening: float  # A K [m2]
    carried_scatter: Floats  # (p,) what a found factor carries of the instrument's calibration, relative
    carried_reference: float
    scatter_in_air: Floats  # (p,) of ln rho, by what the instrument showed of the air
    reference_in_air: float
    stability_in_air: float  # for a change by its half-width

    def flow(self, given: Errors) -> Floats:
        """(t,) flows [m3/s]."""
        flow = self.mean(given) * self.opening / self._carried(given)
        for place in RELATIVE:
            if place in given.drawn:
                flow *= 1.0 + given.drawn[place]
        return flow

    def mean(self, given: Errors) -> Floats:
        """(t,) mean velocity [m/s], or the flow of a hood [m3/s]."""
        points = self.points(given)
        if self.way.of_two is not None:
            ratio = self.resistance_ratio + given.at("resistance ratio")
            return self.way.of_two.trial(next(points), next(points), ratio)
        mean = next(points) * self.weight[0]
        for weight, value in zip(self.weight[1:], points, strict=True):
            mean += weight * value
        return np.asarray(mean + given.at("passes"))

    def points(self, given: Errors) -> Iterator[Floats]:
        """(t,) velocity [m/s] of each point; of a hood the flow [m3/s]."""
        density = self.density * (1.0 + given.at("density") + self._in_air(given))
        instrument = self.instrument.with_errors(given)
        probe = None if self.probe is None else self.probe.with_errors(given)
        for k in range(self.indication.size):
            value = self._through_the_air(instrument(k, self._indication(k, density, given)), density)
            yield value if probe is None else np.where(value > 0, probe(k, value), value)

    def _indication(self, k: int, density: Floats | float, given: Errors) -> Floats:
        """(t,) indications at a point, as the curve is asked."""
        x = np.full(given.trials, self.indication[k])
        x += given.at("repeatability", k)
        x += given.at("resolution", int(self.place[k]))
        if self.way.in_air is not None:
            x *= self.way.in_air.scale(density, self.reference_density)
        return x

    def _through_the_air(self, value: Floats, density: Floats | float) -> Floats:
        in_air = self.way.in_air
        return value if in_air is None else in_air.value(value, density, self.reference_density)

    def _in_air(self, given: Errors) -> Floats | float:
        """(t,) relative error of the density, by what the instrument itself showed of the air."""
        error: Floats | float = self.reference_in_air * given.at("reference")
        error = error + self.stability_in_air * given.at("stability")
        for index, part in enumerate(self.scatter_in_air):
            error = error + part * given.at("scatter", index)
        return error

    def _carried(self, given: Errors) -> Floats | float:
        """The factor was found with an instrument that read high or low by this: (t,) ratio to the truth."""
        carried: Floats | float = 1.0 + self.carried_reference * given.at("reference")
        for index, part in enumerate(self.carried_scatter):
            carried = carried + part * given.at("scatter", index)
        return carried


@dataclass(frozen=True)
class ReadingModel:
    """The measurement model of one reading, for `propagate_distributions`."""

    reading: OneReading
    places: Sequence[Place]  # of each array that is drawn

    def __call__(self, *drawn: Floats) -> Floats:
        """Flows (t,) from what was drawn, (t,) for each place [m3/s]."""
        return self.reading.flow(errors_at(self.places, drawn))


# --- one reading among many ------------------------------------------------------------------------------------------------------


def one_reading(readings: Readings, row: int) -> OneReading:
    """A reading of a job; raises MeasuringIntervalError where an estimate lies outside a curve's interval."""
    mine = points_of(readings, row)
    air, hoods, factors = readings.air, readings.hoods, readings.found_factors
    way = readings.way_of(row)
    density, reference_density = (math.nan, math.nan) if air is None else (air.density[row], air.reference_density[row])
    x = readings.indication[mine]
    at = x if way.in_air is None else x * way.in_air.scale(density, reference_density)
    curve = readings.curves[readings.calibration[row]]
    scatter_in_air, reference_in_air, stability_in_air = _in_air(readings, row, curve.parts)
    plain = OneReading(
        indication=x,
        weight=weights_of(readings, mine),
        place=_places(readings, mine),
        instrument=replace(
            _calibrated("", curve, at, readings.stability_limit[mine], way, correction_held),
            decided=np.zeros(x.size) if readings.decided is None else readings.decided[mine],
            stability_dof=math.inf if readings.stability_dof is None else float(readings.stability_dof[row]),
        ),
        probe=None,
        way=way,
        density=float(density),
        reference_density=float(reference_density),
        resistance_ratio=math.nan if hoods is None else float(hoods.resistance_ratio[row]),
        opening=float(readings.area[row] * readings.outlet_factor[row]),
        carried_scatter=np.zeros(0) if factors is None else factors.scatter[row, : curve.parts],
        carried_reference=0.0 if factors is None else float(factors.reference[row]),
        scatter_in_air=scatter_in_air,
        reference_in_air=reference_in_air,
        stability_in_air=stability_in_air,
    )
    return replace(plain, probe=_probe(readings, row, plain))


def _in_air(readings: Readings, row: int, parts: int) -> tuple[Floats, float, float]:
    """What the calibration of a reading's own instrument does to ln rho: scatter, reference part, half-width of its change."""
    scatter, reference, stability = np.zeros(parts), 0.0, 0.0
    influences = None if readings.air is None else readings.air.influences
    known = () if readings.calibrations is None else readings.calibrations.identifier
    if influences is None or not known:
        return scatter, reference, stability
    named = dict(enumerate(influences.identifiers))
    for slot in influences.of_calibrations:
        if named.get(int(slot.calibration[row])) == known[readings.calibration[row]]:
            scatter, reference = slot.scatter[row, :parts], float(slot.reference[row].sum())
            stability = float(slot.stability[row].sum() / rectangular(1.0))
    return scatter, reference, stability


def points_of(readings: Readings, row: int) -> slice:
    """Where the points of a reading stand."""
    if readings.points is None:
        return slice(row, row + 1)
    first, end = np.searchsorted(readings.points.reading, [row, row + 1])
    return slice(int(first), int(end))


def passes_of(readings: Readings, row: int) -> int:
    """Number of passes of a reading."""
    if readings.points is None:
        return 1
    return int(np.unique(readings.points.passage[points_of(readings, row)]).size)


def weights_of(readings: Readings, mine: slice) -> Floats:
    """Weights of the points of one reading in the mean of all its passes."""
    if readings.points is None:
        return np.ones(1)
    return readings.points.weight[mine] / np.unique(readings.points.passage[mine]).size


def _places(readings: Readings, mine: slice) -> Integers:
    if readings.points is None:
        return np.zeros(1, dtype=np.int64)
    passage = readings.points.passage[mine]
    return np.arange(passage.size) - np.searchsorted(passage, passage)


def _calibrated(prefix: str, curve: Curve, at: Floats, limit: Floats, way: Way, held: Held) -> Calibrated:
    x = asked_at(curve, at, way.goes_to_zero)
    return Calibrated(
        prefix,
        curve,
        cholesky_of(curve.covariance),
        curve.reference_uncertainty(x),
        curve.error_sensitivity(x) * limit,
        np.zeros(x.size),
        x > at,
        held,
    )


def _probe(readings: Readings, row: int, without: OneReading) -> Calibrated | None:
    probes = readings.probes
    if probes is None or probes.calibration[row] < 0:
        return None
    at = np.concatenate(list(without.points(NO_ERRORS)))
    curve = readings.curves[probes.calibration[row]]
    limit = (
        probes.stability_relative[row] * asked_at(curve, at, without.way.goes_to_zero) + probes.stability_absolute[row]
    )
    probe = _calibrated("probe ", curve, at, limit, without.way, coefficient_held)
    return replace(probe, stability_dof=math.inf if probes.stability_dof is None else float(probes.stability_dof[row]))
