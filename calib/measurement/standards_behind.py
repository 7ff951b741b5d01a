"""What the reference part of a reading bears of the calibrations of the reference standards behind its own.

A calibration in house takes its reference values from a standard's corrected indications: what is uncertain of the standard's own
calibration is in error together in everything that was calibrated with it, and in what is measured with the standard itself. With
f_jq the share of the part q of a standard's calibration in the standard uncertainty u_j of the reference value at comparison j, a
reading with the reference part r, between comparisons by the hat functions phi_j,

    bears  r_q = r sum_j phi_j u_j f_jq / sum_j phi_j u_j      and by itself      r_own^2 = r^2 - sum_q r_q^2

so that each keeps its own standard uncertainty. The parts q are the standard's own reference part and its stability, each at the
comparisons of its calibration, and the scatter in the directions of its curve; a standard behind a standard has the same.

Source: GUM 5.2.2 and F.1.2.3 (correlation by a common standard: C.3.6 and 5.2.4); the rule along comparisons is that of
`calib.uncertainty.sharing`.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from calib.arrays import Floats, Integers
from calib.measurement.at_comparisons import Neighbours, at_comparisons, normalised
from calib.measurement.readings import Readings, StandardBehind
from calib.uncertainty.sharing import AtComparisons, Share, common, not_known, not_known_of_a_change

# Contributions that are counted together, whichever line of a budget they stand in.
REFERENCE_STANDARD = "reference standard"
SCATTER = "calibration scatter"
STABILITY = "stability"


@dataclass(frozen=True)
class ReferenceShared:
    """The reference part of n readings as it is shared."""

    parts: Floats  # (n, q) by itself, then what is borne of each standard [unit of the value]
    shares: tuple[Share, ...]  # of those columns


@dataclass(frozen=True)
class OfReadings:
    """The reference part of readings that are made of P points."""

    along: Neighbours  # of the points, along the calibrations
    whole: Floats  # (n,) reference part
    borne: Floats  # (P,) what it does to the reading at each point
    reading: Integers | None  # (P,) None: each reading is its one point

    def sums(self, points: Floats) -> Floats:
        """(n,) sums over the points (P,) of each reading."""
        if self.reading is None:
            return points
        return np.bincount(self.reading, points, self.whole.size).astype(np.float64, copy=False)


def reference_of(readings: Readings, of: OfReadings, laboratory: Integers, first: int = 0) -> ReferenceShared:
    """The reference part with what is shared of it; `laboratory` (n,) groups what no standard of the register accounts for.

    One laboratory calibrates one quantity by one standard: what two of its certificates share of it is not known. `first` is the
    column of the contribution at which these parts begin.
    """
    u = np.concatenate([curve.reference_uncertainties for curve in readings.curves])
    behind = _over_all_comparisons(readings)
    columns = slice(first, first + 1)
    if not behind:
        at = replace(at_comparisons(of.along, u, of.borne, of.reading), correlated=_correlated(readings))
        return ReferenceShared(
            of.whole[:, np.newaxis], (Share(laboratory, not_known, columns, at, REFERENCE_STANDARD),)
        )
    own = np.sqrt(np.maximum(1.0 - sum(_squares(standard) for standard in behind), 0.0))
    at = replace(at_comparisons(of.along, u * own, of.borne, of.reading), correlated=_correlated(readings))
    parts: list[Floats] = []
    shares = [Share(laboratory, not_known, columns, at, REFERENCE_STANDARD)]
    for standard in behind:
        place = first + 1 + sum(part.shape[1] for part in parts)
        borne, of_standard = _borne(readings, of, u, standard, place)
        parts.append(borne)
        shares.extend(of_standard)
    of_standards = np.concatenate(parts, axis=1)
    rest = np.sign(of.whole) * np.sqrt(np.maximum(of.whole**2 - np.sum(of_standards**2, axis=1), 0.0))
    return ReferenceShared(np.column_stack([rest, of_standards]), tuple(shares))


def _correlated(readings: Readings) -> tuple[tuple[int, Floats], ...]:
    """Correlations that certificates state, by their first comparison; of those made in house the standard tells more closely."""
    calibrations = readings.calibrations
    behind = calibrations.standards if calibrations is not None else ()
    known, first = [], 0
    for place, curve in enumerate(readings.curves):
        if curve.reference_correlation is not None and not (behind and behind[place]):
            known.append((first, curve.reference_correlation))
        first += curve.reference_indications.size
    return tuple(known)


def _over_all_comparisons(readings: Readings) -> list[StandardBehind]:
    """What each standard is worth at the comparisons of all curves, in their order; rows of 0 where it does not stand behind."""
    calibrations = readings.calibrations
    if calibrations is None:
        return []
    standards = {each.standard: each for behind in calibrations.standards for each in behind}
    return [_stacked(readings, known) for _, known in sorted(standards.items())]


def _stacked(readings: Readings, like: StandardBehind) -> StandardBehind:
    assert readings.calibrations is not None  # noqa: S101 (asked before)
    rows: list[StandardBehind] = []
    for curve, behind in zip(readings.curves, readings.calibrations.standards, strict=True):
        own = [each for each in behind if each.standard == like.standard]
        rows += own or [like.nothing(curve.reference_indications.size)]
    return StandardBehind(
        like.standard,
        np.concatenate([each.reference for each in rows]),
        np.concatenate([each.scatter for each in rows]),
        np.concatenate([each.stability for each in rows]),
    )


def _squares(standard: StandardBehind) -> Floats:
    """Share of a standard in the variance at each comparison."""
    along = [standard.reference.sum(axis=1) ** 2, standard.stability.sum(axis=1) ** 2]
    return np.asarray(sum(along) + np.sum(standard.scatter**2, axis=1))


def _borne(
    readings: Readings, of: OfReadings, u: Floats, standard: StandardBehind, place: int
) -> tuple[Floats, Iterator[Share]]:
    """What readings bear of one standard, (n, 2 + p), and how it is shared; the first column is number `place`."""
    reference, scatter, stability = (
        between_comparisons(of.along, u, rows) for rows in (standard.reference, standard.scatter, standard.stability)
    )
    width = max(curve.parts for curve in readings.curves)
    directions = np.zeros((of.whole.size, width))
    for column, shares in enumerate(scatter.T):
        directions[:, column] = of.sums(of.borne * shares)
    own = [of.sums(of.borne * shares.sum(axis=1)) for shares in (reference, stability)]
    borne = np.column_stack([own[0], directions, own[1]])
    return borne, _shares(readings, of, standard.standard, place, width, (reference, stability))


def _shares(
    readings: Readings, of: OfReadings, standard: int, place: int, width: int, along: tuple[Floats, Floats]
) -> Iterator[Share]:
    assert readings.calibrations is not None  # noqa: S101 (there is a standard)
    reference, stability = (_at(readings, of, standard, shares) for shares in along)
    reference = replace(reference, correlated=_correlated(readings))
    # Where it stands behind nothing, a group of its own that is worth 0.
    touched = of.sums(np.abs(of.borne) * sum(shares.sum(axis=1) for shares in along)) > 0
    nobody = len(readings.curves) + 1
    laboratory = np.where(touched, readings.calibrations.laboratory[standard], nobody)
    calibration = np.where(touched, standard, nobody)
    end = place + 1 + width
    yield Share(laboratory, not_known, slice(place, place + 1), reference, REFERENCE_STANDARD, behind=True)
    yield Share(calibration, common, slice(place + 1, end), pool=SCATTER, behind=True)
    yield Share(calibration, not_known_of_a_change, slice(end, end + 1), stability, STABILITY, behind=True)


def _at(readings: Readings, of: OfReadings, standard: int, shares: Floats) -> AtComparisons:
    """At which comparisons of the standard's calibration readings bear it, from the shares (P, m) of their points."""
    before = sum(curve.reference_indications.size for curve in readings.curves[:standard])
    points = np.flatnonzero(shares.sum(axis=1) > 0)
    size = shares.shape[1]
    owner = points if of.reading is None else of.reading[points]
    weight = np.abs(of.borne[points, np.newaxis]) * shares[points]
    comparison = np.tile(before + np.arange(size), points.size)
    return normalised(np.repeat(owner, size), comparison, weight.ravel(), np.zeros(weight.size))


def between_comparisons(along: Neighbours, u: Floats, rows: Floats) -> Floats:
    """(P, q) shares between comparisons, of which `rows` (N, q) has those at each: by hat functions of what is worth u there."""
    low, high = (1.0 - along.way) * u[along.left], along.way * u[along.right]
    both = low + high
    right = np.divide(high, both, out=along.way.copy(), where=both > 0)[:, np.newaxis]
    return np.asarray((1.0 - right) * rows[along.left] + right * rows[along.right])
