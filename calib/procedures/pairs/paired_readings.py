"""Pairs of readings of one flow: one in the duct, one by the method in question, each within its evaluated job."""

import re
from collections.abc import Callable, Container, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

import numpy as np
from sqlmodel import Session

from calib.errors import Finding, NotInRecordsError, RefusedError, Step
from calib.measurement import Flows
from calib.procedures.measure.evaluate import Evaluation
from calib.procedures.measure.reading_in_job import ReadingInJob, reading_in_job
from calib.procedures.measure.standing import Standing
from calib.records.record import moment
from calib.records.words import DUCT
from calib.uncertainty.propagation import Contribution, combine_totals

PAIR = "pair"
FEWEST_PAIRS = 2  # pairs: one shows no spread
LONG_APART = timedelta(hours=1)  # beyond it a caution: a judgement, no source

Counts = Callable[[str], bool]  # name of a contribution -> whether it counts

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


def pairs_of(session: Session, typed: Sequence[str], now: datetime, *, finding_factors: bool = False) -> Pairs:
    """Pairs typed as TRAVERSE:OTHER by the numbers of the readings, their jobs evaluated as the records count now.

    There are two pairs or more; each reading is there, stands, and is used once; the first of a pair was taken in a duct.
    `finding_factors`: as `evaluate` takes it.
    """
    looking = _Looking(session, now, finding_factors)
    sound, findings = [], []
    if len(typed) < FEWEST_PAIRS:
        few = f"at least {FEWEST_PAIRS} pairs, since one shows no spread"
        findings.append(Finding.typed(PAIR, ", ".join(typed), few))
    for numbers in typed:
        pair, wrong = looking.at(numbers)
        findings += [Finding.typed(PAIR, numbers, expected) for expected in wrong]
        if pair is not None:
            sound.append(pair)
    return Pairs(tuple(sound), tuple(findings))


@dataclass
class _Looking:
    """Readings looked up one pair after the other: each job is evaluated once, each reading used once."""

    session: Session
    now: datetime
    finding_factors: bool
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

    def _again(self, reading_id: int, typed: str) -> Iterator[str]:
        if reading_id in self.used:
            yield f"each reading once, since pairs are independent; reading {reading_id} stands in {self.used[reading_id]} already"
        self.used[reading_id] = typed

    def _standing(self, reading_id: int, wrong: list[str]) -> ReadingInJob | None:
        for evaluation in self.evaluations.values():
            row = next(
                (row for row, reading in enumerate(evaluation.measured) if reading.reading.id == reading_id), None
            )
            if row is not None:
                return ReadingInJob(evaluation, row)
        try:
            reading = reading_in_job(self.session, reading_id, self.now, finding_factors=self.finding_factors)
        except (NotInRecordsError, RefusedError) as error:
            wrong.append(f"readings that stand; {error}")
            return None
        self.evaluations[reading.evaluation.job.job] = reading.evaluation
        return reading


def measured(reading: ReadingInJob) -> Standing:
    """The reading itself."""
    return reading.evaluation.measured[reading.row]


def flow(reading: ReadingInJob) -> float:
    """Its flow [m3/s]."""
    return float(_flows(reading).flow[reading.row])


def velocity(reading: ReadingInJob) -> float:
    """Its corrected mean velocity [m/s]."""
    return float(_flows(reading).velocity[reading.row])


def relative_uncertainty_of_velocity(reading: ReadingInJob, names: Container[str]) -> float:
    """What the contributions of these names make of the relative standard uncertainty of its velocity [1]."""
    variances = [each.variance[reading.row] for each in _flows(reading).velocity_contributions if each.name in names]
    return float(np.sqrt(sum(variances))) / velocity(reading)


def relative_ratio_uncertainty(pair: Paired, of_traverse: Counts, of_other: Counts) -> float:
    """Relative standard uncertainty of q_other/q_traverse [1] that the contributions of each that count make.

    What both are known to share cancels, with its signs, where both stand in one job (GUM 5.2.2), and what they may share counts as
    in a difference; of two jobs the squares are added, which errs high where both used one calibration. Both flows above 0.
    """
    counts = (of_traverse, of_other)
    readings = (pair.traverse, pair.other)
    relative = np.array([-1.0 / flow(pair.traverse), 1.0 / flow(pair.other)])
    if pair.traverse.evaluation is not pair.other.evaluation:
        variances = [_variance(reading, each) for reading, each in zip(readings, counts, strict=True)]
        return float(np.sqrt(relative**2 @ variances))
    rows = [reading.row for reading in readings]
    every = _flows(pair.other)
    membership, coefficient = np.full(every.flow.size, -1), np.zeros(every.flow.size)
    membership[rows], coefficient[rows] = 0, relative
    both = [_counted(contribution, rows, counts) for contribution in every.contributions]
    return float(combine_totals(both, membership, coefficient, 1).standard_uncertainty[0])


def _counted(contribution: Contribution, rows: Sequence[int], counts: tuple[Counts, Counts]) -> Contribution:
    """One contribution to both flows of a pair, 0 where it does not count."""
    counted = np.zeros((contribution.source.size, 1))
    counted[rows, 0] = [each(contribution.name) for each in counts]
    return replace(contribution, parts=contribution.parts * counted)


def _variance(reading: ReadingInJob, counts: Counts) -> float:
    return float(sum(each.variance[reading.row] for each in _flows(reading).contributions if counts(each.name)))


def _flows(reading: ReadingInJob) -> Flows:
    assert reading.evaluation.flows is not None  # noqa: S101 (the reading stands, so its job has flows)
    return reading.evaluation.flows


def cautions_of_times(name: str, first: str, second: str) -> Iterator[str]:
    """A caution where the two readings of a pair, at times as typed, lie so far apart that they hardly measured one flow."""
    apart = abs(moment(second) - moment(first))
    if apart > LONG_APART:
        hours = apart / timedelta(hours=1)
        yield f"pair {name}: the readings lie {hours:.1f} h apart; they measure one flow only if it stayed as it was"
