"""Law of propagation of uncertainty (JCGM 100:2008, 5 and G.4), for many results and what they share.

Judges from outside: GTC and `uncertainties`, which carry every influence through the arithmetic. Drawn numbers are
sixteenths, so that sums that cancel do so exactly.
"""

import math
from collections import defaultdict

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
    lots_of_sums,
    propagate,
    sharing_not_known,
    welch_satterthwaite,
)
from calib.uncertainty.sharing import (
    AtComparisons,
    Share,
    common,
    independent,
    not_known,
    not_known_of_a_change,
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


# --- a budget in which all kinds of sharing stand beside one another, group by group in scalars -----------------------------------

INF = math.inf
MEMBERSHIP = np.array([0, 0, 2, -1, 0, 2, 2, 0, -1, 2])
COEFFICIENT = np.array([1.0, -1.0, 0.5, 1.0, 2.0, -1.5, 1.0, 0.7, -1.0, 0.25])
TERMS = np.array([3.1, 2.3, 1.7, 9.0, 0.9, 2.9, 1.3, 4.1, 8.0, 2.6])
GROUPS = np.array([4, 4, 0, 4, 0, 0, 4, 7, 7, 7])
DEGREES = np.array([5.0, 9.0, INF, 1.0, 3.5, 12.0, INF, 40.0, 1.0, 7.0])
# Each result bears the error of its calibration at two comparisons: 0 to 2 of one calibration, 3 and 4 of another, 5 of a third.
BORNE = [(0, 0, 0.3), (0, 1, 0.7), (1, 1, 0.6), (1, 2, 0.4), (2, 3, 0.2), (2, 4, 0.8), (3, 0, 1.0), (4, 0, 0.9), (4, 2, 0.1),
         (5, 3, 0.55), (5, 4, 0.45), (6, 5, 1.0), (7, 5, 1.0), (8, 1, 1.0), (9, 4, 0.35), (9, 3, 0.65)]  # fmt: skip
KNOWN = ((0, np.array([[1.0, 0.6, 0.2], [0.6, 1.0, 0.5], [0.2, 0.5, 1.0]])), (3, np.array([[1.0, 0.4], [0.4, 1.0]])))


def along(first=0, correlated=(), step=1):
    """What each result bears at the comparisons, numbered from `first` in steps."""
    result, comparison, share = zip(*BORNE, strict=True)
    return AtComparisons(np.array(result), first + step * np.array(comparison), np.array(share), correlated)


def influence(scale, *shares, parts=None, dof=DEGREES):
    columns = (scale * TERMS)[:, np.newaxis] if parts is None else parts
    return Contribution("influence", np.zeros(10, bool), columns, GROUPS, dof, shares)


SEVERAL = np.column_stack([TERMS, 0.3 * TERMS[::-1], -0.2 * TERMS**2])
EVERY_KIND = [
    influence(0.0, parts=SEVERAL),
    influence(0.7, Share(np.arange(10), common), dof=np.full(10, INF)),
    influence(0.4, Share(GROUPS, independent, degrees_of_freedom=DEGREES + 1.5)),
    influence(0.5, Share(GROUPS, not_known)),
    influence(0.6, Share(100 * GROUPS, not_known_of_a_change)),
    influence(0.8, Share(GROUPS, not_known, pool="laboratory", behind=True)),
    influence(-0.9, Share(GROUPS, not_known, pool="laboratory"), dof=DEGREES / 2),
    influence(
        0.0,
        Share(GROUPS, common, columns=slice(0, 1)),
        Share(0 * GROUPS, independent, columns=slice(1, 3), degrees_of_freedom=DEGREES**2),
        parts=0.5 * SEVERAL,
    ),
    influence(1.1, Share(0 * GROUPS, not_known, at=along())),
    influence(0.3, Share(GROUPS, not_known_of_a_change, at=along(40, step=30))),
    influence(1.3, Share(0 * GROUPS, not_known, at=along(correlated=KNOWN))),
    influence(0.2, Share(0 * GROUPS, not_known, at=along(), pool="standards")),
    influence(0.9, Share(GROUPS, not_known, at=along(), pool="standards"), dof=DEGREES + 2.0),
    # Of a pool in which one line does not say where its calibration lies, no line does.
    influence(0.7, Share(GROUPS, not_known, at=along(correlated=KNOWN), pool="partly")),
    influence(0.4, Share(GROUPS, not_known, pool="partly")),
    influence(0.01, Share(GROUPS, not_known, pool="little")),
    influence(0.02, Share(GROUPS, not_known, pool="little")),
    influence(0.0, Share(GROUPS, not_known, pool="nothing")),
    influence(0.0, Share(GROUPS, not_known, pool="nothing")),
    influence(0.6, Share(np.arange(10) // 3, common)),
    influence(0.6, Share(np.array([0, 1, 1, 2, 2, 3, 3, 3, 4, 4]), common)),
]


def by_rule(rule, terms):
    """Variance of a sum of terms, each a list of its directions."""
    plus, minus = (sum(max(way * part, 0.0) for (part,) in terms) if rule is not_known else 0.0 for way in (1, -1))
    return {
        common: sum(sum(direction) ** 2 for direction in zip(*terms, strict=True)),
        independent: sum(part**2 for term in terms for part in term),
        not_known: plus**2 + minus**2,
        not_known_of_a_change: sum(abs(term[0]) for term in terms) ** 2,
    }[rule]


def worth_at_comparisons(terms, at):
    """What some terms are worth at each comparison; a calibration whose correlations are known in one figure."""
    worth = defaultdict(float)
    for result, term, share_at in terms:
        for bearer, comparison, share in zip(share_at.result, share_at.comparison, share_at.share, strict=True):
            if bearer == result:
                worth[int(comparison)] += term[0] * share
    for first, matrix in at.correlated:
        w = [worth.pop(first + k, 0.0) for k in range(len(matrix))]
        variance = sum(w[i] * matrix[i][j] * w[j] for i in range(len(w)) for j in range(len(w)))
        worth[f"calibration {first}"] = math.copysign(math.sqrt(variance), sum(w))
    return [[part] for part in worth.values()]


def groups_by_hand(budget, membership, coefficients):
    """Every group of every total: rule, total, terms by their contribution, fewest degrees of freedom, and variance."""
    pools = defaultdict(list)
    for row, each in enumerate(budget):
        for place, share in enumerate(each.shared):
            pools[share.pool or (row, place)].append((row, each, share))
    for pool in pools.values():
        rule, at = pool[0][2].rule, None if any(share.at is None for *_, share in pool) else pool[0][2].at
        groups = defaultdict(list)
        for row, each, share in pool:
            dof = each.degrees_of_freedom if share.degrees_of_freedom is None else share.degrees_of_freedom
            for i, total in enumerate(membership.tolist()):
                columns = each.parts[i] if share.columns is None else each.parts[i][share.columns]
                if total >= 0:
                    term = [coefficients[i] * part for part in columns.tolist()]
                    groups[total, int(share.group[i])].append((row, i, term, dof[i], share.at))
        for (total, _), those in sorted(groups.items()):
            terms = [term for _, _, term, _, _ in those]
            borne = terms if at is None else worth_at_comparisons([(i, term, a) for _, i, term, _, a in those], at)
            variance = by_rule(rule, borne)
            if at is not None:
                variance = max(variance, by_rule(independent, terms))
            yield rule, total, those, min(dof for _, _, _, dof, _ in those), variance


def test_every_kind_of_sharing_is_what_scalars_make_of_it_group_by_group():
    variances, squares, below = np.zeros((len(EVERY_KIND), 3)), np.zeros((len(EVERY_KIND), 3)), np.zeros(3)
    for _, total, those, fewest, variance in groups_by_hand(EVERY_KIND, MEMBERSHIP, COEFFICIENT):
        below[total] += variance**2 / fewest
        whole = sum(part**2 for _, _, term, _, _ in those for part in term)
        for row in {row for row, *_ in those}:
            own = sum(part**2 for mine, _, term, _, _ in those if mine == row for part in term)
            variances[row, total] += variance * own / whole if whole else 0.0
            squares[row, total] += (variance * own / whole) ** 2 / fewest if whole else 0.0
    found = combine_totals(EVERY_KIND, MEMBERSHIP, COEFFICIENT, 3)
    assert found.standard_uncertainty**2 == pytest.approx(variances.sum(axis=0), rel=1e-12)
    assert found.uncertainties == pytest.approx(np.sqrt(variances).T, rel=1e-12)
    has = [0, 2]
    assert found.degrees_of_freedom[has] == pytest.approx(variances.sum(axis=0)[has] ** 2 / below[has], rel=1e-12)
    for row, each in enumerate(squares):
        of_row = [INF if not each[total] else variances[row, total] ** 2 / each[total] for total in range(3)]
        assert found.part_degrees_of_freedom[:, row] == pytest.approx(of_row, rel=1e-12)
    assert (found.degrees_of_freedom[1], found.standard_uncertainty[1]) == (INF, 0.0)


def test_what_is_not_known_is_told_group_by_group_with_either_answer():
    told = sharing_not_known(EVERY_KIND, MEMBERSHIP, COEFFICIENT, 3)
    expected = [
        each
        for each in groups_by_hand(EVERY_KIND, MEMBERSHIP, COEFFICIENT)
        if each[0] in {not_known, not_known_of_a_change}
    ]
    behind = {5}  # of which the pool has another line for its name
    rows = []
    for _, total, those, _, variance in expected:
        own = [(row, i) for row, i, *_ in those if row not in behind] or [(row, i) for row, i, *_ in those]
        named = min(row for row, _ in own)
        if not variance:
            continue
        terms = [term for _, _, term, _, _ in those]
        rows.append((total, named, named in behind, variance, by_rule(common, terms), by_rule(independent, terms)))
    counted = told.variance > 0
    columns = (told.total, told.contribution, told.behind, told.variance, told.if_common, told.if_independent)
    found = sorted(zip(*(column[counted].tolist() for column in columns), strict=True))
    assert len(found) == len(rows)
    for mine, his in zip(found, sorted(rows), strict=True):
        assert mine == pytest.approx(his, rel=1e-12)
    # A result that is told is one of its group, in its total.
    for total, contribution_row, result in zip(
        told.total[counted], told.contribution[counted], told.result[counted], strict=True
    ):
        assert MEMBERSHIP[result] == total
        assert EVERY_KIND[contribution_row].shared[0].rule in {not_known, not_known_of_a_change}
    assert [told.pool[k] for k in np.flatnonzero(counted)].count("laboratory") == 6


def test_the_covariances_of_every_kind_of_sharing_are_sums_over_what_two_results_share():
    # Independent: of a result with itself alone. What is not known counts as common, and a pool as one influence.
    expected = [[0.0] * 10 for _ in range(10)]
    pools = defaultdict(list)
    for row, each in enumerate(EVERY_KIND):
        for place, share in enumerate(each.shared):
            pools[share.pool or (row, place)].append((each, share))
    for pool in pools.values():
        for each, share in pool:
            for other, his in pool:
                a, b = (
                    c.parts if s.columns is None else c.parts[:, s.columns] for c, s in ((each, share), (other, his))
                )
                for i, k in np.ndindex(10, 10):
                    if (i == k) if share.rule is independent else share.group[i] == his.group[k]:
                        expected[i][k] += math.fsum(x * y for x, y in zip(a[i], b[k], strict=True))
    assert covariance(EVERY_KIND) == pytest.approx(np.array(expected), rel=1e-12)


def test_results_of_which_sums_have_none_in_common_go_into_one_lot():
    assert lots_of_sums([{0, 1}, {1, 2}, {3}, {0}, {2, 3}]) == [[0, 2], [1, 3], [4]]


def test_shares_of_the_variance_are_told_for_every_result():
    # Of 5 = 1 + 4, of 25 = 9 + 16, of nothing, and of 0.25 = 0.16 + 0.09.
    found = combine([contribution([1.0, 3.0, 0.0, 0.4]), contribution([2.0, 4.0, 0.0, 0.3])])
    expected = [[20.0, 80.0], [36.0, 64.0], [0.0, 0.0], [64.0, 36.0]]
    assert found.variance_percent == pytest.approx(np.array(expected), rel=1e-14)


@pytest.mark.parametrize(("parts", "degrees"), [((2, 1, 1), 2), ((2,), 2), ((2, 1), 3), ((1, 1), 2)])
def test_a_contribution_has_parts_and_degrees_of_freedom_for_each_of_its_results(parts, degrees):
    with pytest.raises(CalibError, match="must stand for 2 results each"):
        Contribution("method", np.zeros(2, bool), np.ones(parts), np.array([0, 1]), np.full(degrees, math.inf))


def test_a_contribution_to_no_results_is_one():
    nothing = Contribution("method", np.zeros(0, bool), np.ones((0, 1)), np.zeros(0, int), np.zeros(0))
    assert nothing.variance.size == 0


def test_the_error_of_a_calibration_with_known_correlations_has_the_sign_of_its_sum():
    # Uncorrelated there: 0.5 and -0.9 are worth -sqrt(1.06) beside 2 of another calibration; 0.6 and -0.6 count as +sqrt(0.72).
    at = AtComparisons(np.arange(6), np.array([0, 1, 2, 0, 1, 2]), np.ones(6), ((0, np.eye(2)), (2, np.eye(1))))
    parts = np.array([[0.5], [-0.9], [2.0], [0.6], [-0.6], [2.0]])
    shares = (Share(np.zeros(6, dtype=int), not_known, at=at),)
    each = Contribution("influence", np.zeros(6, bool), parts, np.zeros(6, int), np.full(6, INF), shares)
    found = combine_totals([each], np.array([0, 0, 0, 1, 1, 1]), np.ones(6), 2)
    assert found.standard_uncertainty**2 == pytest.approx([1.06 + 4.0, (math.sqrt(0.72) + 2.0) ** 2], rel=1e-12)


def test_a_declaration_changes_nothing_where_one_calibration_states_all_correlations():
    # Group 0: one calibration, 0.3 and 0.4 with 0.5. 1: two. 2: one, and 0.2 at another comparison. 3: as 0, of the third.
    half = np.array([[1.0, 0.5], [0.5, 1.0]])
    known = ((0, half), (2, np.eye(1)), (4, half))
    at = AtComparisons(np.arange(8), np.array([0, 1, 0, 2, 1, 3, 4, 5]), np.ones(8), known)
    parts, groups = np.array([[0.3, 0.4, 0.3, 0.1, 0.7, 0.2, 0.3, 0.4]]).T, np.array([0, 0, 1, 1, 2, 2, 3, 3])
    shares = (Share(groups, not_known, at=at),)
    each = Contribution("influence", np.zeros(8, bool), parts, groups, np.full(8, INF), shares)
    told = sharing_not_known([each], np.zeros(8, int), np.ones(8), 1)
    assert told.variance == pytest.approx([0.37, 0.16, 0.81, 0.37], rel=1e-12)
    assert told.if_common == pytest.approx([0.37, 0.16, 0.81, 0.37], rel=1e-12)
    assert told.if_independent == pytest.approx([0.37, 0.10, 0.53, 0.37], rel=1e-12)


def test_degrees_of_freedom_are_infinite_where_nothing_has_finite_ones_or_nothing_contributes():
    assert welch_satterthwaite([[1.0, 2.0], [0.0, 0.0]], [[INF, INF], [3.0, 4.0]]).tolist() == [INF, INF]
