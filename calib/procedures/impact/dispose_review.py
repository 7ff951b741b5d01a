"""Dispose of lines of an impact review: what a person decides on each, and why. No flow is changed by it.

What stands is decided line by line, each for a reason of its own: a statement that changes would stay as it was, and of many lines
at once nobody has looked at each (ISO/IEC 17025:2017, 7.10.1 c, from memory: the significance is evaluated). Other decisions may
share one.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session

from calib.errors import BadInputError, Finding
from calib.procedures.impact.gather import RecordKind
from calib.procedures.impact.open_review import brought_up_to_date
from calib.procedures.on_record.promises import MEASURE_AGAIN, WITHDRAW, can_be_promised
from calib.procedures.on_record.reviews import IMMATERIAL, REISSUE, STANDS, Review, review_numbered
from calib.procedures.people.authorise import append, authorise
from calib.procedures.typed.reason import without_reason
from calib.records import ledger
from calib.records.tables.reviews import Disposition

DISPOSITIONS = (STANDS, REISSUE, MEASURE_AGAIN, WITHDRAW, IMMATERIAL)
_PROMISES = {
    MEASURE_AGAIN: "a reading, a factor, a calibration or a check: only these can be measured again",
    WITHDRAW: "a reading, a calibration or a check: only these can be withdrawn",
}
_IN_REPORTS = (RecordKind.READING, RecordKind.REPORT)


@dataclass(frozen=True)
class DispositionWanted:
    """A disposition as typed."""

    review: int
    lines: Sequence[int]  # their numbers within the review
    decision: str
    reasons: Sequence[str]  # one for each line in their order, or one for all


def dispose_review(session: Session, wanted: DispositionWanted, signature: ledger.Signature, now: datetime) -> Review:
    """Append a disposition for each line named; of several on one line the latest counts, the earlier ones stay.

    What is to be reissued, measured again or withdrawn stays open until it was.
    What was recorded since the review was brought up to date becomes lines first. Raises NotInRecordsError, BadInputError.
    """
    signature = authorise(session, signature, "dispose")
    review_numbered(session, wanted.review)
    brought_up_to_date(session, wanted.review, signature, now)
    review = review_numbered(session, wanted.review)
    findings = list(_findings(wanted, review))
    if findings:
        raise BadInputError(findings)
    named = {line.place: line for line in review.lines}
    records = [
        Disposition(impact_line_id=named[line].record_id, decision=wanted.decision, reason=reason.strip())
        for line, reason in _reasons(wanted).items()
    ]
    append(session, records, signature)
    return review_numbered(session, wanted.review)


def decisions_to_choose(review: Review) -> Sequence[str]:
    """The dispositions that lines of a review may get: immaterial is said of issued reports alone."""
    return DISPOSITIONS if review.is_of_reports else [each for each in DISPOSITIONS if each != IMMATERIAL]


def _reasons(wanted: DispositionWanted) -> dict[int, str]:
    """Each line with its reason."""
    reasons = wanted.reasons if len(wanted.reasons) > 1 else [*wanted.reasons] * len(wanted.lines)
    return dict(zip(wanted.lines, reasons, strict=True))


def _findings(wanted: DispositionWanted, review: Review) -> Iterator[Finding]:
    last = len(review.lines)
    for line in wanted.lines:
        if not 1 <= line <= last:
            expected = f"a line of the review, 1 to {last}" if last else "nothing: the review has no lines"
            yield Finding.typed("lines", str(line), expected)
        elif wanted.decision == REISSUE and review.lines[line - 1].record_table not in _IN_REPORTS:
            yield Finding.typed("lines", str(line), "a reading or a report: only these can be reissued")
        elif wanted.decision in _PROMISES and not can_be_promised(wanted.decision, review.lines[line - 1].record_table):
            yield Finding.typed("lines", str(line), _PROMISES[wanted.decision])
    if wanted.decision not in DISPOSITIONS:
        yield Finding.typed("decision", wanted.decision, f"one of {', '.join(DISPOSITIONS)}")
    elif wanted.decision not in decisions_to_choose(review):
        expected = "another decision: immaterial is said of a report that the records contradict since it was issued"
        expected += ", or that was issued with what was taken back"
        yield Finding.typed("decision", wanted.decision, expected)
    for reason in wanted.reasons:
        yield from without_reason(reason)
    count = len(wanted.lines)
    if len(wanted.reasons) != count and (wanted.decision == STANDS or len(wanted.reasons) != 1):
        expected = f"{count} reasons, one for each line in their order: what stands is looked at line by line"
        if wanted.decision != STANDS:
            expected = f"one reason for all {count} lines, or one for each in their order"
        yield Finding.typed("reason", f"{len(wanted.reasons)} for {count} lines", expected)
