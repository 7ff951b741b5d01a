"""Law of propagation of uncertainty (GUM 5), for many results at once and with what they share.

A *contribution* is one line of the budget of every result: the uncertainty |c_i| u(x_i) that one influence brings to each.
Results that share an influence (the same calibration, the same outlet) carry the same *source* number; then their
contributions are fully correlated, with their signs. An influence with several independent parts (the scatter of a curve with p
coefficients) has p *parts*: signed uncertainties in orthogonal directions, so that

    u_i(y_a) = |parts_a|,    u_i(y_a, y_b) = parts_a . parts_b  where the sources agree, else 0.

Arrays run over the results; there is no loop over results.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from calib.arrays import Floats, Integers, Truths
from calib.errors import CalibError


@dataclass(frozen=True)
class Contribution:
    """What one influence contributes to each of n results."""

    name: str
    type_a: Truths  # (n,): evaluated by statistics of observations (GUM 2.3.2), else by other means (2.3.3)
    parts: Floats  # (n, m): signed standard uncertainties in orthogonal directions [unit of the result]
    source: Integers  # (n,): results with the same number, 0 or above, share the influence
    degrees_of_freedom: Floats  # (n,): infinite where u is taken as exactly known

    def __post_init__(self) -> None:
        n = self.source.size
        if self.parts.shape[:1] != (n,) or self.parts.ndim != 2 or self.degrees_of_freedom.shape != (n,):
            raise CalibError(
                f"{self.name}: parts {self.parts.shape} and degrees of freedom must stand for {n} results each"
            )
        if n and self.source.min() < 0:
            raise CalibError(f"{self.name}: source {self.source.min()}: sources are numbered from 0")

    @property
    def variance(self) -> Floats:
        """(n,) variance that the influence contributes [unit of the result squared]."""
        return np.asarray(np.einsum("ij,ij->i", self.parts, self.parts))


@dataclass(frozen=True)
class Combined:
    """Combined standard uncertainties of n results and where they come from."""

    standard_uncertainty: Floats  # (n,) [unit of the result]
    degrees_of_freedom: Floats  # (n,) effective, by Welch-Satterthwaite
    uncertainties: Floats  # (n, c): |c_i| u(x_i), one column for each contribution [unit of the result]

    @cached_property
    def variance_percent(self) -> Floats:
        """(n, c) share of each contribution in the combined variance [%]; 0 where there is no uncertainty at all."""
        total = self.standard_uncertainty**2
        of_one = np.divide(100.0, total, out=np.zeros_like(total), where=total > 0)
        # Along the memory: the columns stand one after the other.
        return np.asarray((self.uncertainties.T**2 * of_one).T)


def welch_satterthwaite(uncertainties: ArrayLike, degrees_of_freedom: ArrayLike) -> Floats:
    """Effective degrees of freedom: u_c^4 / sum(u_i^4 / nu_i) over the last axis (GUM G.4.1, equation G.2b).

    For independent components; infinite where none has finite degrees of freedom.
    """
    variances = np.asarray(uncertainties, dtype=float) ** 2
    below = np.sum(variances**2 / np.asarray(degrees_of_freedom, dtype=float), axis=-1)
    above = np.sum(variances, axis=-1) ** 2
    return np.asarray(np.divide(above, below, out=np.full_like(above, np.inf), where=below > 0))


def combine(contributions: Sequence[Contribution]) -> Combined:
    """Combined standard uncertainty of each result: u_c^2 = sum u_i^2 (GUM 5.1.2, equation 10).

    The influences are independent of one another; what correlates within one is in its parts.
    """
    variances = np.empty((len(contributions), contributions[0].source.size))
    below = np.zeros(contributions[0].source.size)
    for row, contribution in enumerate(contributions):
        variances[row] = contribution.variance
        below += variances[row] ** 2 / contribution.degrees_of_freedom
    return _combined(variances, below)


def _combined(variances: Floats, below: Floats) -> Combined:
    """From the variances (c, n) and the sums (n,) of u^4/nu over the independent sources to the combined figures."""
    total = variances.sum(axis=0)
    effective = np.divide(total**2, below, out=np.full_like(total, np.inf), where=below > 0)
    return Combined(np.sqrt(total), effective, np.sqrt(variances).T)


def combine_totals(contributions: Sequence[Contribution], membership: Integers, sign: Floats, totals: int) -> Combined:
    """Combined standard uncertainty of totals y_t = sum over its results of sign * y, with what the results share (GUM 5.2.2).

    `membership` (n,) gives the number of the total that a result belongs to, 0 to totals - 1, or -1 for none; `sign` (n,) is
    +1 or -1. A shared influence adds within a total before it is squared; a result's own does not.
    """
    inside: Integers | slice = slice(None) if np.all(membership >= 0) else np.flatnonzero(membership >= 0)
    groups: dict[int, _Groups] = {}
    variances = np.empty((len(contributions), totals))
    below = np.zeros(totals)
    for row, contribution in enumerate(contributions):
        # Many contributions carry one and the same array of sources: it is grouped once.
        if id(contribution.source) not in groups:
            groups[id(contribution.source)] = _groups(contribution.source[inside], membership[inside], totals)
        group = groups[id(contribution.source)]
        of_group = group.summed_squares(contribution.parts[inside] * sign[inside, np.newaxis])
        variances[row] = np.bincount(group.owner, of_group, totals)
        below += np.bincount(group.owner, of_group**2 / group.fewest(contribution.degrees_of_freedom[inside]), totals)
    return _combined(variances, below)


@dataclass(frozen=True)
class _Groups:
    """Results of one total with one source."""

    place: Integers | None  # (n,) number of the group that a result belongs to; None: each is a group alone
    owner: Integers  # (groups,) total that a group belongs to

    def summed_squares(self, parts: Floats) -> Floats:
        """(groups,) squared length of the sum of the parts (n, m) of each group."""
        if self.place is None:
            return np.asarray(np.einsum("ij,ij->i", parts, parts))
        summed = np.stack([np.bincount(self.place, column, self.owner.size) for column in parts.T])
        return np.asarray(np.sum(summed**2, axis=0))

    def fewest(self, degrees_of_freedom: Floats) -> Floats:
        """(groups,) degrees of freedom of each group: a source has one number; should its results differ in it, the fewest."""
        if self.place is None:
            return degrees_of_freedom
        fewest = np.full(self.owner.size, np.inf)
        np.minimum.at(fewest, self.place, degrees_of_freedom)
        return fewest


def _groups(source: Integers, membership: Integers, totals: int) -> _Groups:
    if np.all(source[1:] > source[:-1]):  # rising: no source stands twice
        return _Groups(None, membership)
    width = int(source.max(initial=0)) + 1
    pairs = membership * width + source
    if totals * width <= 4 * source.size:  # few sources: a place for each pair there could be, without sorting
        return _Groups(pairs, np.repeat(np.arange(totals), width))
    present, place = np.unique(pairs, return_inverse=True)
    return _Groups(place, present // width)


def covariance(contributions: Sequence[Contribution]) -> Floats:
    """(n, n) covariance matrix of the results [unit of the result squared]; memory grows with n^2."""
    size = contributions[0].source.size
    matrix = np.zeros((size, size))
    for contribution in contributions:
        shared = contribution.source[:, np.newaxis] == contribution.source[np.newaxis, :]
        matrix += np.where(shared, contribution.parts @ contribution.parts.T, 0.0)
    return matrix


def propagate(sensitivities: ArrayLike, covariance_of_inputs: ArrayLike) -> Floats:
    """Covariance matrix of results from correlated inputs: U_y = C U_x C^T (GUM 5.2.2; H.2.3).

    `sensitivities` (results, inputs) are the partial derivatives; `covariance_of_inputs` is (inputs, inputs).
    """
    c = np.asarray(sensitivities, dtype=float)
    return np.asarray(c @ np.asarray(covariance_of_inputs, dtype=float) @ c.T)
