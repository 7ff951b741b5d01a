"""What one indication of an instrument means, by itself: value, uncertainty, degrees of freedom."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calib.curves.curve import Curve
from calib.measurement import Readings, flows
from calib.procedures.certificate.permissible_error import limits_at
from calib.quantities import unit
from calib.records.record import typed
from calib.records.tables import Instrument
from calib.uncertainty.propagation import Contribution


@dataclass(frozen=True)
class StabilityHere:
    """Change since calibration at P indications."""

    half_width: NDArray[np.float64]  # (P,) limits of change; of a history sqrt(3) times its standard uncertainty [SI]
    degrees_of_freedom: NDArray[np.float64]  # (P,) of a history; infinite where limits are stated


def indicated(
    one: Instrument, curve: Curve, indication: float, stability: StabilityHere | None = None
) -> tuple[float, tuple[Contribution, ...]]:
    """Value at an indication [SI], and what contributes to it: one observation, before outlet and method come in."""
    found = flows(single(one, curve, indication, stability))
    return float(found.velocity[0]), found.velocity_contributions


def single(one: Instrument, curve: Curve, indication: float, stability: StabilityHere | None = None) -> Readings:
    """One indication as a reading of its own; without a `stability` that of the stated limits."""
    own = unit(one.indicated, one.unit)
    limits = stability_limit(one, [indication])
    zero, first = np.zeros(1), np.zeros(1, dtype=np.int64)
    return Readings(
        indication=np.array([indication]),
        repeatability=np.array([own.difference_to_si(float(one.repeatability or 0))]),
        repeatability_type_a=np.array([False]),
        repeatability_dof=np.array([math.inf]),
        resolution=np.array([resolution_of(one)]),
        stability_limit=limits if stability is None else stability.half_width,
        calibration=first,
        outlet=first,
        area=np.ones(1),
        dimension_relative=np.zeros((1, 2)),
        outlet_factor=np.ones(1),
        outlet_factor_relative=zero,
        outlet_factor_source=first,
        method_relative=zero,
        curves=[curve],
        stability_dof=None if stability is None else stability.degrees_of_freedom,
    )


def stability_limit(instrument: Instrument, indication: ArrayLike) -> NDArray[np.float64]:
    """Limits of change since calibration at indications [SI]: the stated ones, else the maximum permissible error."""
    return limits_at(typed(instrument), indication, *_limits_of_change(instrument))


def stability_limits(instrument: Instrument) -> tuple[float, float]:
    """The same as a fraction of the indication [1] and a constant [SI]."""
    percent, absolute = _limits_of_change(instrument)
    own = unit(instrument.indicated, instrument.unit)
    return float(percent or 0) / 100, own.difference_to_si(float(absolute or 0))


def _limits_of_change(instrument: Instrument) -> tuple[str | None, str | None]:
    """Percentage of what is shown, and the part in the instrument's own unit, as typed."""
    if instrument.stability_percent is not None or instrument.stability_absolute is not None:
        return instrument.stability_percent, instrument.stability_absolute
    return instrument.mpe_percent, instrument.mpe_absolute


def resolution_of(instrument: Instrument) -> float:
    """Digital step [SI]."""
    return unit(instrument.indicated, instrument.unit).difference_to_si(float(instrument.resolution))


def repeatability_of(instrument: Instrument) -> float:
    """Declared standard deviation of one indication [SI]; NaN where it declares none."""
    return unit(instrument.indicated, instrument.unit).difference_to_si(float(instrument.repeatability or "nan"))
