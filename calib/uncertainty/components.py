"""Components of variance: what scatters between groups of observations (days, operators) beyond the scatter within one (GUM H.5).

J groups of K_j observations with means m_j and standard deviations s_j, N observations in all, m their mean:

    s_a^2 = sum K_j (m_j - m)^2/(J - 1)      J - 1 degrees of freedom
    s_b^2 = sum (K_j - 1) s_j^2/(N - J)      N - J degrees of freedom
    F = s_a^2/s_b^2                          beyond its 95 % quantile the groups differ
    s_W^2 = s_b^2,   s_B^2 = max(0, (s_a^2 - s_b^2)/K_0),   K_0 = (N - sum K_j^2/N)/(J - 1)
    u^2(m) = s_B^2 sum K_j^2/N^2 + s_W^2/N

K_0 is K where all groups are of one size; then u^2(m) = s_a^2/(J K), the variance of the means over J. Source: JCGM 100:2008,
H.5.2, from memory; K_0 for unequal sizes from the analysis of variance of one factor (any textbook).
"""

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import fdtri

from calib.errors import CalibError

GROUPS_SIGNIFICANCE = 0.05


@dataclass(frozen=True)
class Components:
    """Components of variance of observations in groups. In the unit of the observations."""

    groups: int
    observations: int
    mean: float  # of all observations
    between: float  # standard deviation between groups, s_B; 0 where the groups differ no more than scatter makes them
    within: float  # standard deviation within a group, s_W
    f: float  # F [1]; infinite where nothing scatters within the groups and they differ
    quantile: float  # of F, 95 %
    standard_uncertainty: float  # of the mean of all

    @property
    def differ(self) -> bool:
        """Whether the groups differ: F beyond its 95 % quantile."""
        return self.f > self.quantile


def components_of_variance(means: ArrayLike, standard_deviations: ArrayLike, counts: ArrayLike) -> Components:
    """Components from the mean, standard deviation (any, where the count is 1) and number of observations of each group, (J,).

    Raises CalibError for fewer than two groups, for no group of two observations or more, and for a count below 1.
    """
    m, s, k = (np.asarray(values, dtype=float) for values in (means, standard_deviations, counts))
    groups, total = m.size, float(k.sum())
    if groups < 2 or not (k >= 1).all() or total == groups:
        raise CalibError(
            f"{groups} group(s) of {total:g} observation(s): at least 2 groups are needed, and 2 observations in one of them"
        )
    mean = float(k @ m) / total
    among = float(k @ (m - mean) ** 2) / (groups - 1)
    several = k > 1
    inside = float((k[several] - 1) @ s[several] ** 2) / (total - groups)
    size = (total - float(k @ k) / total) / (groups - 1)
    between = max(0.0, among - inside) / size
    f = among / inside if inside > 0 else math.inf if among > 0 else 0.0
    return Components(
        groups,
        int(total),
        mean,
        math.sqrt(between),
        math.sqrt(inside),
        f,
        float(fdtri(groups - 1, total - groups, 1 - GROUPS_SIGNIFICANCE)),
        math.sqrt(between * float(k @ k) / total**2 + inside / total),
    )


def components_of(observations: Sequence[float], groups: Sequence[Hashable]) -> Components:
    """The same from observations, each with the group that it belongs to; raises CalibError as above."""
    of_groups: dict[Hashable, list[float]] = {}
    for observation, group in zip(observations, groups, strict=True):
        of_groups.setdefault(group, []).append(observation)
    lots = [np.array(lot) for lot in of_groups.values()]
    deviations = [float(lot.std(ddof=1)) if lot.size > 1 else math.nan for lot in lots]
    return components_of_variance([lot.mean() for lot in lots], deviations, [lot.size for lot in lots])
