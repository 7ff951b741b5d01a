"""How far results share an influence (JCGM 100:2008, 5.2.2 and C.3.6): each rule beside correlated inputs of GTC.

GTC is given the correlations that a rule stands for, and does the arithmetic of equation 13. That not known is P^2 + N^2 is this
project's rule: common within a sign, unrelated between signs, so that it covers every pattern of correlations from 0 to 1.
"""

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from GTC import set_correlation, ureal
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from calib.measurement import Calibrations, flows
from calib.uncertainty.propagation import Contribution, combine, combine_totals, sharing_not_known
from calib.uncertainty.sharing import (
    AtComparisons,
    Share,
    common,
    common_within_a_sign,
    independent,
    not_known,
    not_known_of_a_change,
)
from tests.arrays import correction, readings, single

sixteenths = st.integers(-64, 64).filter(bool).map(lambda n: n / 16)


def shared(terms, rule, group=None, at=None, dof=math.inf, pool=None):
    """One influence on results whose terms c u are given."""
    size = len(terms)
    groups = np.zeros(size, dtype=int) if group is None else np.array(group)
    parts = np.array(terms, dtype=float)[:, np.newaxis]
    share = Share(groups, rule, at=at, pool=pool)
    return Contribution("influence", np.zeros(size, dtype=bool), parts, groups, np.full(size, dof), (share,))


def total_of(*contributions, sign=None):
    size = contributions[0].source.size
    signs = np.ones(size) if sign is None else np.array(sign, dtype=float)
    return combine_totals(contributions, np.zeros(size, dtype=int), signs, 1)


def of_gtc(terms, correlation):
    """Standard uncertainty of the sum of errors with u = 1, times the terms, of which each pair has a correlation."""
    errors = [ureal(0.0, 1.0, independent=False) for _ in terms]
    for (i, a), (j, b) in itertools.combinations(enumerate(errors), 2):
        set_correlation(correlation(i, j), a, b)
    return sum(term * error for term, error in zip(terms, errors, strict=True)).u


# --- the rules beside GTC --------------------------------------------------------------------------------------------------------

CORRELATIONS = {
    "known common": (common, lambda _a, _b: 1.0),
    "known independent": (independent, lambda _a, _b: 0.0),
    "not known": (not_known, lambda a, b: 1.0 if a * b > 0 else 0.0),
    "not known, of a change": (not_known_of_a_change, lambda a, b: 1.0 if a * b > 0 else -1.0),
}


@pytest.mark.parametrize("name", CORRELATIONS)
@given(terms=st.lists(sixteenths, min_size=1, max_size=6))
def test_a_rule_is_what_gtc_makes_of_its_correlations(name, terms):
    rule, correlation = CORRELATIONS[name]
    expected = of_gtc(terms, lambda i, j: correlation(terms[i], terms[j]))
    assert total_of(shared(terms, rule)).standard_uncertainty == pytest.approx([expected], rel=1e-9, abs=1e-9)


@given(terms=st.lists(sixteenths, min_size=1, max_size=6), groups=st.lists(st.integers(0, 2), min_size=6, max_size=6))
def test_groups_are_independent_of_one_another(terms, groups):
    mine = groups[: len(terms)]
    expected = of_gtc(terms, lambda i, j: 1.0 if mine[i] == mine[j] and terms[i] * terms[j] > 0 else 0.0)
    assert total_of(shared(terms, not_known, mine)).standard_uncertainty == pytest.approx([expected], rel=1e-9)


NODES = (0.6, 1.2, 2.5, 4.0)


def hats(x):
    """Hat functions of the comparisons at x, written out: 1 at its own, 0 at the others, straight between."""
    return [float(np.interp(x, NODES, [1.0 if k == j else 0.0 for k in range(4)])) for j in range(4)]


def along(indications, u):
    """Shares of readings at the comparisons, which have the standard uncertainties `u`."""
    each = [[hat * of_node for hat, of_node in zip(hats(x), u, strict=True)] for x in indications]
    flat = [(i, j, part / sum(parts)) for i, parts in enumerate(each) for j, part in enumerate(parts) if part]
    result, comparison, share = zip(*flat, strict=True)
    return AtComparisons(np.array(result), np.array(comparison), np.array(share))


ALONG = st.lists(st.tuples(sixteenths, st.floats(0.6, 4.0)), min_size=1, max_size=6)
U = (0.02, 0.03, 0.025, 0.06)


@pytest.mark.parametrize("name", ["not known", "not known, of a change"])
@given(case=ALONG)
def test_along_a_calibration_the_rule_is_asked_of_the_sums_at_the_comparisons(name, case):
    """One error at each comparison, straight between them; never below what independent results would have."""
    rule, correlation = CORRELATIONS[name]
    _, x = zip(*case, strict=True)
    worth = [math.fsum(c * hats(at)[j] * U[j] for c, at in case) for j in range(4)]
    terms = [c * math.fsum(hat * u for hat, u in zip(hats(at), U, strict=True)) for c, at in case]
    expected = max(of_gtc(worth, lambda i, j: correlation(worth[i], worth[j])), of_gtc(terms, lambda _i, _j: 0.0))
    found = total_of(shared(terms, rule, at=along(x, U)))
    assert found.standard_uncertainty == pytest.approx([expected], rel=1e-9)


@given(case=ALONG, more=ALONG)
def test_contributions_of_one_pool_are_counted_together(case, more):
    """One laboratory stands behind two lines of the budget."""
    lines = []
    for coefficients in (case, more):
        terms = [0.0] * max(len(case), len(more))
        terms[: len(coefficients)] = [c for c, _ in coefficients]
        lines.append(terms)
    both = [*lines[0], *lines[1]]
    expected = of_gtc(both, lambda i, j: 1.0 if both[i] * both[j] > 0 else 0.0)
    found = total_of(*(shared(terms, not_known, pool="laboratory") for terms in lines))
    assert found.standard_uncertainty == pytest.approx([expected], rel=1e-9)
    assert np.sum(found.uncertainties**2) == pytest.approx(expected**2, rel=1e-9)


def test_a_reading_alone_keeps_its_own_uncertainty_wherever_it_stands():
    for rule in (not_known, not_known_of_a_change):
        line = shared([0.5], rule, at=along([1.9], U))
        assert total_of(line).standard_uncertainty == pytest.approx(combine([line]).standard_uncertainty)


# --- degrees of freedom ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("rule", [common, independent, not_known, not_known_of_a_change])
def test_a_figure_that_was_evaluated_once_keeps_its_degrees_of_freedom(rule):
    """GUM G.4.1: u of each of ten results is one and the same estimate, so that ten of them know no more than one."""
    assert total_of(shared([0.3] * 10, rule, dof=5.0)).degrees_of_freedom == pytest.approx([5.0])


# --- what either answer would give -----------------------------------------------------------------------------------------------


def test_what_is_not_known_is_told_with_what_either_answer_would_give():
    lines = [
        shared([3.0, 4.0], not_known, [2, 2]),
        shared([1.0, 1.0], common),
        shared([2.0, -1.0], not_known_of_a_change),
    ]
    told = sharing_not_known(lines, np.array([0, 0]), np.ones(2), 1)
    counted = told.variance > 0
    assert told.contribution[counted].tolist() == [0, 2]
    assert told.variance[counted].tolist() == [49.0, 9.0]
    assert told.if_common[counted].tolist() == [49.0, 1.0]
    assert told.if_independent[counted].tolist() == [25.0, 5.0]


def test_nothing_is_told_where_everything_is_known():
    told = sharing_not_known([shared([3.0, 4.0], common)], np.array([0, 0]), np.ones(2), 1)
    assert told.total.size == 0


# --- totals that silence made too certain ----------------------------------------------------------------------------------------

GRILLES, FLOW = 20, 594.0  # m3/h each
THE_REST = 0.0347  # of what all of them share beside the method; from both figures below


def of_grilles(**method):
    nodes = ((0.0, THE_REST * 0.0), (1000.0, THE_REST * 1000.0))
    found = flows(readings(*(single(FLOW, **method) for _ in range(GRILLES)), curves=[correction(nodes=nodes)]))
    u = total_of(*found.contributions).standard_uncertainty[0]
    return 10 * round(2 * u / 10)  # U to the ten


def test_twenty_grilles_have_the_larger_uncertainty_unless_the_method_is_known_to_be_each_one_s_own():
    """At 3 % U is 840 m3/h of a method independent from grille to grille, 1,090 m3/h of one that is common to them.

    2 sqrt((0.0347 x 11,880)^2 + (0.03 x 11,880)^2/20) = 840; without the 20 it is 1,090.
    """
    assert of_grilles(method_own=0.03) == 840
    assert of_grilles(method_common=0.03) == 1090
    assert of_grilles(method=0.03) == 1090


SUPPLY, EXHAUST = 1000.0, 951.55  # L/s at 0.67 and at 8 m/s
OWN = math.sqrt(332.3)  # L/s: what the two have beside the meter's change


def of_one_meter(rule):
    """One meter, changed by no more than 0.02 m/s + 1.35 %: its comparisons lie at 0.6, 1.2, 6, 9 m/s."""
    u = [area * (0.02 + 0.0135 * v) / math.sqrt(3) for area, v in ((SUPPLY / 0.67, 0.67), (EXHAUST / 8, 8.0))]
    at = AtComparisons(np.array([0, 0, 1, 1]), np.array([0, 1, 2, 3]), np.array([0.85, 0.15, 0.3, 0.7]))
    change = shared(u, rule, at=at if rule is not_known_of_a_change else None)
    return total_of(change, shared([OWN, 0.0], independent), sign=[1, -1]).standard_uncertainty[0]


@pytest.mark.parametrize(
    ("rule", "expanded", "probability"),
    [(common, 49, 97.6), (independent, 64, 93.4), (not_known_of_a_change, 77, None)],
)
def test_a_surplus_by_one_meter_at_both_ends_of_its_range_is_less_sure_than_a_common_error_makes_it(
    rule, expanded, probability
):
    """48 L/s: with one error U = 49 and 97.6 %, with independent ones 64 and 93.4 %, with opposite ones 77."""
    surplus, u = SUPPLY - EXHAUST, of_one_meter(rule)
    assert (round(surplus), round(2 * u)) == (48, expanded)
    if probability is not None:
        assert round(100 * stats.norm.cdf(surplus / u), 1) == probability


def test_streams_of_air_share_an_error_within_a_sign_and_nobody_is_asked_to_declare_it():
    """3 and 4 added, 2 and 1 taken away: u^2 = (3 + 4)^2 + (2 + 1)^2, GTC with correlations 1 within a sign and 0 between."""
    terms = [3.0, 4.0, -2.0, -1.0]
    influence = shared(terms, common_within_a_sign)
    expected = of_gtc(terms, lambda i, j: float((terms[i] > 0) == (terms[j] > 0)))
    assert float(total_of(influence).standard_uncertainty[0]) == pytest.approx(expected, rel=1e-9)
    assert sharing_not_known([influence], np.zeros(4, dtype=int), np.ones(4), 1).total.size == 0


# --- a certificate that states how its reference values are correlated ------------------------------------------------------------


def of_known(worth, matrix):
    """Standard uncertainty of a sum of errors at comparisons, whose correlations are known, by GTC."""
    errors = [ureal(0.0, 1.0, independent=False) for _ in worth]
    for (i, a), (k, b) in itertools.combinations(enumerate(errors), 2):
        set_correlation(float(matrix[i, k]), a, b)
    return sum(part * error for part, error in zip(worth, errors, strict=True)).u


NODES = np.array([1.0, 3.0, 6.0, 10.0])
AT_NODES = np.array([0.010, 0.020, 0.030, 0.060])
KNOWN = 0.7 ** np.abs(np.subtract.outer(np.arange(4), np.arange(4)))


def stating(matrix):
    """A curve whose certificate states the correlations of its reference values."""
    return replace(correction(nodes=np.column_stack([NODES, AT_NODES])), correlation=matrix)


def reference_line(found, signs):
    (contribution,) = [one for one in found.contributions if one.name == "reference standard"]
    u = np.abs(contribution.parts[:, 0])
    return (
        total_of(contribution, sign=signs).standard_uncertainty[0],
        math.sqrt(np.sum((np.array(signs) * u) ** 2)),
        contribution,
    )


def worth_at_nodes(indications, signs):
    hats = np.array([[np.interp(x, NODES, row) for row in np.eye(4)] for x in indications])
    return np.array(signs) @ (hats * AT_NODES)


@pytest.mark.parametrize(
    ("indications", "signs"), [((1.0, 10.0), (1, 1)), ((2.0, 4.5, 8.0), (1, 1, 1)), ((1.5, 2.5, 9.0), (1, -1, 1))]
)
def test_stated_correlations_are_those_of_correlated_inputs_of_gtc(indications, signs):
    found = flows(readings(*(single(x) for x in indications), curves=[stating(KNOWN)]))
    u, floor, contribution = reference_line(found, signs)
    expected = max(of_known(worth_at_nodes(indications, signs), KNOWN), floor)
    assert u == pytest.approx(expected, rel=1e-9)
    unknown = flows(readings(*(single(x) for x in indications), curves=[stating(None)]))
    assert u < reference_line(unknown, signs)[0] or min(signs) < 0
    nothing_asked = sharing_not_known([contribution], np.zeros(len(signs), dtype=int), np.array(signs, dtype=float), 1)
    assert nothing_asked.if_common == pytest.approx(nothing_asked.if_independent)


@pytest.mark.parametrize("signs", [(1, 1, 1, 1), (1, 1, -1, -1), (1, -1, 1, -1)])
def test_two_such_certificates_of_one_laboratory_share_to_an_extent_that_is_not_known(signs):
    """P^2 + N^2 over what each is worth as a whole, with the sign of its sum."""
    indications = (2.0, 8.0, 2.5, 9.0)
    those = readings(
        *(single(x, calibration=k) for x, k in zip(indications, (0, 0, 1, 1), strict=True)), curves=[stating(KNOWN)] * 2
    )
    one_laboratory = Calibrations(np.zeros(2, dtype=int), [np.ones(4)] * 2)
    u, floor, _ = reference_line(flows(replace(those, calibrations=one_laboratory)), signs)
    sums = [worth_at_nodes(indications[half], signs[half]) for half in (slice(0, 2), slice(2, 4))]
    whole = [math.copysign(of_known(worth, KNOWN), worth.sum()) for worth in sums]
    plus, minus = (sum(one for one in whole if way * one > 0) for way in (1, -1))
    assert u == pytest.approx(max(math.hypot(plus, minus), floor), rel=1e-9)


def test_a_reading_by_itself_keeps_its_uncertainty_whatever_is_correlated():
    found = flows(readings(single(2.0), curves=[stating(KNOWN)]))
    assert reference_line(found, [1])[0] == pytest.approx(float(np.interp(2.0, NODES, AT_NODES)), rel=1e-12)
