"""How far two results of the law of propagation are correlated, with what is not known of it.

With r the correlation coefficient u(a, b)/(u(a) u(b)) (GUM 5.2.2, equation 14)

    u^2(a + b) = u^2(a) + u^2(b) + 2 r u(a) u(b),    u^2(a - b) = u^2(a) + u^2(b) - 2 r u(a) u(b)

and where all that both share is known, either gives the same r. Where it is not known how far they share an influence, the sum is
taken for the worst of a sum and the difference for the worst of a difference (`calib.uncertainty.sharing`): then r lies between
what the difference gives and what the sum gives.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calib.arrays import Floats
from calib.uncertainty.propagation import Contribution, combine, combine_totals, lots_of_sums
from calib.uncertainty.sharing import independent

PairOfResults = tuple[int, int]


@dataclass(frozen=True)
class Correlations:
    """Between which values the correlation coefficients of some pairs of results lie: arrays (pairs,) in -1 to 1."""

    low: Floats
    high: Floats


def correlations_of_results(contributions: Sequence[Contribution], pairs: Sequence[PairOfResults]) -> Correlations:
    """Of some pairs of results; NaN where one has no uncertainty. Pairs are of two different results."""
    u = combine(contributions).standard_uncertainty
    first, second = np.array(pairs, dtype=np.int64).reshape(-1, 2).T
    product, squares = u[first] * u[second], u[first] ** 2 + u[second] ** 2
    of_sum, of_difference = (_variance(contributions, pairs, sign) for sign in (1.0, -1.0))
    high, low = (
        np.divide(part, 2.0 * product, out=np.full_like(product, np.nan), where=product > 0)
        for part in (of_sum - squares, squares - of_difference)
    )
    return Correlations(np.clip(low, -1.0, 1.0), np.clip(high, -1.0, 1.0))


def influences_shared(contributions: Sequence[Contribution], pair: PairOfResults) -> list[str]:
    """Names of the contributions of which both results have something, known to be shared or not known."""
    return [
        contribution.name
        for contribution in contributions
        if np.all(contribution.variance[list(pair)] > 0)
        and any(
            share.rule is not independent and share.group[pair[0]] == share.group[pair[1]] >= 0
            for share in contribution.shared
        )
    ]


def _variance(contributions: Sequence[Contribution], pairs: Sequence[PairOfResults], sign: float) -> Floats:
    """(pairs,) u^2(a + sign b) [unit of the result squared]."""
    variance = np.zeros(len(pairs))
    size = contributions[0].source.size
    for lot in lots_of_sums(pairs):
        membership, signs = np.full(size, -1), np.ones(size)
        for place, pair in enumerate(lot):
            membership[list(pairs[pair])] = place
            signs[pairs[pair][1]] = sign
        variance[lot] = combine_totals(contributions, membership, signs, len(lot)).standard_uncertainty ** 2
    return variance
