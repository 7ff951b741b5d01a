"""A probe and a meter calibrated together as velocity, at the density rho_0 of the air of their calibration.

    v = y sqrt(rho_0/rho)       dv/dy = v/y           d ln v/d ln rho = -1/2

The probe has no calibration of its own that counts. Without the conditions of the air the velocity is the one indicated.
Source: ISO 3966 for the velocity pressure, rho v^2/2; `calib.airflow.velocity`.
"""

from calib.airflow.velocity import scaled_from_calibration_density, similarity_scale
from calib.measurement.indicated_velocity import INDICATED_VELOCITY
from calib.measurement.notation import RHO, RHO_0, Bracket, Quotient, Root, Term, times
from calib.measurement.way import Corrected, InAir, ProbeUse, ReferenceAir, Way, always


def _at_calibration(velocity: float, density: float, calibration_density: float) -> float:
    return velocity * float(similarity_scale(density, calibration_density))


def _formula(corrected: Corrected, x: Term) -> tuple[Term, ...]:
    return (times(Bracket(corrected(x)), Root(Quotient(RHO_0, RHO))),)


CALIBRATED_PAIR = Way(
    name="pair",
    title="Probe and meter calibrated together",
    indicates="a velocity",
    quantity="air velocity",
    density_effect="velocity pressure",
    formula=_formula,
    in_air=InAir(
        value=scaled_from_calibration_density,
        exponent=always(-0.5),
        corrected=_at_calibration,
        reference=ReferenceAir.CALIBRATION,
        rho_0="the density at the calibration",
        without=INDICATED_VELOCITY,
    ),
    probe=ProbeUse.CALIBRATED_WITH,
)
