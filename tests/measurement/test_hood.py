"""What errors make of a hood's pair of readings: every case of the rule for trials, by hand.

The flow without the hood is made forwards: 1/q^2 is linear in the hood's resistance (tests/airflow/test_hood.py).
"""

import math

import numpy as np
import pytest

from calib.measurement.hood import THROTTLED_HOOD
from calib.measurement.notation import Bracket, Digits, FunctionOf, Joined, Letter, Power, Quotient

RATIO = 4.0
OF_NOTHING = pytest.mark.filterwarnings("ignore:divide by zero encountered:RuntimeWarning")


def trials(*pairs, ratio=RATIO):
    opened, throttled = np.array(pairs).T
    return THROTTLED_HOOD.of_two.trial(opened, throttled, ratio).tolist()


def through_hood(resistance, pressure=1.0, outlet=1.0):
    """Flow through an outlet and a hood in series, each with a pressure loss of its resistance times q^2."""
    return math.sqrt(pressure / (outlet + resistance))


def test_a_pair_gives_the_flow_that_there_was_without_the_hood():
    small, large = ((through_hood(k), through_hood(RATIO * k)) for k in (0.05, 0.3))
    assert trials(small, large) == pytest.approx([1.0, 1.0], rel=1e-14)


def test_an_error_may_bring_the_throttled_flow_above_the_open_one():
    """1/q^2 of 1 and 0.64, taken from 1 and 4 resistances to none: 1.12."""
    assert trials((1.0, 1.25)) == pytest.approx([1.12**-0.5], rel=1e-14)


@pytest.mark.parametrize("throttled", [0.5, 0.4, -0.7, pytest.param(0.0, marks=OF_NOTHING)])
def test_more_than_the_ratio_can_do_stands_as_the_largest_of_the_others(throttled):
    """At 0.5 of 1 a ratio of 4 does all that it can: no resistance is left for the outlet."""
    bounded = (0.9, 0.8), (1.0, 0.9), (0.4, 0.3)
    of_others = [((4 / q_1**2 - 1 / q_2**2) / 3) ** -0.5 for q_1, q_2 in bounded]
    assert trials((1.0, throttled), *bounded) == pytest.approx([max(of_others), *of_others], rel=1e-14)


def test_flows_without_bound_alone_stay_so():
    assert trials((1.0, 0.5), (1.0, 0.3)) == [math.inf, math.inf]


@pytest.mark.parametrize("opened", [pytest.param(0.0, marks=OF_NOTHING), -0.1])
@pytest.mark.parametrize("throttled", [0.3, -0.1])
def test_no_flow_through_the_open_hood_is_no_flow(opened, throttled):
    assert trials((opened, throttled), (0.9, 0.8))[0] == 0.0


@pytest.mark.parametrize("ratio", [pytest.param(1.0, marks=OF_NOTHING), 0.9, -0.5])
def test_a_ratio_that_an_error_brings_to_1_and_below_tells_no_bound(ratio):
    """Even where the bracket is above 0; among others the ratio is one error for each trial."""
    assert trials((1.0, 1.2), ratio=ratio) == [math.inf]
    flows = trials((1.0, 1.2), (0.9, 0.8), ratio=np.array([ratio, RATIO]))
    assert flows[0] == flows[1] == pytest.approx(((4 / 0.9**2 - 1 / 0.8**2) / 3) ** -0.5, rel=1e-14)


def test_a_ratio_just_above_1_tells_a_flow():
    assert trials((1.0, 0.9999), ratio=1.001) == pytest.approx([((1.001 - 1 / 0.9999**2) / 0.001) ** -0.5], rel=1e-12)


EXPONENTS = {"2": 2.0, "−1/2": -0.5}


def worked_out(term, values):
    """A printed formula in numbers."""
    match term:
        case Letter():
            return values[term.sign + term.index]
        case Digits():
            return float(term.digits)
        case Quotient():
            return worked_out(term.above, values) / worked_out(term.below, values)
        case Power():
            return worked_out(term.base, values) ** EXPONENTS[term.exponent]
        case Bracket():
            return worked_out(term.inner, values)
        case Joined(sign="−", terms=(first, second)):
            return worked_out(first, values) - worked_out(second, values)


def test_the_formula_that_is_printed_gives_the_flow():
    opened, throttled = through_hood(0.05), through_hood(RATIO * 0.05)
    flow, each = THROTTLED_HOOD.of_two.formula(lambda x: FunctionOf(Letter("f"), x))
    assert flow.terms[0] == Letter("q", is_mean=True)
    assert worked_out(flow.terms[1], {"q1": opened, "q2": throttled, "r": RATIO}) == pytest.approx(1.0, rel=1e-14)
    of_each = [(one.terms[0].index, one.terms[1].argument.index) for one in each.terms]
    assert of_each == [("1", "1"), ("2", "2")]
