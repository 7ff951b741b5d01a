"""What one indication of an instrument means, by itself: value, uncertainty, degrees of freedom."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from calib.arrays import Floats, Truths
from calib.curves.curve import Curve
from calib.measurement import Readings, flows
from calib.quantities import Unit, coherent, unit
from calib.records.tables.instruments import Instrument
from calib.uncertainty.propagation import Contribution


@dataclass(frozen=True)
class StabilityHere:
    """Change since calibration at P indications."""

    half_width: Floats  # (P,) limits of change; of a history sqrt(3) times its standard uncertainty [SI]
    degrees_of_freedom: Floats  # (P,) of a history; infinite where limits are stated


@dataclass(frozen=True)
class IndicationsObserved:
    """What an instrument showed at n points [SI], as means of repeated indications."""

    indication: Floats  # (n,)
    repeatability: Floats  # (n,) standard uncertainty of the mean
    type_a: Truths  # (n,) from repeated indications; else declared
    degrees_of_freedom: Floats  # (n,)


def indicated(
    instrument: Instrument, curve: Curve, indication: float, stability: StabilityHere | None = None
) -> tuple[float, tuple[Contribution, ...]]:
    """Value at an indication [SI], and what contributes to it: one observation, before outlet and method come in."""
    evaluated = flows(declared(instrument, curve, indication, stability))
    return float(evaluated.velocity[0]), evaluated.velocity_contributions


def declared(
    instrument: Instrument, curve: Curve, indication: ArrayLike, stability: StabilityHere | None = None
) -> Readings:
    """Indications as readings, each of one observation: with the repeatability that the instrument declares, if it does.

    Without a `stability` that of the stated limits.
    """
    x = np.atleast_1d(np.asarray(indication, dtype=float))
    repeatability = unit(instrument.indicated, instrument.unit).difference_to_si(float(instrument.repeatability or 0))
    observed = IndicationsObserved(
        x, np.full(x.size, repeatability), np.zeros(x.size, dtype=bool), np.full(x.size, math.inf)
    )
    return as_readings(instrument, curve, observed, stability)


def as_readings(
    instrument: Instrument, curve: Curve, observed: IndicationsObserved, stability: StabilityHere | None = None
) -> Readings:
    """Indications as readings with nothing between them and their values; without a `stability` that of the stated limits."""
    n = observed.indication.size
    zeros, first = np.zeros(n), np.zeros(n, dtype=np.int64)
    limits = stability_limit(instrument, observed.indication)
    return Readings(
        indication=observed.indication,
        repeatability=observed.repeatability,
        repeatability_type_a=observed.type_a,
        repeatability_dof=observed.degrees_of_freedom,
        resolution=np.full(n, resolution_of(instrument)),
        stability_limit=limits if stability is None else stability.half_width,
        calibration=first,
        outlet=first,
        area=np.ones(n),
        dimension_relative=np.zeros((n, 2)),
        outlet_factor=np.ones(n),
        outlet_factor_relative=zeros,
        outlet_factor_source=first,
        method_relative=zeros,
        curves=[curve],
        stability_dof=None if stability is None else stability.degrees_of_freedom,
    )


def stability_limit(instrument: Instrument, indication: ArrayLike) -> Floats:
    """Limits of change since calibration at indications [SI]: the stated ones, else the maximum permissible error."""
    relative, absolute = stability_limits(instrument)
    own = unit(instrument.indicated, instrument.unit)
    # A percentage is one of what the instrument shows: of degrees Celsius, not of kelvin. Summed in SI, where the permissible error
    # of a certificate is summed in the register's unit: the other order of the sum would move the last digits of issued flows.
    shown = np.abs(own.from_si(np.asarray(indication, dtype=float)))
    return np.asarray(relative * own.difference_to_si(shown) + absolute)


def stability_limits(instrument: Instrument) -> tuple[float, float]:
    """The same as a fraction of the indication [1] and a constant [SI]."""
    own = unit(instrument.indicated, instrument.unit)
    stated = instrument.stability_percent is not None or instrument.stability_absolute is not None
    percent = instrument.stability_percent if stated else instrument.mpe_percent
    absolute = instrument.stability_absolute if stated else instrument.mpe_absolute
    return float(percent or 0) / 100, own.difference_to_si(float(absolute or 0))


def unit_of_value(instrument: Instrument) -> Unit:
    """Unit of what an instrument measures: its own, or the coherent one where it indicates another quantity."""
    if instrument.indicated == instrument.quantity:
        return unit(instrument.quantity, instrument.unit)
    return coherent(instrument.quantity)


def resolution_of(instrument: Instrument) -> float:
    """Digital step [SI]."""
    return unit(instrument.indicated, instrument.unit).difference_to_si(float(instrument.resolution))


def repeatability_of(instrument: Instrument) -> float:
    """Declared standard deviation of one indication [SI]; NaN where it declares none."""
    return unit(instrument.indicated, instrument.unit).difference_to_si(float(instrument.repeatability or "nan"))
