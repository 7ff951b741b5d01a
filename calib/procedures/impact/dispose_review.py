"""Dispose of lines of an impact review: what a person decides on each, and why. Nothing else is changed by it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session

from calib.errors import BadInputError, Finding
from calib.procedures.impact.gather import RecordKind
from calib.procedures.impact.open_review import open_reviews
from calib.procedures.impact.reviews import Review, review_of
from calib.procedures.on_record.by_name import calibration_numbered, instrument_tagged
from calib.procedures.people.authorise import append, authorise
from calib.procedures.typed.reason import without_reason
from calib.records import ledger
from calib.records.record import key
from calib.records.tables.reviews import Disposition

DISPOSITIONS = ("stands", "reissue", "measure again", "withdraw")


@dataclass(frozen=True)
class DispositionWanted:
    """A disposition as typed."""

    tag: str
    certificate: str
    lines: Sequence[int]  # their numbers within the review
    decision: str
    reason: str


def dispose_review(session: Session, wanted: DispositionWanted, signature: ledger.Signature, now: datetime) -> Review:
    """Append a disposition for each line named; of several on one line the latest counts, the earlier ones stay.

    What was recorded since the review was brought up to date becomes lines first. Raises NotInRecordsError, BadInputError.
    """
    signature = authorise(session, signature, "dispose")
    review_of(session, wanted.tag, wanted.certificate)
    failing = calibration_numbered(session, instrument_tagged(session, wanted.tag), wanted.certificate)
    open_reviews(session, signature, now, (), [(RecordKind.CALIBRATION, key(failing.id))])
    review = review_of(session, wanted.tag, wanted.certificate)
    findings = list(_findings(wanted, review))
    if findings:
        raise BadInputError(findings)
    named = {line.place: line for line in review.lines}
    records = [
        Disposition(impact_line_id=named[line].record_id, decision=wanted.decision, reason=wanted.reason.strip())
        for line in dict.fromkeys(wanted.lines)
    ]
    append(session, records, signature)
    return review_of(session, wanted.tag, wanted.certificate)


def _findings(wanted: DispositionWanted, review: Review) -> Iterator[Finding]:
    last = len(review.lines)
    for line in wanted.lines:
        if not 1 <= line <= last:
            expected = f"a line of the review, 1 to {last}" if last else "nothing: the review has no lines"
            yield Finding.typed("lines", str(line), expected)
    if wanted.decision not in DISPOSITIONS:
        yield Finding.typed("decision", wanted.decision, f"one of {', '.join(DISPOSITIONS)}")
    yield from without_reason(wanted.reason)
