"""The distribution of a result by numerical convolution, without random numbers (JCGM 101:2008, 5.6 and Annex D).

The error of a result is the sum of independent errors: normal, rectangular, and Student's t in a scale. Its characteristic function
is the product of theirs, and

    P(|Y| <= w) = (2/pi) integral_0^inf phi(t) sin(w t)/t dt
    normal exp(-u^2 t^2/2)    rectangular sin(a t)/(a t), a = sqrt(3) u    t: g_nu(u t),
    g_nu(z) = K_(nu/2)(z sqrt(nu)) (z sqrt(nu))^(nu/2)/(Gamma(nu/2) 2^(nu/2 - 1))

by Gauss-Legendre quadrature up to where phi is below 1e-7. Sources, from memory: J. Gil-Pelaez, Biometrika 38 (1951) 481 (the
inversion); S. Hurst, Australian National University report SRR95-044 (1995) (t's characteristic function).

Decision (2026-11-29). U is the half-width of this distribution at the coverage probability where that exceeds the U of
Welch-Satterthwaite by more than 5 %. Options: Monte Carlo for each reading (three passes have no finite variance: it does not
settle in 10^7 trials); a grid of densities for each reading (a millisecond, where this takes 6 to 20 us); the law alone (covers
87.7 % with two observations). Cost: the degrees of freedom that are given are then those of k, and not Welch-Satterthwaite's.
A line that is made of two series (a hood with its throttle open and set) is convolved as two: as one t with the degrees of freedom
of Welch-Satterthwaite U was 28 % below Monte Carlo for two observations each. In totals each line stays one t.

Decision (2026-11-30). Where w is tens of u, and sin(w t) too quick for 768 nodes, w is told by the tails of the parts themselves.
Options: more nodes (10^7 of them at 99.9999 % and one degree of freedom); the law alone (one t has another tail than several).
Cost: beside scipy's integrals 2e-3 of the probability beyond w at worst, two parts of 2.5 degrees of freedom; 0.2 ms for a result.

Where the distribution lies unsymmetrically is told by `calib.uncertainty.second_order`.
"""

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import gammaln, kve, stdtr

from calib.arrays import Floats, Integers, Truths
from calib.uncertainty.coverage import (
    COVERAGE_PROBABILITY,
    coverage_factor,
    degrees_of_freedom_from_factor,
    exact_probability,
)
from calib.uncertainty.propagation import welch_satterthwaite

LARGER_BY = 0.05  # than the law's U: then the convolved half-width counts

# A result is asked about where its parts with few degrees of freedom bring so much of the variance that the half-width may exceed
# the law's by 5 %: where sum share_i exp(10/nu_i) > 1 (tests/uncertainty/test_convolution.py tries it; with 9 for 10 some are
# missed). From 8 degrees of freedom on no share of one part is enough, but several are, up to nu/(nu - 2) = 1.05^2.
_SHARE_FALLS = 10.0
_FEW = 21.5

_TABLE = 2048  # values of g_nu, between which it is taken as straight
_AS_NORMAL = 200.0  # degrees of freedom above which t is taken as normal
_MOST_TABLES = 32  # degrees of freedom that are told apart; more are rounded down to a lattice of 1/nu
_LATTICE = 512
_NODES = tuple(48 << doublings for doublings in range(5))
_FAR = 10.0  # half-widths from which on sin(w t) is too quick for the most nodes, and one part alone leads there
_STEPS = 60
_STEADY = 1e-6  # relative step of a half-width at which it is that: the next one would be of its square
_LEAST_BEYOND = 1e-12  # what rounding leaves of a probability of 0
_AT_ONCE = 4096  # results whose integrals are in memory together


@dataclass(frozen=True)
class ErrorParts:
    """Independent parts of the errors of n results, as standard uncertainties in the unit of the results."""

    student: Floats  # (n, a) of normal or t distributions
    degrees_of_freedom: Floats  # (n, a), infinite where normal
    rectangular: Floats  # (n, b)

    @property
    def standard_uncertainty(self) -> Floats:
        """(n,) combined."""
        return np.asarray(np.sqrt(np.sum(self.student**2, axis=1) + np.sum(self.rectangular**2, axis=1)))

    def split(self, column: int, share: Floats, degrees_of_freedom: Floats) -> "ErrorParts":
        """The same with one of the t distributions made of several: their shares of its variance (n, m), and degrees of freedom."""
        student = self.student.copy()
        student[:, column] = 0.0
        made = self.student[:, [column]] * np.sqrt(share)
        dof = np.hstack([self.degrees_of_freedom, degrees_of_freedom])
        return ErrorParts(np.hstack([student, made]), dof, self.rectangular)

    def rows(self, some: Integers | Truths) -> "ErrorParts":
        """Those of some results."""
        return ErrorParts(self.student[some], self.degrees_of_freedom[some], self.rectangular[some])


def error_parts_of(
    uncertainties: Floats, degrees_of_freedom: Floats, is_rectangular: Truths | None = None
) -> ErrorParts:
    """Parts from standard uncertainties and degrees of freedom (n, c), and which of them are known by limits (n, c).

    What is known by limits but has finite degrees of freedom is not rectangular.
    """
    if is_rectangular is None:
        return ErrorParts(uncertainties, degrees_of_freedom, np.zeros((len(uncertainties), 0)))
    limited = is_rectangular & np.isinf(degrees_of_freedom)
    columns = np.any(limited, axis=0)
    student = np.where(limited, 0.0, uncertainties)
    return ErrorParts(student, degrees_of_freedom, np.where(limited, uncertainties, 0.0)[:, columns])


@dataclass(frozen=True)
class CoverageFactors:
    """Coverage factors of n results, and the degrees of freedom at which Student's t has them."""

    factor: Floats  # (n,)
    degrees_of_freedom: Floats  # (n,)


def coverage_of(
    parts: ErrorParts, degrees_of_freedom: ArrayLike, probability: float = COVERAGE_PROBABILITY
) -> CoverageFactors:
    """Coverage factors: t at the effective `degrees_of_freedom` (n,), or those of the convolved half-width where that is larger.

    Larger by more than 5 %: then the degrees of freedom are those of that k: U, k, probabilities and risks rest on one number.
    """
    effective = np.asarray(degrees_of_freedom, dtype=float)
    k = np.array(coverage_factor(effective, probability))
    u = parts.standard_uncertainty
    asked = np.flatnonzero(_is_asked(parts, u))
    if asked.size == 0:
        return CoverageFactors(k, effective)
    wide = _wider(_of_unit(parts.rows(asked)), (1.0 + LARGER_BY) * k[asked], probability)
    k[asked] = np.where(np.isnan(wide), k[asked], wide)
    larger, dof = asked[~np.isnan(wide)], effective.copy()
    dof[larger] = degrees_of_freedom_from_factor(k[larger], probability)
    return CoverageFactors(k, dof)


def coverage_of_parts(parts: ErrorParts, probability: float = COVERAGE_PROBABILITY) -> CoverageFactors:
    """The same with the effective degrees of freedom by Welch-Satterthwaite from the parts."""
    u = np.hstack([parts.student, parts.rectangular])
    dof = np.hstack([parts.degrees_of_freedom, np.full(parts.rectangular.shape, np.inf)])
    return coverage_of(parts, welch_satterthwaite(u, dof), probability)


def half_width(parts: ErrorParts, probability: float = COVERAGE_PROBABILITY) -> Floats:
    """(n,) half-widths w with P(|Y| <= w) = probability [unit of the results]; 0 < probability < 1, some part normal or t.

    Where w is tens of u, sin(w t) is too quick for the nodes: there `_far_out` tells it.
    """
    u = parts.standard_uncertainty
    return np.asarray(_wider(_of_unit(parts), np.zeros(u.size), probability) * u)


def _of_unit(parts: ErrorParts) -> ErrorParts:
    """The parts over the combined u; t of many degrees of freedom as normal with its variance."""
    u = parts.standard_uncertainty[:, np.newaxis]
    dof = np.asarray(parts.degrees_of_freedom, dtype=float)
    many = dof > _AS_NORMAL
    wide = np.sqrt(np.divide(dof, dof - 2.0, out=np.ones_like(dof), where=many & np.isfinite(dof)))
    return ErrorParts(parts.student * wide / u, np.where(many, np.inf, dof), parts.rectangular / u)


def _is_asked(parts: ErrorParts, u: Floats) -> Truths:
    few = np.nonzero(parts.degrees_of_freedom < _FEW)  # the usual job has none
    enough = parts.student[few] ** 2 * np.exp(_SHARE_FALLS / parts.degrees_of_freedom[few])
    row, _ = few
    return np.asarray(np.bincount(row, enough, minlength=u.size) > u**2)


def _wider(unit: ErrorParts, than: Floats, probability: float) -> Floats:
    """Half-widths of errors of u = 1 where they are larger than some (n,), else NaN."""
    p = exact_probability(probability)
    wide = np.full(than.size, np.nan)
    reach, about = _reach(unit), _about(unit, probability)
    classes = np.searchsorted(_NODES, 0.75 * about * reach + 24.0)
    told = _told_apart(unit)
    far = (classes == len(_NODES)) & (about > _FAR)
    for row in np.flatnonzero(far).tolist():
        w = _far_out(told.student[row], told.degrees_of_freedom[row], told.rectangular[row], 1.0 - p)
        wide[row] = w if w > than[row] else np.nan
    classes = np.minimum(classes, len(_NODES) - 1)
    for place in np.unique(classes[~far]).tolist():
        rows = np.flatnonzero((classes == place) & ~far)
        for first in range(0, rows.size, _AT_ONCE):
            mine = rows[first : first + _AT_ONCE]
            integral = _integral(told.rows(mine), reach[mine], _NODES[place])
            beyond = integral.probability(than[mine]) < p
            wide[mine[beyond]] = integral.rows(beyond).half_width(than[mine[beyond]], p)
    return wide


def _far_out(student: Floats, dof: Floats, rectangular: Floats, beyond: float) -> float:
    """The half-width of one error of u = 1 with a probability `beyond` it so small that one part of the error alone leads there.

        P(|Y| > w) = sum over the parts t of P(u |t| > w - s) + P(u |t| > w + s),   s^2 the variance of all other parts

    which is right to the second order in s/w (the others shift the tail of one either way). A t of 2 degrees of freedom and fewer
    has no variance; its middle shifts nothing: of two Cauchy distributions the scales add, as their tails do.
    """
    from scipy.optimize import brentq  # noqa: PLC0415 (a quarter of a second, which hardly any result needs)

    u, nu = student[np.isfinite(dof)], dof[np.isfinite(dof)]
    variance = u**2 * np.divide(nu, nu - 2.0, out=np.zeros(nu.size), where=nu > 2.0)
    others = np.sum(rectangular**2) + np.sum(student[np.isinf(dof)] ** 2) + np.sum(variance) - variance
    shift = np.sqrt(np.maximum(others, 0.0))  # rounding may leave less than nothing

    def too_much(log_w: float) -> float:
        w = np.exp(log_w)
        return float(np.sum(stdtr(nu, (shift - w) / u) + stdtr(nu, (-shift - w) / u)) - beyond)

    with np.errstate(over="ignore"):  # the largest float in parts of a small u: nothing is beyond
        return float(np.exp(brentq(too_much, np.log(np.max(u)), np.log(np.finfo(float).max))))


def _reach(unit: ErrorParts) -> Floats:
    """(n,) t beyond which phi is below 1e-7: where the fastest of the parts falls below."""
    with np.errstate(divide="ignore", over="ignore"):
        of_normal = np.sqrt(32.0 / _normal_variance(unit))
        of_t = _end(unit.degrees_of_freedom) / unit.student
    return np.asarray(np.minimum(of_normal, np.min(of_t, axis=1, initial=np.inf)))


def _normal_variance(unit: ErrorParts) -> Floats:
    """(n,) of the normal parts."""
    return np.asarray(np.sum(np.where(np.isinf(unit.degrees_of_freedom), unit.student, 0.0) ** 2, axis=1))


def _end(dof: ArrayLike) -> Floats:
    """z beyond which g_nu(z) is below 1e-7."""
    return np.asarray(16.0 / np.sqrt(dof) + 6.0)


def _about(unit: ErrorParts, probability: float) -> Floats:
    """(n,) half-widths, about: by so much is sin(w t) to be resolved."""
    k, k_normal = (coverage_factor(dof, probability) for dof in (unit.degrees_of_freedom, np.inf))
    return np.asarray(np.linalg.norm(np.hstack([k * unit.student, k_normal * unit.rectangular]), axis=1))


def _told_apart(unit: ErrorParts) -> ErrorParts:
    """The parts with as many degrees of freedom as are told apart; infinite where a part is nothing."""
    dof = np.where(unit.student > 0, unit.degrees_of_freedom, np.inf)
    few = np.isfinite(dof)
    if np.unique(dof[few]).size > _MOST_TABLES:
        # Rounded down: the distribution is a trace wider.
        dof[few] = _LATTICE / np.ceil(_LATTICE / dof[few])
    return replace(unit, degrees_of_freedom=dof)


@lru_cache(maxsize=4 * _LATTICE)
def _characteristic(nu: float) -> Floats:
    """ln g_nu at even steps of the root of z, from 0 to its end."""
    x = np.sqrt(nu) * float(_end(nu)) * np.linspace(0.0, 1.0, _TABLE + 1) ** 2
    order = nu / 2.0
    with np.errstate(divide="ignore", invalid="ignore"):
        log_g = np.log(kve(order, x)) - x + order * np.log(x) - gammaln(order) - (order - 1.0) * np.log(2.0)
    # At 0, and near it where the Bessel function of a high order overflows, g is 1 but for 1e-5.
    return np.where(np.isfinite(log_g), log_g, 0.0)


def _log_g(nu: float, z: Floats) -> Floats:
    """ln g_nu(z) from its table; z below its end, which no node is beyond."""
    steps = np.sqrt(z * (_TABLE**2 / float(_end(nu))))
    low = steps.astype(np.int64)
    g = _characteristic(nu)
    return np.asarray(g[low] + (steps - low) * np.diff(g)[low])


@dataclass(frozen=True)
class _Integral:
    """The inversion integral of n results at N nodes."""

    t: Floats  # (n, N)
    phi: Floats  # (n, N) times the weight of the node and 2/pi

    def rows(self, some: Truths) -> "_Integral":
        return _Integral(self.t[some], self.phi[some])

    def probability(self, w: Floats) -> Floats:
        """(n,) P(|Y| <= w)."""
        return np.asarray(np.sum(self.phi * np.sin(w[:, np.newaxis] * self.t) / self.t, axis=1))

    def density(self, w: Floats) -> Floats:
        """(n,) its derivative."""
        return np.asarray(np.sum(self.phi * np.cos(w[:, np.newaxis] * self.t), axis=1))

    def half_width(self, below: Floats, p: float) -> Floats:
        """(n,) w with that probability, from some w below it, or 0.

        Newton's steps in ln w for ln P(|Y| > w), which is straight where the tail is a power of w; none beyond the middle of what
        is known to hold the root.
        """
        w, moving, going = np.maximum(below, 1.0), np.arange(below.size), self
        ends = np.array([below, np.full(below.size, np.inf)])
        for _ in range(_STEPS):
            at = w[moving]
            beyond = np.maximum(1.0 - going.probability(at), _LEAST_BEYOND)
            step = np.log(beyond / (1.0 - p)) * beyond / (at * np.maximum(going.density(at), _LEAST_BEYOND))
            ends[np.signbit(step).astype(int), moving] = at
            middle = np.mean(ends[:, moving], axis=0)
            w[moving] = np.clip(at * np.exp(np.minimum(step, 1.0)), np.minimum(at, middle), np.maximum(at, middle))
            still = np.abs(step) > _STEADY
            if not np.any(still):
                break
            moving, going = moving[still], going.rows(still)
        return w


@lru_cache
def _gauss_legendre(nodes: int) -> tuple[Floats, Floats]:
    return np.polynomial.legendre.leggauss(nodes)


def _integral(unit: ErrorParts, reach: Floats, nodes: int) -> _Integral:
    x, weight = _gauss_legendre(nodes)
    t = 0.5 * reach[:, np.newaxis] * (x + 1.0)
    log_phi = -0.5 * _normal_variance(unit)[:, np.newaxis] * t**2
    for u, dof in zip(unit.student.T, unit.degrees_of_freedom.T, strict=True):
        for nu in np.unique(dof[np.isfinite(dof)]).tolist():
            is_mine = dof == nu
            mine = slice(None) if np.all(is_mine) else is_mine
            log_phi[mine] += _log_g(nu, t[mine] * u[mine, np.newaxis])
    phi = np.exp(log_phi)
    for u in unit.rectangular.T:
        phi *= np.sinc(np.sqrt(3.0) / np.pi * u[:, np.newaxis] * t)
    return _Integral(t, phi * weight * reach[:, np.newaxis] / np.pi)
