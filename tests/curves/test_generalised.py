"""Generalised regression (ISO/TS 28037:2010, clauses 6 to 10) against other programs and a dense solution written differently.

References: statsmodels for clauses 6 and 9, odrpack for clause 7, and for clauses 8 and 10 the whole sum of squares over coefficients
and true x, brought to its minimum by Newton steps on dense matrices.
"""

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.polynomial.polynomial import polyder, polyval, polyvander
from odrpack import odr_fit

from calib.curves.generalised import (
    MOST_ITERATIONS,
    distance_regression,
    gauss_markov_regression,
    generalised_gauss_markov_regression,
    settled,
)
from calib.curves.regression import weighted
from calib.errors import CurveError

seeds = st.integers(0, 2**32 - 1)
few = settings(max_examples=30)


def points(seed, degree, relative=0.01):
    """Points about a polynomial: x, y, u(x), u(y), random."""
    random = np.random.default_rng(seed)
    n = random.integers(degree + 3, 13)
    true = np.linspace(1.0, 9.0, n) + random.uniform(-0.25, 0.25, n)
    coefficients = random.uniform(0.5, 2.0, degree + 1) * random.choice([-1.0, 1.0], degree + 1) / 6.0 ** np.arange(degree + 1)
    u_x, u_y = relative * random.uniform(1.0, 4.0, n), relative * random.uniform(1.0, 4.0, n)
    x = true + u_x * random.normal(size=n)
    return x, polyval(true, coefficients) + u_y * random.normal(size=n), u_x, u_y, random


def with_common_errors(u, random, errors=2):
    """Covariance of independent errors u and of a few that all share."""
    return np.diag(u**2) + sum(np.outer(one, one) for one in random.normal(size=(errors, u.size)) * u.mean())


def dense(x, y, covariance, degree):
    """b, C and sum of squares: Newton steps over (b, xi), the inverse of the covariance written out."""
    n, p = x.size, degree + 1
    root = np.linalg.inv(np.linalg.cholesky(covariance))
    b, xi = np.polynomial.polynomial.polyfit(x, y, degree), x.copy()
    for step in range(30):
        d = root @ np.concatenate([x - xi, y - polyval(xi, b)])
        slope, bend = polyval(xi, polyder(b)), polyval(xi, polyder(b, 2))
        jacobian = root @ np.block(
            [[np.zeros((n, p)), -np.eye(n)], [-polyvander(xi, degree), -np.diag(slope)]]
        )  # of d by (b, xi)
        hessian = jacobian.T @ jacobian
        if step > 15:
            pull = (root.T @ d)[n:]
            hessian[p:, p:] -= np.diag(pull * bend)
            cross = pull[:, np.newaxis] * polyvander(xi, degree - 1) * np.arange(1, p) if degree else np.zeros((n, 0))
            hessian[p:, 1:p] -= cross
            hessian[1:p, p:] -= cross.T
        move = np.linalg.solve(hessian, jacobian.T @ d)
        b, xi = b - move[:p], xi - move[p:]
    return b, np.linalg.inv(jacobian.T @ jacobian)[:p, :p], d @ d


def same(fit, b, covariance, chi_squared, rel=1e-9):
    """Whether a fit is that of a reference: coefficients to 1e-9 of themselves or of their uncertainties."""
    own, own_covariance = fit.polynomial.in_powers_of_x()
    u = np.sqrt(np.diag(covariance))
    assert np.abs(own - b) == pytest.approx(0.0, abs=rel * np.max(np.minimum(np.abs(b), u)) + rel * np.min(u))
    assert own_covariance / np.outer(u, u) == pytest.approx(covariance / np.outer(u, u), rel=rel, abs=rel)
    assert fit.polynomial.chi_squared == pytest.approx(chi_squared, rel=rel, abs=1e-15)
    return True
