"""The budget of one result, and the questions an engineer asks of it.

Which contribution rules; how far U falls if one is halved or removed; how many repeated observations bring U to a wanted value.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from calib.arrays import Floats, Truths
from calib.errors import CalibError
from calib.uncertainty.convolution import coverage_of_parts, error_parts_of
from calib.uncertainty.coverage import COVERAGE_PROBABILITY

MOST_OBSERVATIONS = 1_000_000  # beyond it a number of repeated observations is no answer

# EA-4/02 M:2013, S9.14, from memory: a contribution is dominant where the others together are no more than 0.3 of it.
_DOMINANT = 0.3
_ON_THE_MARK = 1.0 + 1e-9  # a value on a mark counts as having reached it, whatever the last bits say


@dataclass(frozen=True)
class Budget:
    """Uncertainty budget of one result (GUM 5.1, G.4). Arrays (c,) over its contributions."""

    names: tuple[str, ...]
    uncertainties: Floats  # |c_i| u(x_i) [unit of the result]
    degrees_of_freedom: Floats  # infinite where u is taken as exactly known
    coverage_probability: float = COVERAGE_PROBABILITY
    is_rectangular: Truths | None = None  # None: no contribution is
    # Contributions that are made of several series: their shares of its variance (m,), and the degrees of freedom of each.
    unlike: Mapping[int, tuple[Floats, Floats]] = field(default_factory=dict)

    @property
    def standard_uncertainty(self) -> float:
        """Combined standard uncertainty u_c."""
        return float(np.sqrt(np.sum(self.uncertainties**2)))

    @property
    def expanded_uncertainty(self) -> float:
        """U = k u_c, k from the effective degrees of freedom or by convolution (`calib.uncertainty.convolution`)."""
        known = None if self.is_rectangular is None else self.is_rectangular[np.newaxis]
        parts = error_parts_of(self.uncertainties[np.newaxis], self.degrees_of_freedom[np.newaxis], known)
        for place, (share, dof) in self.unlike.items():
            parts = parts.split(place, share[np.newaxis], dof[np.newaxis])
        (k,) = coverage_of_parts(parts, self.coverage_probability).factor
        return float(k) * self.standard_uncertainty

    def with_factor(self, place: int, factor: float) -> "Budget":
        """The same budget with one contribution multiplied by a factor."""
        changed = self.uncertainties.copy()
        changed[place] *= factor
        return replace(self, uncertainties=changed)

    def with_contribution(self, place: int, uncertainty: float, degrees_of_freedom: float) -> "Budget":
        """The same budget with one contribution evaluated otherwise."""
        changed, degrees = self.uncertainties.copy(), self.degrees_of_freedom.copy()
        changed[place], degrees[place] = uncertainty, degrees_of_freedom
        unlike = {other: series for other, series in self.unlike.items() if other != place}
        return replace(self, uncertainties=changed, degrees_of_freedom=degrees, unlike=unlike)


@dataclass(frozen=True)
class Lever:
    """What U would be if one contribution were smaller."""

    name: str
    variance_percent: float  # its share of the combined variance
    if_halved: float  # U [unit of the result]
    if_removed: float  # U [unit of the result]


def levers(budget: Budget) -> tuple[Lever, ...]:
    """Every contribution with its share and what U would be without it, the ruling one first."""
    total = budget.standard_uncertainty**2
    changed = [
        Lever(
            name,
            100.0 * float(budget.uncertainties[place]) ** 2 / total if total > 0 else 0.0,
            budget.with_factor(place, 0.5).expanded_uncertainty,
            budget.with_factor(place, 0.0).expanded_uncertainty,
        )
        for place, name in enumerate(budget.names)
    ]
    return tuple(sorted(changed, key=lambda lever: -lever.variance_percent))


@dataclass(frozen=True)
class Repeatability:
    """Repeatability of one observation, as it enters a budget."""

    of_one: float  # standard deviation of one observation times the sensitivity [unit of the result]
    type_a: bool  # estimated from the observations themselves: then n observations give n-1 degrees of freedom
    pooled_degrees_of_freedom: float = 0.0  # of an s that is pooled over several readings; 0: it is not


def observations_needed(budget: Budget, place: int, repeatability: Repeatability, wanted: float) -> int | None:
    """Fewest observations whose mean brings U down to `wanted`, or None where no number does.

    `place` is that of the repeatability in the budget. It assumes that more observations scatter as those made do. Raises
    CalibError for a wanted U that is not above 0.
    """
    if not (math.isfinite(wanted) and wanted > 0):
        raise CalibError(f"a wanted expanded uncertainty of {wanted:g} is none: it must be above 0")

    def reaches(observations: int) -> bool:
        return (
            _with_observations(budget, place, repeatability, observations).expanded_uncertainty <= wanted * _ON_THE_MARK
        )

    fewest = 2 if repeatability.type_a else 1
    if not reaches(MOST_OBSERVATIONS):
        return None
    low, high = fewest - 1, MOST_OBSERVATIONS  # U falls with the number: halve the span until the first that reaches
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if reaches(middle) else (middle, high)
    return high


def _with_observations(budget: Budget, place: int, repeatability: Repeatability, observations: int) -> Budget:
    own = max(observations - 1.0, repeatability.pooled_degrees_of_freedom)
    degrees = own if repeatability.type_a else math.inf
    return budget.with_contribution(place, repeatability.of_one / math.sqrt(observations), degrees)


def dominant(names: Sequence[str], uncertainties: Floats, among: Sequence[str]) -> str | None:
    """The contribution, out of those named in `among`, that dominates the others together (EA-4/02 S9.14), or None."""
    total = float(np.sum(uncertainties**2))
    for name, u in zip(names, uncertainties, strict=True):
        rest = math.sqrt(max(total - float(u) ** 2, 0.0))
        if name in among and u > 0 and rest <= _DOMINANT * u * _ON_THE_MARK:
            return name
    return None
