"""The ways of measuring: one row each.

To add one: a file beside this, its row here, and a test of it in tests/measurement/test_ways.py.
"""

from calib.measurement.calibrated_pair import CALIBRATED_PAIR
from calib.measurement.hood import HOOD, THROTTLED_HOOD
from calib.measurement.indicated_velocity import INDICATED_VELOCITY
from calib.measurement.thermal import THERMAL
from calib.measurement.vane import VANE
from calib.measurement.velocity_pressure import VELOCITY_PRESSURE
from calib.measurement.way import ProbeUse, Way

WAYS = (
    INDICATED_VELOCITY,
    VELOCITY_PRESSURE,
    THERMAL,
    VANE,
    CALIBRATED_PAIR,
    HOOD,
    THROTTLED_HOOD,
)

BY_NAME = {way.name: way for way in WAYS}
QUANTITIES = tuple(dict.fromkeys(way.quantity for way in WAYS))  # that flows are measured by

_EFFECTS = tuple((way.density_effect, way) for way in WAYS if way.density_effect is not None)
WITH_EFFECT = tuple(dict.fromkeys(way.quantity for _, way in _EFFECTS))
WITH_THROTTLE = tuple(dict.fromkeys(way.quantity for way in WAYS if way.throttled is not None))
THROTTLED = " or ".join(
    dict.fromkeys(way.instrument for way in WAYS if way.throttled is not None)
)  # what they are called
BEHIND_PROBES = " or ".join(
    f"for {way.quantity}" + (f" with the density_effect {way.density_effect}" if way.density_effect else "")
    for way in WAYS
    if way.probe is not ProbeUse.NONE
)
OF_PROBES = tuple(dict.fromkeys(way.quantity for way in WAYS if way.may_be_probe))

_BY_KEY: dict[tuple[str | None, str | None], Way] = {(way.quantity, way.density_effect): way for way in reversed(WAYS)}


def way_of(quantity: str | None, density_effect: str | None) -> Way | None:
    """The way of an instrument that measures a quantity and declares an effect of the density; None: no flow is measured by it."""
    return _BY_KEY.get((quantity, density_effect)) or _BY_KEY.get((quantity, None))


def flow_meters_at(place: str) -> tuple[Way, ...]:
    """Ways that measure a whole flow at a place of an outlet, and so need to know nothing of its opening."""
    on_record = [way for way in WAYS if way is way_of(way.quantity, way.density_effect)]
    return tuple(way for way in on_record if way.is_flow and place not in way.not_at)


def effects_of(quantity: str) -> tuple[str, ...]:
    """Effects of the density that an instrument for a quantity may declare."""
    return tuple(effect for effect, way in _EFFECTS if way.quantity == quantity)


def with_reference_state() -> dict[str, Way]:
    """Effects of the density that are those of a reference state, which the instrument must declare; each with its way."""
    return {effect: way for effect, way in _EFFECTS if way.needs_reference_state}


def way_of_reading(declared: Way, *, in_known_air: bool, is_throttled: bool) -> Way:
    """The way of one reading: without the conditions of the air the value that is indicated, with a throttle that of the two."""
    if is_throttled and declared.throttled is not None:
        return declared.throttled
    without_air = None if in_known_air or declared.in_air is None else declared.in_air.without
    return without_air or declared
