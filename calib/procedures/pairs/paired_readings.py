"""Pairs of readings of one flow: one in the duct, one by the method in question, each within its evaluated job."""

import re
from collections.abc import Callable, Container, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

import numpy as np
from sqlmodel import Session

from calib.errors import Finding, NotInRecordsError, RefusedError, Step
from calib.measurement import Flows
from calib.procedures.measure.evaluate import Evaluation, Measured
from calib.procedures.measure.reading_in_job import ReadingInJob, reading_in_job
from calib.records.record import moment
from calib.records.tables import DUCT
from calib.uncertainty.propagation import Contribution, covariance, propagate

PAIR = "pair"
FEWEST = 2  # pairs: one shows no spread
LONG_APART = timedelta(hours=1)  # beyond it a caution: a judgement, no source

Kept = Callable[[str], bool]  # name of a contribution -> whether it counts

_NUMBERS = re.compile(r"\s*(\d{1,18})\s*:\s*(\d{1,18})\s*", re.ASCII)


@dataclass(frozen=True)
class Paired:
    """Two readings of one flow that stand."""

    typed: str
    traverse: ReadingInJob  # in the duct
    other: ReadingInJob


@dataclass(frozen=True)
class Pairs:
    """Pairs as typed: those that can be used, and what is wrong with the others."""

    sound: tuple[Paired, ...]
    findings: tuple[Finding, ...]


def pairs_of(session: Session, typed: Sequence[str], now: datetime) -> Pairs:
    """Pairs typed as TRAVERSE:OTHER by the numbers of the readings, their jobs evaluated as the records count now.

    There are two pairs or more; each reading is there, stands, and is used once; the first of a pair was taken in a duct.
    """
    looking = _Looking(session, now)
    sound, findings = [], []
    if len(typed) < FEWEST:
        few = f"at least {FEWEST} pairs, since one shows no spread"
        findings.append(Finding.typed(PAIR, ", ".join(typed), few))
    for one in typed:
        pair, wrong = looking.at(one)
        findings += [Finding.typed(PAIR, one, expected) for expected in wrong]
        if pair is not None:
            sound.append(pair)
    return Pairs(tuple(sound), tuple(findings))


@dataclass
class _Looking:
    """Readings looked up one pair after the other: each job is evaluated once, each reading used once."""

    session: Session
    now: datetime
    used: dict[int, str] = field(default_factory=dict)  # number of a reading -> the pair in which it stands
    evaluations: dict[str, Evaluation] = field(default_factory=dict)  # by job

    def at(self, typed: str) -> tuple[Paired | None, list[str]]:
        """A pair, or what was expected of it."""
        numbers = _NUMBERS.fullmatch(typed)
        if numbers is None:
            return None, [
                f"two numbers of readings, the one in the duct first, as 3:8 ({Step.LIST_READINGS} shows them)"
            ]
        first, second = int(numbers[1]), int(numbers[2])
        wrong = [*self._again(first, typed), *self._again(second, typed)]
        traverse, other = self._standing(first, wrong), self._standing(second, wrong)
        if traverse is not None and measured(traverse).outlet.place != DUCT:
            at = measured(traverse).outlet.outlet
            wrong.append(f"the reading in the duct first; reading {first} was taken at outlet {at}")
        return (None, wrong) if wrong or traverse is None or other is None else (Paired(typed, traverse, other), [])

    def _again(self, number: int, typed: str) -> Iterator[str]:
        if number in self.used:
            yield f"each reading once, since pairs are independent; reading {number} stands in {self.used[number]} already"
        self.used[number] = typed

    def _standing(self, number: int, wrong: list[str]) -> ReadingInJob | None:
        for evaluation in self.evaluations.values():
            row = next((row for row, one in enumerate(evaluation.measured) if one.reading.id == number), None)
            if row is not None:
                return ReadingInJob(evaluation, row)
        try:
            found = reading_in_job(self.session, number, self.now)
        except (NotInRecordsError, RefusedError) as error:
            wrong.append(f"readings that stand; {error}")
            return None
        self.evaluations[found.evaluation.job.job] = found.evaluation
        return found


def measured(one: ReadingInJob) -> Measured:
    """The reading itself."""
    return one.evaluation.measured[one.row]


def flow(one: ReadingInJob) -> float:
    """Its flow [m3/s]."""
    return float(_flows(one).flow[one.row])


def velocity(one: ReadingInJob) -> float:
    """Its corrected mean velocity [m/s]."""
    return float(_flows(one).velocity[one.row])


def relative_velocity_uncertainty(one: ReadingInJob, kept: Container[str]) -> float:
    """What the contributions of these names make of the relative standard uncertainty of its velocity [1]."""
    variances = [each.variance[one.row] for each in _flows(one).velocity_contributions if each.name in kept]
    return float(np.sqrt(sum(variances))) / velocity(one)


def relative_ratio_uncertainty(pair: Paired, kept_of_traverse: Kept, kept_of_other: Kept) -> float:
    """Relative standard uncertainty of q_other/q_traverse [1] that the contributions kept of each make.

    What both share cancels, with its signs, where both stand in one job (GUM 5.2.2); of two jobs the squares are added, which errs
    high where both used one calibration. Both flows above 0.
    """
    kept = (kept_of_traverse, kept_of_other)
    if pair.traverse.evaluation is pair.other.evaluation:
        both = [_of_both(one, pair, kept) for one in _flows(pair.other).contributions]
        matrix = covariance(both)
    else:
        matrix = np.diag([_variance(one, each) for one, each in zip((pair.traverse, pair.other), kept, strict=True)])
    relative = np.array([[-1.0 / flow(pair.traverse), 1.0 / flow(pair.other)]])
    return float(np.sqrt(max(float(propagate(relative, matrix)[0, 0]), 0.0)))


def _of_both(one: Contribution, pair: Paired, kept: tuple[Kept, Kept]) -> Contribution:
    """One contribution to both flows of a pair, 0 where it is not kept."""
    rows = [pair.traverse.row, pair.other.row]
    counts = np.array([each(one.name) for each in kept], dtype=float)
    parts = one.parts[rows] * counts[:, np.newaxis]
    return Contribution(one.name, one.type_a[rows], parts, one.source[rows], one.degrees_of_freedom[rows])


def _variance(one: ReadingInJob, kept: Kept) -> float:
    return float(sum(each.variance[one.row] for each in _flows(one).contributions if kept(each.name)))


def _flows(one: ReadingInJob) -> Flows:
    assert one.evaluation.flows is not None  # noqa: S101 (the reading stands, so its job has flows)
    return one.evaluation.flows


def cautions_of_times(name: str, first: str, second: str) -> Iterator[str]:
    """A caution where the two readings of a pair, at times as typed, lie so far apart that they hardly measured one flow."""
    apart = abs(moment(second) - moment(first))
    if apart > LONG_APART:
        hours = apart / timedelta(hours=1)
        yield f"pair {name}: the readings lie {hours:.1f} h apart; they measure one flow only if it stayed as it was"
