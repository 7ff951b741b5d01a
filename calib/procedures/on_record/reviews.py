"""Impact reviews as the records hold them: their lines, what was decided on each, and which are open.

A line is open until a person has disposed of it. "Reissue" is a promise: such a line stays open until a revision of that report is
on record that was made after it, and after the decision which curve holds: without that it prints what was before. That end is
found, not typed. So is the end of what is to be measured again or withdrawn (`promises`).

Where what opened a review was taken back, or its certificate withdrawn, the review shakes nothing any more: gate, readiness and
report pass it over. Its lines wait for a person all the same, who may have taken back too much; only one of issued reports that the
records contradicted ends by itself, as they say again what was issued. So does a line of one where they do not say that any more,
since somebody amended back: a line recorded then names it.

Decision (2026-11-29): options: such a review ends (whoever may withdraw a check would end nonconforming work without QA), or goes
on as before (a meter whose check was typed of another one stays out of use). Cost: QA disposes of lines on which nothing rests.

Nothing heavy is imported here: `calib due` lists what is open.
"""

import json
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import and_, case, func, not_, or_, union
from sqlalchemy.orm import aliased
from sqlmodel import Session, col, select

from calib.procedures.on_record.by_keys import by_keys, numbered
from calib.procedures.on_record.by_name import not_there
from calib.procedures.on_record.promises import MEASURE_AGAIN, WITHDRAW, Promise, not_done
from calib.procedures.on_record.recorded import entry_of
from calib.records.record import key
from calib.records.tables.calibrations import Calibration, Withdrawal
from calib.records.tables.entries import Retraction
from calib.records.tables.instruments import Instrument
from calib.records.tables.jobs import Job
from calib.records.tables.ledger import LedgerEntry
from calib.records.tables.outlets import Outlet
from calib.records.tables.readings import Reading
from calib.records.tables.reports import IssuedReport
from calib.records.tables.reviews import Disposition, ImpactLine, ImpactReview, ReviewDecision
from calib.records.words import REVIEW_CAUSES

FOUND_BEYOND, WITHDRAWAL, SUPERSESSION = REVIEW_CAUSES[0], REVIEW_CAUSES[2], REVIEW_CAUSES[3]
RECORDED_LATER = REVIEW_CAUSES[-1]
STANDS, REISSUE, IMMATERIAL = "stands", "reissue", "immaterial"
_ENDING = (STANDS, IMMATERIAL)  # dispositions that promise nothing
Revisions = Mapping[str, list[tuple[int, int]]]  # of reports, by job: place in the ledger, revision


@dataclass(frozen=True)
class Decided:
    """What a person decided on a line, and why."""

    decision: str
    reason: str
    person: str
    time: str
    sequence: int  # its place in the ledger


@dataclass(frozen=True)
class CurveDecided:
    """Which curve holds for what a review touched, as a person decided."""

    curve: str  # of HOLDING_CURVES
    from_at: str | None  # of "as found from" alone
    reason: str
    person: str
    time: str
    sequence: int  # its place in the ledger

    @property
    def words(self) -> str:
        """The curve, and from when on it holds where that was decided."""
        return self.curve if self.from_at is None else f"{self.curve} {self.from_at}"


@dataclass(frozen=True)
class ReviewLine:
    """One record that rests on what was found out of order."""

    place: int  # within its review, from 1
    record_id: int
    record_table: str
    record: int
    finding: Mapping[str, Any]
    decided: tuple[Decided, ...]  # in the order in which they were decided
    reissued: int | None = (
        None  # the first revision issued after "reissue" was decided, or after what the review is about
    )

    is_done: bool = True  # what was to be measured again was, what was to be withdrawn too
    is_ended: bool = False  # the records do not say any more what it tells of an issued report

    @property
    def disposition(self) -> Decided | None:
        """The decision that counts: of several the latest; None where nobody has decided."""
        return self.decided[-1] if self.decided else None

    @property
    def is_promised(self) -> bool:
        """Whether it waits for a revision of its report."""
        return self.disposition is not None and self.disposition.decision == REISSUE and self.reissued is None

    @property
    def is_open(self) -> bool:
        """Whether nobody has decided on it, or what was promised was not done yet."""
        waits = self.is_promised or not self.is_done or (not self.decided and self.reissued is None)
        return waits and not self.is_ended


@dataclass(frozen=True)
class Review:
    """An impact review with all its lines."""

    review: int  # by which a person names it
    cause: str  # of REVIEW_CAUSES
    tag: str | None  # of the instrument that was out of order; absent where it is about issued reports
    certificate: str | None  # whose comparisons as found failed, or which counts no more; absent for other causes
    calibrated_on: str | None
    criterion: str  # what was not met; for another cause than "as found" what happened, in words
    assessment: Mapping[str, Any]
    person: str  # who recorded what opened it
    time: str
    lines: tuple[ReviewLine, ...]
    curves: tuple[CurveDecided, ...] = ()  # in the order in which they were decided
    is_of_withdrawn: bool = False  # what opened it was taken back since

    @property
    def holds(self) -> CurveDecided | None:
        """The decision on the curve that counts: of several the latest; None where nobody has decided, or on what was withdrawn."""
        return self.curves[-1] if self.curves and not self.is_of_withdrawn else None

    @property
    def open_lines(self) -> int:
        """Number of open lines."""
        return 0 if self.has_ended else sum(line.is_open for line in self.lines)

    @property
    def has_ended(self) -> bool:
        """Whether it ended by itself: the records contradicted what was issued by something that was taken back."""
        return self.cause == RECORDED_LATER and self.is_of_withdrawn

    @property
    def shakes(self) -> bool:
        """Whether what rests on it is shaken still: it is open, and what opened it counts."""
        return self.is_open and not self.is_of_withdrawn

    @property
    def promised(self) -> tuple[str, ...]:
        """Jobs whose report was promised to be reissued, and was not yet."""
        return tuple(dict.fromkeys(str(line.finding["job"]) for line in self.lines if line.is_promised))

    @property
    def waits_for_curve(self) -> bool:
        """Whether a reissue was promised, and nobody has decided yet which curve its flows are to be of."""
        return self.cause == FOUND_BEYOND and self.holds is None and bool(self.promised)

    @property
    def is_open(self) -> bool:
        """Whether a line is open."""
        return self.open_lines > 0

    @property
    def about(self) -> str:
        """What it is about: an instrument and a certificate, or what happened."""
        if self.cause == FOUND_BEYOND:
            return f"{self.tag}, certificate {self.certificate}"
        return self.criterion if self.is_of_reports else f"{self.tag}, {self.criterion}"

    @property
    def is_of_reports(self) -> bool:
        """Whether it is about issued reports alone, and about no instrument: what was recorded later, or taken back."""
        return self.tag is None

    @property
    def happened(self) -> str:
        """What shook the results, and when: "found at 1.36 times its limit on 2026-03-20", "dropped on 2026-03-07"."""
        if self.cause != FOUND_BEYOND:
            return self.criterion
        compared = [
            each for judged in self.assessment["judgements"] for each in judged["comparisons"] if each["beyond"]
        ]
        times = max((abs(each["error"]) / each["limit"] for each in compared if each["limit"]), default=None)
        how = "beyond its limits" if times is None else f"at {times:.2f} times its limit"
        return f"found {how} on {self.calibrated_on}"

    @property
    def state(self) -> str:
        """Whether it is open, and which curve was decided to hold."""
        held = f", decided: {self.holds.words}" if self.holds is not None else ""
        withdrawn = " (withdrawn since)" if self.is_of_withdrawn else ""
        return f"review {self.review} {'open' if self.is_open else 'closed'}{held}{withdrawn}"

    def is_open_for(self, job: str) -> bool:
        """Whether the next report of a job has to say that it is open: what waits for that report alone is answered by it."""
        waiting = (line for line in self.lines if line.is_open)
        answers = all(line.is_promised and line.finding.get("job") == job for line in waiting)
        return self.shakes and not self.is_of_reports and not (answers and not self.waits_for_curve)

    def of_job(self, job: str) -> tuple[ReviewLine, ...]:
        """Lines on readings and reports of a job."""
        return tuple(line for line in self.lines if line.finding.get("job") == job)


def reviews(session: Session, *, only_open: bool = False) -> list[Review]:
    """Every review, or those that are open, in the order in which they were opened."""
    query = select(ImpactReview).order_by(col(ImpactReview.id))
    known = _known(session, session.exec(query.where(may_be_open()) if only_open else query).all())
    return [review for review in known if review.is_open or not only_open]


def reviews_numbered(session: Session, numbers: Collection[int]) -> list[Review]:
    """Reviews by their numbers."""
    rows = by_keys(session, select(ImpactReview).order_by(col(ImpactReview.id)), ImpactReview.id, numbers)
    return _known(session, rows)


def review_numbered(session: Session, review_id: int) -> Review:
    """A review by its number; raises NotInRecordsError where there is none."""
    row = numbered(session, ImpactReview, review_id)
    if row is None:
        known = (f"{each.review} ({each.about})" for each in reviews(session))
        raise not_there(f"impact review {review_id}", known)
    return _known(session, [row])[0]


def reviews_of_job(session: Session, job: str) -> list[Review]:
    """Reviews, open and closed, with a line on a reading or a report of a job."""
    of_readings = select(ImpactLine.impact_review_id).join(Reading, _is_line_of(Reading)).join(Outlet).join(Job)
    of_reports = select(ImpactLine.impact_review_id).join(IssuedReport, _is_line_of(IssuedReport)).join(Job)
    wanted = union(of_readings.where(Job.job == job), of_reports.where(Job.job == job))
    return reviews_numbered(session, [review for (review,) in session.execute(wanted)])


def may_be_open() -> Any:
    """A condition on reviews that holds of every open one, so that the closed ones of years are not read.

    Of the closed ones it leaves out those whose lines all stand, are immaterial, or were reissued; `is_open` says it of the others.
    """
    later, entry = aliased(Disposition), aliased(LedgerEntry)
    of_line = select(func.max(later.id)).where(later.impact_line_id == ImpactLine.id)
    latest: Any = of_line.correlate(ImpactLine).scalar_subquery()
    counts = select(Disposition.id).where(col(Disposition.id) == latest).correlate(ImpactLine)
    stands = counts.where(col(Disposition.decision).in_(_ENDING)).exists()
    disposed = _place("disposition", latest)
    curve = select(func.max(ReviewDecision.id)).where(ReviewDecision.impact_review_id == ImpactReview.id)
    answered = case(
        (
            func.coalesce(ImpactReview.cause, FOUND_BEYOND) == FOUND_BEYOND,
            _place("review_decision", curve.correlate(ImpactReview).scalar_subquery()),
        ),
        else_=0,
    )
    reissue = counts.where(Disposition.decision == REISSUE).exists()
    watched = and_(col(ImpactReview.calibration_id).is_(None), col(ImpactReview.instrument_id).is_(None))
    own = select(Outlet.job_id).join(Reading).where(_is_line_of(Reading)).correlate(ImpactLine).scalar_subquery()
    of_report = aliased(IssuedReport)
    is_line = and_(col(ImpactLine.record_table) == "issued_report", col(ImpactLine.record_id) == of_report.id)
    reported = select(of_report.job_id).where(is_line).correlate(ImpactLine).scalar_subquery()
    issued = (
        select(IssuedReport.id)
        .join(entry, and_(col(entry.record_table) == "issued_report", col(entry.record_id) == IssuedReport.id))
        .where(IssuedReport.job_id == func.coalesce(own, reported))
        .correlate(ImpactLine, ImpactReview)
    )
    reissued = and_(reissue, issued.where(col(entry.sequence) > disposed, col(entry.sequence) > answered).exists())
    opened = _place("impact_review", ImpactReview.id)
    ended = and_(watched, latest.is_(None), issued.where(col(entry.sequence) > opened).exists())
    line = select(ImpactLine.id).where(ImpactLine.impact_review_id == ImpactReview.id)
    return line.where(not_(or_(stands, reissued, ended))).correlate(ImpactReview).exists()


def _place(table: str, record: Any) -> Any:
    """Place in the ledger of a record."""
    entry = aliased(LedgerEntry)
    at = select(entry.sequence).where(col(entry.record_table) == table, col(entry.record_id) == record)
    return at.correlate(ImpactLine, ImpactReview).scalar_subquery()


def _is_line_of(table: Any) -> Any:
    return and_(col(ImpactLine.record_table) == table.__tablename__, col(ImpactLine.record_id) == table.id)


def reviews_opened_by(session: Session, table: str, keys: Collection[int]) -> list[Review]:
    """Reviews that records of a table opened."""
    query = select(ImpactReview).where(ImpactReview.cause_table == table).order_by(col(ImpactReview.id))
    return _known(session, list(by_keys(session, query, ImpactReview.cause_id, keys)))


def reviews_of_certificate(session: Session, calibration: int) -> list[Review]:
    """Reviews of what a certificate was found to be."""
    query = select(ImpactReview).where(ImpactReview.calibration_id == calibration).order_by(col(ImpactReview.id))
    return _known(session, session.exec(query))


def _known(session: Session, rows: Iterable[ImpactReview]) -> list[Review]:
    of_reviews = {key(row.id): row for row in rows}
    if not of_reviews:
        return []
    lines: dict[int, list[ImpactLine]] = defaultdict(list)
    query = select(ImpactLine).order_by(col(ImpactLine.id))
    for line in by_keys(session, query, ImpactLine.impact_review_id, of_reviews):
        lines[line.impact_review_id].append(line)
    all_lines = [line for of_review in lines.values() for line in of_review]
    decided = _decided(session, [key(line.id) for line in all_lines])
    promised = {line for line, each in decided.items() if each[-1].decision == REISSUE}
    watched = {
        review_id for review_id, row in of_reviews.items() if row.calibration_id is None and row.instrument_id is None
    }
    ended_by_revision = [line for line in all_lines if line.impact_review_id in watched or key(line.id) in promised]
    revisions = _revisions(session, {json.loads(line.finding)["job"] for line in ended_by_revision})
    ended = _ended(session, of_reviews, all_lines)
    waiting = _not_done(session, all_lines, decided)
    opened = _signed(session, "impact_review", of_reviews)
    failing = {row.calibration_id for row in of_reviews.values() if row.calibration_id is not None}
    calibrations = {key(row.id): row for row in by_keys(session, select(Calibration), Calibration.id, failing)}
    owners = {row.instrument_id for row in (*of_reviews.values(), *calibrations.values())}
    tags = dict(by_keys(session, select(Instrument.id, Instrument.tag), Instrument.id, owners - {None}))
    curves = _curves(session, of_reviews)
    withdrawn = of_withdrawn(session, of_reviews.values())
    return [
        _review(
            row,
            None if row.calibration_id is None else calibrations[row.calibration_id],
            tags,
            lines[review_id],
            decided,
            waiting,
            ended,
            revisions,
            tuple(curves.get(review_id, ())),
            opened[review_id],
            opened[review_id][-1] if review_id in watched else None,
            is_of_withdrawn=review_id in withdrawn,
        )
        for review_id, row in of_reviews.items()
    ]


def of_withdrawn(session: Session, opened: Collection[ImpactReview]) -> set[int]:
    """Keys of reviews of which what opened them counts no more: a record taken back, a certificate withdrawn."""
    causes = {review.cause_id for review in opened if review.cause_id is not None}
    certificates = {review.calibration_id for review in opened if review.calibration_id is not None}
    retracted = select(Retraction.record_table, Retraction.record_id)
    taken_back = {(table, record) for table, record in by_keys(session, retracted, Retraction.record_id, causes)}
    withdrawn = set(by_keys(session, select(Withdrawal.calibration_id), Withdrawal.calibration_id, certificates))
    return {
        key(review.id)
        for review in opened
        if (review.cause_table, review.cause_id) in taken_back or review.calibration_id in withdrawn
    }


def _signed(session: Session, table: str, keys: Collection[int]) -> dict[int, tuple[str, str, int]]:
    """Who wrote records of a table, when, and their place in the ledger."""
    entry = LedgerEntry
    columns = select(entry.record_id, entry.person, entry.time, entry.sequence).where(entry.record_table == table)
    return {
        record: (person, time, place)
        for record, person, time, place in by_keys(session, columns, entry.record_id, keys)
    }


def _decided(session: Session, lines: Collection[int]) -> dict[int, list[Decided]]:
    query = select(Disposition).order_by(col(Disposition.id))
    dispositions = list(by_keys(session, query, Disposition.impact_line_id, lines))
    signed = _signed(session, "disposition", [key(each.id) for each in dispositions])
    decided: dict[int, list[Decided]] = defaultdict(list)
    for each in dispositions:
        decided[each.impact_line_id].append(Decided(each.decision, each.reason, *signed[key(each.id)]))
    return decided


def _not_done(session: Session, lines: Iterable[ImpactLine], decided: Mapping[int, list[Decided]]) -> set[int]:
    known = {key(line.id): line for line in lines}
    last = {line: each[-1] for line, each in decided.items() if each[-1].decision in (MEASURE_AGAIN, WITHDRAW)}
    promises = [
        Promise(line, own.impact_review_id, each.decision, own.record_table, own.record_id, each.sequence)
        for line, each in last.items()
        for own in (known[line],)
    ]
    return not_done(
        session, promises, [(own.impact_review_id, own.record_table, own.record_id) for own in known.values()]
    )


def _ended(session: Session, of_reviews: Mapping[int, ImpactReview], lines: Iterable[ImpactLine]) -> set[int]:
    """Lines on issued reports that tell what the records do not say any more, and those that say nothing but that."""
    own = [line for line in lines if of_reviews[line.impact_review_id].cause == RECORDED_LATER]
    later = select(ImpactLine.finding).where(ImpactLine.record_table == IssuedReport.__tablename__)
    findings = by_keys(session, later, ImpactLine.record_id, {line.record_id for line in own})
    ended = {line_id for finding in findings for line_id in json.loads(finding).get("ends", ())}
    return ended | {key(line.id) for line in own if not json.loads(line.finding)["differs"]}


def _curves(session: Session, of_reviews: Collection[int]) -> dict[int, list[CurveDecided]]:
    query = select(ReviewDecision).order_by(col(ReviewDecision.id))
    decisions = list(by_keys(session, query, ReviewDecision.impact_review_id, of_reviews))
    signed = _signed(session, "review_decision", [key(each.id) for each in decisions])
    curves: dict[int, list[CurveDecided]] = defaultdict(list)
    for each in decisions:
        curves[each.impact_review_id].append(CurveDecided(each.curve, each.from_at, each.reason, *signed[key(each.id)]))
    return curves


def _revisions(session: Session, jobs: Collection[str]) -> Revisions:
    """Revisions of the reports of some jobs, in the order in which they were issued."""
    if not jobs:
        return {}
    query = (
        select(Job.job, LedgerEntry.sequence, IssuedReport.revision)
        .join(IssuedReport, col(IssuedReport.job_id) == Job.id)
        .join(LedgerEntry, entry_of(IssuedReport))
        .where(col(Job.job).in_(sorted(jobs)))
        .order_by(col(LedgerEntry.sequence))
    )
    revisions: dict[str, list[tuple[int, int]]] = defaultdict(list)
    for job, sequence, revision in session.exec(query):
        revisions[job].append((key(sequence), revision))
    return revisions


def _review(
    review: ImpactReview,
    calibration: Calibration | None,
    tags: Mapping[int, str],
    lines: list[ImpactLine],
    decided: Mapping[int, list[Decided]],
    waiting: Collection[int],
    ended: Collection[int],
    revisions: Revisions,
    curves: tuple[CurveDecided, ...],
    opened: tuple[str, str, int],  # by whom, when, and its place in the ledger
    watched_since: int | None,  # place in the ledger from which on a revision of a report ends a line
    *,
    is_of_withdrawn: bool,
) -> Review:
    owner = review.instrument_id if calibration is None else calibration.instrument_id
    person, time, _ = opened
    answered_since: int | None = 0  # place in the ledger from which on a revision holds the answer; None: none does yet
    if (review.cause or FOUND_BEYOND) == FOUND_BEYOND:
        answered_since = curves[-1].sequence if curves else None
    return Review(
        key(review.id),
        review.cause or FOUND_BEYOND,
        None if owner is None else tags[owner],
        None if calibration is None else calibration.certificate,
        None if calibration is None else calibration.calibrated_on,
        review.criterion,
        json.loads(review.assessment),
        person,
        time,
        tuple(
            _line(place, each, decided, waiting, ended, revisions, watched_since, answered_since)
            for place, each in enumerate(lines, start=1)
        ),
        curves,
        is_of_withdrawn,
    )


def _line(
    place: int,
    line: ImpactLine,
    decided: Mapping[int, list[Decided]],
    waiting: Collection[int],  # lines whose promise was not kept yet
    ended: Collection[int],
    revisions: Revisions,
    watched_since: int | None,
    answered_since: int | None,
) -> ReviewLine:
    finding, own = json.loads(line.finding), tuple(decided.get(key(line.id), ()))
    since, reissued = watched_since, None
    if own and own[-1].decision == REISSUE:
        since = None if answered_since is None else max(own[-1].sequence, answered_since)
    if since is not None:
        later = (revision for sequence, revision in revisions.get(finding["job"], ()) if sequence > since)
        reissued = next(later, None)
    line_id = key(line.id)
    is_done, is_ended = line_id not in waiting, line_id in ended
    return ReviewLine(place, line_id, line.record_table, line.record_id, finding, own, reissued, is_done, is_ended)
