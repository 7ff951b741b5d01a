"""Which of the candidate curves, and why.

Candidates are the polynomials of degree 0 to 3 that leave at least two degrees of freedom.

- Repeatability stated: the lowest degree whose chi-squared is not rejected at 5 % (ISO/TS 28037, 6.3). If all are rejected, the
  lowest AICc. A curve that is rejected has its scatter covariance multiplied by chi^2/(n-p).
- Shapes that physics gives (`choose_response`): by chi-squared likewise, or without stated repeatability the lowest AICc of the
  residuals in the indication; the scatter comes from the residuals of all candidates then too.
- Repeatability not stated: the lowest degree against which no higher candidate is significantly better (F test of the added terms
  at 5 %: NIST/SEMATECH e-Handbook 4.6.1); the scatter comes from the residuals (ISO/TS 28037 Annex E, GUM H.3), and since the
  degree was chosen on the same residuals, from those of all candidates (`averaged_scatter`).

Decision (2026-11-29). The scatter of a curve whose degree was chosen on its own residuals is the mean over the candidates, weighted
by BIC, about the curve chosen, which stays: a curve that jumps to an average would be no polynomial that a certificate shows. It
covers 94.9 to 96.9 % in simulations with 5, 7 and 10 comparisons, where the chosen candidate's own scatter covers 85 to 93 %.
A shape that physics gives has the same mean over the shapes: of King's
law with 5 and 8 comparisons it covers 95 to 100 %, where the chosen shape alone covers 93 to 99 %.
Options: AICc as weights (82 to 96 %); the residuals of the highest candidate (right, and half as wide again). Cost: U is wider by a
fifth to three fifths.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.special import fdtrc, softmax

from calib.arrays import Floats
from calib.curves.correlated import CorrelatedFit, fit_correlated
from calib.curves.curve import AveragedScatter, CorrectionCurve, Curve, reference_part
from calib.curves.diagnosis import Whitened, lack_of_fit, leave_one_out
from calib.curves.regression import Polynomial, unweighted, weighted
from calib.curves.response import (
    AveragedResponses,
    ResponseCurve,
    ResponseFit,
    Shape,
    WeightedShape,
    fit_response,
)
from calib.errors import CurveError

HIGHEST_DEGREE = 3
FEWEST_DEGREES_OF_FREEDOM = 2
SIGNIFICANCE = 0.05


@dataclass(frozen=True)
class Candidate:
    """One candidate and the figures it is judged by."""

    fit: Polynomial | ResponseFit
    probability: float  # of chi-squared; without stated repeatability, of the F test against the best higher candidate
    aicc: float  # corrected Akaike criterion; comparable between the candidates of one calibration only
    stands: bool  # not rejected at 5 %
    points: "Comparisons"

    @cached_property
    def _whitened(self) -> Whitened:
        return whitened(self.fit, self.points)

    @cached_property
    def leave_one_out(self) -> float:
        """Root mean square of the residuals from curves fitted without the point [unit of the residuals]."""
        return float(np.sqrt(np.mean((leave_one_out(self._whitened) * _scatter(self.points)) ** 2)))

    @cached_property
    def lack_of_fit(self) -> float | None:
        """Probability of the F test of lack of fit; None where no indication was repeated."""
        lack = lack_of_fit(self.points.indication, self._whitened)
        return None if lack is None else lack.probability

    @property
    def degree(self) -> int | None:
        """Degree of a polynomial, None of another shape."""
        return self.fit.degree if isinstance(self.fit, Polynomial) else None

    @property
    def shape(self) -> str:
        """The shape as the records keep it."""
        return "polynomial" if isinstance(self.fit, Polynomial) else self.fit.shape.name

    @property
    def title(self) -> str:
        """What people call it."""
        return f"degree {self.fit.degree}" if isinstance(self.fit, Polynomial) else self.fit.shape.title


@dataclass(frozen=True)
class Choice:
    """The chosen curve beside all candidates."""

    curve: Curve
    candidates: tuple[Candidate, ...]
    chosen: Candidate
    reason: str  # one sentence


@dataclass(frozen=True)
class Comparisons:
    """Comparisons of one phase of a calibration, in SI. All arrays (n,)."""

    reference: Floats  # reference values
    indication: Floats
    reference_uncertainty: Floats  # U/k
    independent_uncertainty: Floats | None  # d; absent where the certificate states no repeatability
    correlation: Floats | None = (
        None  # (n, n) of the reference values, where the certificate states it; then d is there too
    )
    reference_degrees_of_freedom: float = math.inf  # of U/k, as the certificate's k tells
    # Standard uncertainties by the rounding of the digits on the certificate.
    reference_rounding: float = 0.0
    indication_rounding: float = 0.0

    @property
    def correction(self) -> Floats:
        """c = reference - indication."""
        return self.reference - self.indication


def whitened(fit: Polynomial | ResponseFit, points: Comparisons) -> Whitened:
    """A fit and the comparisons it was made from, each over the scatter of its point: what the diagnoses of a fit ask for."""
    u = _scatter(points)
    jacobian = fit.powers(points.indication) if isinstance(fit, Polynomial) else fit.jacobian
    return Whitened(jacobian / u[:, np.newaxis], fit.residuals / u, points.independent_uncertainty is not None)


def _scatter(points: Comparisons) -> Floats:
    d = points.independent_uncertainty
    if d is None:
        return np.ones_like(points.indication)
    return d if points.correlation is None else np.hypot(d, points.reference_uncertainty)


def candidates(points: Comparisons) -> tuple[Candidate, ...]:
    """All candidate polynomials with their figures; raises CurveError where there is none."""
    size = points.indication.size
    possible = min(HIGHEST_DEGREE, size - 1 - FEWEST_DEGREES_OF_FREEDOM, np.unique(points.indication).size - 1)
    if possible < 0:
        raise CurveError(f"{size} comparison(s) make no curve: at least {1 + FEWEST_DEGREES_OF_FREEDOM} are needed")
    if np.unique(points.indication).size < 2:
        raise CurveError(f"{size} comparisons at one indication make no curve: compare at two indications or more")
    degrees = range(possible + 1)
    d = points.independent_uncertainty
    if d is None:
        return _judged_by_f(points, [unweighted(points.indication, points.correction, degree) for degree in degrees])
    if points.correlation is None:
        fits = [weighted(points.indication, points.correction, d, degree) for degree in degrees]
    else:
        fits = [_correlated(points, points.correlation, degree).polynomial for degree in degrees]
    return tuple(_judged_by_chi_squared(points, fit) for fit in fits)


def _correlated(points: Comparisons, correlation: Floats, degree: int) -> CorrelatedFit:
    d = points.independent_uncertainty
    if d is None:
        raise CurveError(
            "correlations of points are fitted beside their own, independent parts: state the repeatability"
        )
    return fit_correlated(points.indication, points.correction, d, points.reference_uncertainty, correlation, degree)


def _judged_by_chi_squared(points: Comparisons, fit: Polynomial | ResponseFit) -> Candidate:
    n, p = fit.residuals.size, fit.coefficients.size
    aicc = fit.chi_squared + 2 * p + 2 * p * (p + 1) / (n - p - 1)
    return _candidate(points, fit, fit.probability, aicc)


def _judged_by_f(points: Comparisons, fits: Sequence[Polynomial]) -> tuple[Candidate, ...]:
    judged = []
    for place, fit in enumerate(fits):
        # Against itself, which adds nothing, 1.
        of_added = [_probability_of_added_terms(fit, other) for other in fits[place:]]
        judged.append(_candidate(points, fit, min(of_added), _aicc_of_unknown_scatter(fit)))
    return tuple(judged)


def _candidate(points: Comparisons, fit: Polynomial | ResponseFit, probability: float, aicc: float) -> Candidate:
    return Candidate(fit, probability, aicc, probability >= SIGNIFICANCE, points)


def _probability_of_added_terms(lower: Polynomial, higher: Polynomial) -> float:
    added = lower.degrees_of_freedom - higher.degrees_of_freedom
    gain = lower.chi_squared - higher.chi_squared
    # Residuals that are nothing but the rounding of reference - indication prove nothing.
    if gain <= lower.residuals.size * _rounding_of_floats(lower) ** 2:
        return 1.0
    if higher.chi_squared <= 0.0:
        return 0.0
    f = (gain / added) / (higher.chi_squared / higher.degrees_of_freedom)
    return float(fdtrc(added, higher.degrees_of_freedom, f))


def _rounding_of_floats(fit: Polynomial) -> float:
    """What a float's last bit makes of reference - indication at most."""
    return float(4.0 * np.finfo(float).eps * (abs(fit.centre) + fit.half_width))


def _aicc_of_unknown_scatter(fit: Polynomial | ResponseFit) -> float:
    n, p = fit.residuals.size, fit.coefficients.size + 1  # the scatter is one parameter more
    squares = float(np.sum(fit.residuals**2))
    if n - p - 1 <= 0 or squares <= 0.0:
        return math.inf
    return n * math.log(squares / n) + 2 * p + 2 * p * (p + 1) / (n - p - 1)


# Of the candidates of some comparisons, the last argument the one chosen.
Scatter = Callable[[Comparisons, Sequence[Candidate], Candidate], AveragedScatter | AveragedResponses | None]


def own_scatter(
    _points: Comparisons, _able: Sequence[Candidate], _chosen: Candidate
) -> AveragedScatter | AveragedResponses | None:
    """The scatter that the chosen candidate has by itself: the first edition of the rule."""
    return None


def averaged_scatter(
    points: Comparisons, able: Sequence[Candidate], chosen: Candidate
) -> AveragedScatter | AveragedResponses | None:
    """Scatter of a curve that was chosen on the residuals that tell the scatter; None where repeatability is stated.

        u^2(x) = sum_k w_k [u_k^2(x) + (v_k(x) - v(x))^2],    w_k ~ exp(-BIC_k/2),   sum w_k = 1
        BIC_k = n ln(RSS_k/n) + (p_k + 1) ln n,               1/nu = sum w_k/(n - p_k)

    over the candidates k with their p_k coefficients, v(x) the value by the one chosen. RSS_k, of polynomials in the correction and
    of other shapes in the indication, counts for no less than what the rounding of the certificate's digits makes of it, (n - p_k)
    times its variance; u_k likewise. Sources: G. Schwarz, Annals of Statistics 6 (1978) 461 (BIC); J. A. Hoeting et al.,
    Statistical Science 14 (1999) 382 (the mean over models); both from memory.
    """
    if points.independent_uncertainty is not None:
        return None
    own = [_unknown_scatter(candidate.fit, points) for candidate in able]
    n = points.indication.size
    dof = np.array([candidate.fit.degrees_of_freedom for candidate in able])
    weights = softmax(-0.5 * bayesian_criterion(np.array([each.squares for each in own]), n, dof))
    weighted_candidates = list(zip((each.fit for each in able), own, weights.tolist(), strict=True))
    averaged_dof = float(1.0 / np.sum(weights / dof))
    if isinstance(chosen.fit, ResponseFit):
        shapes = (
            WeightedShape(fit.shape, fit.coefficients, each.covariance, weight)
            for fit, each, weight in weighted_candidates
            if isinstance(fit, ResponseFit)
        )
        return AveragedResponses(tuple(shapes), averaged_dof)
    size = max(fit.coefficients.size for fit, *_ in weighted_candidates)
    about = _padded(chosen.fit, size)
    covariance = np.zeros((size, size))
    for fit, each, weight in weighted_candidates:
        p = fit.coefficients.size
        covariance[:p, :p] += weight * each.covariance
        covariance += weight * np.outer(*2 * [_padded(fit, size) - about])
    return AveragedScatter(covariance, averaged_dof)


def bayesian_criterion(squares: Floats, n: int, degrees_of_freedom: Floats) -> Floats:
    """BIC = n ln(RSS/n) + (p + 1) ln n of fits to n points with unknown scatter, from RSS and n - p of each (m,)."""
    return n * np.log(squares / n) + (n - degrees_of_freedom + 1) * math.log(n)


@dataclass(frozen=True)
class _UnknownScatter:
    """What the residuals of one candidate, no less than the rounding of digits, say of the scatter."""

    squares: float  # RSS, in what all candidates are compared in
    covariance: Floats  # (p, p) of the coefficients


def _unknown_scatter(fit: Polynomial | ResponseFit, points: Comparisons) -> _UnknownScatter:
    dof, by_reference, by_indication = fit.degrees_of_freedom, points.reference_rounding, points.indication_rounding
    if isinstance(fit, Polynomial):
        least = max(math.hypot(by_reference, by_indication), _rounding_of_floats(fit)) ** 2
        squares, powers = max(fit.chi_squared, dof * least), fit.powers(points.indication)
        return _UnknownScatter(squares, np.asarray(squares / dof * np.linalg.inv(powers.T @ powers)))
    shape, x, v = fit.shape, points.indication, points.reference
    # Fitted in the ordinate y(x), with equal weights there: a reference value that is off by one step moves y by dr/dv steps.
    to_ordinate, by_value = shape.ordinate_slope(x), shape.response_slope(v, *fit.coefficients)
    in_ordinate = (to_ordinate * by_indication) ** 2 + (by_value * by_reference) ** 2
    in_ordinate += (4.0 * np.finfo(float).eps * shape.ordinate(x)) ** 2
    design = fit.jacobian * to_ordinate[:, np.newaxis]
    variance = max(fit.chi_squared / dof, float(np.mean(in_ordinate)))
    squares = max(float(np.sum(fit.residuals**2)), dof * float(np.mean(in_ordinate / to_ordinate**2)))
    return _UnknownScatter(squares, np.asarray(variance * np.linalg.inv(design.T @ design)))


def _padded(fit: Polynomial | ResponseFit, size: int) -> Floats:
    return np.pad(fit.coefficients, (0, size - fit.coefficients.size))


def choose(points: Comparisons, degree: int | None = None, scatter: Scatter = averaged_scatter) -> Choice:
    """Choose a polynomial by the rule above, or take the `degree` that a person asks for; raises CurveError."""
    able = candidates(points)
    stated = points.independent_uncertainty is not None
    if degree is None:
        chosen, reason = _by_rule(able, stated=stated)
    else:
        chosen, reason = _by_person(able, lambda candidate: candidate.degree == degree, f"degree {degree}")
    return _choice(points, able, chosen, reason, scatter)


def choose_response(
    points: Comparisons, shapes: Sequence[Shape], name: str | None = None, scatter: Scatter = averaged_scatter
) -> Choice:
    """Choose among shapes that physics gives, simplest first, or take the one that a person names; raises CurveError.

    With stated repeatability the first that chi-squared does not reject; if all are rejected, or without it, the lowest AICc of the
    residuals in the indication.
    """
    able, findings = _able_shapes(points, shapes)
    if not able:
        raise CurveError("; ".join(findings))
    stated = points.independent_uncertainty is not None
    stating = [candidate for candidate in able if candidate.stands] if stated else []
    if name is not None:
        chosen, reason = _by_person(able, lambda candidate: candidate.shape == name, name)
    elif stating:
        chosen, reason = stating[0], "the simplest shape that chi-squared does not reject at 5 %"
    else:
        chosen = min(able, key=lambda candidate: (candidate.aicc, candidate.fit.coefficients.size))
        reason = (
            "the lowest AICc"
            if not stated
            else "chi-squared rejects every candidate at 5 %; the lowest AICc, its scatter enlarged"
        )
    return _choice(points, able, chosen, reason, scatter)


def _able_shapes(points: Comparisons, shapes: Sequence[Shape]) -> tuple[tuple[Candidate, ...], list[str]]:
    able, findings = [], []
    for shape in shapes:
        if points.indication.size - len(shape.parameters) < FEWEST_DEGREES_OF_FREEDOM:
            findings.append(f"{points.indication.size} comparison(s) are too few for {shape.title}")
            continue
        try:
            fit = fit_response(shape, points.reference, points.indication, points.independent_uncertainty)
        except CurveError as error:
            findings.append(str(error))
            continue
        if points.independent_uncertainty is None:
            able.append(_candidate(points, fit, 1.0, _aicc_of_unknown_scatter(fit)))
        else:
            able.append(_judged_by_chi_squared(points, fit))
    return tuple(able), findings


def _choice(
    points: Comparisons, able: tuple[Candidate, ...], chosen: Candidate, reason: str, scatter: Scatter
) -> Choice:
    nodes, u = reference_part(points.indication, points.reference_uncertainty)
    stated = points.independent_uncertainty is not None
    scale = _scale(chosen) if stated else 1.0
    fit, dof = chosen.fit, points.reference_degrees_of_freedom
    averaged = scatter(points, able, chosen)
    curve: Curve
    if isinstance(fit, Polynomial):
        correlation = None
        if points.correlation is not None:
            u, correlation = _correlated(points, points.correlation, fit.degree).reference_part(nodes)
        assert not isinstance(averaged, AveragedResponses)  # noqa: S101 (of polynomials)
        curve = CorrectionCurve(
            scale, stated, nodes, u, fit.scaled(scale), averaged, correlation, reference_degrees_of_freedom=dof
        )
    else:
        assert not isinstance(averaged, AveragedScatter)  # noqa: S101 (of other shapes)
        curve = ResponseCurve(scale, stated, nodes, u, fit.scaled(scale), averaged, reference_degrees_of_freedom=dof)
    return Choice(curve, able, chosen, reason)


def _by_rule(able: Sequence[Candidate], *, stated: bool) -> tuple[Candidate, str]:
    for candidate in able:
        if candidate.stands and stated:
            return candidate, "the lowest degree that chi-squared does not reject at 5 %"
        if candidate.stands:
            return candidate, "the lowest degree against which no higher candidate is significantly better at 5 %"
    best = min(able, key=lambda candidate: candidate.aicc)
    return best, "chi-squared rejects every candidate at 5 %; the lowest AICc, its scatter enlarged"


def _by_person(able: Sequence[Candidate], wanted: Callable[[Candidate], bool], name: str) -> tuple[Candidate, str]:
    for candidate in able:
        if wanted(candidate):
            return candidate, "chosen by a person"
    raise CurveError(f"{name} is no candidate here: choose one of {', '.join(candidate.title for candidate in able)}")


def _scale(chosen: Candidate) -> float:
    """What a rejected curve's covariance is multiplied by: above 1, since its chi-squared is beyond the 95 % quantile."""
    return 1.0 if chosen.stands else chosen.fit.chi_squared / chosen.fit.degrees_of_freedom
