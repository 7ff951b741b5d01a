"""Flows at a density: masses, shown as the volume flow that they are in air of one density rho_0.

    Q = q rho/rho_0         d ln Q/d ln rho = 1 + d ln q/d ln rho

The exponent is the instrument's own: 1 for a vane and a hood, whose indication does not ask for the density; 1/2 for a velocity
pressure; 0 for a thermal anemometer that indicates standard velocity. A flow as measured, in the air that was there, is q itself.
What is compared with Q may go with the density too: a design as measured, D = d rho/rho_0, or one that is taken to the air that is
there, D = d rho_d/rho. Then the difference Q - D has the exponent of Q less that of D times D/Q.

Correlations run through pressure, temperature and humidity, since those are what was observed (GUM 5.2, F.1.2.3): their errors move
rho, and through it every flow by its own exponent.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from calib.arrays import Floats, Integers
from calib.measurement.flows import DENSITY, NOT_OBSERVED, Flows, not_observed
from calib.uncertainty.propagation import Contribution
from calib.uncertainty.sharing import Share, common, common_within_a_sign

_INSTRUMENTS = "instruments of the air"  # counted together, since one thermometer may observe dry bulb and wet


@dataclass(frozen=True)
class AirOfReadings:
    """The air of n readings, and what moves its density: signed relative standard uncertainties of rho [1]."""

    density: Floats  # (n,) [kg/m3]; NaN where it is not known
    own: Floats  # (n, o) of single indications, a column for each quantity
    conditions: Integers  # (n,) readings with the same number share these
    of_calibrations: Sequence[
        tuple[Floats, Integers]
    ]  # (n, w) parts, and (n,) the calibration: for each quantity observed
    pressure: Floats  # (n,) stated, or of the altitude: common to the job
    stated: Floats  # (n, s) stated otherwise, and of formulas: each one error for all readings of one sign
    not_observed: Floats  # (n,) of a declared range of temperature


def at_density(flows: Flows, air: AirOfReadings, densities: Floats, compared: Floats | None = None) -> Flows:
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
    of_air = (_density(air, moving), not_observed(air.not_observed * moving))
    return replace(flows, flow=flow, contributions=(*others, *of_air), by_density=moved)


def _density(air: AirOfReadings, moving: Floats) -> Contribution:
    size = moving.size
    whole_job = np.zeros(size, dtype=np.int64)
    columns = [parts for parts, _ in air.of_calibrations] + [air.own, air.pressure[:, np.newaxis], air.stated]
    ends = np.cumsum([each.shape[1] for each in columns])
    places = [slice(int(end) - each.shape[1], int(end)) for end, each in zip(ends, columns, strict=True)]
    observed = len(air.of_calibrations)
    own, pressure, stated = places[observed:]
    shares = (
        *(
            Share(calibration, common, place, pool=_INSTRUMENTS)
            for (_, calibration), place in zip(air.of_calibrations, places, strict=False)
        ),
        Share(air.conditions, common, own),
        Share(whole_job, common, pressure),
        Share(whole_job, common_within_a_sign, stated),
    )
    parts = np.column_stack(columns) * moving[:, np.newaxis]
    return Contribution(DENSITY, np.zeros(size, dtype=bool), parts, air.conditions, np.full(size, np.inf), shares)
