"""What an outlet factor that was found in the field carries of the instrument that traversed the duct.

    K = q/(v A),   u(K)/K  holds the error of the calibration with which q was traversed, with the sign of q

A flow v A K so shares that error, relative to its size, with every reading by the same calibration and with every other factor
found by it: scatter, reference part and stability, as these are shared between readings (`calib.measurement.flows`). What a factor
carries is the mean over its pairs; its standard uncertainty stays what it is, and the rest of it is the factor's own. That of the
instrument at the face cancels where the reading uses its calibration (`FoundFactors`).
Source: GUM 5.2.2; own derivation.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from calib.arrays import Floats, Integers
from calib.measurement.flows import PLANT_DRIFT, Flows
from calib.measurement.standards_behind import REFERENCE_STANDARD, SCATTER, STABILITY
from calib.uncertainty.propagation import Contribution, UnlikeSeries
from calib.uncertainty.sharing import AtComparisons, Share, common, independent

_OF_CALIBRATIONS = (SCATTER, REFERENCE_STANDARD, STABILITY)
_FACTOR = "outlet factor"
_NEW_IN_EACH_TRAVERSE = frozenset({"repeatability", "resolution"})  # the spread of the pairs shows it
_OF_NO_TRAVERSE = _NEW_IN_EACH_TRAVERSE | {_FACTOR, PLANT_DRIFT}


@dataclass(frozen=True)
class Traverses:
    """The traverses that the factors of n readings were found with, among the readings that were evaluated with these."""

    of_factors: Sequence[Integers]  # for each factor the rows of its traverses, one for each pair
    factor: Integers  # (n,) index into these; -1: no such factor
    relative_reference: Floats  # (n,) relative standard uncertainty of K from its traverses [1]


def first_of(flows: Flows, size: int, points: int) -> Flows:
    """The flows of the first readings and of their points."""
    return Flows(
        flows.velocity[:size],
        tuple(_first(each, size) for each in flows.velocity_contributions),
        flows.flow[:size],
        tuple(_first(each, size) for each in flows.contributions),
        flows.point_velocity[:points],
        None if flows.by_density is None else flows.by_density[:size],
        None if flows.low is None else flows.low.first(points),
        None if flows.bend is None else flows.bend[:size],
    )


def _first(contribution: Contribution, size: int) -> Contribution:
    return Contribution(
        contribution.name,
        contribution.type_a[:size],
        contribution.parts[:size],
        contribution.source[:size],
        contribution.degrees_of_freedom[:size],
        tuple(_share_of_first(each, size) for each in contribution.shares),
        contribution.is_rectangular,
        None
        if contribution.unlike is None
        else UnlikeSeries(*(each[:size] for each in vars(contribution.unlike).values())),
    )


def _share_of_first(share: Share, size: int) -> Share:
    dof, at = share.degrees_of_freedom, share.at
    if at is not None:
        mine = at.result < size
        at = replace(at, result=at.result[mine], comparison=at.comparison[mine], share=at.share[mine])
    return replace(share, group=share.group[:size], at=at, degrees_of_freedom=None if dof is None else dof[:size])


def with_what_factors_carry(
    flows: Flows, contributions: Sequence[Contribution], traverses: Traverses
) -> tuple[Contribution, ...]:
    """The contributions of the first n readings, their factors sharing what they carry; `flows` has the traverses too."""
    return tuple(_carrying(each, flows, traverses) if each.name == _FACTOR else each for each in contributions)


def _carrying(own: Contribution, flows: Flows, traverses: Traverses) -> Contribution:
    size, (u,) = own.source.size, own.parts.T
    flow = flows.flow[:size]
    borne = [_of_factors(each, share, flows.flow, traverses) for each, share in _shared_along_calibrations(flows)]
    borne = [each for each in borne if np.any(each.relative)]
    if not borne:
        return own
    of_rows = np.concatenate([each.of_rows(traverses.factor) for each in borne], axis=1)
    whole = np.linalg.norm(of_rows, axis=1)
    # A mean over the pairs of what has several parts is no more than what the factor says of its traverses, to rounding.
    at_most = np.minimum(whole, traverses.relative_reference)
    of_rows *= (flow * np.divide(at_most, whole, out=np.ones(size), where=whole > 0))[:, np.newaxis]
    rest = np.sqrt(np.maximum(u**2 - np.sum(of_rows**2, axis=1), 0.0))
    left = np.divide(rest, np.abs(u), out=np.ones(size), where=u != 0)
    # Its degrees of freedom are those of what is left: the rest is taken as exactly known, as in the whole.
    dof = np.where(left > 0, own.degrees_of_freedom * left**4, np.inf)
    shares, first = [Share(own.source, common, slice(0, 1), degrees_of_freedom=dof)], 1
    for each in borne:
        end = first + each.relative.shape[1]
        shares.append(each.share(traverses.factor, slice(first, end)))
        first = end
    return replace(own, parts=np.column_stack([rest, of_rows]), shares=tuple(shares))


def _shared_along_calibrations(flows: Flows) -> Iterator[tuple[Floats, Share]]:
    """Parts that errors of calibrations make, and how they are shared."""
    for each in flows.contributions:
        for share in each.shares:
            if share.pool in _OF_CALIBRATIONS:
                yield each.parts if share.columns is None else each.parts[:, share.columns], share


@dataclass(frozen=True)
class _OfFactors:
    """What F factors carry of one influence of their traverses, relative to the flow."""

    relative: Floats  # (F, w)
    group: Integers  # (F,) of the traverses' calibration; a group of nobody where it carries nothing
    along: Sequence[tuple[Integers, Floats]]  # for each factor comparisons, and what of it stands there
    of: Share

    def of_rows(self, factor: Integers) -> Floats:
        """(n, w) relative parts of readings with the factors."""
        return np.where((factor >= 0)[:, np.newaxis], self.relative[factor], 0.0)

    def share(self, factor: Integers, columns: slice) -> Share:
        """How readings with the factors share it."""
        nobody = int(self.of.group.max()) + 1
        at = self.of.at
        if at is not None:
            rows = [np.flatnonzero(factor == place) for place in range(len(self.along))]
            at = replace(
                at,
                result=np.concatenate(
                    [np.repeat(mine, where.size) for mine, (where, _) in zip(rows, self.along, strict=True)]
                ),
                comparison=np.concatenate(
                    [np.tile(where, mine.size) for mine, (where, _) in zip(rows, self.along, strict=True)]
                ),
                share=np.concatenate(
                    [np.tile(worth, mine.size) for mine, (_, worth) in zip(rows, self.along, strict=True)]
                ),
            )
        group = np.where(factor >= 0, self.group[factor], nobody)
        return replace(self.of, group=group, columns=columns, at=at, degrees_of_freedom=None)


def _of_factors(parts: Floats, share: Share, flow: Floats, traverses: Traverses) -> _OfFactors:
    relative = np.zeros((len(traverses.of_factors), parts.shape[1]))
    group = np.full(len(traverses.of_factors), int(share.group.max()) + 1)
    along = []
    for place, rows in enumerate(traverses.of_factors):
        where, worth = np.zeros(0, dtype=np.int64), np.zeros(0)
        calibration, *others = np.unique(share.group[rows])
        # Traverses by several calibrations: none of them is the one that the factor carries.
        if not others:
            each = parts[rows] / flow[rows, np.newaxis] / rows.size
            relative[place], group[place] = each.sum(axis=0), calibration
            if share.at is not None and relative[place].any():
                weight = np.zeros_like(flow)
                weight[rows] = (each / relative[place]).ravel()
                where, worth = _along(share.at, rows, weight)
        along.append((where, worth))
    return _OfFactors(relative, group, along, share)


def _along(at: AtComparisons, rows: Integers, weight: Floats) -> tuple[Integers, Floats]:
    """Comparisons at which the results `rows` bear their error, and their shares there, each by its weight (n,)."""
    entries = np.isin(at.result, rows)
    where, index = np.unique(at.comparison[entries], return_inverse=True)
    worth = at.share[entries] * weight[at.result[entries]]
    return where, np.bincount(index, worth, where.size).astype(np.float64, copy=False)


@dataclass(frozen=True)
class FoundInDuct:
    """An outlet and the duct that its factor was found in, by their rows in the flows, with those of the factor's traverses."""

    duct: int
    outlet: int
    traverses: tuple[int, ...]
    relative_reference: float  # standard uncertainty of K from its traverses [1]


def for_their_difference(flows: Flows, pairing: FoundInDuct) -> Flows:
    """The flows, with what a duct and an outlet both bear of the traverses in the row of the duct, as far as it does not cancel.

        q_outlet = v A K,   K from q_i of the traverses:     q_duct (e_duct/q_duct - mean(e_i/q_i) q_outlet/q_duct)

    Whatever errs in every traverse of the duct alike (method, section, density, calibrations) stands in both with its sign. The
    density of air that the reading at the outlet rests on too is left as it is: K has it less its own at the face.
    """
    borne = list(_borne_by_both(flows, pairing))
    whole = np.sqrt(sum(float(parts @ parts) for _, _, parts in borne))
    at_most = min(whole, pairing.relative_reference * flows.flow[pairing.outlet])
    contributions = list(flows.contributions)
    for place, columns, parts in borne:
        net = contributions[place].parts.copy()
        net[pairing.duct, columns] -= parts * (at_most / whole)
        contributions[place] = replace(contributions[place], parts=net)
    for place, each in enumerate(contributions):
        if each.name == _FACTOR and whole > 0:
            contributions[place] = _less(each, pairing.outlet, at_most)
    return replace(flows, contributions=tuple(contributions))


def _borne_by_both(flows: Flows, pairing: FoundInDuct) -> Iterator[tuple[int, slice, Floats]]:
    """What the outlet bears through its factor of each influence that errs alike in the duct and in all its traverses."""
    rows, flow = np.array(pairing.traverses), flows.flow
    for place, each in enumerate(flows.contributions):
        if each.name in _OF_NO_TRAVERSE:
            continue
        for share in each.shared:
            columns = slice(None) if share.columns is None else share.columns
            group = share.group[pairing.duct]
            is_at_both = share.group[pairing.outlet] == group and bool(np.any(each.parts[pairing.outlet, columns]))
            is_left = is_at_both and share.pool not in _OF_CALIBRATIONS
            if share.rule is not independent and np.all(share.group[rows] == group) and not is_left:
                relative = each.parts[rows, columns] / flow[rows, np.newaxis]
                yield place, columns, flow[pairing.outlet] * relative.mean(axis=0)


def _less(factor: Contribution, row: int, borne: float) -> Contribution:
    """The line of the factors, at one row without what it bears of the traverses."""
    whole = np.sqrt(factor.variance)
    left = whole.copy()
    left[row] = np.sqrt(max(whole[row] ** 2 - borne**2, 0.0))
    share = np.divide(left, whole, out=np.ones_like(whole), where=whole > 0)
    dof = np.where(share > 0, factor.degrees_of_freedom * share**4, np.inf)
    return replace(factor, parts=left[:, np.newaxis], shares=(), degrees_of_freedom=dof)
