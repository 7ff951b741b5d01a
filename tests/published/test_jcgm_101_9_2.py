"""JCGM 101:2008, 9.2.2 to 9.2.4, Tables 2 to 4: the sum of four quantities, 95 % intervals.

Source: reference_data/jcgm_101_9_2, class C: from memory, recomputed. Scatter of the Monte Carlo method (one standard
deviation of an end): 0.0017 for 10^7 trials of 9.2.2, 0.0015 of 9.2.3, 0.006 for 2 x 10^6 of 9.2.4; asked below to be
under a third of a unit of the printed digit.
"""

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from calib.uncertainty.coverage import coverage_factor
from calib.uncertainty.distributions import Normal, Rectangular
from calib.uncertainty.monte_carlo import propagate_distributions
from calib.uncertainty.propagation import combine
from calib.uncertainty.validation import validate_law
from tests.contributions import line
from tests.reference import agrees, last_digit, rows

CLAUSES = ["9.2.2", "9.2.3", "9.2.4"]
INPUTS = {row["clause"]: row for row in rows("jcgm_101_9_2", "inputs")}
TABLES = {(row["clause"], row["method"]): row for row in rows("jcgm_101_9_2", "tables_2_3_4")}
MAKE = {"normal": Normal, "rectangular": lambda mean, u: Rectangular(mean, u * math.sqrt(3))}
PROBABILITY = 0.95
MANY = {"9.2.2": 10_000_000, "9.2.3": 10_000_000, "9.2.4": 2_000_000}


def add(x1, x2, x3, x4):
    return x1 + x2 + x3 + x4


def uncertainties(clause):
    return [float(INPUTS[clause][f"u(x{number})"]) for number in (1, 2, 3, 4)]


def distributions(clause):
    return [MAKE[INPUTS[clause]["distribution"]](0.0, u) for u in uncertainties(clause)]


@cache
def monte_carlo(clause, **settings):
    found = propagate_distributions(add, distributions(clause), seed=101, coverage_probability=PROBABILITY, **settings)
    return replace(found, model_values=np.empty(0))  # the figures are kept, not 80 MB


def with_many_trials(clause):
    return monte_carlo(clause, trials=MANY[clause])


def law(clause):
    u = combine([line(one) for one in uncertainties(clause)]).standard_uncertainty[0]
    return u, float(coverage_factor(math.inf, PROBABILITY)) * u


@pytest.mark.parametrize("clause", CLAUSES)
def test_the_law_of_propagation_gives_the_printed_uncertainty_and_interval(clause):
    printed = TABLES[clause, "law of propagation"]
    u, expanded = law(clause)
    assert agrees(u, printed["u(y)"])
    assert agrees(-expanded, printed["low"])
    assert agrees(expanded, printed["high"])


@pytest.mark.parametrize("clause", CLAUSES)
def test_the_scatter_is_below_a_third_of_a_unit_of_the_printed_ends(clause):
    assert with_many_trials(clause).scatter.max() < float(last_digit(TABLES[clause, "Monte Carlo"]["high"])) / 3


@pytest.mark.parametrize(
    ("clause", "units"),
    # Exception, 0.6 units in 9.2.4: u = sqrt(103) = 10.1489, less than the scatter of 0.004 below 10.15.
    [("9.2.2", "0.5"), ("9.2.3", "0.5"), ("9.2.4", "0.6")],
)
def test_the_monte_carlo_method_gives_the_printed_value_and_uncertainty(clause, units):
    printed, found = TABLES[clause, "Monte Carlo"], with_many_trials(clause)
    assert agrees(found.value, printed["y"])
    assert agrees(found.standard_uncertainty, printed["u(y)"], units)


@pytest.mark.parametrize("clause", CLAUSES)
def test_the_monte_carlo_method_gives_the_printed_interval(clause):
    printed, interval = TABLES[clause, "Monte Carlo"], with_many_trials(clause).symmetric_interval
    assert agrees(interval.low, printed["low"])
    assert agrees(interval.high, printed["high"])


def test_four_rectangular_quantities_have_the_ends_of_the_closed_form():
    # 2 sqrt(3) (2 - (3/5)^(1/4)): the tail of a sum of four equal rectangular quantities. Four times the scatter.
    exact = 2 * math.sqrt(3) * (2 - 0.6**0.25)
    found = with_many_trials("9.2.3")
    assert found.symmetric_interval.half_length == pytest.approx(exact, abs=4 * found.scatter.max())


@pytest.mark.parametrize(
    ("clause", "digits", "validated"),
    # To two digits delta is 0.05, to three 0.005: in 9.2.3 the ends lie 0.04 apart, in 9.2.4 by 2.9. In 9.2.2 the law is
    # exact; it is held against delta at two digits only, since three would take some 10^8 trials (8.2).
    [("9.2.2", 2, True), ("9.2.3", 2, True), ("9.2.3", 3, False), ("9.2.4", 1, True), ("9.2.4", 2, False)],
)
def test_the_law_is_validated_where_its_ends_lie_within_delta(clause, digits, validated):
    u, expanded = law(clause)
    found = with_many_trials(clause)
    checked = validate_law(0.0, u, expanded, found.symmetric_interval, digits)
    assert checked.validated is validated


@pytest.mark.parametrize("clause", CLAUSES)
def test_the_adaptive_procedure_stabilises_to_a_fifth_of_delta_for_two_digits(clause):
    found = monte_carlo(clause, significant_digits=2, tolerance_fraction=0.2)
    assert found.stabilised
    assert found.trials < 10_000_000
    assert 2 * found.scatter.max() <= found.delta
