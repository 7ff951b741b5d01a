"""How far results share an influence, and what the variance of a sum or difference of them is for it.

For a sum or difference with coefficients c_i of results whose influence has the standard uncertainties u_i, P and N being the sums
of |c u| over the positive and over the negative terms:

    common        (sum c_i u_i)^2                  one error, the same for all of the group
    independent   sum (c_i u_i)^2                  an error for each
    not known     P^2 + N^2                        common within a sign, unrelated between signs

GUM 5.2.2, equation 13, gives the first two; C.3.6 and 5.2.4 ask that what may be correlated is not taken for independent. The
third covers every pattern of correlations from 0 to 1: whatever is not known never makes U smaller. The larger of common and
independent would not: with one error for the terms of each sign, the most plausible case of a difference, it covers half.

The error of a calibration depends on the indication: it is one unknown at each comparison, and runs straight between them. What the
terms are worth there, w_j, is summed first, and the rule asked of the w_j (`AtComparisons`); where the errors of a calibration have
known correlations R, of sqrt(w R w) with the sign of sum w_j in their place. Between comparisons the error need not
run straight, so that a group never counts for less than if its results were independent. A change since the calibration may well be
an offset with an opposite gain, so that there not known means (sum |w_j|)^2.

Decision (2026-11). The reference part of a certificate is shared by all its points and never averaged away. Cost: independent ones
are overstated.

Decision (2026-11-29). How much of an influence is shared is declared as two figures, common c and own o, which is a correlation
rho = c^2/(c^2 + o^2) for equal terms. Option: rho itself beside one figure, a rule that nothing could declare. Cost: errors known
to be opposed (rho below 0) cannot be declared; they count as not known.
"""

from collections.abc import Callable, Hashable
from dataclasses import dataclass

import numpy as np

from calib.arrays import Floats, Integers

# Terms (t, m) in m orthogonal directions, the group (t,) of each, and how many groups there are -> variance (groups,).
SharingRule = Callable[[Floats, Integers, int], Floats]


@dataclass(frozen=True)
class AtComparisons:
    """Where along their calibrations n results bear an error: at which comparisons, with what shares. Arrays (E,)."""

    result: Integers  # number of the result
    comparison: Integers  # number of the comparison, counted over all calibrations
    share: Floats  # of the result's part, 0 to 1; those of one result add to 1
    # Known correlations: number of the first comparison of a calibration, and the matrix (m, m) of its errors there.
    correlated: tuple[tuple[int, Floats], ...] = ()


@dataclass(frozen=True)
class Share:
    """How n results share an influence, or those columns of its parts that the rule speaks of."""

    group: Integers  # (n,) results with the same number, 0 or above, are of one group
    rule: SharingRule
    columns: slice | None = None  # of the parts, None: all; one column unless the rule is `common` or `independent`
    at: AtComparisons | None = None
    pool: Hashable = None  # contributions that name one pool count their groups together; None: this one by itself
    degrees_of_freedom: Floats | None = None  # (n,); None: those of the contribution
    behind: bool = False  # of what stands behind the influence, and not of the influence that the results name


def common(terms: Floats, group: Integers, groups: int) -> Floats:
    """Variance of each group whose terms share one error: (sum c u)^2 in each direction [unit of the terms squared]."""
    return np.asarray(np.sum(_summed(terms, group, groups) ** 2, axis=0))


def independent(terms: Floats, group: Integers, groups: int) -> Floats:
    """Variance of each group whose terms have an error each: sum (c u)^2 [unit of the terms squared]."""
    return np.asarray(np.bincount(group, np.einsum("ij,ij->i", terms, terms), groups), float)


def not_known(terms: Floats, group: Integers, groups: int) -> Floats:
    """Variance of each group of which it is not known what its terms share: P^2 + N^2 [unit of the terms squared]."""
    return common(np.maximum(terms, 0.0), group, groups) + common(np.minimum(terms, 0.0), group, groups)


def common_within_a_sign(terms: Floats, group: Integers, groups: int) -> Floats:
    """Variance of each group whose terms of one sign share an error that the others have nothing of: P^2 + N^2.

    So are streams of air of which one is added and the other taken away: each has a temperature of its own.
    """
    return not_known(terms, group, groups)


def not_known_of_a_change(terms: Floats, group: Integers, groups: int) -> Floats:
    """The same of a change since calibration, whose errors may have opposite signs: (P + N)^2 [unit of the terms squared]."""
    return common(np.abs(terms), group, groups)


UNDECLARED: tuple[SharingRule, ...] = (not_known, not_known_of_a_change)


def _summed(terms: Floats, group: Integers, groups: int) -> Floats:
    """(m, groups) sums of the terms."""
    return np.stack([np.bincount(group, column, groups) for column in terms.T])
