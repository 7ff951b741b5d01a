"""Decide which curve holds for what an impact review touched: flows, totals and statements follow in every answer.

A decision is a person's, with its reason, and of several on one review the latest counts (ISO/IEC 17025:2017, 7.10.1, from memory:
a decision on the acceptability of the work). Factors that rest on what was decided are found anew with it from the same pairs; one
that cannot be is used by no reading until somebody finds it.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session, select

from calib.errors import BadInputError, CalibError, Finding
from calib.procedures.impact.gather import RecordKind
from calib.procedures.impact.open_review import brought_up_to_date
from calib.procedures.on_record.by_keys import by_keys
from calib.procedures.on_record.factors import factor_that_counts
from calib.procedures.on_record.held_curves import AS_BEFORE, AS_FOUND_FROM
from calib.procedures.on_record.reviews import FOUND_BEYOND, Review, review_numbered
from calib.procedures.pairs.factor_from_pairs import found_again
from calib.procedures.people.authorise import append, authorise
from calib.procedures.typed.reason import without_reason
from calib.procedures.typed.time_to_come import expected_of
from calib.records import ledger
from calib.records.tables.factors import FactorPair, FoundFactor
from calib.records.tables.reviews import ReviewDecision
from calib.records.words import HOLDING_CURVES


@dataclass(frozen=True)
class CurveWanted:
    """A decision as typed."""

    review: int
    curve: str  # of HOLDING_CURVES
    from_at: datetime | None  # of "as found from" alone
    reason: str


@dataclass(frozen=True)
class ReviewDecided:
    """A review with the decision, and what followed from it."""

    review: Review
    remarks: tuple[str, ...]


def decide_review(session: Session, wanted: CurveWanted, signature: ledger.Signature, now: datetime) -> ReviewDecided:
    """Append a decision, and find the factors anew that rest on it. Raises NotInRecordsError, BadInputError."""
    signature = authorise(session, signature, "decide")
    findings = list(_findings(wanted, review_numbered(session, wanted.review), now))
    if findings:
        raise BadInputError(findings)
    brought_up_to_date(session, wanted.review, signature, now)
    from_at = None if wanted.from_at is None else wanted.from_at.isoformat(timespec="seconds")
    record = ReviewDecision(
        impact_review_id=wanted.review, curve=wanted.curve, from_at=from_at, reason=wanted.reason.strip()
    )
    append(session, [record], signature)
    review = review_numbered(session, wanted.review)
    why = f"review {review.review} was decided: {wanted.reason.strip()}"
    remarks = [*_reissues(review), *factors_found_again(session, review, why, signature)]
    return ReviewDecided(review_numbered(session, wanted.review), tuple(remarks))


def curves_to_choose(review: Review) -> Sequence[str]:
    """The curves that may be decided to hold for what a review touched: only of an instrument found beyond is another known."""
    return HOLDING_CURVES if review.cause == FOUND_BEYOND and not review.is_of_withdrawn else (AS_BEFORE,)


def _findings(wanted: CurveWanted, review: Review, now: datetime) -> Iterator[Finding]:
    to_come = None if wanted.from_at is None else expected_of(wanted.from_at, now)
    if wanted.curve not in HOLDING_CURVES:
        yield Finding.typed("curve", wanted.curve, f"one of {', '.join(HOLDING_CURVES)}")
    elif wanted.curve not in curves_to_choose(review):
        why = "nobody knows by how much it was wrong, so that lines are disposed of by hand"
        if review.cause == FOUND_BEYOND:
            why = f"certificate {review.certificate} was withdrawn, and nothing that it found holds any more"
        yield Finding.typed("curve", wanted.curve, f"{AS_BEFORE}: {why}")
    elif wanted.curve == AS_FOUND_FROM and wanted.from_at is None:
        yield Finding.typed("from_at", None, "the time from which on the curve as found holds")
    elif wanted.curve != AS_FOUND_FROM and wanted.from_at is not None:
        yield Finding.typed("from_at", wanted.from_at.isoformat(), f"nothing but with the curve {AS_FOUND_FROM!r}")
    elif wanted.from_at is not None and to_come is None:
        yield from _outside(wanted.from_at, review)
    if wanted.from_at is not None and to_come is not None:
        yield Finding.typed("from_at", wanted.from_at.isoformat(), to_come)
    yield from without_reason(wanted.reason)


def _outside(from_at: datetime, review: Review) -> Iterator[Finding]:
    """A time before the instrument was last in order, or after it was found, divides nothing."""
    since, until = review.assessment["since"]["calibrated_on"], str(review.calibrated_on)
    if not since <= str(from_at.date()) <= until:
        expected = f"a time from {since} on, when {review.tag} was last in order, to {until}, when it was found"
        yield Finding.typed("from_at", from_at.isoformat(), expected)


def _reissues(review: Review) -> Iterator[str]:
    reports = [str(line.finding["report"]) for line in review.lines if line.record_table == RecordKind.REPORT]
    if reports:
        yield f"reports issued before that say what was before: {', '.join(reports)}: dispose of each line"


def factors_found_again(session: Session, review: Review, why: str, signature: ledger.Signature) -> Iterator[str]:
    """Each factor that rests on what a review is about, found anew from the same pairs: what came of it, in words."""
    readings = {line.record for line in review.lines if line.record_table == RecordKind.READING}
    of_readings = select(FoundFactor).join(FactorPair)
    factors = [
        factor
        for column in (FactorPair.traverse_reading_id, FactorPair.face_reading_id)
        for factor in by_keys(session, of_readings, column, readings)
    ]
    keys = {factor.id for factor in factors}
    for name in sorted({factor.factor for factor in factors}):
        factor = factor_that_counts(session, name)
        if factor is None or factor.id not in keys:
            continue
        try:
            again = found_again(session, factor, why, signature)
        except CalibError as error:
            told = "; ".join(str(error).splitlines())
            yield f"factor {name} cannot be found anew, and readings that use it are refused until it is: {told}"
        else:
            yield f"factor {name}: found anew, {factor.value:.6g} before and {again.value:.6g} now"
