"""A manometer behind a probe: it indicates the velocity pressure.

    v = sqrt(2 y/rho)       dv/dy = v/(2 y)       d ln v/d ln rho = -1/2

then through the probe's own curve. Every pressure becomes a velocity by itself: velocities are averaged, never pressures. Where
u(y)/(2 y) exceeds 10 %, v is the mean over what y may be (`velocity_near_zero`); below the lowest comparison its correction is
held (`below_lowest`). A mean velocity that is hardly above the manometer's uncertainty is flagged, or refused.
Source: ISO 3966; `calib.airflow.velocity`.
"""

from calib.airflow.velocity import (
    LowPressure,
    pressure_sensitivity,
    velocity_from_pressure,
    velocity_near_zero,
    velocity_pressure,
)
from calib.arrays import Floats
from calib.measurement.notation import RHO, Bracket, Digits, Quotient, Root, Term, times
from calib.measurement.way import Corrected, Density, InAir, ProbeUse, Way, always


def _velocity(pressure: Floats, density: Density, _none: Density) -> Floats:
    return velocity_from_pressure(pressure, density)


def _pressure(velocity: float, density: float, _none: float) -> float:
    return float(velocity_pressure(velocity, density))


def _low(velocity: float, density: float, expanded_uncertainty: float) -> LowPressure:
    return LowPressure(float(velocity_pressure(velocity, density)), expanded_uncertainty)


def _formula(corrected: Corrected, x: Term) -> tuple[Term, ...]:
    return (Root(Quotient(times(Digits("2"), Bracket(corrected(x))), RHO)),)


# A velocity pressure above it is one of 130 m/s and more, where air is no incompressible fluid: what begins there is a barometer.
_LARGEST_VELOCITY_PRESSURE = 10e3  # [Pa]

VELOCITY_PRESSURE = Way(
    name="pressure",
    title="Velocity pressure",
    indicates="a velocity pressure",
    quantity="pressure",
    formula=_formula,
    in_air=InAir(
        value=_velocity,
        bent=pressure_sensitivity,
        exponent=always(-0.5),
        corrected=_pressure,
        near_zero=velocity_near_zero,
    ),
    probe=ProbeUse.NEEDED,
    each_by_itself=True,
    low=_low,
    begins_at_most=_LARGEST_VELOCITY_PRESSURE,
)
