"""Correction polynomials of a certificate with correlated reference values (ISO/TS 28037 clauses 9 and 10).

References by other hands: scipy minimises chi-squared of clause 10 as a function of intercept and slope alone, which the adjusted
points were eliminated from: (y - a - b x)^T (V_y + b^2 V_x)^-1 (y - a - b x), own derivation; the limits are clauses 6 and 7.
"""

import numpy as np
import pytest
from scipy import optimize

from calib.curves.choice import Comparisons, choose
from calib.curves.correlated import fit_correlated
from calib.curves.curve import correction_curve_from_text
from calib.curves.generalised import distance_regression, generalised_gauss_markov_regression
from calib.curves.regression import weighted
from calib.errors import CurveError

X = np.array([0.66, 1.25, 2.49, 3.92, 5.86, 8.74, 13.60])
REFERENCE = np.array([0.60, 1.20, 2.50, 4.00, 6.00, 9.00, 14.00])
D = np.array([0.006, 0.006, 0.007, 0.008, 0.011, 0.015, 0.025])
U = np.array([0.010, 0.012, 0.018, 0.024, 0.032, 0.044, 0.064])
NEAR = 0.8 ** np.abs(np.subtract.outer(np.arange(7), np.arange(7)))  # neighbours have 0.8, the next ones 0.64 and so on


def fitted(correlation, degree=1, u=U):
    return fit_correlated(X, REFERENCE - X, D, u, correlation, degree)


def whole(fit):
    """Intercept and slope of the correction, and their covariance from both parts together."""
    coefficients, _ = fit.polynomial.in_powers_of_x()
    to_x = np.array([[1.0, -fit.polynomial.centre / fit.polynomial.half_width], [0.0, 1.0 / fit.polynomial.half_width]])
    covariance = fit.polynomial.covariance + fit.reference_covariance
    return coefficients, to_x @ covariance @ to_x.T


def test_the_line_is_the_one_that_minimises_chi_squared_of_clause_10():
    of_reference = NEAR * np.outer(U, U)

    def chi_squared(line):
        left = REFERENCE - line[0] - line[1] * X
        return left @ np.linalg.solve(of_reference + line[1] ** 2 * np.diag(D**2), left)

    best = optimize.minimize(chi_squared, [-0.09, 1.04], method="Nelder-Mead", options={"xatol": 1e-13, "fatol": 1e-15})
    fit = fitted(NEAR)
    (intercept, slope), _ = whole(fit)
    assert (intercept, 1 + slope) == pytest.approx(tuple(best.x), rel=1e-6)
    assert fit.polynomial.chi_squared == pytest.approx(best.fun, rel=1e-9)


def test_without_correlations_it_is_clause_7():
    fit, other = fitted(np.eye(7)), distance_regression(X, REFERENCE, D, U, 1).polynomial
    (intercept, slope), covariance = whole(fit)
    expected, of_expected = other.in_powers_of_x()
    assert (intercept, 1 + slope) == pytest.approx(tuple(expected), rel=1e-9)
    assert covariance == pytest.approx(of_expected, rel=1e-8)


def test_one_error_of_all_reference_values_moves_the_curve_and_does_not_shape_it():
    """Its scatter is that of the indications alone (clause 6), its reference part the one u at every indication."""
    u = np.full(7, 0.05)
    fit, alone = fitted(np.ones((7, 7)), 0, u), weighted(X, REFERENCE - X, D, 0)
    assert fit.polynomial.coefficients == pytest.approx(alone.coefficients, rel=1e-9)
    assert fit.polynomial.covariance == pytest.approx(alone.covariance, rel=1e-9)
    found, correlation = fit.reference_part(X)
    assert found == pytest.approx(u, rel=1e-9)
    assert correlation == pytest.approx(np.ones((7, 7)), abs=1e-9)


def test_independent_reference_values_would_leave_less_than_correlated_ones():
    """What repeating brings down is only what is not common: GUM 5.2.2."""
    middle = np.array([4.0])
    independent, near, common = (
        fitted(matrix).reference_part(middle)[0][0]
        for matrix in (np.eye(7), NEAR, np.full((7, 7), 0.99) + 0.01 * np.eye(7))
    )
    assert independent < near < common
    assert common == pytest.approx(np.interp(4.0, X, U), rel=0.2)


def points(correlation=NEAR, d=D):
    return Comparisons(REFERENCE, X, U, d, correlation)


def test_the_choice_is_made_by_the_same_fits_and_the_curve_says_what_it_is_worth():
    choice = choose(points(), 1)
    curve, fit = choice.curve, fitted(NEAR)
    u, correlation = fit.reference_part(X)
    assert curve.reference_uncertainties == pytest.approx(u, rel=1e-12)
    assert curve.reference_correlation == pytest.approx(correlation, rel=1e-12)
    assert curve.scatter_uncertainty(X) == pytest.approx(np.sqrt(curve.scale) * fit.polynomial.standard_uncertainty(X))


def test_the_curve_comes_back_from_the_text_that_the_records_keep():
    curve = choose(points(), 1).curve
    again = correction_curve_from_text(curve.as_text())
    assert again.as_text() == curve.as_text()
    assert np.array_equal(again.reference_correlation, curve.reference_correlation)
    assert choose(points(None), 1).curve.reference_correlation is None


def test_without_the_scatter_of_the_indications_nothing_is_fitted():
    with pytest.raises(CurveError, match="state the repeatability"):
        choose(points(d=None))


def test_the_parts_of_the_covariance_are_those_of_gains_worked_by_solving_once_more():
    """G = C A^T W^-1 with W = V_r + diag((1 + c') d)^2 and C = (A^T W^-1 A)^-1, by dense inverses at the adjusted points."""
    of_reference = NEAR * np.outer(U, U)
    whole_of = np.block([[np.diag(D**2), -np.diag(D**2)], [-np.diag(D**2), np.diag(D**2) + of_reference]])
    at = generalised_gauss_markov_regression(X, REFERENCE - X, whole_of, 2)
    fit = fitted(NEAR, 2)
    b, _ = fit.polynomial.in_powers_of_x()
    t = (at.adjusted_x - fit.polynomial.centre) / fit.polynomial.half_width
    design = np.column_stack([np.ones(7), t, t**2])
    across = np.diag((1 + b[1] + 2 * b[2] * at.adjusted_x) * D) ** 2
    inverse = np.linalg.inv(of_reference + across)
    gain = np.linalg.inv(design.T @ inverse @ design) @ design.T @ inverse
    assert fit.polynomial.covariance == pytest.approx(gain @ across @ gain.T, rel=1e-7)
    assert fit.reference_covariance == pytest.approx(gain @ of_reference @ gain.T, rel=1e-7)
    at_two = (np.array([1.0, 9.0]) - fit.polynomial.centre) / fit.polynomial.half_width
    j = np.column_stack([np.ones(2), at_two, at_two**2])
    expected = j @ fit.reference_covariance @ j.T
    u, correlation = fit.reference_part(np.array([1.0, 9.0]))
    assert u == pytest.approx(np.sqrt(np.diag(expected)), rel=1e-12)
    assert correlation[0, 1] == pytest.approx(expected[0, 1] / u[0] / u[1], rel=1e-12)


def test_reference_values_without_uncertainty_leave_the_scatter_alone():
    """Clause 7 of x alone; correlations of nothing are those of independent errors."""
    fit = fitted(NEAR, 0, np.zeros(7))
    u, correlation = fit.reference_part(X)
    assert u.tolist() == [0.0] * 7
    assert correlation.tolist() == np.eye(7).tolist()
    assert fit.polynomial.covariance == pytest.approx(np.array([[1 / np.sum(D**-2.0)]]), rel=1e-12)


def test_an_error_of_the_scale_about_the_middle_turns_the_line_there_and_no_correlation_exceeds_1():
    away = X - 5.0
    fit = fitted(np.outer(np.sign(away), np.sign(away)), 1, 0.01 * np.abs(away))
    u, correlation = fit.reference_part(X)
    assert u == pytest.approx(0.01 * np.abs(away), rel=2e-3)  # which stands at the adjusted points
    assert correlation == pytest.approx(np.outer(np.sign(away), np.sign(away)), abs=1e-6)
    assert (correlation.max(), correlation.min()) == (1.0, -1.0)
