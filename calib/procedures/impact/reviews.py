"""Impact reviews as the records hold them: their lines, what was decided on each, and which are open.

Nothing heavy is imported here: `calib due` lists what is open.
"""

import json
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sqlmodel import Session, col, select

from calib.procedures.on_record.by_name import calibration_numbered, instrument_tagged, not_there
from calib.records.ledger import written
from calib.records.record import key
from calib.records.tables.calibrations import Calibration
from calib.records.tables.instruments import Instrument
from calib.records.tables.ledger import LedgerEntry
from calib.records.tables.reviews import Disposition, ImpactLine, ImpactReview


@dataclass(frozen=True)
class Decided:
    """What a person decided on a line, and why."""

    decision: str
    reason: str
    person: str
    time: str


@dataclass(frozen=True)
class ReviewLine:
    """One record that rests on the instrument."""

    place: int  # within its review, from 1
    record_id: int
    record_table: str
    record: int
    finding: Mapping[str, Any]
    decided: tuple[Decided, ...]  # in the order in which they were decided

    @property
    def disposition(self) -> Decided | None:
        """The decision that counts: of several the latest; None where nobody has decided."""
        return self.decided[-1] if self.decided else None

    @property
    def is_open(self) -> bool:
        """Whether nobody has decided on it."""
        return not self.decided


@dataclass(frozen=True)
class Review:
    """An impact review with all its lines."""

    tag: str
    certificate: str
    calibrated_on: str
    criterion: str
    assessment: Mapping[str, Any]
    person: str  # who recorded the certificate
    time: str
    lines: tuple[ReviewLine, ...]

    @property
    def open_lines(self) -> int:
        """Number of lines without a disposition."""
        return sum(line.is_open for line in self.lines)

    @property
    def is_open(self) -> bool:
        """Whether a line has no disposition yet."""
        return self.open_lines > 0

    def of_job(self, job: str) -> tuple[ReviewLine, ...]:
        """Lines on readings and reports of a job."""
        return tuple(line for line in self.lines if line.finding.get("job") == job)


def reviews(session: Session, *, only_open: bool = False) -> list[Review]:
    """Every review, or those that are open, in the order in which they were opened."""
    rows = session.exec(select(ImpactReview).order_by(col(ImpactReview.id))).all()
    if not rows:
        return []
    lines, decided = _lines(session), _decided(session)
    # What is done is not read through where only what is open is asked for.
    wanted = [
        review for review in rows if not only_open or any(key(line.id) not in decided for line in lines[key(review.id)])
    ]
    return [_review(session, review, lines[key(review.id)], decided) for review in wanted]


def review_of(session: Session, tag: str, certificate: str) -> Review:
    """The review of a certificate; raises NotInRecordsError where there is none."""
    calibration_numbered(session, instrument_tagged(session, tag), certificate)
    known = reviews(session)
    review = next((each for each in known if (each.tag, each.certificate) == (tag, certificate)), None)
    if review is None:
        names = (f"{each.tag} {each.certificate}" for each in known)
        raise not_there(f"impact review of {tag}, certificate {certificate}", names)
    return review


def open_reviews_of(session: Session, job: str) -> list[Review]:
    """Open reviews with a line on a reading or a report of a job."""
    return [review for review in reviews(session, only_open=True) if review.of_job(job)]


def _lines(session: Session) -> dict[int, list[ImpactLine]]:
    lines: dict[int, list[ImpactLine]] = defaultdict(list)
    for line in session.exec(select(ImpactLine).order_by(col(ImpactLine.id))):
        lines[line.impact_review_id].append(line)
    return lines


def _decided(session: Session) -> dict[int, list[Decided]]:
    decided: dict[int, list[Decided]] = defaultdict(list)
    entry = LedgerEntry
    signed = {
        disposition_id: (person, time)
        for disposition_id, person, time in session.exec(
            select(entry.record_id, entry.person, entry.time).where(entry.record_table == "disposition")
        )
    }
    for disposition in session.exec(select(Disposition).order_by(col(Disposition.id))):
        decided[disposition.impact_line_id].append(
            Decided(disposition.decision, disposition.reason, *signed[key(disposition.id)])
        )
    return decided


def _review(
    session: Session, review: ImpactReview, lines: list[ImpactLine], decided: Mapping[int, list[Decided]]
) -> Review:
    calibration = session.get_one(Calibration, review.calibration_id)
    person, time = written(session, "impact_review", key(review.id))
    return Review(
        session.get_one(Instrument, calibration.instrument_id).tag,
        calibration.certificate,
        calibration.calibrated_on,
        review.criterion,
        json.loads(review.assessment),
        person,
        time,
        tuple(
            ReviewLine(
                line_number,
                key(each.id),
                each.record_table,
                each.record_id,
                json.loads(each.finding),
                tuple(decided.get(key(each.id), ())),
            )
            for line_number, each in enumerate(lines, start=1)
        ),
    )
