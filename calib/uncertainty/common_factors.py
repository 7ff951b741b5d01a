"""Results as sums of errors that several of them bear and of an error each: what a joint distribution of results is made of.

    y_i = sum_k L_ik f_k + o_i e_i          f_k, e_i independent, of standard uncertainty 1

so that u(y_i, y_j) = sum_k L_ik L_jk (GUM 5.2.2, F.1.2.3). Each group of a contribution and each of its directions is one factor
f_k, unless its terms are independent. What is not known is answered by whoever asks, with a correlation rho of two equal terms:
sqrt(rho) of a term is common then.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calib.arrays import Floats, Integers
from calib.uncertainty.propagation import Contribution
from calib.uncertainty.sharing import UNDECLARED, independent


@dataclass(frozen=True)
class CommonFactors:
    """What n results are made of [unit of the results]."""

    loadings: Floats  # (n, m) L
    own: Floats  # (n,) o


def common_factors(contributions: Sequence[Contribution], rows: Integers, if_not_known: float) -> CommonFactors:
    """The factors of some results, which stand in `rows` of the contributions.

    `if_not_known` is the correlation that is taken where it is not known how far results share an influence: 1 one error for all
    of a group, 0 an error for each.
    """
    own = np.zeros(rows.size)
    factors: dict[object, Floats] = {}
    for place, contribution in enumerate(contributions):
        for of_share, share in enumerate(contribution.shared):
            parts = contribution.parts[rows] if share.columns is None else contribution.parts[rows][:, share.columns]
            rho = if_not_known if share.rule in UNDECLARED else float(share.rule is not independent)
            own += (1.0 - rho) * np.einsum("ij,ij->i", parts, parts)
            group, pool = share.group[rows], (place, of_share) if share.pool is None else share.pool
            for each in np.unique(group).tolist() if rho else ():
                inside = group == each
                for direction, part in enumerate(parts.T):
                    factor = factors.setdefault((pool, each, direction), np.zeros(rows.size))
                    factor[inside] += np.sqrt(rho) * part[inside]
    every = np.array(list(factors.values())).reshape(len(factors), rows.size)
    alone = np.count_nonzero(every, axis=1) < 2  # an error of one result is its own
    own += np.sum(every[alone] ** 2, axis=0)
    return CommonFactors(every[~alone].T, np.sqrt(own))
