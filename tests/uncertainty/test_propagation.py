"""Law of propagation of uncertainty (JCGM 100:2008, 5 and G.4), for many results and what they share.

Judges from outside: GTC and `uncertainties`, which carry every influence through the arithmetic. Drawn numbers are
sixteenths, so that sums that cancel do so exactly.
"""

import math

import numpy as np
import pytest
import uncertainties
from GTC import get_covariance, ureal
from hypothesis import assume, given
from hypothesis import strategies as st

from calib.airflow.outlet import volume_flow
from calib.errors import CalibError
from calib.uncertainty.coverage import coverage_factor
from calib.uncertainty.propagation import (
    Contribution,
    combine,
    combine_totals,
    covariance,
    propagate,
    welch_satterthwaite,
)
from tests.contributions import contribution, line

sixteenths = st.integers(-80, 80).map(lambda n: n / 16)
relative = st.integers(1, 20).map(lambda n: n / 400)


@st.composite
def influences(draw, size, most_parts=3):
    """Influences on `size` results: parts, source of each result, degrees of freedom of each source."""
    parts = draw(st.integers(1, most_parts))
    sources = draw(st.lists(st.integers(0, size - 1), min_size=size, max_size=size))
    values = draw(st.lists(st.lists(sixteenths, min_size=parts, max_size=parts), min_size=size, max_size=size))
    degrees = draw(st.lists(st.sampled_from([1.0, 2.0, 5.0, 30.0, math.inf]), min_size=size, max_size=size))
    return np.array(values), np.array(sources), np.array(degrees)


@st.composite
def shared_influences(draw, most_parts=3):
    """Budget of up to six results, and which total each belongs to with which sign."""
    size = draw(st.integers(1, 6))
    budget = draw(st.lists(influences(size, most_parts), min_size=1, max_size=4))
    membership = draw(st.lists(st.integers(-1, 2), min_size=size, max_size=size))
    signs = draw(st.lists(st.sampled_from([-1.0, 1.0]), min_size=size, max_size=size))
    return budget, np.array(membership), np.array(signs)


def contributions(budget):
    return [contribution(values, sources, degrees[sources]) for values, sources, degrees in budget]


def carried(budget, standard):
    """The results' errors as uncertain numbers: `standard(dof)` makes one of value 0 and standard uncertainty 1."""
    errors = [0.0] * len(budget[0][0])
    for values, sources, degrees in budget:
        drawn = {source: [standard(degrees[source]) for _ in values[0]] for source in set(sources.tolist())}
        for result, source in enumerate(sources.tolist()):
            errors[result] = errors[result] + sum(
                part * one for part, one in zip(values[result], drawn[source], strict=True)
            )
    return errors


def of_gtc(degrees):
    return ureal(0.0, 1.0, degrees)


def of_uncertainties(_):
    return uncertainties.ufloat(0.0, 1.0)


def totals_of(errors, membership, signs):
    inside = [[k for k in range(len(errors)) if membership[k] == total] for total in range(3)]
    return [sum((float(signs[k]) * errors[k] for k in members), start=errors[0] * 0.0) for members in inside]


@given(shared_influences())
def test_the_covariance_of_the_results_is_that_of_gtc(case):
    errors = carried(case[0], of_gtc)
    expected = [[get_covariance(a, b) if a is not b else a.v for b in errors] for a in errors]
    assert covariance(contributions(case[0])) == pytest.approx(np.array(expected), rel=1e-12, abs=1e-12)


@given(shared_influences())
def test_the_covariance_of_the_results_is_that_of_uncertainties(case):
    expected = uncertainties.covariance_matrix(carried(case[0], of_uncertainties))
    assert covariance(contributions(case[0])) == pytest.approx(np.array(expected), rel=1e-12, abs=1e-12)


@given(shared_influences())
def test_the_uncertainty_of_totals_is_that_of_gtc(case):
    budget, membership, signs = case
    expected = [one.u for one in totals_of(carried(budget, of_gtc), membership, signs)]
    found = combine_totals(contributions(budget), membership, signs, 3)
    assert found.standard_uncertainty == pytest.approx(expected, rel=1e-12, abs=1e-12)


@given(shared_influences())
def test_the_uncertainty_of_totals_is_that_of_uncertainties(case):
    budget, membership, signs = case
    expected = [one.std_dev for one in totals_of(carried(budget, of_uncertainties), membership, signs)]
    found = combine_totals(contributions(budget), membership, signs, 3)
    assert found.standard_uncertainty == pytest.approx(expected, rel=1e-12, abs=1e-12)


@given(shared_influences())
def test_totals_and_the_covariance_matrix_agree(case):
    budget, membership, signs = case
    matrix = covariance(contributions(budget))
    selected = [np.where(membership == total, signs, 0.0) for total in range(3)]
    expected = [math.sqrt(one @ matrix @ one) for one in selected]
    found = combine_totals(contributions(budget), membership, signs, 3)
    assert found.standard_uncertainty == pytest.approx(expected, rel=1e-12, abs=1e-9)


@given(shared_influences(most_parts=1))
def test_the_effective_degrees_of_freedom_of_totals_are_those_of_gtc(case):
    budget, membership, signs = case
    found = combine_totals(contributions(budget), membership, signs, 3)
    for number, expected in enumerate(totals_of(carried(budget, of_gtc), membership, signs)):
        if expected.u > 0:
            assert found.degrees_of_freedom[number] == pytest.approx(expected.df, rel=1e-12)


@given(shared_influences(most_parts=1))
def test_uncertainty_and_degrees_of_freedom_of_each_result_are_those_of_gtc(case):
    errors = carried(case[0], of_gtc)
    assume(all(error.u > 0 for error in errors))
    found = combine(contributions(case[0]))
    assert found.standard_uncertainty == pytest.approx([error.u for error in errors], rel=1e-12)
    assert found.degrees_of_freedom == pytest.approx([error.df for error in errors], rel=1e-12)


@st.composite
def flows_sharing(draw):
    """Up to five outlets: velocity, area and factor, with relative uncertainties; the calibration is shared by all."""
    size = draw(st.integers(1, 5))
    drawn = st.lists(st.tuples(*[st.integers(1, 99).map(lambda n: n / 10)] * 3), min_size=size, max_size=size)
    groups = draw(st.lists(st.integers(0, 1), min_size=size, max_size=size))
    return np.array(draw(drawn)).T, groups, draw(st.tuples(relative, relative, relative))


def total_flow(case, uncertain):
    """q = sum of (v + own + common) A K in uncertain numbers: `uncertain(value, u)` makes one."""
    (velocity, area, factor), groups, (u_own, u_common, u_factor) = case
    common = uncertain(0.0, u_common)
    factors = {group: uncertain(1.0, u_factor) for group in set(groups)}
    return sum(
        volume_flow(uncertain(v, u_own) + common, a, k * factors[group])
        for v, a, k, group in zip(velocity.tolist(), area.tolist(), factor.tolist(), groups, strict=True)
    )


def total_by_law(case):
    (velocity, area, factor), groups, (u_own, u_common, u_factor) = case
    flow = volume_flow(velocity, area, factor)
    budget = [
        contribution(area * factor * u_own),
        contribution(area * factor * u_common, np.zeros_like(groups)),
        contribution(flow * u_factor, groups),
    ]
    total = combine_totals(budget, np.zeros(flow.size, dtype=int), np.ones(flow.size), 1)
    return flow.sum(), total.standard_uncertainty[0]


@given(flows_sharing())
def test_a_total_of_flows_has_value_and_uncertainty_of_gtc(case):
    expected = total_flow(case, ureal)
    assert total_by_law(case) == pytest.approx((expected.x, expected.u), rel=1e-12)


@given(flows_sharing())
def test_a_total_of_flows_has_value_and_uncertainty_of_uncertainties(case):
    expected = total_flow(case, uncertainties.ufloat)
    assert total_by_law(case) == pytest.approx((expected.nominal_value, expected.std_dev), rel=1e-12)


def test_independent_lines_add_in_squares():
    assert combine([line(3.0), line(-4.0)]).standard_uncertainty == pytest.approx([5.0])


def test_the_shares_are_those_of_the_variance():
    assert combine([line(3.0), line(4.0)]).variance_percent == pytest.approx(np.array([[36.0, 64.0]]))


def test_a_result_without_uncertainty_has_no_shares_and_no_end_of_degrees_of_freedom():
    nothing = combine([line(0.0, 5), line(0.0)])
    assert nothing.variance_percent == pytest.approx(np.zeros((1, 2)))
    assert nothing.degrees_of_freedom == pytest.approx([math.inf])


def test_a_difference_of_two_results_is_free_of_what_they_share_alike():
    shared = contribution([0.2, 0.2], [7, 7])
    difference = combine_totals([shared], np.array([0, 0]), np.array([1.0, -1.0]), 1)
    assert difference.standard_uncertainty == pytest.approx([0.0])


def test_a_total_without_results_has_no_uncertainty():
    totals = combine_totals([contribution([0.2], dof=4)], np.array([1]), np.ones(1), 3)
    assert totals.standard_uncertainty == pytest.approx([0.0, 0.2, 0.0])
    assert totals.degrees_of_freedom == pytest.approx([math.inf, 4.0, math.inf])


def test_totals_of_no_results_at_all_are_zero():
    nothing = combine_totals([contribution([0.2, 0.3])], np.array([-1, -1]), np.ones(2), 2)
    assert nothing.standard_uncertainty == pytest.approx([0.0, 0.0])


def test_the_parts_of_a_scatter_are_one_component():
    # Two orthogonal parts 3 and 4 with 5 degrees of freedom: one component, not two whose nu_eff exceeds 5.
    scatter = contribution([[3.0, 4.0]], dof=5)
    assert combine([scatter]).degrees_of_freedom == pytest.approx([5.0])


def test_welch_satterthwaite_by_hand():
    # u = 1, nu = 4 and u = 2, nu = 8: (1 + 4)^2 / (1/4 + 16/8) = 100/9. Source: GUM G.4.1, equation G.2b.
    assert welch_satterthwaite([1.0, 2.0], [4, 8]) == pytest.approx(100 / 9)


def test_welch_satterthwaite_runs_over_the_last_axis():
    found = welch_satterthwaite([[1.0, 2.0], [1.0, 0.0]], [[4, 8], [3, math.inf]])
    assert found == pytest.approx([100 / 9, 3.0])


@given(st.lists(st.tuples(relative, st.integers(1, 50)), min_size=1, max_size=6))
def test_effective_degrees_of_freedom_lie_between_the_fewest_and_the_sum(components):
    u, nu = zip(*components, strict=True)
    assert min(nu) * (1 - 1e-9) <= welch_satterthwaite(u, nu) <= sum(nu) * (1 + 1e-9)


@pytest.mark.parametrize(("u", "nu"), [(0.911, 2), (0.911, 5), (0.911, 10), (0.053, 7), (0.071, 11)])
def test_a_single_component_is_read_from_the_table_at_its_own_degrees_of_freedom(u, nu):
    # Binary floats may put nu_eff a hair below the integer; cutting it there would cost a whole degree of freedom.
    assert coverage_factor(welch_satterthwaite([u], [nu])) == pytest.approx(coverage_factor(nu))


def test_a_sum_of_correlated_inputs():
    # y1 = x1 + x2, y2 = x1 - x2; u = 3 and 4, r = 1: u(y1) = 7, u(y2) = 1, covariance 9 - 16 = -7. Source: GUM 5.2.2.
    found = propagate([[1, 1], [1, -1]], [[9, 12], [12, 16]])
    assert found == pytest.approx(np.array([[49, -7], [-7, 1]]))


def test_a_contribution_with_a_negative_source_is_refused():
    with pytest.raises(CalibError, match="numbered from 0"):
        Contribution("method", np.zeros(1, bool), np.ones((1, 1)), np.array([-1]), np.array([math.inf]))


def test_a_contribution_whose_arrays_differ_in_length_is_refused():
    with pytest.raises(CalibError, match="2 results"):
        Contribution("method", np.zeros(2, bool), np.ones((3, 1)), np.array([0, 1]), np.full(2, math.inf))
