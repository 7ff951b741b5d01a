"""Correction polynomials of a certificate that states how its reference values are correlated (ISO/TS 28037 clauses 9 and 10).

    c_i = r_i - x_i,    cov(x_i, x_i) = d_i^2,    cov(x_i, c_i) = -d_i^2,    cov(c_i, c_k) = rho_ik u_i u_k + d_i^2 where i = k

with the standard uncertainties u of the reference values r, their correlations rho and the independent part d of the indications x.
The fit is that of `calib.curves.generalised`. Its covariance is parted into what comes of the indications, which more points bring
down, and what comes of the reference values, which their correlations keep up:

    G = C A^T W^-1,  W = V_r + diag((1 + c'(xi)) d)^2:    C = G diag((1 + c') d)^2 G^T + G V_r G^T

Source: ISO/TS 28037:2010, 9 and 10, from memory; the parting is linear algebra of the same estimate.
"""

from dataclasses import dataclass, replace

import numpy as np

from calib.arrays import Floats
from calib.curves.generalised import generalised_gauss_markov_regression
from calib.curves.regression import Polynomial


@dataclass(frozen=True)
class CorrelatedFit:
    """A correction polynomial with both parts of its covariance."""

    polynomial: Polynomial  # its covariance is that of the scatter of the indications
    reference_covariance: Floats  # (p, p) of the same coefficients, from the reference values

    def reference_part(self, x: Floats) -> tuple[Floats, Floats]:
        """Standard uncertainty (m,) of the correction from the reference values at x (m,), and its correlations (m, m)."""
        powers = self.polynomial.powers(x)
        covariance = powers @ self.reference_covariance @ powers.T
        u = np.sqrt(np.maximum(np.diag(covariance), 0.0))
        scale = np.outer(u, u)
        correlation = np.divide(covariance, scale, out=np.zeros_like(scale), where=scale > 0).clip(-1.0, 1.0)
        np.fill_diagonal(correlation, 1.0)
        return u, correlation


def fit_correlated(
    indication: Floats, correction: Floats, independent: Floats, reference: Floats, correlation: Floats, degree: int
) -> CorrelatedFit:
    """Fit from indications x, corrections c, their independent parts d > 0 and reference uncertainties u, all (n,).

    `correlation` (n, n) is positive semi-definite with 1 on its diagonal. Raises CurveError as the generalised regression does.
    """
    of_reference = correlation * np.outer(reference, reference)
    own = np.diag(independent**2)
    covariance = np.block([[own, -own], [-own, own + of_reference]])
    fit = generalised_gauss_markov_regression(indication, correction, covariance, degree)
    polynomial, powers = fit.polynomial, fit.polynomial.powers(fit.adjusted_x)
    across = (1.0 + polynomial.slope(fit.adjusted_x)) * independent
    gain = np.linalg.solve(of_reference + np.diag(across**2), powers @ polynomial.covariance).T
    scatter = (gain * across) @ (gain * across).T
    return CorrelatedFit(replace(polynomial, covariance=scatter), gain @ of_reference @ gain.T)
