"""What moves the density of the air, and with it the flows of n readings.

The air is told by its influences: what single indications have by themselves, what the calibrations behind them share, what was
stated or declared. A flow with the slope s = dq/d ln rho bears s times each.

An instrument has one error in all that it is used for. A manometer that shows the velocity pressure and the static pressure of the
same air moves the flow in two ways by the scatter, the reference part and the change of its one calibration: their sensitivities
add, sign and all, before anything is squared (GUM 5.2.2, F.1.2.3), in the lines of the budget that its calibration has. In readings
by other instruments, in that air, the same errors stand in the line of the density, and are counted together with those.

Decision (2026-11-29). Calibrations by which nothing but the air was observed are common, sign and all: one thermometer in several
sets of conditions. Options: not known along their comparisons, as those of instruments that show a flow (their errors are
hundreds of times less of it, and a barometer would not cancel from a net flow). Cost: two rules, told apart by who else uses the
calibration.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from calib.arrays import Floats, Integers
from calib.measurement.at_comparisons import at_comparisons, neighbours
from calib.measurement.readings import AirOfReadings, ObservedBy, Readings
from calib.measurement.standards_behind import (
    REFERENCE_STANDARD,
    SCATTER,
    STABILITY,
    OfReadings,
    reference_of,
)
from calib.uncertainty.propagation import Contribution, welch_satterthwaite
from calib.uncertainty.sharing import AtComparisons, Share, common, common_within_a_sign, not_known_of_a_change

DENSITY, NOT_OBSERVED = "density", "air temperature not observed"  # lines of a budget
_OF_CALIBRATION = (SCATTER, REFERENCE_STANDARD, STABILITY)
_INSTRUMENTS = "instruments of the air"  # counted together, since one thermometer may be in several slots


@dataclass(frozen=True)
class InfluencesOfAir:
    """Contributions to ln rho: a flow bears them times dq/d ln rho."""

    density: Floats  # (n,) [kg/m3]; NaN where it is not known
    of_instrument: Sequence[Contribution]  # by the calibration of the reading's instrument, in the lines that this has
    of_air: Contribution  # all others, but
    not_observed: Contribution  # a declared range of temperature

    def borne(self, lines: Sequence[Contribution], slope: Floats) -> tuple[Contribution, ...]:
        """Lines of a budget with what the reading's own instrument brings through the air, at dq/d ln rho (n,)."""
        own = {each.name: each for each in self.of_instrument}
        return tuple(_added(line, own[line.name], slope) if line.name in own else line for line in lines)

    def lines(self, slope: Floats) -> tuple[Contribution, ...]:
        """The lines of the air at dq/d ln rho (n,)."""
        return _times(self.of_air, slope), _times(self.not_observed, slope)


def influences_of_air(air: AirOfReadings, readings: Readings | None = None) -> InfluencesOfAir:
    """Contributions to ln rho for the first n of the readings; without these the instruments that show a flow are not known."""
    columns, shares = _Columns(), list[Share]()
    observed, of_instrument = list[ObservedBy](), list[_Uses]()
    nobody = len(() if readings is None else readings.curves)
    for by in air.of_calibrations:
        curve = _curve_of(air.identifiers, readings, nobody)[by.calibration]
        if readings is not None:
            own = curve == readings.calibration[: curve.size]
            others = (curve < nobody) & ~own
            if own.any():
                of_instrument.append(_Uses(by.at(own), curve))
            if others.any():
                uses = _Uses(by.at(others), np.where(others, curve, nobody))
                observed.append(uses.observed)
                shares += _shared_with_instruments(uses, readings, columns)
        if np.any(curve == nobody):
            alone = by.at(curve == nobody)
            observed.append(alone)
            shares += _shared_by_observers(alone, columns)
    whole_job, exactly = np.zeros(air.density.size, dtype=np.int64), np.full(air.density.size, np.inf)
    shares += [
        Share(air.conditions, common, columns.add(air.own), degrees_of_freedom=exactly),
        Share(whole_job, common, columns.add(air.pressure[:, np.newaxis]), degrees_of_freedom=exactly),
        Share(whole_job, common_within_a_sign, columns.add(air.stated), degrees_of_freedom=exactly),
    ]
    parts = columns.stacked()
    none = np.zeros(air.density.size, dtype=bool)
    dof = _degrees_of_freedom(parts, observed)
    of_air = Contribution(DENSITY, none, parts, air.conditions, dof, tuple(shares))
    own_lines = () if readings is None else tuple(_lines_of_instruments(of_instrument, readings))
    return InfluencesOfAir(air.density, own_lines, of_air, not_observed(air.not_observed))


def not_observed(u: Floats) -> Contribution:
    """What declared temperatures contribute: a stream of air shares its own, and supply and return have nothing in common."""
    streams, exactly = np.zeros(u.size, dtype=np.int64), np.full(u.size, np.inf)
    type_a, shares = np.zeros(u.size, dtype=bool), (Share(streams, common_within_a_sign),)
    return Contribution(NOT_OBSERVED, type_a, u[:, np.newaxis], streams, exactly, shares)


@dataclass
class _Columns:
    """Columns of parts, side by side."""

    blocks: list[Floats] = field(default_factory=list)

    def add(self, block: Floats) -> slice:
        """Where the new columns stand."""
        first = self.count
        self.blocks.append(block)
        return slice(first, self.count)

    @property
    def count(self) -> int:
        """How many there are."""
        return sum(block.shape[1] for block in self.blocks)

    def stacked(self) -> Floats:
        """All of them (n, columns)."""
        return np.concatenate(self.blocks, axis=1)


@dataclass(frozen=True)
class _Uses:
    """Indications of the conditions by calibrations that have curves among those of the readings."""

    observed: ObservedBy
    curve: Integers  # (n,) index into the curves; their number: none of them, and parts of 0

    def along(self, readings: Readings, u: Floats, parts: Floats) -> tuple[OfReadings, AtComparisons]:
        """What parts (n, m) of ln rho bear along the calibrations, and the shares of that where the comparisons are worth u."""
        rows, which = np.nonzero(parts)
        x = self.observed.indication[rows, which]
        beside = neighbours([curve.reference_indications for curve in readings.curves], self.curve[rows], x)
        borne = parts[rows, which]
        of = OfReadings(beside, parts.sum(axis=1), borne, rows)
        return of, at_comparisons(beside, u, borne, rows)

    def group(self, numbers: Integers) -> Integers:
        """(n,) the number of each curve, and a group of nobody elsewhere."""
        return np.append(numbers, len(numbers))[self.curve]


def _curve_of(identifiers: Sequence[int], readings: Readings | None, nobody: int) -> Integers:
    """Index into the curves of each calibration, `nobody` where it has none; the last for what no instrument observed."""
    known = () if readings is None or readings.calibrations is None else readings.calibrations.identifier
    place = {identifier: index for index, identifier in enumerate(known)}
    return np.array([*(place.get(identifier, nobody) for identifier in identifiers), nobody])


def _shared_by_observers(observed: ObservedBy, columns: _Columns) -> Iterator[Share]:
    for name, parts, dof in zip(_OF_CALIBRATION, observed.parts(), observed.degrees_of_freedom.T, strict=True):
        pool = _INSTRUMENTS, name
        yield Share(observed.calibration, common, columns.add(parts), pool=pool, degrees_of_freedom=dof)


def _shared_with_instruments(uses: _Uses, readings: Readings, columns: _Columns) -> Iterator[Share]:
    lines = _in_lines(uses, readings, columns.count + _width(readings))
    for each, dof in zip(lines, uses.observed.degrees_of_freedom.T, strict=True):
        place = columns.add(each.parts)
        for share in each.shares:
            at = place if share.columns is None else share.columns
            yield replace(share, columns=at, degrees_of_freedom=dof)


def _width(readings: Readings) -> int:
    """Columns of the scatter of all calibrations."""
    return max(curve.parts for curve in readings.curves)


def _in_lines(uses: _Uses, readings: Readings, reference_at: int = 0) -> Iterator[Contribution]:
    """What the calibrations do to ln rho, as it stands in the lines of instruments; the reference parts begin at a column."""
    observed, size = uses.observed, uses.curve.size
    none, exactly = np.zeros(size, dtype=bool), np.full(size, np.inf)
    known = readings.calibrations
    assert known is not None  # noqa: S101 (else no calibration has a curve)
    scatter = np.zeros((size, _width(readings)))
    scatter[:, : observed.scatter.shape[1]] = observed.scatter[:, : scatter.shape[1]]
    group = uses.group(np.arange(len(readings.curves)))
    yield Contribution(SCATTER, none, scatter, group, exactly, (Share(group, common, pool=SCATTER),))
    u = np.concatenate([curve.reference_uncertainties for curve in readings.curves])
    of, _ = uses.along(readings, u, observed.reference)
    borne = reference_of(readings, of, uses.group(known.laboratory), reference_at)
    yield Contribution(REFERENCE_STANDARD, none, borne.parts, group, exactly, borne.shares)
    _, at = uses.along(readings, np.concatenate(known.stability), observed.stability)
    share = Share(group, not_known_of_a_change, at=at, pool=STABILITY)
    yield Contribution(STABILITY, none, observed.stability.sum(axis=1)[:, np.newaxis], group, exactly, (share,))


def _lines_of_instruments(uses: Sequence[_Uses], readings: Readings) -> Iterator[Contribution]:
    """The same of the readings' own instruments, of several slots together."""
    for several in zip(*(_in_lines(each, readings) for each in uses), strict=True):
        whole, *others = several
        for other in others:
            whole = _added(whole, other, np.ones(whole.source.size))
        yield whole


def _times(contribution: Contribution, slope: Floats) -> Contribution:
    return replace(contribution, parts=contribution.parts * slope[:, np.newaxis])


def _added(line: Contribution, other: Contribution, slope: Floats) -> Contribution:
    """A line with errors that stand in it already, by further sensitivities (n,): they add before anything is squared."""
    more = other.parts * slope[:, np.newaxis]
    shares = (_both(*pair, line.parts, more) for pair in zip(line.shared, other.shared, strict=True))
    return replace(line, parts=line.parts + more, shares=tuple(shares))


def _both(share: Share, of_other: Share, parts: Floats, more: Floats) -> Share:
    """The share of both together: along the comparisons by what they bear there, signs and all."""
    if share.at is None:
        return share
    assert of_other.at is not None  # noqa: S101 (the same line of the same calibration)
    columns = slice(None) if share.columns is None else share.columns  # of one error, and so one column
    old, new = parts[:, columns].sum(axis=1), more[:, columns].sum(axis=1)
    together = old + new
    of_new = np.divide(new, together, out=np.zeros_like(new), where=together != 0)
    worth = share.at.share * (1.0 - of_new)[share.at.result], of_other.at.share * of_new[of_other.at.result]
    result = np.concatenate([share.at.result, of_other.at.result])
    comparison = np.concatenate([share.at.comparison, of_other.at.comparison])
    return replace(share, at=replace(share.at, result=result, comparison=comparison, share=np.concatenate(worth)))


def _degrees_of_freedom(parts: Floats, observed: Sequence[ObservedBy]) -> Floats:
    """(n,) effective degrees of freedom of ln rho; what is not of a calibration is taken as exactly known."""
    of_each = [np.linalg.norm(part, axis=1) for by in observed for part in by.parts()]
    dof = [column for by in observed for column in by.degrees_of_freedom.T]
    rest = np.sqrt(np.maximum(np.sum(parts**2, axis=1) - sum((u**2 for u in of_each), np.zeros(len(parts))), 0.0))
    return welch_satterthwaite(np.column_stack([*of_each, rest]), np.column_stack([*dof, np.full(len(parts), np.inf)]))
