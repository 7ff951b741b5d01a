"""Which of the candidate curves, and why.

Candidates are the polynomials of degree 0 to 3 that leave at least two degrees of freedom.

- Repeatability stated: the lowest degree whose chi-squared is not rejected at 5 % (ISO/TS 28037, 6.3). If all are rejected, the
  lowest AICc. A curve that is rejected has its scatter covariance multiplied by chi^2/(n-p).
- Repeatability not stated: the lowest degree against which no higher candidate is significantly better (F test of the added terms
  at 5 %: NIST/SEMATECH e-Handbook 4.6.1); the scatter comes from the residuals (ISO/TS 28037 Annex E, GUM H.3).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import fdtrc

from calib.curves.curve import CorrectionCurve, reference_part
from calib.curves.regression import Polynomial, unweighted, weighted
from calib.errors import CurveError

HIGHEST_DEGREE = 3
FEWEST_DEGREES_OF_FREEDOM = 2
SIGNIFICANCE = 0.05


@dataclass(frozen=True)
class Candidate:
    """One candidate and the figures it is judged by."""

    polynomial: Polynomial
    probability: float  # of chi-squared; without stated repeatability, of the F test against the best higher candidate
    aicc: float  # corrected Akaike criterion; comparable between the candidates of one calibration only
    kept: bool  # not rejected at 5 %

    @property
    def degree(self) -> int:
        """Degree of the polynomial."""
        return self.polynomial.degree


@dataclass(frozen=True)
class Choice:
    """The chosen curve beside all candidates."""

    curve: CorrectionCurve
    candidates: tuple[Candidate, ...]
    reason: str  # one sentence


@dataclass(frozen=True)
class Comparisons:
    """Comparisons of one phase of a calibration, in SI. All arrays (n,)."""

    reference: NDArray[np.float64]  # reference values
    indication: NDArray[np.float64]
    reference_uncertainty: NDArray[np.float64]  # U/k
    independent_uncertainty: NDArray[np.float64] | None  # d; absent where the certificate states no repeatability

    @property
    def correction(self) -> NDArray[np.float64]:
        """c = reference - indication."""
        return self.reference - self.indication


def candidates(points: Comparisons) -> tuple[Candidate, ...]:
    """All candidate polynomials with their figures; raises CurveError where there is none."""
    size = points.indication.size
    possible = min(HIGHEST_DEGREE, size - 1 - FEWEST_DEGREES_OF_FREEDOM, np.unique(points.indication).size - 1)
    if possible < 0:
        raise CurveError(f"{size} comparison(s) make no curve: at least {1 + FEWEST_DEGREES_OF_FREEDOM} are needed")
    degrees = range(possible + 1)
    d = points.independent_uncertainty
    if d is None:
        return _judged_by_f([unweighted(points.indication, points.correction, degree) for degree in degrees])
    return tuple(
        _judged_by_chi_squared(weighted(points.indication, points.correction, d, degree)) for degree in degrees
    )


def _judged_by_chi_squared(fit: Polynomial) -> Candidate:
    n, p = fit.residuals.size, fit.coefficients.size
    aicc = fit.chi_squared + 2 * p + 2 * p * (p + 1) / (n - p - 1)
    return Candidate(fit, fit.probability, aicc, fit.probability >= SIGNIFICANCE)


def _judged_by_f(fits: Sequence[Polynomial]) -> tuple[Candidate, ...]:
    judged = []
    for fit in fits:
        higher = [_probability_of_added_terms(fit, other) for other in fits if other.degree > fit.degree]
        probability = min(higher, default=1.0)
        judged.append(Candidate(fit, probability, _aicc_of_unknown_scatter(fit), probability >= SIGNIFICANCE))
    return tuple(judged)


def _probability_of_added_terms(lower: Polynomial, higher: Polynomial) -> float:
    added = lower.degrees_of_freedom - higher.degrees_of_freedom
    gain = lower.chi_squared - higher.chi_squared
    # Residuals that are nothing but the rounding of reference - indication prove nothing.
    rounding = 4.0 * np.finfo(float).eps * (abs(lower.centre) + lower.half_width)
    if gain <= lower.residuals.size * rounding**2:
        return 1.0
    if higher.chi_squared <= 0.0:
        return 0.0
    f = (gain / added) / (higher.chi_squared / higher.degrees_of_freedom)
    return float(fdtrc(added, higher.degrees_of_freedom, f))


def _aicc_of_unknown_scatter(fit: Polynomial) -> float:
    n, p = fit.residuals.size, fit.coefficients.size + 1  # the scatter is one parameter more
    if n - p - 1 <= 0 or fit.chi_squared <= 0.0:
        return math.inf
    return n * math.log(fit.chi_squared / n) + 2 * p + 2 * p * (p + 1) / (n - p - 1)


def choose(points: Comparisons, degree: int | None = None) -> Choice:
    """Choose by the rule above, or take the `degree` that a person asks for; raises CurveError."""
    able = candidates(points)
    if degree is None:
        chosen, reason = _by_rule(able, stated=points.independent_uncertainty is not None)
    else:
        chosen, reason = _by_person(able, degree)
    nodes, u = reference_part(points.indication, points.reference_uncertainty)
    stated = points.independent_uncertainty is not None
    scale = _scale(chosen) if stated else 1.0
    return Choice(CorrectionCurve(chosen.polynomial.scaled(scale), scale, stated, nodes, u), able, reason)


def _by_rule(able: Sequence[Candidate], *, stated: bool) -> tuple[Candidate, str]:
    for one in able:
        if one.kept:
            why = "chi-squared does not reject" if stated else "no higher candidate is significantly better than"
            return one, f"the lowest degree that {why} at 5 %" if stated else f"the lowest degree; {why} it at 5 %"
    best = min(able, key=lambda one: one.aicc)
    return best, "chi-squared rejects every candidate at 5 %; the lowest AICc, its scatter enlarged"


def _by_person(able: Sequence[Candidate], degree: int) -> tuple[Candidate, str]:
    for one in able:
        if one.degree == degree:
            return one, "chosen by a person"
    raise CurveError(
        f"degree {degree} is no candidate here: choose one of {', '.join(str(one.degree) for one in able)}"
    )


def _scale(chosen: Candidate) -> float:
    fit = chosen.polynomial
    return 1.0 if chosen.kept else max(1.0, fit.chi_squared / fit.degrees_of_freedom)
