"""What a disposition promised of a line of an impact review, and whether it was done: that is found in the records, not typed.

    measure again   reading      until a later reading at its outlet stands
                    factor       until a later revision is found from a pair that it had not
                    calibration  until a later one of its instrument is accepted
                    check        until a later one of its instrument is on record
    withdraw        reading      until it was withdrawn or corrected
                    check        the same
                    calibration  until it was withdrawn, or another took its place

What was done again was recorded after the disposition, was done later than what the line is about, counts, and is itself no line
of that review. Nothing else can be measured again or withdrawn.

Nothing heavy is imported here: `calib due` lists what is open.
"""

from collections import defaultdict
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlmodel import Session, col, not_, select

from calib.procedures.on_record.by_keys import by_keys
from calib.procedures.on_record.recorded import entry_of
from calib.procedures.on_record.what_counts import not_retracted, not_withdrawn
from calib.records.record import moment
from calib.records.tables.calibrations import Acceptance, Calibration
from calib.records.tables.entries import Retraction
from calib.records.tables.events import IntermediateCheck
from calib.records.tables.factors import FactorPair, FoundFactor
from calib.records.tables.ledger import LedgerEntry
from calib.records.tables.readings import Reading

MEASURE_AGAIN, WITHDRAW = "measure again", "withdraw"


@dataclass(frozen=True)
class Promise:
    """A line of a review with the disposition that counts."""

    line: int
    review: int
    decision: str
    table: str
    record: int
    since: int  # place of the disposition in the ledger


_Ends = Callable[[Session, Sequence[Promise]], Iterator[tuple[Promise, Collection[int]]]]


def can_be_promised(decision: str, table: str) -> bool:
    """Whether a record of a table can be measured again, or withdrawn."""
    return (decision, table) in _ENDS


def not_done(session: Session, promises: Collection[Promise], listed: Collection[tuple[int, str, int]]) -> set[int]:
    """Lines whose promise was not kept yet; `listed` names every line by its review, table and record."""
    asked: dict[tuple[str, str], list[Promise]] = defaultdict(list)
    for promise in promises:
        if can_be_promised(promise.decision, promise.table):
            asked[promise.decision, promise.table].append(promise)
    known = set(listed)
    waiting: set[int] = set()
    for what, own in asked.items():
        for promise, records in _ENDS[what](session, own):
            # What hangs on the same instrument as the line does is no better; what was withdrawn is the line's own record.
            ends = [each for each in records if (promise.review, promise.table, each) not in known]
            if not (records if promise.decision == WITHDRAW else ends):
                waiting.add(promise.line)
    return waiting


@dataclass(frozen=True)
class _Again:
    """How a record is done again: another of the same thing, done later."""

    table: Any
    thing: Any  # a column: records of one thing take one another's place
    when: Any  # a column
    order: Callable[[Any], Any]  # of what stands in it
    counts: Callable[[], Sequence[Any]]  # conditions

    def __call__(self, session: Session, promises: Sequence[Promise]) -> Iterator[tuple[Promise, Collection[int]]]:
        """Each promise with what was recorded since and keeps it."""
        table = self.table
        query = select(table.id, self.thing, self.when, LedgerEntry.sequence)
        query = query.join(LedgerEntry, entry_of(table))
        own = {row[0]: row for row in by_keys(session, query, table.id, {each.record for each in promises})}
        of_things: dict[Any, list[Any]] = defaultdict(list)
        counting = query.where(*self.counts())
        for row in by_keys(session, counting, self.thing, {row[1] for row in own.values()}):
            of_things[row[1]].append(row)
        for promise in promises:
            _, thing, when, _ = own[promise.record]
            yield (
                promise,
                [
                    row[0]
                    for row in of_things[thing]
                    if row[3] > promise.since and self.order(row[2]) > self.order(when)
                ],
            )


def _found_again(session: Session, promises: Sequence[Promise]) -> Iterator[tuple[Promise, Collection[int]]]:
    """Later revisions of a factor with a pair of readings that it had not: the same pairs measure nothing."""
    later = dict(_Again(FoundFactor, FoundFactor.factor, FoundFactor.revision, int, tuple)(session, promises))
    factors = {promise.record for promise in promises} | {record for records in later.values() for record in records}
    pairs: dict[int, set[tuple[int, int]]] = defaultdict(set)
    query = select(FactorPair.found_factor_id, FactorPair.traverse_reading_id, FactorPair.face_reading_id)
    for factor, *pair in by_keys(session, query, FactorPair.found_factor_id, factors):
        pairs[factor].add((pair[0], pair[1]))
    for promise, records in later.items():
        yield promise, [record for record in records if pairs[record] - pairs[promise.record]]


def _taken_back(session: Session, promises: Sequence[Promise]) -> Iterator[tuple[Promise, Collection[int]]]:
    query = select(Retraction.record_id).where(Retraction.record_table == promises[0].table)
    gone = {*by_keys(session, query, Retraction.record_id, {each.record for each in promises})}
    yield from ((promise, gone & {promise.record}) for promise in promises)


def _withdrawn(session: Session, promises: Sequence[Promise]) -> Iterator[tuple[Promise, Collection[int]]]:
    query = select(Calibration.id).where(not_(not_withdrawn()))
    gone = {*by_keys(session, query, Calibration.id, {each.record for each in promises})}
    yield from ((promise, gone & {promise.record}) for promise in promises)


def _accepted() -> Sequence[Any]:
    return not_withdrawn(), col(Calibration.id).in_(select(Acceptance.calibration_id))


_ENDS: Mapping[tuple[str, str], _Ends] = {
    (MEASURE_AGAIN, "reading"): _Again(
        Reading, Reading.outlet_id, Reading.observed_at, moment, lambda: [not_retracted(Reading)]
    ),
    (MEASURE_AGAIN, "found_factor"): _found_again,
    (MEASURE_AGAIN, "calibration"): _Again(
        Calibration, Calibration.instrument_id, Calibration.calibrated_on, str, _accepted
    ),
    (MEASURE_AGAIN, "intermediate_check"): _Again(
        IntermediateCheck,
        IntermediateCheck.instrument_id,
        IntermediateCheck.at,
        moment,
        lambda: [not_retracted(IntermediateCheck)],
    ),
    (WITHDRAW, "reading"): _taken_back,
    (WITHDRAW, "intermediate_check"): _taken_back,
    (WITHDRAW, "calibration"): _withdrawn,
}
