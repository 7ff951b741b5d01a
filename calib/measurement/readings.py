"""Readings as arrays, in SI: what the measurement model is given."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from calib.arrays import Floats, Integers, Truths
from calib.curves.curve import Curve
from calib.measurement.indicated_velocity import INDICATED_VELOCITY
from calib.measurement.way import Way


@dataclass(frozen=True)
class Points:
    """The P points of n readings: those of a reading side by side, pass after pass, the readings in their order."""

    reading: Integers  # (P,) number of the reading, rising
    passage: Integers  # (P,) number of the pass, from 0 over all readings, rising
    weight: Floats  # (P,) weight in the mean of its pass; those of a pass add to 1


@dataclass(frozen=True)
class ObservedBy:
    """What the calibrations of one slot do to ln rho of n readings: relative standard uncertainties of rho, with their signs.

    A calibration stands in one slot of a reading with all quantities, up to m, that were observed by it.
    """

    calibration: Integers  # (n,) place in `AirOfReadings.identifiers`; their count where none observed anything
    indication: Floats  # (n, m) [SI]
    scatter: Floats  # (n, p) in the directions of its curve, of all quantities together
    reference: Floats  # (n, m) reference part
    stability: Floats  # (n, m) change since the calibration
    degrees_of_freedom: Floats  # (n, 3) of the scatter, the reference part, the stability

    def at(self, rows: Truths) -> "ObservedBy":
        """The same at some readings, and nothing at the others."""
        counted = rows[:, np.newaxis]
        scatter, reference, stability = (
            np.where(counted, each, 0.0) for each in (self.scatter, self.reference, self.stability)
        )
        return replace(self, scatter=scatter, reference=reference, stability=stability)

    def parts(self) -> tuple[Floats, Floats, Floats]:
        """Scatter (n, p), reference part (n, 1) and stability (n, 1): each quantity's with its sign."""
        return self.scatter, self.reference.sum(axis=1, keepdims=True), self.stability.sum(axis=1, keepdims=True)


@dataclass(frozen=True)
class AirOfReadings:
    """The air of n readings, and what moves its density: signed relative standard uncertainties of rho [1]."""

    density: Floats  # (n,) [kg/m3]; NaN where it is not known
    own: Floats  # (n, o) of single indications, a column for each quantity
    conditions: Integers  # (n,) readings with the same number share these
    of_calibrations: Sequence[ObservedBy]  # what is shared by calibrations
    pressure: Floats  # (n,) stated, or of the altitude: common to the job
    stated: Floats  # (n, s) stated otherwise, and of formulas: each one error for all readings of one sign
    not_observed: Floats  # (n,) of a declared range of temperature
    identifiers: Sequence[int] = ()  # of the calibrations, as they are named in `Calibrations`


@dataclass(frozen=True)
class Air:
    """The air of n readings, where the density counts."""

    density: Floats  # (n,) [kg/m3]; any number above 0 where it does not count
    relative_uncertainty: Floats  # (n,) u(rho)/rho [1]; 0 where it does not count
    conditions: Integers  # (n,) readings with the same number share its error
    reference_density: Floats  # (n,) of the reference state or of the calibration, where there is one [kg/m3]
    not_observed: Floats | None = None  # (n,) beside it u/rho of a temperature that was declared [1]; None: none was
    influences: AirOfReadings | None = None  # what u is made of; None: one error for each set of conditions


@dataclass(frozen=True)
class Probes:
    """Probes with a calibration of their own: they indicate the velocity that a coefficient of 1 would give."""

    calibration: Integers  # (n,) index into the curves; -1 where none was used
    stability_relative: Floats  # (n,) half-width of the change since calibration: this times the velocity ...
    stability_absolute: Floats  # (n,) ... plus this [m/s]
    stability_dof: Floats | None = None  # (n,) where it comes from a history; None: infinite


@dataclass(frozen=True)
class Hoods:
    """Hoods read with their throttle open and set: such a reading has two points."""

    resistance_ratio: Floats  # (n,) resistance with the throttle set over that when open [1]; any number elsewhere
    resistance_ratio_uncertainty: Floats  # (n,) its standard uncertainty [1]
    hood: Integers  # (n,) readings with the same number share its error


@dataclass(frozen=True)
class StandardBehind:
    """A reference standard behind a calibration made in house: what the reference values bear of the standard's calibration.

    As shares of the standard uncertainty of the reference value at each of the m comparisons, up the chain.
    """

    standard: int  # index into the curves: the standard's calibration
    reference: Floats  # (m, s) its own reference part, at each of the s comparisons of its calibration
    scatter: Floats  # (m, p) the scatter of its curve, along the p directions of that
    stability: Floats  # (m, s) its change since its calibration, at each of the s comparisons

    def nothing(self, comparisons: int) -> "StandardBehind":
        """The same of a calibration that the standard does not stand behind."""
        shares = (self.reference, self.scatter, self.stability)
        return StandardBehind(self.standard, *(np.zeros((comparisons, each.shape[1])) for each in shares))


@dataclass(frozen=True)
class Calibrations:
    """What the calibrations behind the curves share, and how far each changes with time along its comparisons."""

    laboratory: Integers  # (curves,) those with the same number come from one laboratory, for one quantity
    stability: Sequence[Floats]  # of each curve: half-width of the change since then at its comparisons, up to a factor
    standards: Sequence[Sequence[StandardBehind]] = ()  # behind each curve, as far as it is known; (): behind none
    identifier: Sequence[int] = ()  # of each curve, by which the air names a calibration; (): it names none of these


@dataclass(frozen=True)
class TwoFigures:
    """Methods of which it is declared what their readings share, and what each has by itself; 0 and infinity for others."""

    common_relative: Floats  # (n,) standard uncertainty [1]
    common_dof: Floats  # (n,)
    own_relative: Floats  # (n,) standard uncertainty [1]
    own_dof: Floats  # (n,)
    opening: Integers  # (n,) readings with the same number are by one method, at one kind of opening, in one direction


@dataclass(frozen=True)
class PlantDrift:
    """What the drift of the plant adds to flows that are taken as of one time."""

    relative: Floats  # (n,) standard uncertainty [1]
    stream: Integers  # (n,) readings with the same number are of one system and one service

    def of(self, rows: Sequence[int]) -> "PlantDrift":
        """That of some readings."""
        return PlantDrift(self.relative[list(rows)], self.stream[list(rows)])

    def and_others(self, count: int) -> "PlantDrift":
        """The same beside readings that it adds nothing to."""
        none = np.zeros(count)
        return PlantDrift(np.append(self.relative, none), np.append(self.stream, none.astype(np.int64)))


@dataclass(frozen=True)
class FoundFactors:
    """What the outlet factor carries of the very calibration that the reading uses; 0 where it used another."""

    scatter: Floats  # (n, p) relative parts in the directions of the calibration's curve [1]
    reference: Floats  # (n,) relative reference part [1]


@dataclass(frozen=True)
class Readings:
    """n readings with P points, in SI. Arrays are (P,) where they speak of an indication, else (n,)."""

    indication: Floats  # (P,) x [unit of what the instrument indicates]
    repeatability: Floats  # (P,) standard uncertainty of it; 0 where the passes show it
    repeatability_type_a: Truths  # (P,) from the observations (A), or declared (B)
    repeatability_dof: Floats  # (P,) n-1 of the observations, or infinite
    stability_limit: Floats  # (P,) half-width of the change since calibration; of a history sqrt(3) times its u
    resolution: Floats  # (n,) digital step of the instrument
    calibration: Integers  # (n,) index into `curves`
    outlet: Integers  # (n,) number of the outlet
    area: Floats  # (n,) A or A_e [m2]; 1 for a hood
    dimension_relative: Floats  # (n, 2) half-width of the area, relative, that each dimension brings [1]
    outlet_factor: Floats  # (n,) K [1]
    outlet_factor_relative: Floats  # (n,) u(K)/K or u(A_e)/A_e [1]
    outlet_factor_source: Integers  # (n,) outlets with the same number share the factor's error
    method_relative: Floats  # (n,) standard uncertainty of the method, where a single figure is declared [1]
    curves: Sequence[Curve]
    outlet_factor_dof: Floats | None = None  # (n,); None: infinite
    method_dof: Floats | None = None  # (n,); None: infinite
    method: Integers | None = None  # (n,) readings with the same number are by one method; None: all are
    two_figures: TwoFigures | None = None  # None: no method declares them
    calibrations: Calibrations | None = (
        None  # None: each from another laboratory, its change the same at all comparisons
    )
    ways: Sequence[Way] = (INDICATED_VELOCITY,)
    way: Integers | None = None  # (n,) index into `ways`; None: all by the first
    points: Points | None = None  # None: each reading is one point
    air: Air | None = None  # None: the density counts nowhere
    probes: Probes | None = None
    hoods: Hoods | None = None
    found_factors: FoundFactors | None = None
    stability_dof: Floats | None = None  # (n,) finite where the stability comes from a history (A); None: infinite
    plant_drift: PlantDrift | None = None  # None: nothing was read again, or nothing is known of it
    declared_repeatability: Floats | None = (
        None  # (P,) of one indication, also where the passes show it; None: as above
    )

    decided: Floats | None = None  # (P,) half-width of the value that reviews widened it by; None: none did

    @property
    def repeatability_alone(self) -> Floats:
        """(P,) standard uncertainty of each indication by itself, whether or not the passes show that of their mean."""
        if self.declared_repeatability is None:
            return self.repeatability
        return np.maximum(self.repeatability, self.declared_repeatability)

    @property
    def size(self) -> int:
        """Number of readings."""
        return self.calibration.size

    @property
    def of_points(self) -> Integers | slice:
        """Index that spreads an array of the readings over their points."""
        return slice(None) if self.points is None else self.points.reading

    def way_of(self, row: int) -> Way:
        """The way of one reading."""
        return self.ways[0 if self.way is None else int(self.way[row])]

    def rows_by_way(self) -> Iterator[tuple[Way, Integers | slice]]:
        """Each way, and where its readings stand."""
        return _by_way(self.ways, self.way)

    def points_by_way(self) -> Iterator[tuple[Way, Integers | slice]]:
        """Each way, and where the points of its readings stand."""
        return _by_way(self.ways, None if self.way is None else self.way[self.of_points])


def _by_way(ways: Sequence[Way], index: Integers | None) -> Iterator[tuple[Way, Integers | slice]]:
    for place, way in enumerate(ways):
        yield way, slice(None) if index is None else np.flatnonzero(index == place)
