"""joint.csv: probability that m outputs Y_i = X_i + X, all inputs N(0, 0.1), lie within +-k u(y) at once; k of factors.csv.

For a given common error X = a z the outputs are independent: P = integral phi(z) [Phi((k - a z)/b) - Phi((-k - a z)/b)]^m dz with
a^2 = b^2 = 1/2, in standard uncertainties of an output; by mpmath with 30 digits, rounded to 12 decimals.
"""

import mpmath

from tests.reference import rows


def joint(outputs, k):
    with mpmath.workdps(30):
        a = b = mpmath.sqrt(mpmath.mpf(1) / 2)

        def given(z):
            inside = mpmath.ncdf((k - a * z) / b) - mpmath.ncdf((-k - a * z) / b)
            return mpmath.npdf(z) * inside**outputs

        return mpmath.nstr(mpmath.quad(given, mpmath.linspace(-12, 12, 25)), 12)


def tables():
    every = [(int(row["outputs"]), row["k_q"]) for row in rows("jcgm_102", "factors")]
    return {"joint": [{"outputs": str(m), "probability": f"{float(joint(m, mpmath.mpf(k))):.12f}"} for m, k in every]}
