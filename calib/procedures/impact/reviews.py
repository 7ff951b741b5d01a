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
from calib.records.tables import Calibration, Disposition, ImpactLine, ImpactReview, Instrument, LedgerEntry


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

    number: int  # within its review, from 1
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
        return sum(one.is_open for one in self.lines)

    @property
    def is_open(self) -> bool:
        """Whether a line has no disposition yet."""
        return self.open_lines > 0

    def of_job(self, job: str) -> tuple[ReviewLine, ...]:
        """Lines on readings and reports of a job."""
        return tuple(one for one in self.lines if one.finding.get("job") == job)


def reviews(session: Session, *, only_open: bool = False) -> list[Review]:
    """Every review, or those that are open, in the order in which they were opened."""
    rows = session.exec(select(ImpactReview).order_by(col(ImpactReview.id))).all()
    if not rows:
        return []
    lines, decided = _lines(session), _decided(session)
    # What is done is not read through where only what is open is asked for.
    wanted = [one for one in rows if not only_open or any(key(line.id) not in decided for line in lines[key(one.id)])]
    return [_review(session, one, lines[key(one.id)], decided) for one in wanted]


def review_of(session: Session, tag: str, certificate: str) -> Review:
    """The review of a certificate; raises NotInRecordsError where there is none."""
    calibration_numbered(session, instrument_tagged(session, tag), certificate)
    known = reviews(session)
    found = next((one for one in known if (one.tag, one.certificate) == (tag, certificate)), None)
    if found is None:
        names = (f"{each.tag} {each.certificate}" for each in known)
        raise not_there(f"impact review of {tag}, certificate {certificate}", names)
    return found


def open_reviews_of(session: Session, job: str) -> list[Review]:
    """Open reviews with a line on a reading or a report of a job."""
    return [one for one in reviews(session, only_open=True) if one.of_job(job)]


def _lines(session: Session) -> dict[int, list[ImpactLine]]:
    found: dict[int, list[ImpactLine]] = defaultdict(list)
    for one in session.exec(select(ImpactLine).order_by(col(ImpactLine.id))):
        found[one.impact_review_id].append(one)
    return found


def _decided(session: Session) -> dict[int, list[Decided]]:
    found: dict[int, list[Decided]] = defaultdict(list)
    entry = LedgerEntry
    signed = {
        number: (person, time)
        for number, person, time in session.exec(
            select(entry.record_id, entry.person, entry.time).where(entry.record_table == "disposition")
        )
    }
    for one in session.exec(select(Disposition).order_by(col(Disposition.id))):
        found[one.impact_line_id].append(Decided(one.decision, one.reason, *signed[key(one.id)]))
    return found


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
                number,
                key(each.id),
                each.record_table,
                each.record_id,
                json.loads(each.finding),
                tuple(decided.get(key(each.id), ())),
            )
            for number, each in enumerate(lines, start=1)
        ),
    )
