"""EA-4/02 M:2013, supplements S7, S9 and S10 and Table E.1: coverage factors where the normal distribution does not hold.

Source: reference_data/ea_4_02, class C: from memory, recomputed. Scatter of k, one standard deviation: 0.0002
(S7), 0.001 (S9) and 0.0006 (S10) for the trials below.
"""

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from calib.uncertainty.coverage import coverage_factor
from calib.uncertainty.distributions import Arcsine, Normal, Rectangular, Trapezoidal
from calib.uncertainty.estimate import rectangular
from calib.uncertainty.monte_carlo import CoverageInterval, propagate_distributions
from calib.uncertainty.propagation import combine
from calib.uncertainty.validation import validate_law
from tests.contributions import line
from tests.reference import agrees, printed, rows

RESULTS = {row["clause"]: row for row in rows("ea_4_02", "results")}
INPUTS = {clause: rows("ea_4_02", clause.lower()) for clause in RESULTS}
TRIALS = {"S7": 1_000_000, "S9": 1_000_000, "S10": 4_000_000}
TRAPEZOID = printed("ea_4_02", "s10_trapezoid")
MAKE = {"normal": Normal, "rectangular": Rectangular, "arcsine": Arcsine}
HALF_WIDTH_OVER_U = {"normal": 1.0, "rectangular": math.sqrt(3), "arcsine": math.sqrt(2)}


def uncertain(clause):
    return [row for row in INPUTS[clause] if row["distribution"]]


def width(row):
    """Half-width of limits, or u of a normal quantity: as stated, else from the stated u."""
    return float(row.get("half-width") or float(row["u"]) * HALF_WIDTH_OVER_U[row["distribution"]])


def distribution(row):
    return MAKE[row["distribution"]](float(row["estimate"]), width(row))


def value(clause):
    """A sum with sensitivities; dt multiplies none of the estimates but its own zero."""
    return sum(float(row["c"]) * float(row["estimate"]) for row in INPUTS[clause])


def by_law(clause):
    """u from the uncertainties of the table."""
    return combine([line(float(row["c"]) * float(row["u"])) for row in uncertain(clause)]).standard_uncertainty[0]


@cache
def monte_carlo(clause):
    certain = sum(float(row["c"]) * float(row["estimate"]) for row in INPUTS[clause] if not row["distribution"])
    sensitivities = np.array([float(row["c"]) for row in uncertain(clause)])
    found = propagate_distributions(
        lambda *x: certain + sum(c * one for c, one in zip(sensitivities, x, strict=True)),
        [distribution(row) for row in uncertain(clause)],
        seed=402,
        coverage_probability=float(RESULTS[clause]["p"]),
        trials=TRIALS[clause],
    )
    return replace(found, model_values=np.empty(0))  # the figures are kept, not 32 MB


def k_of_monte_carlo(clause):
    return monte_carlo(clause).symmetric_interval.coverage_factor(monte_carlo(clause).standard_uncertainty)


@pytest.mark.parametrize("clause", RESULTS)
def test_value_and_uncertainty_are_the_printed_ones(clause):
    assert agrees(value(clause), RESULTS[clause]["value"])
    assert agrees(by_law(clause), RESULTS[clause]["u"])


@pytest.mark.parametrize("clause", RESULTS)
def test_the_expanded_uncertainty_is_k_times_u(clause):
    assert agrees(float(RESULTS[clause]["k"]) * by_law(clause), RESULTS[clause]["U"])


@pytest.mark.parametrize(
    ("clause", "units"),
    # Exceptions. S7, 1 unit: u = 0.02235 lies on the edge of 0.0224. S10, 1 unit: 0.0323 with unrounded components; the
    # table adds the rounded 15 um and 29 um.
    [("S7", "1"), ("S9", "0.5"), ("S10", "1")],
)
def test_the_monte_carlo_method_gives_the_same_value_and_uncertainty(clause, units):
    assert agrees(monte_carlo(clause).value, RESULTS[clause]["value"])
    assert agrees(monte_carlo(clause).standard_uncertainty, RESULTS[clause]["u"], units)


def test_a_rectangular_distribution_alone_has_a_coverage_factor_of_1_65():
    # Its 95 % interval holds 0.95 of the width.
    a, p = 0.05, float(RESULTS["S9"]["p"])
    assert agrees(CoverageInterval(-p * a, p * a).coverage_factor(rectangular(a)), RESULTS["S9"]["k"])


def test_the_coverage_factor_of_a_rectangular_distribution_is_drawn_as_well():
    # Exception, 1 unit: 1.6454 lies within the scatter of 1.645, so it is held against the closed form instead.
    drawn = propagate_distributions(
        lambda x: x, [Rectangular(0.0, 1.0)], seed=402, coverage_probability=0.95, trials=4_000_000
    )
    k = drawn.symmetric_interval.coverage_factor(drawn.standard_uncertainty)
    assert agrees(k, RESULTS["S9"]["k"], "1")
    assert k == pytest.approx(0.95 * math.sqrt(3), abs=0.001)


def test_the_multimeter_has_the_printed_expanded_uncertainty():
    assert agrees(monte_carlo("S9").symmetric_interval.half_length, RESULTS["S9"]["U"])


def test_the_multimeter_with_all_its_inputs_needs_more_than_the_factor_of_the_rectangular_one():
    # The document takes the largest input for the whole: 1.65. With the other rectangular input, a trapezoid of
    # beta = (0.05 - 0.011)/(0.05 + 0.011), k is 1.709; what is normal adds little.
    beta = (0.05 - 0.011) / (0.05 + 0.011)
    trapezoid = (1 - math.sqrt((1 - 0.95) * (1 - beta**2))) / math.sqrt((1 + beta**2) / 6)
    assert k_of_monte_carlo("S9") == pytest.approx(trapezoid, abs=0.003)


def test_the_two_largest_inputs_of_the_caliper_make_a_trapezoid():
    wide, narrow = (width(row) for row in sorted(uncertain("S10"), key=width)[1:-1][::-1])
    assert agrees((wide - narrow) / (wide + narrow), TRAPEZOID["beta"])


def test_the_trapezoid_has_the_printed_coverage_factor():
    shape = Trapezoidal(0.10, 0.075, 1 / 3)
    drawn = propagate_distributions(lambda x: x, [shape], seed=402, coverage_probability=0.95, trials=4_000_000)
    assert agrees(drawn.symmetric_interval.coverage_factor(shape.standard_uncertainty), TRAPEZOID["k"])


def test_the_caliper_with_all_its_inputs_has_the_printed_coverage_factor_and_uncertainty():
    # Exception, 0.6 units for k: 1.8346 with all inputs, within the scatter of 1.835.
    assert agrees(k_of_monte_carlo("S10"), RESULTS["S10"]["k"], "0.6")
    assert agrees(monte_carlo("S10").symmetric_interval.half_length, RESULTS["S10"]["U"])


def test_the_u_shaped_mismatch_of_the_attenuator_makes_two_standard_deviations_too_many():
    u = by_law("S7")
    assert k_of_monte_carlo("S7") < 1.8
    assert not validate_law(value("S7"), u, 2 * u, monte_carlo("S7").symmetric_interval).validated


@pytest.mark.parametrize("row", rows("ea_4_02", "table_e1"), ids=lambda row: row["nu eff"])
def test_coverage_factors_of_table_e1(row):
    assert agrees(coverage_factor(float(row["nu eff"])), row["k"])
