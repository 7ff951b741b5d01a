"""Flows at a density: masses, shown as the volume flow that they are in air of one density rho_0.

    Q = q rho/rho_0         d ln Q/d ln rho = 1 + d ln q/d ln rho

The exponent is the instrument's own: 1 for a vane and a hood, whose indication does not ask for the density; 1/2 for a velocity
pressure; 0 for a thermal anemometer that indicates standard velocity. A flow as measured, in the air that was there, is q itself.
What is compared with Q may go with the density too: a design as measured, D = d rho/rho_0, or one that is taken to the air that is
there, D = d rho_d/rho. Then the difference Q - D has the exponent of Q less that of D times D/Q.

Correlations run through pressure, temperature and humidity, since those are what was observed (GUM 5.2, F.1.2.3): their errors move
rho, and through it every flow by its own exponent.
"""

from dataclasses import replace

import numpy as np

from calib.arrays import Floats
from calib.measurement.flows import Flows
from calib.measurement.influences_of_air import DENSITY, NOT_OBSERVED, InfluencesOfAir


def at_density(flows: Flows, air: InfluencesOfAir, densities: Floats, compared: Floats | None = None) -> Flows:
    """Flows at densities (n,) [kg/m3], NaN: as measured; the air of each that is not must be known.

    `compared` (n,) is what they are compared with, D/Q times the exponent of D: the uncertainty is then that of the difference.
    """
    taken = np.isfinite(densities)
    ratio = np.where(taken, air.density / densities, 1.0)
    flow = flows.flow * ratio
    by_density = np.zeros_like(flow) if flows.by_density is None else flows.by_density * ratio
    moved = by_density + np.where(taken, flow, 0.0)
    moving = moved if compared is None else moved - compared * flow
    others = tuple(
        replace(each, parts=each.parts * ratio[:, np.newaxis])
        for each in flows.contributions
        if each.name not in (DENSITY, NOT_OBSERVED)
    )
    own = air.borne(others, moving - by_density)
    return replace(flows, flow=flow, contributions=(*own, *air.lines(moving)), by_density=moved)
