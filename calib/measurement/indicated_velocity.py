"""Instruments that indicate the velocity itself, whatever the density of the air.

    v = y,      y = x + c(x)

So is a vane, or a pair calibrated as one, that is read without the conditions of the air.
"""

from calib.measurement.way import Way

INDICATED_VELOCITY = Way(
    name="velocity",
    title="Indicated velocity",
    indicates="a velocity",
    quantity="air velocity",
    may_be_probe=True,
)
