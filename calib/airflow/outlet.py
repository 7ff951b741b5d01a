"""Volume flow at an outlet.

    q = v A K      or      q = v A_e

v is the mean velocity measured at the face [m/s], A the area of the opening [m2], K the outlet factor: the ratio, for one kind of
outlet and one way of measuring, of the flow to v A. An effective area A_e [m2] stands for A K where a maker states it.
Source: common practice, no source; the areas are geometry.
"""

import numpy as np

from calib.arrays import Number


def rectangular_area(width: Number, height: Number) -> Number:
    """Area of a rectangular opening A = w h [m2] from width and height [m]."""
    return width * height


def round_area(diameter: Number) -> Number:
    """Area of a round opening A = pi d^2/4 [m2] from the diameter [m]."""
    return np.pi * diameter * diameter / 4.0


def flat_oval_area(width: Number, height: Number) -> Number:
    """Area of a flat-oval opening A = h (w - h) + pi h^2/4 [m2], from its axes [m], w >= h: two half circles and a rectangle."""
    return rectangular_area(width - height, height) + round_area(height)


def volume_flow(velocity: Number, area: Number, outlet_factor: Number) -> Number:
    """Volume flow q = v A K [m3/s] from velocity [m/s], area [m2] and outlet factor [1]; K = 1 with an effective area."""
    return velocity * area * outlet_factor
