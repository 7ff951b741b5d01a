"""Thermal anemometers: they indicate the velocity that the mass flow has at a reference state, of the density rho_0.

    v = y rho_0/rho         dv/dy = v/y           d ln v/d ln rho = -1

Source: common practice, no source; `calib.airflow.velocity`.
"""

from calib.airflow.velocity import actual_velocity, standard_velocity
from calib.arrays import Floats
from calib.measurement.notation import RHO, RHO_0, Bracket, Quotient, Term, times
from calib.measurement.way import Corrected, Density, InAir, ReferenceAir, Way, always


def _velocity(standard: Floats, density: Density, reference_density: Density) -> Floats:
    return actual_velocity(standard, reference_density, density)


def _standard(velocity: float, density: float, reference_density: float) -> float:
    return float(standard_velocity(velocity, reference_density, density))


def _formula(corrected: Corrected, x: Term) -> tuple[Term, ...]:
    return (times(Bracket(corrected(x)), Quotient(RHO_0, RHO)),)


THERMAL = Way(
    name="thermal",
    title="Thermal anemometer with a reference state",
    indicates="the velocity at a reference state",
    quantity="air velocity",
    density_effect="thermal",
    instrument="thermal anemometer",
    formula=_formula,
    in_air=InAir(
        value=_velocity,
        exponent=always(-1.0),
        corrected=_standard,
        reference=ReferenceAir.STATE,
        rho_0="the density of the anemometer's reference state",
    ),
)
