"""Vanes whose bearings' friction is corrected for the density of the air; rho_0 is that of the calibration.

    v = f(x s)/s,  s = sqrt(rho/rho_0)      dv/dy = 1/s      d ln v/d ln rho = [x s f'(x s)/f(x s) - 1]/2

The curve f is asked at x s, which must lie in its measuring interval. A plan predicts a vane without this correction: it is small,
and a reading may be taken without it.
Source: own derivation by similarity; `calib.airflow.velocity`.

Decision (2026-11). A vane is corrected by similarity, which needs no new constant. Cost: only where conditions and certificate
state the air.
"""

import numpy as np

from calib.airflow.velocity import density_exponent, similarity_scale
from calib.arrays import Floats
from calib.measurement.indicated_velocity import INDICATED_VELOCITY
from calib.measurement.notation import RHO, RHO_0, Letter, Quotient, Root, Term, equation, times
from calib.measurement.way import Corrected, Density, InAir, ReferenceAir, Way

_S = Letter("s")


def _velocity(at_calibration: Floats, density: Density, calibration_density: Density) -> Floats:
    return np.asarray(at_calibration / similarity_scale(density, calibration_density))


def _exponent(scaled: Floats, corrected: Floats, slope: Floats) -> Floats:
    exponent, moving = np.zeros_like(corrected), corrected != 0
    exponent[moving] = density_exponent(scaled[moving], corrected[moving], slope[moving])
    return exponent


def _formula(corrected: Corrected, x: Term) -> tuple[Term, ...]:
    return Quotient(corrected(times(_S, x)), _S), equation(_S, Root(Quotient(RHO, RHO_0)))


VANE = Way(
    name="vane",
    title="Vane corrected for its friction",
    indicates="a velocity",
    quantity="air velocity",
    density_effect="vane friction",
    formula=_formula,
    in_air=InAir(
        value=_velocity,
        exponent=_exponent,
        scale=similarity_scale,
        reference=ReferenceAir.CALIBRATION,
        rho_0="the density at the calibration",
        without=INDICATED_VELOCITY,
    ),
)
