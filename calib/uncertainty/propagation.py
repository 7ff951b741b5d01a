"""Law of propagation of uncertainty (GUM 5), for many results at once and with what they share.

A *contribution* is one line of the budget of every result: the uncertainty |c_i| u(x_i) that one influence brings to each.
Results that share an influence (the same calibration, the same outlet) carry the same *source* number; then their
contributions are fully correlated, with their signs, unless the contribution says otherwise (`shares`). An influence with several
independent parts (the scatter of a curve with p coefficients) has p *parts*: signed uncertainties in orthogonal directions, so that

    u_i(y_a) = |parts_a|,    u_i(y_a, y_b) = parts_a . parts_b  where the sources agree, else 0.

Arrays run over the results; there is no loop over results.
"""

from collections.abc import Collection, Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import chain

import numpy as np
from numpy.typing import ArrayLike

from calib.arrays import Floats, Integers, Truths
from calib.errors import CalibError
from calib.uncertainty.sharing import UNDECLARED, Share, SharingRule, common, independent


@dataclass(frozen=True)
class UnlikeSeries:
    """Independent parts of one line whose degrees of freedom differ: together they have no t distribution.

    Such are two series of few observations, of which each may lie far out by itself.
    """

    share: Floats  # (n, m) of the line's variance; those of a result add to 1
    degrees_of_freedom: Floats  # (n, m)


@dataclass(frozen=True)
class Contribution:
    """What one influence contributes to each of n results."""

    name: str
    type_a: Truths  # (n,): evaluated by statistics of observations (GUM 2.3.2), else by other means (2.3.3)
    parts: Floats  # (n, m): signed standard uncertainties in orthogonal directions [unit of the result]
    source: Integers  # (n,): results with the same number, 0 or above, share the influence
    degrees_of_freedom: Floats  # (n,): infinite where u is taken as exactly known
    shares: tuple[Share, ...] = ()  # how far results share it; none: those with one source wholly
    is_rectangular: bool = False  # known by limits, each of its parts; where it has finite degrees of freedom it is not
    unlike: UnlikeSeries | None = None  # None: one distribution, t with its degrees of freedom

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

    @property
    def shared(self) -> tuple[Share, ...]:
        """How far results share it, every column of its parts once."""
        return self.shares or (Share(self.source, common),)


@dataclass(frozen=True)
class Combined:
    """Combined standard uncertainties of n results and where they come from."""

    standard_uncertainty: Floats  # (n,) [unit of the result]
    degrees_of_freedom: Floats  # (n,) effective, by Welch-Satterthwaite
    uncertainties: Floats  # (n, c): |c_i| u(x_i), one column for each contribution [unit of the result]
    part_degrees_of_freedom: Floats | None = None  # (n, c) of each contribution; None: not told

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
    variances = np.stack([each.variance for each in contributions])
    dof = np.stack([each.degrees_of_freedom for each in contributions])
    return _combined(variances, np.sum(variances**2 / dof, axis=0), dof)


def _combined(variances: Floats, below: Floats, dof: Floats) -> Combined:
    """From the variances (c, n), the sums (n,) of u^4/nu over the independent sources, and nu (c, n), to the combined figures."""
    total = variances.sum(axis=0)
    effective = np.divide(total**2, below, out=np.full_like(total, np.inf), where=below > 0)
    return Combined(np.sqrt(total), effective, np.sqrt(variances).T, dof.T)


def combine_totals(contributions: Sequence[Contribution], membership: Integers, sign: Floats, totals: int) -> Combined:
    """Combined standard uncertainty of totals y_t = sum over its results of sign * y, with what the results share (GUM 5.2.2).

    `membership` (n,) gives the number of the total that a result belongs to, 0 to totals - 1, or -1 for none; `sign` (n,) is
    +1 or -1, or any other coefficient. What is shared, and how far, each contribution says (`calib.uncertainty.sharing`). A group
    counts once in the effective degrees of freedom, also where its errors are independent: its u was evaluated once.
    """
    variances = np.zeros((len(contributions), totals))
    of_rows, below = np.zeros_like(variances), np.zeros(totals)
    for group in _grouped(contributions, membership, sign, totals):
        of_group = group.variance()
        below += np.bincount(group.owner, of_group**2 / group.fewest, totals)
        for row, share in group.attributed():
            mine = of_group * share
            variances[row] += np.bincount(group.owner, mine, totals)
            of_rows[row] += np.bincount(group.owner, mine**2 / group.fewest, totals)
    dof = np.divide(variances**2, of_rows, out=np.full_like(variances, np.inf), where=of_rows > 0)
    return _combined(variances, below, dof)


def lots_of_sums(members: Sequence[Collection[int]]) -> list[list[int]]:
    """Places of some sums, each by its members, in few lots: in each no member stands twice, as `combine_totals` wants it."""
    lots: list[tuple[list[int], set[int]]] = []
    for place, own in enumerate(members):
        lot = next((each for each in lots if each[1].isdisjoint(own)), None)
        if lot is None:
            lot = ([], set())
            lots.append(lot)
        lot[0].append(place)
        lot[1].update(own)
    return [places for places, _ in lots]


@dataclass(frozen=True)
class NotKnown:
    """Groups of which it is not known what their results share, in totals: arrays over pairs of total and group."""

    total: Integers
    contribution: (
        Integers  # number of the contribution, the first of those that are counted together and have such results
    )
    result: Integers  # one result of the group
    behind: Truths  # whether the group is one of what stands behind the influence that its results name
    pool: Sequence[Hashable]  # by which contributions are counted together; None: this one by itself
    variance: Floats  # as it counts [unit of the result squared]
    if_common: Floats  # were it one error [unit of the result squared]
    if_independent: Floats  # were it an error for each result [unit of the result squared]


def sharing_not_known(
    contributions: Sequence[Contribution], membership: Integers, sign: Floats, totals: int
) -> NotKnown:
    """The groups of the totals of `combine_totals` that ask for a declaration, with what either answer would give."""
    told = [group.not_known() for group in _grouped(contributions, membership, sign, totals, UNDECLARED)]
    none, nothing = np.zeros(0, dtype=np.int64), np.zeros(0)
    return NotKnown(
        np.concatenate([none, *(each.total for each in told)]),
        np.concatenate([none, *(each.contribution for each in told)]),
        np.concatenate([none, *(each.result for each in told)]),
        np.concatenate([none, *(each.behind for each in told)]).astype(bool),
        [pool for each in told for pool in each.pool],
        np.concatenate([nothing, *(each.variance for each in told)]),
        np.concatenate([nothing, *(each.if_common for each in told)]),
        np.concatenate([nothing, *(each.if_independent for each in told)]),
    )


@dataclass(frozen=True)
class _Grouped:
    """Terms of totals that are counted together: those of one share of a contribution, or of a pool of them."""

    rule: SharingRule
    place: Integers  # (t,) number of the group of a term: one for each pair of total and group
    owner: Integers  # (groups,) total that a group belongs to
    terms: Floats  # (t, m) [unit of the result]
    at: (
        tuple[Integers, Integers, Floats] | None
    )  # of terms at comparisons: group, comparison, and what the term is worth there
    known: Truths  # (groups,) whether every correlation within the group is known
    fewest: Floats  # (groups,) degrees of freedom; should the results of a group differ in them, the fewest
    result: Integers  # (t,) result of the term
    rows: tuple[tuple[int, slice], ...]  # contributions, and which of the terms are theirs
    behind: tuple[bool, ...]  # of each of these, whether it is of what stands behind the influence
    pool: Hashable  # by which they are counted together

    def variance(self) -> Floats:
        """(groups,) variance [unit of the result squared]."""
        groups = self.owner.size
        if self.at is None:
            return self.rule(self.terms, self.place, groups)
        return np.maximum(self._over_comparisons(*self.at), independent(self.terms, self.place, groups))

    def _over_comparisons(self, place: Integers, comparison: Integers, worth: Floats) -> Floats:
        """The rule asked of what the terms are worth at each comparison, summed first."""
        pair, group = _numbered(place, comparison, self.owner.size)
        at_each: Floats = np.bincount(pair, worth, group.size).astype(float)
        return self.rule(at_each[:, np.newaxis], group, self.owner.size)

    def attributed(self) -> Iterator[tuple[int, Floats]]:
        """Contributions, and what share (groups,) of each group's variance stands in their lines: by their sums of squares."""
        groups = self.owner.size
        of_rows = [independent(self.terms[mine], self.place[mine], groups) for _, mine in self.rows]
        whole = np.sum(of_rows, axis=0)
        for (row, _), own in zip(self.rows, of_rows, strict=True):
            yield row, np.divide(own, whole, out=np.zeros(groups), where=whole > 0)

    def not_known(self) -> NotKnown:
        """What either answer would give."""
        groups = self.owner.size
        some, row = (np.zeros(groups, dtype=np.int64) for _ in range(2))
        behind = np.ones(groups, dtype=bool)
        # What a group is named by: the first contribution that has it as its own.
        in_order = sorted(zip(self.rows, self.behind, strict=True), key=_own_first)
        for (contribution, mine), is_behind in reversed(in_order):
            place = self.place[mine]
            some[place], row[place], behind[place] = self.result[mine], contribution, is_behind
        if_common, if_independent = (rule(self.terms, self.place, groups) for rule in (common, independent))
        variance = self.variance()
        if_common, if_independent = (np.where(self.known, variance, answer) for answer in (if_common, if_independent))
        pool = [self.pool] * groups
        return NotKnown(self.owner, row, some, behind, pool, variance, if_common, if_independent)


def _own_first(rows: tuple[tuple[int, slice], bool]) -> bool:
    return rows[1]


def _grouped(
    contributions: Sequence[Contribution],
    membership: Integers,
    sign: Floats,
    totals: int,
    rules: Collection[SharingRule] | None = None,
) -> Iterator[_Grouped]:
    """Terms by what is counted together; of some rules alone where these are given."""
    inside = np.flatnonzero(membership >= 0)
    member, coefficient = membership[inside], sign[inside, np.newaxis]
    rows = {id(contribution): row for row, contribution in enumerate(contributions)}
    # Many contributions carry one and the same array of groups: it is numbered once.
    numbered: dict[tuple[int, ...], tuple[Integers, Integers]] = {}
    for pool in _pools(contributions):
        shares = [share for _, share in pool]
        ((rule, name),) = {(share.rule, share.pool) for share in shares}
        if rules is not None and rule not in rules:
            continue
        arrays = tuple(id(share.group) for share in shares)
        if arrays not in numbered:
            group = np.concatenate([share.group[inside] for share in shares])
            numbered[arrays] = _places(group, np.tile(member, len(pool)), totals)
        place, owner = numbered[arrays]
        size = inside.size
        mine = [slice(k * size, (k + 1) * size) for k in range(len(pool))]
        terms = np.concatenate([_columns(each.parts, share)[inside] * coefficient for each, share in pool])
        fewest = np.full(owner.size, np.inf)
        for of_share, (each, share) in zip(mine, pool, strict=True):
            dof = each.degrees_of_freedom if share.degrees_of_freedom is None else share.degrees_of_freedom
            if not np.all(np.isinf(dof)):
                np.minimum.at(fewest, place[of_share], dof[inside])
        at, known = _at_comparisons(shares, membership, place, terms, mine, owner.size)
        yield _Grouped(
            rule,
            place,
            owner,
            terms,
            at,
            known,
            fewest,
            np.tile(inside, len(pool)),
            tuple((rows[id(each)], of_share) for (each, _), of_share in zip(pool, mine, strict=True)),
            tuple(share.behind for share in shares),
            name,
        )


def _pools(contributions: Sequence[Contribution]) -> Iterable[list[tuple[Contribution, Share]]]:
    """Shares that are counted together, with their contributions."""
    pools: dict[Hashable, list[tuple[Contribution, Share]]] = {}
    for row, contribution in enumerate(contributions):
        for place, share in enumerate(contribution.shared):
            alone = (row, place) if share.pool is None else share.pool
            pools.setdefault(alone, []).append((contribution, share))
    return pools.values()


def _columns(parts: Floats, share: Share) -> Floats:
    return parts if share.columns is None else parts[:, share.columns]


def _at_comparisons(
    shares: Sequence[Share], membership: Integers, place: Integers, terms: Floats, mine: Sequence[slice], groups: int
) -> tuple[tuple[Integers, Integers, Floats] | None, Truths]:
    """Terms at comparisons, where all shares say where they lie, and of which groups every correlation is known."""
    lying = [share.at for share in shares if share.at is not None]
    if len(lying) < len(shares):
        return None, np.zeros(groups, dtype=bool)
    inside = membership >= 0
    (term,), row_of = terms.T, np.empty_like(membership)
    columns = []
    for at, of_share in zip(lying, mine, strict=True):
        row_of[inside] = np.arange(of_share.start, of_share.stop)
        counted = inside[at.result]
        k = row_of[at.result[counted]]
        columns.append((place[k], at.comparison[counted], term[k] * at.share[counted]))
    group, comparison, worth = (np.concatenate(column) for column in zip(*columns, strict=True))
    correlated = dict(chain.from_iterable(at.correlated for at in lying))
    return _with_correlations(group, comparison, worth, correlated, groups)


def _with_correlations(
    group: Integers, comparison: Integers, worth: Floats, correlated: Mapping[int, Floats], groups: int
) -> tuple[tuple[Integers, Integers, Floats], Truths]:
    """Terms at comparisons with one for each calibration whose correlations are known, and which groups have no other."""
    left = np.ones(group.size, dtype=bool)
    calibrations = np.zeros(groups)
    made = []
    for first, matrix in correlated.items():
        size = len(matrix)
        mine = (comparison >= first) & (comparison < first + size)
        left &= ~mine
        there = np.bincount(group[mine] * size + comparison[mine] - first, worth[mine], groups * size)
        w = there.reshape(groups, size)
        variance = np.maximum(np.einsum("gi,ij,gj->g", w, matrix, w), 0.0)
        made.append(np.copysign(np.sqrt(variance), w.sum(axis=1)))
        calibrations += np.any(w != 0, axis=1)
    others = np.bincount(group[left], np.abs(worth[left]), groups) > 0
    at = (
        np.concatenate([group[left], np.tile(np.arange(groups), len(made))]),
        np.concatenate([comparison[left], np.repeat(np.array([*correlated], dtype=np.int64), groups)]),
        np.concatenate([worth[left], *made]),
    )
    return at, (calibrations == 1) & ~others


def _places(group: Integers, membership: Integers, totals: int) -> tuple[Integers, Integers]:
    """Number of the pair of total and group that a term belongs to, and the total of each pair."""
    if np.all(group[1:] > group[:-1]):  # rising: no group stands twice
        return np.arange(group.size), membership
    return _numbered(membership, group, totals)


def _numbered(outer: Integers, inner: Integers, outers: int) -> tuple[Integers, Integers]:
    """Number of each pair of an outer number, below `outers`, and an inner one; and the outer number of each pair."""
    pairs, place = np.unique(inner * outers + outer, return_inverse=True)
    return place, pairs % outers


def covariance(contributions: Sequence[Contribution]) -> Floats:
    """(n, n) covariance matrix of the results [unit of the result squared]; memory grows with n^2.

    Where it is not known what results share it is taken as common, as among terms of one sign.
    """
    (size,) = {each.source.size for each in contributions}
    matrix = np.zeros((size, size))
    for pool in _pools(contributions):
        for contribution, share in pool:
            for other, its_share in pool:
                shared = share.group[:, np.newaxis] == its_share.group
                if share.rule is independent:
                    shared = np.eye(size, dtype=bool)
                matrix += np.where(
                    shared, _columns(contribution.parts, share) @ _columns(other.parts, its_share).T, 0.0
                )
    return matrix


def propagate(sensitivities: ArrayLike, covariance_of_inputs: ArrayLike) -> Floats:
    """Covariance matrix of results from correlated inputs: U_y = C U_x C^T (GUM 5.2.2; H.2.3).

    `sensitivities` (results, inputs) are the partial derivatives; `covariance_of_inputs` is (inputs, inputs).
    """
    c = np.asarray(sensitivities, dtype=float)
    return np.asarray(c @ np.asarray(covariance_of_inputs, dtype=float) @ c.T)
