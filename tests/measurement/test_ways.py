"""Every way of measuring by itself, as its row declares it: its sensitivities by differences, its inverse, its keys.

Source: GUM 5.1.3 NOTE 2 for sensitivity coefficients by differences. What the values themselves are, is compared with ISO 3966 and
with similarity in tests/airflow, and with a model written independently in tests/procedures/measure.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.measurement.hood import HOOD, THROTTLED_HOOD
from calib.measurement.indicated_velocity import INDICATED_VELOCITY
from calib.measurement.thermal import THERMAL
from calib.measurement.vane import VANE
from calib.measurement.velocity_pressure import VELOCITY_PRESSURE
from calib.measurement.way import ProbeUse
from calib.measurement.ways import (
    BEHIND_PROBES,
    BY_NAME,
    OF_PROBES,
    QUANTITIES,
    THROTTLED,
    WAYS,
    WITH_EFFECT,
    WITH_THROTTLE,
    effects_of,
    flow_meters_at,
    way_of,
    way_of_reading,
    with_reference_state,
)
from calib.records.words import DENSITY_EFFECTS, DUCT, OUTLET, PATTERNS, PLACES

IN_AIR = [way for way in WAYS if way.in_air is not None]
OF_TWO = [way for way in WAYS if way.of_two is not None]
indications = st.floats(0.5, 400.0)
densities = st.floats(0.8, 1.5)


def by_name(ways):
    return pytest.mark.parametrize("way", ways, ids=lambda way: way.name)


def curve(x):
    """A correction of its own kind, as of a vane with friction."""
    return 0.3 + 1.02 * x


def value(way, x, rho, rho_0):
    """The velocity at an indication."""
    scaled = x * np.asarray(way.in_air.scale(rho, rho_0))
    return way.in_air.value(curve(scaled), rho, rho_0)


def arrays(*values):
    return [np.array([each]) for each in values]


@by_name(IN_AIR)
@given(x=indications, rho=densities, rho_0=densities)
def test_the_exponent_of_the_density_is_what_differences_show(way, x, rho, rho_0):
    x, rho, rho_0 = arrays(x, rho, rho_0)
    h = 1e-5
    apart = np.log(value(way, x, rho * (1 + h), rho_0) / value(way, x, rho * (1 - h), rho_0)) / (2 * h)
    scaled = x * np.asarray(way.in_air.scale(rho, rho_0))
    assert way.in_air.exponent(scaled, curve(scaled), np.array([1.02])) == pytest.approx(apart, abs=1e-7)


@by_name(IN_AIR)
@given(x=indications, rho=densities, rho_0=densities)
def test_the_slope_is_what_differences_show(way, x, rho, rho_0):
    y, rho, rho_0 = arrays(curve(x), rho, rho_0)
    h = 1e-6 * y
    apart = (way.in_air.value(y + h, rho, rho_0) - way.in_air.value(y - h, rho, rho_0)) / (2 * h)
    assert way.in_air.slope(y, rho, rho_0) == pytest.approx(apart, rel=1e-8)


@by_name([way for way in IN_AIR if way.in_air.corrected is not None])
@given(v=st.floats(0.2, 30.0), rho=densities, rho_0=densities)
def test_a_plan_goes_back_by_the_inverse(way, v, rho, rho_0):
    y = way.in_air.corrected(v, rho, rho_0)
    assert way.in_air.value(*arrays(y, rho, rho_0)) == pytest.approx([v], rel=1e-12)


def test_the_velocity_of_a_vane_that_stands_does_not_depend_on_the_density():
    """Beside one of 0.8 m/s at x s = 1 m/s: (1.02/0.8 - 1)/2."""
    found = VANE.in_air.exponent(*arrays(0.0, 0.0, 1.02)), VANE.in_air.exponent(*arrays(1.0, 0.8, 1.02))
    assert np.concatenate(found) == pytest.approx([0.0, 0.1375], rel=1e-14)


def test_a_velocity_pressure_begins_at_most_where_air_of_130_metres_per_second_has_it():
    """rho v^2/2 in air of 1.2 kg/m3."""
    assert VELOCITY_PRESSURE.begins_at_most == pytest.approx(0.5 * 1.2 * 130**2, rel=0.02)


@by_name(OF_TWO)
@given(first=st.floats(0.05, 2.0), lower=st.floats(0.75, 0.99), ratio=st.floats(2.0, 6.0))
def test_the_value_of_two_indications_has_the_sensitivities_that_differences_show(way, first, lower, ratio):
    at = np.array([first, lower * first, ratio])
    if not lower > ratio**-0.5:
        return
    found = way.of_two.sensitivities(*arrays(*at))
    for place, sensitivity in enumerate(found):
        h = np.zeros(3)
        h[place] = 1e-6 * at[place]
        up, down = way.of_two.value(*arrays(*(at + h))), way.of_two.value(*arrays(*(at - h)))
        assert sensitivity == pytest.approx((up - down) / (2 * h[place]), rel=1e-4, abs=1e-7)


@by_name(OF_TWO)
@given(first=st.floats(0.05, 2.0), lower=st.floats(0.75, 1.0), ratio=st.floats(2.0, 6.0))
def test_a_trial_without_errors_is_the_value(way, first, lower, ratio):
    two = arrays(first, lower * first)
    assert way.of_two.trial(*two, ratio) == pytest.approx(way.of_two.value(*two, np.array([ratio])), rel=1e-13)


def test_names_and_keys_tell_every_way_of_an_instrument_from_the_others():
    declared = [way for way in WAYS if way not in [other.throttled for other in WAYS]]
    assert len(BY_NAME) == len(WAYS)
    assert len({(way.quantity, way.density_effect) for way in declared}) == len(declared)
    assert [way_of(way.quantity, way.density_effect) for way in declared] == declared


def test_the_effects_of_the_density_are_those_that_a_record_may_name():
    declared = {effect for way in WAYS for effect in effects_of(way.quantity)}
    assert declared == set(DENSITY_EFFECTS)


def test_the_places_are_those_that_a_record_may_name():
    assert {place for way in WAYS for place in way.not_at} <= set(PLACES)


def test_the_patterns_are_those_that_a_record_may_name():
    assert {way.pattern for way in WAYS} - {None} <= set(PATTERNS)


def test_no_flow_is_measured_by_a_thermometer():
    assert way_of("temperature", None) is None
    assert way_of(None, None) is None


def test_an_effect_that_a_quantity_does_not_have_leaves_it_as_it_is():
    assert way_of("air velocity", "none of them") is INDICATED_VELOCITY
    assert way_of("volume flow", "thermal") is HOOD


def test_what_ways_ask_of_instruments_and_probes_is_said_in_words():
    """Read off the rows: effects and probes of the air velocity, a throttle of hoods, probes that show a velocity themselves."""
    assert QUANTITIES == ("air velocity", "pressure", "volume flow")
    assert (WITH_EFFECT, WITH_THROTTLE, THROTTLED) == (("air velocity",), ("volume flow",), "hood")
    assert BEHIND_PROBES == "for pressure or for air velocity with the density_effect velocity pressure"
    assert OF_PROBES == ("air velocity",)
    assert effects_of("air velocity") == ("thermal", "vane friction", "velocity pressure")
    assert effects_of("pressure") == ()
    assert with_reference_state() == {"thermal": THERMAL}


def test_a_reading_without_conditions_of_the_air_is_one_of_the_indicated_velocity():
    assert way_of_reading(VANE, in_known_air=True, is_throttled=False) is VANE
    assert way_of_reading(VANE, in_known_air=False, is_throttled=False) is INDICATED_VELOCITY
    assert way_of_reading(THERMAL, in_known_air=False, is_throttled=False) is THERMAL


def test_a_hood_with_its_throttle_set_is_a_way_of_its_own():
    assert way_of_reading(HOOD, in_known_air=False, is_throttled=True) is THROTTLED_HOOD
    assert way_of_reading(HOOD, in_known_air=False, is_throttled=False) is HOOD
    assert way_of_reading(VANE, in_known_air=True, is_throttled=True) is VANE


@by_name(WAYS)
def test_a_way_that_needs_a_probe_or_the_air_says_what_it_indicates(way):
    assert way.indicates
    assert way.title
    assert way.probe is not ProbeUse.NEEDED or way.needs_air


def test_a_hood_takes_the_whole_flow_of_an_outlet_and_none_in_a_duct():
    """Common practice, no source: a hood is put over the whole face."""
    assert HOOD in flow_meters_at(OUTLET)
    assert HOOD not in flow_meters_at(DUCT)


@pytest.mark.parametrize("place", PLACES)
def test_at_a_place_stands_every_way_that_takes_the_flow_there_and_no_other(place):
    """One way of each instrument on record: a hood's second way is one of its readings, and no other instrument."""
    taking = {(way.quantity, way.density_effect) for way in WAYS if way.is_flow and place not in way.not_at}
    met = flow_meters_at(place)
    assert {(way.quantity, way.density_effect) for way in met} == taking
    assert len(met) == len(taking)


def test_at_a_face_stands_what_gives_a_velocity_without_a_probe_before_it():
    """Common practice, no source: a Pitot-static tube is for ducts, and a hood takes the flow and not the velocity."""
    assert {way.name for way in WAYS if way.is_of_a_face} == {"velocity", "thermal", "vane", "pair"}


def test_what_a_reading_must_tell_is_read_off_its_way():
    """The value of a vane or a pair is plain where the air is not known; others need the air, a hood never."""
    assert {way.name for way in WAYS if way.is_plain} == {"velocity", "hood"}
    assert {way.name for way in WAYS if way.needs_air} == {"pressure", "thermal"}
    assert {way.name for way in WAYS if way.goes_to_zero} == {"pressure"}
    assert {way.name for way in WAYS if way.needs_reference_state} == {"thermal"}
