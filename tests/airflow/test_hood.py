"""Back-pressure of a hood: an outlet solved forwards from its resistances, and what the model refuses."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.airflow.hood import unthrottled_flow, unthrottled_sensitivities
from calib.errors import CalibError

plenum = st.floats(5.0, 200.0)
outlet = st.floats(100.0, 1e5)
hood_share = st.floats(0.001, 0.5)
ratio = st.floats(1.2, 20.0)


def flow(plenum_pressure, resistance):
    """Flow [m3/s] that a pressure [Pa] drives through a resistance [Pa s2/m6], loss going with the square."""
    return math.sqrt(plenum_pressure / resistance)


@given(plenum, outlet, hood_share, ratio)
def test_two_readings_give_the_flow_without_the_hood(p, own, share, r):
    q_1, q_2 = flow(p, own * (1 + share)), flow(p, own * (1 + r * share))
    assert float(unthrottled_flow(q_1, q_2, r)) == pytest.approx(flow(p, own), rel=1e-10)


@given(plenum, outlet, hood_share, ratio)
def test_the_sensitivities_are_those_of_central_differences(p, own, share, r):
    at = (flow(p, own * (1 + share)), flow(p, own * (1 + r * share)), r)
    for number, found in enumerate(unthrottled_sensitivities(*at)):
        step = 1e-5 * at[number]
        above, below = list(at), list(at)
        above[number], below[number] = at[number] + step, at[number] - step
        # A small hood leaves no room to make the first reading smaller than the second.
        if above[1] < above[0] and below[1] < below[0]:
            difference = float(unthrottled_flow(*above) - unthrottled_flow(*below)) / (2 * step)
            assert float(found) == pytest.approx(difference, rel=1e-5, abs=1e-6 * at[0])


@given(plenum, outlet, hood_share, ratio)
def test_all_flows_measured_one_percent_high_give_a_flow_one_percent_high(p, own, share, r):
    # Euler: q_0 is homogeneous of the first degree in q_1 and q_2.
    q_1, q_2 = flow(p, own * (1 + share)), flow(p, own * (1 + r * share))
    by_1, by_2, _ = unthrottled_sensitivities(q_1, q_2, r)
    assert float(by_1 * q_1 + by_2 * q_2) == pytest.approx(flow(p, own), rel=1e-10)
    assert by_1 > 1
    assert by_2 < 0


def test_a_hood_that_does_not_throttle_needs_no_correction():
    assert float(unthrottled_flow(0.1, 0.1, 3.0)) == pytest.approx(0.1, rel=1e-15)
    assert float(unthrottled_sensitivities(0.1, 0.1, 3.0)[2]) == 0.0


def test_arrays_run_over_the_outlets():
    q_1, q_2 = np.array([0.1, 0.2]), np.array([0.095, 0.2])
    one_by_one = [float(unthrottled_flow(q_1[place], q_2[place], 4.0)) for place in range(2)]
    assert unthrottled_flow(q_1, q_2, 4.0) == pytest.approx(one_by_one, rel=1e-15)
    assert all(one.shape == (2,) for one in unthrottled_sensitivities(q_1, q_2, 4.0))


@pytest.mark.parametrize("function", [unthrottled_flow, unthrottled_sensitivities])
@pytest.mark.parametrize(
    ("given_values", "said"),
    [
        ((0.0, 0.09, 4.0), "flows 0 and 0.09 m3/s through the hood: both must be above 0"),
        ((0.1, 0.0, 4.0), "flows 0.1 and 0 m3/s through the hood: both must be above 0"),
        ((0.1, -0.09, 4.0), "flows 0.1 and -0.09 m3/s through the hood: both must be above 0"),
        ((float("nan"), 0.09, 4.0), "flows nan and 0.09 m3/s"),
        ((0.1, 0.09, 1.0), "resistance ratio 1: the throttled hood must have the higher resistance, a ratio above 1"),
        ((0.1, 0.09, 0.5), "resistance ratio 0.5:"),
        ((0.1, 0.09, float("nan")), "resistance ratio nan:"),
        ((0.1, 0.11, 4.0), "throttled flow 0.11 m3/s above the open flow 0.1 m3/s: exchange them or measure again"),
        # 1/0.04^2 = 625 is more than 4/0.1^2 = 400.
        ((0.1, 0.04, 4.0), "throttling from 0.1 to 0.04 m3/s is more than a resistance ratio of 4 can do"),
        # At half the flow the two are equal: nothing but the hood would hold the air.
        ((0.1, 0.05, 4.0), "throttling from 0.1 to 0.05 m3/s is more than a resistance ratio of 4 can do"),
        (
            (np.array([0.1, 0.1, 0.1]), np.array([0.09, 0.12, 0.13]), 4.0),
            "throttled flow 0.12 m3/s above the open flow 0.1 m3/s",
        ),
    ],
)
def test_what_the_model_cannot_describe_is_refused_with_the_numbers(function, given_values, said):
    with pytest.raises(CalibError) as refusal:
        function(*given_values)
    assert str(refusal.value).startswith(said)
