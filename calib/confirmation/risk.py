"""Risks of wrong decisions: specific, global and counted (JCGM 106:2012, 7 to 9; clauses from memory).

- Specific risk: of one result, after it was measured (9.3). The consumer's: it was accepted and does not conform. The producer's:
  it was rejected and conforms.
- Global risk: of the next item of a process, before it is measured (9.5). A joint probability, that of "accepted and not
  conforming": not the share of bad ones among the accepted, which is R_C/P(accepted).

Global risks are in closed form, by Owen's T.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, ndtri, owens_t

from calib.arrays import Floats
from calib.confirmation.conformity import ToleranceIntervals, probability_of_conformity
from calib.errors import CalibError

# What the statements of conformity.conformity mean for a decision between two. A conditional pass is accepted: it lies within the
# tolerance interval, with a specific consumer's risk of up to one half (ILAC-G8, 4.2.3).
_DECISIONS = {"pass": True, "conditional pass": True, "conditional fail": False, "fail": False}

# Some 37 standard deviations, beyond which a probability is below the smallest normal float: it stands for infinitely far.
_FAR = float(-ndtri(np.finfo(float).tiny))
_TINY = 1e-150


def accepted(statements: NDArray[np.str_]) -> NDArray[np.bool_]:
    """(n,) whether each statement of conformity accepts: "pass" and "conditional pass" do, under each of the three rules.

    Raises CalibError for words that are no statement of conformity.
    """
    words = np.asarray(statements)
    unknown = sorted({str(word) for word in words.flat} - _DECISIONS.keys())
    if unknown:
        raise CalibError(f"{unknown[0]!r} is no statement of conformity: use one of {', '.join(_DECISIONS)}")
    return np.isin(words, [word for word, accepts in _DECISIONS.items() if accepts])


def specific_risks(probability: Floats, accepted: NDArray[np.bool_]) -> tuple[Floats, Floats]:
    """Specific consumer's and producer's risk of each result [1] (JCGM 106, 9.3).

        R_C* = 1 - p_c where it was accepted,     R_P* = p_c where it was rejected,     else 0

    `probability` (n,) is the probability of conformity p_c, by Student's t where probability_of_conformity was given degrees of
    freedom. A result bears one of the two risks; the other is 0, since that mistake cannot have been made.
    """
    p = np.asarray(probability, dtype=float)
    return np.where(accepted, 1.0 - p, 0.0), np.where(accepted, 0.0, p)


def expected_wrong_decisions(probability: Floats, accepted: NDArray[np.bool_]) -> tuple[float, float]:
    """Numbers of results to be expected accepted but not conforming, and rejected but conforming.

    Sums of the specific risks. An expectation is linear: the sums are right however the errors of the results are correlated.
    The spread of the numbers about them is not, and is wider where results share an instrument.
    """
    consumer, producer = specific_risks(probability, accepted)
    return float(np.sum(consumer)), float(np.sum(producer))


def probability_above(
    value: Floats, standard_uncertainty: Floats, degrees_of_freedom: Floats | None, limit: ArrayLike
) -> Floats:
    """Probability that the quantity lies above one limit (JCGM 106, 7.3), by Student's t where degrees of freedom are given.

    With limit 0 and a net flow (supply less extract): that the true net flow is a surplus; 1 less this, that it is a deficit.
    u = 0 is allowed: then 1 above the limit, 0 below it and 1/2 on it, the value for any u however small. Arrays are (n,).
    """
    y, u = np.broadcast_arrays(np.asarray(value, dtype=float), np.asarray(standard_uncertainty, dtype=float))
    lower = np.broadcast_to(np.asarray(limit, dtype=float), y.shape)
    uncertain = u > 0
    interval = ToleranceIntervals(lower, np.full(y.shape, np.inf)).at(uncertain)
    nu = np.broadcast_to(np.inf if degrees_of_freedom is None else degrees_of_freedom, y.shape)
    probability: Floats = np.heaviside(y - lower, 0.5)
    probability[uncertain] = probability_of_conformity(y[uncertain], u[uncertain], interval, nu[uncertain])
    return probability


@dataclass(frozen=True)
class GlobalRisks:
    """Probabilities for the next item of a process, before it is measured [1]; scalars, or arrays where those were given."""

    consumer: Floats  # R_C: accepted and not conforming
    producer: Floats  # R_P: rejected and conforming
    conforming: Floats  # within the tolerance interval
    accepted: Floats  # measured within the acceptance interval


def global_risks(
    process_mean: ArrayLike,
    process_sd: ArrayLike,
    tolerance: tuple[ArrayLike, ArrayLike],
    acceptance: tuple[ArrayLike, ArrayLike],
    measuring_uncertainty: ArrayLike,
) -> GlobalRisks:
    """Global consumer's and producer's risk of a process N(y0, u0^2) measured with standard uncertainty u_m (JCGM 106, 9.5).

        R_C = P(Y outside T, Y_m inside A),     R_P = P(Y inside T, Y_m outside A)

    Y and Y_m are normal with mean y0, standard deviations u0 and sqrt(u0^2 + u_m^2), and correlation u0/sqrt(u0^2 + u_m^2).
    `tolerance` T and `acceptance` A are (lower, upper), infinite where there is one limit only; A is T less its guard bands, and an
    A whose limits have crossed accepts nothing. All in one unit; arrays broadcast against each other. A limit counts as inside.

    No quadrature: the bivariate normal distribution by Owen's T function (D. B. Owen, Ann. Math. Statist. 27 (1956) 1075, from
    memory). Against quadrature with 30 digits: within 2e-15 of probability for u_m/u0 of 0.01 and above, 1e-11 down to 1e-6.
    Raises CalibError for a negative u0 or u_m, for a mean, u0 or u_m that is not finite, and for limits of T in the wrong order.
    """
    y0, u0, u_m, *limits = np.broadcast_arrays(
        *(
            np.asarray(quantity, dtype=float)
            for quantity in (process_mean, process_sd, measuring_uncertainty, *tolerance, *acceptance)
        )
    )
    _check(y0, u0, u_m, limits)
    spread = np.hypot(u0, u_m)
    true, shown = _standardised(limits[:2], y0, u0), _standardised(limits[2:], y0, spread)
    both = _both_inside(true, shown, _ratio(u0, spread), _ratio(u_m, spread))
    conforming, accepts = ndtr(true[1]) - ndtr(true[0]), ndtr(shown[1]) - ndtr(shown[0])
    # Where a risk is 0, rounding may leave a difference of either sign.
    return GlobalRisks(np.maximum(accepts - both, 0.0), np.maximum(conforming - both, 0.0), conforming, accepts)


def _check(mean: Floats, process_sd: Floats, measuring: Floats, limits: list[Floats]) -> None:
    sound = np.isfinite(mean) & np.isfinite(process_sd) & np.isfinite(measuring) & (process_sd >= 0) & (measuring >= 0)
    if not np.all(sound):
        y0, u0, u_m = _first(~sound, mean, process_sd, measuring)
        raise CalibError(f"mean {y0}, u0 {u0}, u_m {u_m}: all must be finite, u0 and u_m not negative")
    for name, wrong, ends in (
        ("tolerance", ~(limits[0] <= limits[1]), limits[:2]),
        ("acceptance", np.isnan(limits[2]) | np.isnan(limits[3]), limits[2:]),
    ):
        if np.any(wrong):
            low, high = _first(wrong, *ends)
            raise CalibError(
                f"{name} interval from {low} to {high}: give numbers, those of the tolerance in rising order"
            )


def _first(wrong: NDArray[np.bool_], *values: Floats) -> list[float]:
    place = int(np.argmax(wrong))
    return [float(array.flat[place]) for array in values]


def _standardised(limits: list[Floats], mean: Floats, deviation: Floats) -> tuple[Floats, Floats]:
    """Lower and upper limit in standard deviations from the mean, within +-37.5; the upper one not below the lower."""
    lower, upper = (
        _distance(limit - mean, deviation, inside) for limit, inside in zip(limits, (-_FAR, _FAR), strict=True)
    )
    return lower, np.maximum(lower, upper)


def _distance(distance: Floats, deviation: Floats, inside: float) -> Floats:
    # Without spread only the side of the limit counts; a value on the limit is inside.
    side = np.asarray(np.where(distance == 0, inside, np.sign(distance) * _FAR))
    with np.errstate(over="ignore"):
        return np.asarray(np.clip(np.divide(distance, deviation, out=side, where=deviation > 0), -_FAR, _FAR))


def _ratio(part: Floats, whole: Floats) -> Floats:
    return np.asarray(np.divide(part, whole, out=np.ones(whole.shape), where=whole > 0))


def _both_inside(true: tuple[Floats, Floats], shown: tuple[Floats, Floats], cosine: Floats, sine: Floats) -> Floats:
    """Probability of a rectangle: from those of the four quadrants below its corners."""
    below = [_both_below(h, k, cosine, sine) for h in true for k in shown]
    return np.asarray(below[3] - below[1] - below[2] + below[0])


def _both_below(h: Floats, k: Floats, cosine: Floats, sine: Floats) -> Floats:
    """P(Z1 <= h, Z2 <= k) of standard normal variables with correlation `cosine`, less (Phi(h) + Phi(k))/2.

    Of a rectangle what is left out cancels. `sine` is sqrt(1 - correlation^2).
    """
    h, k = np.where(h == 0, _TINY, h), np.where(k == 0, _TINY, k)
    root = np.maximum(sine, _TINY)
    with np.errstate(over="ignore"):
        tails = owens_t(h, (k - cosine * h) / root / h) + owens_t(k, (h - cosine * k) / root / k)
    return np.asarray(-tails - np.where(np.sign(h) == np.sign(k), 0.0, 0.5))


def process_of(values: Floats, standard_uncertainty: Floats) -> tuple[float, float]:
    """Mean and standard deviation of an installation's own true ratios to design, from its n measured ones.

        u0^2 = s^2(values) - mean(u^2), not below 0

    by the method of moments: what scatters is the process and the measurement together. `standard_uncertainty` (n,) is each
    value's own part, in the same unit: what all values share shifts the mean and scatters nothing, so it must be left out here.
    Few values tell little of u0, and 0 says only that the measurement can explain all the scatter.
    Raises CalibError for fewer than two.
    """
    measured = np.asarray(values, dtype=float)
    if measured.size < 2:
        raise CalibError(f"{measured.size} result(s) have no spread: at least 2 are needed to estimate the process")
    variance = np.var(measured, ddof=1) - np.mean(np.square(standard_uncertainty))
    return float(np.mean(measured)), float(np.sqrt(max(variance, 0.0)))


def capability_index(interval: ToleranceIntervals, measuring_uncertainty: ArrayLike) -> Floats:
    """Measurement capability index C_m = (T_U - T_L)/(4 u_m) [1] (JCGM 106, 7.6.3); infinite where u_m = 0."""
    width, u = np.broadcast_arrays(interval.upper - interval.lower, np.asarray(measuring_uncertainty, dtype=float))
    return np.asarray(np.divide(width, 4.0 * u, out=np.full(width.shape, np.inf), where=u > 0))


def uncertainty_over_tolerance(expanded_uncertainty: ArrayLike, interval: ToleranceIntervals) -> Floats:
    """Expanded uncertainty over the half-width of the tolerance interval: U/((T_U - T_L)/2) [1]; 1/C_m where k = 2.

    1 or more: with a guard band w = U nothing is accepted. Infinite for a tolerance interval without width.
    """
    half, U = np.broadcast_arrays(
        0.5 * (interval.upper - interval.lower), np.asarray(expanded_uncertainty, dtype=float)
    )
    return np.asarray(np.divide(U, half, out=np.full(half.shape, np.inf), where=half > 0))
