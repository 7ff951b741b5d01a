"""Compare a method with traverses, by pairs of readings of one flow; nothing is written.

    d_i = q_method/q_traverse - 1

From d_i come a single figure; for each kind of opening and direction of the air the two of `common_and_own`: what readings by the
method share and what each has by itself, told apart by the jobs in which the pairs were measured; and what scatters between days,
and between operators, beyond the scatter within one (GUM H.5, `calib.uncertainty.components`).

What the two readings' own budgets explain of d_i leaves out the contribution of the method in question, and what both share (one
instrument, one set of conditions) as far as it cancels; that of the traverse's method stays in, since it scatters d_i too.
"""

from collections.abc import Callable, Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from sqlmodel import Session, select

from calib.arrays import Floats, by_kind
from calib.errors import BadInputError, Finding
from calib.measurement import METHOD
from calib.procedures.measure.arrays import kind_of_opening
from calib.procedures.measure.standing import Standing
from calib.procedures.on_record.methods import method_named, methods_in_force
from calib.procedures.pairs.paired_readings import (
    PAIR,
    Paired,
    cautions_of_times,
    flow,
    measured,
    pairs_of,
    relative_ratio_uncertainty,
)
from calib.records.record import RecordCells, typed
from calib.records.tables.factors import FactorPair, FoundFactor
from calib.records.tables.methods import Method
from calib.records.tables.readings import Reading, Refusal
from calib.uncertainty.components import Components, components_of
from calib.uncertainty.paired import CommonAndOwn, PairedComparison, cautions_about, common_and_own, paired

# What is new in each pair; all else the pairs may share.
_OF_EACH = frozenset({"repeatability", "resolution"})
_OF_EACH_TRAVERSE = _OF_EACH | {"method own"}


@dataclass(frozen=True)
class FiguresOfKind:
    """Both figures of a method at one kind of opening, in one direction of the air."""

    outlet_type: str  # "" where the outlets name none
    service: str  # of the first of its pairs
    jobs: tuple[str, ...]
    pairs: int
    figures: CommonAndOwn


@dataclass(frozen=True)
class MethodCompared:
    """A method beside traverses; arrays (n,) over the pairs."""

    method: Method
    pairs: tuple[Paired, ...]
    explained: Floats  # relative standard uncertainty of each difference without the method's own [1]
    comparison: PairedComparison
    cautions: tuple[str, ...]
    kinds: tuple[FiguresOfKind, ...]  # those of which two pairs stand in one job
    components: Mapping[str, Components]  # of the differences, by what groups them: BETWEEN, where that can be told


def methods(session: Session) -> list[RecordCells]:
    """Every method as it was declared, with the number of readings taken with it."""
    used = [method for table in (Reading, Refusal) for method in session.exec(select(table.method_id))]
    methods = sorted(methods_in_force(session).values(), key=lambda method: method.method)
    return [typed(method, "id") | {"readings": used.count(method.id or 0)} for method in methods]


def compare_method(session: Session, name: str, pairs: Sequence[str], now: datetime) -> MethodCompared:
    """Compare a method by pairs typed as TRAVERSE:READING; raises NotInRecordsError, or BadInputError with every finding."""
    method = method_named(session, name).now
    compared = pairs_of(session, pairs, now)
    findings = [*compared.findings, *_of_methods(method, compared.sound)]
    if findings:
        raise BadInputError(findings)
    ratio = np.array([flow(pair.other) / flow(pair.traverse) for pair in compared.sound])
    explained = ratio * [_explained(pair) for pair in compared.sound]
    comparison = paired(ratio - 1.0, explained)
    components = {name: each for name, of in BETWEEN.items() if (each := _components(compared.sound, ratio, of))}
    told = (*cautions_about(comparison), *_that_differ(components), *_cautions(session, compared.sound))
    kinds = tuple(_kinds(compared.sound, ratio))
    return MethodCompared(method, compared.sound, explained, comparison, told, kinds, components)


# What may make differences alike within a group of pairs: the readings by the method tell it.
BETWEEN: Mapping[str, Callable[[Standing], Hashable]] = {
    "days": lambda reading: reading.at.date(),
    "operators": lambda reading: reading.reading.operator,
}


def _components(pairs: Sequence[Paired], ratio: Floats, of: Callable[[Standing], Hashable]) -> Components | None:
    """Components of variance of the differences; None where all pairs, or none, stand in one group."""
    groups = [of(measured(pair.other)) for pair in pairs]
    return components_of((ratio - 1.0).tolist(), groups) if 1 < len(set(groups)) < len(groups) else None


def _that_differ(components: Mapping[str, Components]) -> Iterator[str]:
    for name, each in components.items():
        if each.differ:
            yield (
                f"{name} differ (F = {each.f:.3g}, 95 % quantile {each.quantile:.3g}): pairs of one tell little of another; over "
                f"{each.groups} of them the mean has u = {100.0 * each.standard_uncertainty:.2g} %"
            )


def _kinds(pairs: Sequence[Paired], ratio: Floats) -> Iterator[FiguresOfKind]:
    firsts, kind = by_kind(pairs, lambda pair: kind_of_opening(measured(pair.other)))
    job = np.array([pair.other.evaluation.job.job for pair in pairs])
    own, shared = (
        ratio * [relative_ratio_uncertainty(pair, of_traverse, of_other) for pair in pairs]
        for of_traverse, of_other in (
            (_OF_EACH_TRAVERSE.__contains__, _OF_EACH.__contains__),
            (lambda name: name not in _OF_EACH_TRAVERSE, lambda name: name not in METHOD | _OF_EACH),
        )
    )
    for place, first in enumerate(firsts):
        mine = kind == place
        jobs = tuple(dict.fromkeys(job[mine].tolist()))
        if mine.sum() > len(jobs):
            outlet = measured(first.other).outlet
            figures = common_and_own(ratio[mine] - 1.0, job[mine], own[mine], shared[mine])
            yield FiguresOfKind(outlet.outlet_type or "", outlet.service, jobs, int(mine.sum()), figures)


def _of_methods(method: Method, pairs: Sequence[Paired]) -> Iterator[Finding]:
    for pair in pairs:
        expected = _expected(method, pair)
        if expected is not None:
            yield Finding.typed(PAIR, pair.typed, expected)


def _expected(method: Method, pair: Paired) -> str | None:
    traverse, other = measured(pair.traverse), measured(pair.other)
    if other.method.id != method.id:
        return f"a reading with the method {method.method} second; reading {other.reading.id} has {other.method.method}"
    if traverse.method.id == method.id:
        return f"a traverse by another method first; reading {traverse.reading.id} has {method.method} itself"
    if not (flow(pair.traverse) > 0 and flow(pair.other) > 0):
        return f"air that moves: {flow(pair.traverse):.4g} m3/s in the duct, {flow(pair.other):.4g} m3/s by the method"
    return None


def _explained(pair: Paired) -> float:
    return relative_ratio_uncertainty(pair, lambda _: True, lambda name: name not in METHOD)


def _cautions(session: Session, pairs: Sequence[Paired]) -> Iterator[str]:
    for pair in pairs:
        traverse, other = measured(pair.traverse), measured(pair.other)
        yield from cautions_of_times(pair.typed, traverse.reading.observed_at, other.reading.observed_at)
        if other.factor is not None and other.reading.id in _faces(session, other.factor):
            yield (
                f"pair {pair.typed}: the factor {other.factor.factor} was found from reading {other.reading.id} itself, "
                "so that both flows agree on average: compare with readings taken since"
            )


def _faces(session: Session, factor: FoundFactor) -> Sequence[int]:
    """Numbers of the face readings that a factor was found from."""
    query = select(FactorPair.face_reading_id).where(FactorPair.found_factor_id == factor.id)
    return session.exec(query).all()
