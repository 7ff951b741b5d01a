"""Terms of second order, beside propagated distributions, exact quantiles, and what is worked by hand."""

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.stats import norm
from scipy.stats import t as t_distribution

from calib.uncertainty.coverage import exact_probability
from calib.uncertainty.distributions import Normal, StudentT
from calib.uncertainty.monte_carlo import propagate_distributions
from calib.uncertainty.second_order import (
    CHANGED_BY,
    UNSYMMETRICAL_BY,
    Derivatives,
    Product,
    _of_factors,
    middle_of_interval,
    of_product,
    second_order_of,
    standard_uncertainty_to_second_order,
)

P = exact_probability(0.9545)
INF = math.inf


def told(relative, dof=None, factor=None, bend=0.0, value=1.0, expanded=None):
    """What is told of one product, its contributions being relative standard uncertainties."""
    u = np.abs(value) * np.array([relative], dtype=float)
    known = np.full_like(u, INF) if dof is None else np.array([dof], dtype=float)
    factors = np.arange(u.shape[1]) if factor is None else np.array(factor)
    k = 2.0 if expanded is None else expanded
    of_law = np.array([k * np.linalg.norm(u)])
    return second_order_of(Product(factors, np.array([bend])), np.array([float(value)]), of_law, u, known)


def drawn(relative, dof=None, bend=0.0):
    """Symmetric interval of a product whose factors are drawn; the first is a root of what is uncertain where it has a bend."""
    known = dof or [INF] * len(relative)
    inputs = [Normal(0.0, u) if math.isinf(nu) else StudentT(0.0, u, nu) for u, nu in zip(relative, known, strict=True)]

    def product(first, *others):
        value = 1.0 + first if bend == 0 else np.sqrt(np.maximum(1.0 + 2.0 * first, 0.0))
        return value * np.prod([1.0 + other for other in others], axis=0)

    return propagate_distributions(product, inputs, seed=12, trials=1_000_000).symmetric_interval


@pytest.mark.parametrize(
    ("relative", "bend", "ends"),
    [
        ([0.1, 0.1], 0.0, 0.01),
        ([0.05, 0.1, 0.12], 0.0, 0.01),
        ([0.12] * 4, 0.0, 0.015),
        ([0.06], -1.0, 0.02),
        ([0.1], -1.0, 0.035),
        ([0.05, 0.1, 0.1], -1.0, 0.01),
    ],
)
def test_the_interval_of_a_product_ends_where_that_of_drawn_factors_does(relative, bend, ends):
    expanded = 2.0 * np.linalg.norm(relative)
    middle = 1.0 + told(relative, bend=bend).above[0]
    simulated = drawn(relative, bend=bend)
    assert middle - 1.0 != 0
    assert (middle - expanded, middle + expanded) == pytest.approx((simulated.low, simulated.high), abs=ends * expanded)


@pytest.mark.parametrize(
    ("relative", "dof", "bend"),
    [
        ([0.12, 0.12], [4.0, INF], 0.0),
        ([0.1, 0.1], [3.0, 4.0], 0.0),
        ([0.1, 0.1, 0.1], [4.0, 5.0, INF], 0.0),
        ([0.07], [3.0], -1.0),
    ],
)
def test_with_few_degrees_of_freedom_its_middle_lies_within_two_percent_of_u_of_that_of_drawn_factors(
    relative, dof, bend
):
    simulated = drawn(relative, dof, bend)
    expanded = simulated.half_length
    middle = told(relative, dof, bend=bend, expanded=expanded / np.linalg.norm(relative)).above[0]
    assert middle != 0
    assert middle == pytest.approx(0.5 * (simulated.low + simulated.high) - 1.0, abs=0.02 * expanded)


def test_the_middle_of_a_root_is_that_of_its_exact_quantiles():
    # A root rises everywhere: its quantiles are the roots of those of what is under it.
    u = 0.03
    ends = [math.sqrt(1.0 + 2.0 * u * norm.ppf(p)) for p in ((1 - P) / 2, (1 + P) / 2)]
    assert middle_of_interval(of_product(1, -1.0), [[u]])[0] == pytest.approx(sum(ends) / 2 - 1.0, rel=0.02)


def test_the_middle_of_a_product_of_two_is_that_of_its_integrated_distribution():
    u, w = 0.06, 0.09

    def below(y):
        return quad(lambda e: norm.cdf((y / (1 + e) - 1) / w) * norm.pdf(e, scale=u), -8 * u, 8 * u, epsabs=1e-12)[0]

    ends = [brentq(lambda y, p=p: below(y) - p, 0.4, 1.8) for p in ((1 - P) / 2, (1 + P) / 2)]
    assert middle_of_interval(of_product(2, 0.0), [[u, w]])[0] == pytest.approx(sum(ends) / 2 - 1.0, rel=0.02)


def test_the_standard_uncertainty_of_a_product_is_exact_to_second_order():
    # L. A. Goodman, Journal of the American Statistical Association 55 (1960) 708: Var(XY) = u^2 + w^2 + u^2 w^2 for means of 1.
    u, w = 0.5, 0.7
    exact = math.sqrt(u**2 + w**2 + u**2 * w**2)
    assert standard_uncertainty_to_second_order(of_product(2, 0.0), [[u, w]])[0] == pytest.approx(exact, rel=1e-12)


def test_the_standard_uncertainty_of_a_root_is_that_of_its_moments():
    u = 0.05
    moments = [
        quad(lambda e, n=n: math.sqrt(1 + 2 * e) ** n * norm.pdf(e, scale=u), -9 * u, 9 * u, epsabs=1e-13)[0]
        for n in (1, 2)
    ]
    exact = math.sqrt(moments[1] - moments[0] ** 2)
    second = standard_uncertainty_to_second_order(of_product(1, -1.0), [[u]])[0]
    assert second == pytest.approx(exact, rel=2e-4)
    assert second > u


@pytest.mark.parametrize("value", [2.0, -2.0])
def test_the_middle_of_a_product_lies_farther_from_zero_than_its_value(value):
    assert np.sign(told([0.1, 0.1], value=value).above[0]) == np.sign(value)


@pytest.mark.parametrize(("relative", "is_told"), [(0.065, False), (0.067 * math.sqrt(2.0), True)])
def test_an_interval_is_told_from_five_percent_of_u_on(relative, is_told):
    # Two factors alike of u: V = 2 u^2, and 3/4 sqrt(V) of which half is squares of one factor: 3/8 sqrt(2) u = 5 % at 0.0943.
    assert UNSYMMETRICAL_BY == 0.05
    assert bool(told([relative, relative]).above[0]) == is_told


@pytest.mark.parametrize(("relative", "is_told"), [(0.16, False), (0.18, True)])
def test_what_terms_of_second_order_change_of_u_is_told_from_five_percent_on(relative, is_told):
    # Of a root sqrt(1 + 3.5 u^2) is 1.05 at u = 0.171.
    assert CHANGED_BY == 0.05
    changed = told([relative], bend=-1.0).changed[0]
    assert bool(changed) == is_told
    assert changed == pytest.approx(math.sqrt(1 + 3.5 * relative**2) - 1 if is_told else 0.0, rel=1e-9)


def test_errors_within_one_factor_add_and_leave_it_symmetric():
    assert told([0.1, 0.1], factor=[0, 0]).above[0] == 0.0


@pytest.mark.parametrize(("value", "bend"), [(0.0, 0.0), (1.0, math.nan)])
def test_nothing_is_told_of_a_value_of_0_and_of_what_is_no_product(value, bend):
    u = np.array([[0.3, 0.3]])
    known = np.full_like(u, INF)
    product = Product(np.arange(2), np.array([bend]))
    of_none = second_order_of(product, np.array([value]), np.array([0.85]), u, known)
    assert (of_none.above[0], of_none.changed[0]) == (0.0, 0.0)


def test_the_derivatives_of_a_product_are_those_of_its_factors():
    # Of x1^m x2 x3 relative to it, m = 1/(1 - f_11) = 0.8: f_11 = -0.25, f_111 = -0.25 (-0.5 - 1), f_i11 = -0.25, the rest 1 and 0.
    derivatives = of_product(3, -0.25)
    assert derivatives.first.tolist() == [1.0, 1.0, 1.0]
    assert derivatives.second.tolist() == [[-0.25, 1.0, 1.0], [1.0, 0.0, 1.0], [1.0, 1.0, 0.0]]
    assert derivatives.third.tolist() == [[0.375, 0.0, 0.0], [-0.25, 0.0, 0.0], [-0.25, 0.0, 0.0]]


CASE = Derivatives(
    np.array([1.5, -0.7, 0.4]),
    np.array([[0.3, 0.9, -0.2], [0.9, -0.6, 0.8], [-0.2, 0.8, 1.1]]),
    np.array([[0.5, -1.2, 0.7], [0.9, 0.4, -0.3], [0.2, 1.3, -0.8]]),
)
UNCERTAINTIES = [[0.2, 0.3, 0.5], [0.7, 0.1, 0.4]]


def test_the_standard_uncertainty_to_second_order_is_the_sum_of_the_note_to_gum_5_1_2():
    expected = []
    for u in UNCERTAINTIES:
        variance = math.fsum((CASE.first[i] * u[i]) ** 2 for i in range(3))
        for i, j in np.ndindex(3, 3):
            bracket = CASE.second[i, j] ** 2 / 2 + CASE.first[i] * CASE.third[i, j]
            variance += bracket * u[i] ** 2 * u[j] ** 2
        expected.append(math.sqrt(variance))
    assert standard_uncertainty_to_second_order(CASE, UNCERTAINTIES) == pytest.approx(expected, rel=1e-13)


def test_terms_of_second_order_that_take_away_more_than_there_is_leave_nothing():
    steep = Derivatives(np.ones(1), np.zeros((1, 1)), np.full((1, 1), -9.0))
    assert standard_uncertainty_to_second_order(steep, [[1.0]]) == pytest.approx([0.0], abs=1e-15)


@pytest.mark.parametrize(("probability", "z"), [(0.9545, 2.0), (0.9973, 3.0)])
def test_the_middle_of_the_interval_is_that_of_cornish_and_fisher(probability, z):
    expected = []
    for u in UNCERTAINTIES:
        v = math.fsum((CASE.first[i] * u[i]) ** 2 for i in range(3))
        along = sum(
            CASE.first[i] * CASE.first[j] * CASE.second[i, j] * u[i] ** 2 * u[j] ** 2 for i, j in np.ndindex(3, 3)
        )
        expected.append(sum(CASE.second[i, i] * u[i] ** 2 for i in range(3)) / 2 + (z**2 - 1) / (2 * v) * along)
    assert middle_of_interval(CASE, UNCERTAINTIES, probability) == pytest.approx(expected, rel=1e-13)


def test_of_many_products_each_has_the_middle_and_the_change_of_its_own_factors():
    """Row by row in scalars: z = 2, an error of nu degrees of freedom reaches k(nu)/z farther alone, and its root beside others."""
    value = np.array([2.0, -1.0, 0.0, 4.0, 5.0, 1.5, 0.1])
    bend = np.array([-1.0, 0.0, -1.0, 0.0, math.nan, -1.0, 0.0])
    factor = [0, 2, 1, 1, 0]
    relative = np.array(
        [
            [0.21, 0.11, 0.06, 0.09, 0.13],
            [0.48, 0.56, 0.32, 0.16, 0.4],
            [0.3, 0.1, 0.2, 0.1, 0.1],
            [0.01, 0.02, 0.01, 0.015, 0.0],
            [0.3, 0.1, 0.2, 0.1, 0.1],
            [0.04, 0.05, 0.02, 0.06, 0.05],
            [0.11, 0.08, 0.14, 0.05, 0.0],
        ]
    )
    dof = np.array([3.0, INF, 8.0, INF, INF])
    u, known = relative * np.where(value == 0, 1.0, np.abs(value))[:, np.newaxis], np.tile(dof, (7, 1))
    known[6, 4] = 0.0  # of what contributes nothing
    expanded = 2.2 * np.linalg.norm(u, axis=1)
    reach = [0.5 * t_distribution.ppf(0.5 * (1 + P), nu) if nu < INF else 1.0 for nu in dof]

    def of_factors(row, power):
        return [sum((relative[row, c] * reach[c] ** power) ** 2 for c in range(5) if factor[c] == f) for f in range(3)]

    above, changed = [0.0] * 7, [0.0] * 7
    for row in (0, 1, 3, 5, 6):
        b, plain, alone, beside = bend[row], of_factors(row, 0), of_factors(row, 1), of_factors(row, 0.5)
        own = b * alone[0] / 2 + 1.5 * b * alone[0] ** 2 / sum(alone)
        mixed = 1.5 * sum(beside[i] * beside[j] for i, j in np.ndindex(3, 3) if i != j) / sum(beside)
        middle = value[row] * (own + mixed)
        above[row] = middle if abs(middle) > 0.05 * expanded[row] else 0.0
        variance = sum(plain) + plain[0] ** 2 * (b**2 / 2 + b * (2 * b - 1))
        variance += sum(plain[i] * plain[j] / 2 for i, j in np.ndindex(3, 3) if i != j)
        variance += sum(b * plain[i] * plain[0] for i in (1, 2))
        share = math.sqrt(variance / sum(plain)) - 1
        changed[row] = share if abs(share) > 0.05 else 0.0
    found = second_order_of(Product(np.array(factor), bend), value, expanded, u, known)
    assert found.above == pytest.approx(above, rel=1e-12)
    assert found.changed == pytest.approx(changed, rel=1e-12)
    assert [bool(each) for each in above] == [True, True, False, False, False, False, True]
    assert sum(map(bool, changed)) == 2


@pytest.mark.parametrize(("expanded", "asked"), [(0.0895, False), (0.0905, True)])
@pytest.mark.parametrize("value", [1.0, -4.0])
def test_a_result_whose_u_is_below_nine_percent_of_it_costs_nothing(monkeypatch, value, expanded, asked):
    # 5 % of U are no more than its half times U over the value: U of 10 %, and of a little less where few degrees of freedom rule.
    factors = []
    monkeypatch.setattr(
        "calib.uncertainty.second_order._of_factors", lambda *of: (factors.append(True), _of_factors(*of))[1]
    )
    u = np.array([[0.02, 0.04]]) * abs(value)
    of_it = np.array([expanded * abs(value)])
    second_order_of(Product(np.arange(2), np.zeros(1)), np.array([value]), of_it, u, np.full_like(u, INF))
    assert bool(factors) == asked


@pytest.mark.parametrize("value", [1.0, -4.0])
def test_nothing_is_told_of_a_u_of_just_nine_percent_of_the_value(value):
    u = np.array([[0.4, 0.4]])
    limit = 1.8 * UNSYMMETRICAL_BY * abs(value)
    for expanded, is_told in ((limit, False), (np.nextafter(limit, INF), True)):
        of_it = second_order_of(
            Product(np.arange(2), np.zeros(1)), np.array([value]), np.array([expanded]), u, np.full_like(u, INF)
        )
        assert bool(of_it.above[0]) == is_told


def test_an_interval_whose_middle_lies_just_as_far_off_as_is_borne_is_symmetrical(monkeypatch):
    # A quarter of U in the place of a twentieth: 4 times the middle is U to the bit. U does not move the middle.
    monkeypatch.setattr("calib.uncertainty.second_order.UNSYMMETRICAL_BY", 0.25)
    u = np.array([[0.8, 0.8]])

    def above(expanded):
        product = Product(np.arange(2), np.zeros(1))
        return second_order_of(product, np.ones(1), np.array([expanded]), u, np.full_like(u, INF)).above[0]

    # (z^2 - 1)/2 = 3/2, times 2 u^4 of f_12 and f_21, over V = 2 u^2.
    middle = above(1.6)
    assert middle == pytest.approx(1.5 * 0.8**2, rel=1e-12)
    assert above(4.0 * middle) == 0.0
    assert above(np.nextafter(4.0 * middle, 0.0)) == middle


def test_a_u_that_would_change_by_just_as_much_as_is_borne_is_not_flagged(monkeypatch):
    changed = told([0.3], bend=-1.0).changed[0]
    assert changed == pytest.approx(math.sqrt(1 + 3.5 * 0.3**2) - 1, rel=1e-12)
    for limit, expected in ((changed, 0.0), (np.nextafter(changed, 0.0), changed)):
        monkeypatch.setattr("calib.uncertainty.second_order.CHANGED_BY", limit)
        assert told([0.3], bend=-1.0).changed[0] == expected


def test_the_contributions_to_a_factor_add_in_squares():
    # 3-4-5 and 5-12-13; no contribution to the second factor.
    product = Product(np.array([0, 2, 0, 2]), np.zeros(2))
    found = _of_factors(product, np.array([[0.3, 0.5, 0.4, 1.2], [1.5, 0.0, 2.0, 0.7]]))
    assert found == pytest.approx(np.array([[0.5, 0.0, 1.3], [2.5, 0.0, 0.7]]), rel=1e-14)


@pytest.mark.parametrize(("relative", "is_told"), [(0.0497, False), (0.0503, True)])
def test_a_root_is_told_from_a_twentieth_on(relative, is_told):
    # The middle of a root lies z^2 u^2/2 below: 5 % of U = z u at u = 0.05.
    assert bool(told([relative], bend=-1.0).above[0]) == is_told
