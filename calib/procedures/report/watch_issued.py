"""Watch the issued reports: what is recorded, for the past too, is asked which of them would now say something else.

Asked are the latest revisions of the jobs that the records touch, and nothing else; each is evaluated and compared with what was
issued, as a reader sees it: the flow of each reading with its U and its statement of conformity, the totals, and which readings are
refused. Where it differs a review opens, with a line for each report. It stays until the report is reissued, QA judges it
immaterial, or the records do not say that any more; an act tells what it changes, and not what the records said
otherwise before it. Where somebody took a record back,
the review is of that, and has a line too for each report that was issued with the record and says the same without it: what it
rested on is not there any more.

Sources: ISO/IEC 17025:2017, 7.8.8 (amendments to reports) and 7.10.1, from memory.

Decision (2026-11-29): the watch is asked once for all that one act recorded, by whoever keeps the transaction, and not by each
procedure. Options: a call in each of them (a new one would be forgotten). Cost: whoever calls procedures from a notebook asks it.

Decision (2026-11-29): what is taken back opens its review here. Options: in the act that takes back (a second reader of what a
report rests on), only where a statement changes (a withdrawn check would leave no trace on what was measured in its trust), for
each report of the instrument whenever issued (one that was issued before the record was typed never rested on it). Cost: a
withdrawn reading asks QA for a decision on each report that it is in.

Decision (2026-11-29): what the records said otherwise before the act is read in a session of its own (`as_before`), the one that a
procedure opens. Options: what open lines tell alone (the next act on a job would be named for what a decision on a review, a
withdrawn certificate or what was judged immaterial changed), the flows of each job kept beside the ledger. Cost: a job whose report
is contradicted is evaluated twice at an act that touches it.
"""

import json
from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

from sqlmodel import Session, col, select

from calib.errors import Step
from calib.procedures.impact.open_review import append_lines
from calib.procedures.measure.evaluate import evaluate
from calib.procedures.on_record.by_keys import by_keys
from calib.procedures.on_record.jobs_by_name import job_named
from calib.procedures.on_record.record_in_words import record_in_words
from calib.procedures.on_record.recorded import sequences
from calib.procedures.on_record.reviews import (
    RECORDED_LATER,
    WITHDRAWAL,
    Review,
    ReviewLine,
    reviews,
    reviews_opened_by,
)
from calib.procedures.people.authorise import append
from calib.procedures.report.issued import issued_bytes
from calib.procedures.report.stated_now import stated_in, stated_now
from calib.procedures.report.touched_jobs import RecordedKeys, day_held_from, says_something, touched_jobs
from calib.records.database import as_before
from calib.records.ledger import Signature
from calib.records.record import key, moment
from calib.records.tables.entries import Retraction
from calib.records.tables.events import Event
from calib.records.tables.jobs import Job
from calib.records.tables.ledger import LedgerEntry
from calib.records.tables.reports import IssuedForm, IssuedReport
from calib.records.tables.reviews import ImpactReview, ReviewDecision
from calib.records.words import PUT_SOMEWHERE

_REPORT, _CURVE = "issued_report", "correction_curve"
_SHAKE_NOTHING = ("refusal", "attached", "competence")
_THE_SAME = "what it states is the same without it"
_MOST_NAMED = 3  # differences that the answer names


@dataclass(frozen=True)
class SaysOtherwise:
    """An issued report that the records contradict since."""

    report: IssuedReport
    job: str
    # What, before, after; empty: it rests on what was taken back, or what was told of it has ended.
    differs: Sequence[Mapping[str, str | None]]
    ends: Mapping[int, int] = field(
        default_factory=dict
    )  # lines that tell what the records do not say any more -> review

    @property
    def name(self) -> str:
        """How it is called."""
        return f"{self.job} revision {self.report.revision}"

    @property
    def notes(self) -> list[str]:
        """What differs, in words."""
        told = [f"{each['what']}: {each['before']} -> {each['after']}" for each in self.differs]
        return told or [*self.ended] or [_THE_SAME]

    @property
    def ended(self) -> list[str]:
        """Reviews of which a line on it has ended, a sentence each."""
        because = "the records do not say any more what it tells"
        return [
            f"review {each} has ended for report {self.name}: {because}" for each in dict.fromkeys(self.ends.values())
        ]

    def __str__(self) -> str:
        told = self.notes[:_MOST_NAMED]
        more = len(self.notes) - len(told)
        return f"report {self.name}: {'; '.join(told)}{f'; and {more} more' if more else ''}"


def watch_issued(session: Session, since: int, signature: Signature, now: datetime) -> tuple[str, ...]:
    """Ask it of all that was recorded after a place in the ledger; what is told, a line each, the reviews being open then.

    Nothing is asked where nothing was issued.
    """
    if session.exec(select(IssuedReport.id).limit(1)).first() is None:
        return ()
    recorded = _recorded(session, since)
    retractions = _that_shake(session, recorded)
    ended = _ended(session, retractions)
    jobs = {**dict.fromkeys(_waited_for(session, ended), ""), **touched_jobs(session, recorded)}
    latest = _latest(session, jobs)
    asked = [latest[job] for job, day in jobs.items() if job in latest and _before(day, latest[job])]
    says = [each for report in asked if (each := says_now(session, report, now)) is not None]
    others = list(_changed(session, _not_told(session, says, recorded), ended, now))
    if retractions:
        others += _issued_with(session, retractions, latest, {key(each.report.id) for each in others})
    told = tuple(f"review {each.review} has ended: {each.about}, and that was taken back" for each in ended)
    if not others:
        return told
    what = _what_happened(session, retractions, recorded, now)
    append(session, [what], signature)
    append_lines(session, what, {(_REPORT, key(each.report.id)): _finding(each) for each in others}, signature)
    return (*told, *(line for each in others for line in _told(each, key(what.id))))


def _told(says: SaysOtherwise, review: int) -> Iterator[str]:
    yield from says.ended
    if says.differs or not says.ends:
        what = "issued, but the records now say otherwise" if says.differs else "issued with what was taken back"
        yield f"{what}: {says}: {Step.SEE_REVIEW} {review}"


# --- what was taken back ---------------------------------------------------------------------------------------------------------


def _that_shake(session: Session, recorded: RecordedKeys) -> list[Retraction]:
    """Retractions of records that results rest on: not of a refusal, nor of where an instrument was put."""
    rows = by_keys(session, select(Retraction), Retraction.id, recorded.get("retraction", ()))
    return [
        each
        for each in rows
        if each.record_table not in _SHAKE_NOTHING
        and not (each.record_table == "event" and session.get_one(Event, each.record_id).kind in PUT_SOMEWHERE)
    ]


def _ended(session: Session, retractions: Sequence[Retraction]) -> list[Review]:
    """Reviews of what the records contradicted by a record that was taken back, of which lines waited still."""
    taken_back = defaultdict(list)
    for each in retractions:
        taken_back[each.record_table].append(each.record_id)
    opened = (review for table, keys in taken_back.items() for review in reviews_opened_by(session, table, keys))
    return [review for review in opened if review.has_ended and any(line.is_open for line in review.lines)]


def _waited_for(session: Session, ended: Sequence[Review]) -> list[int]:
    """Jobs whose reports such lines are about: something else that was recorded with it may contradict them still."""
    return [
        session.get_one(IssuedReport, line.record).job_id for review in ended for line in review.lines if line.is_open
    ]


def _issued_with(
    session: Session, retractions: Sequence[Retraction], latest: Mapping[int, IssuedReport], there: Collection[int]
) -> list[SaysOtherwise]:
    """Reports, other than those that are there, that were issued of what rested on a record, after it was recorded."""
    issued = sequences(session, _REPORT, [key(report.id) for report in latest.values()])
    rested: dict[int, IssuedReport] = {}
    for each in retractions:
        recorded_at = sequences(session, each.record_table, [each.record_id])[each.record_id]
        for job, day in touched_jobs(session, {each.record_table: [each.record_id]}).items():
            report = latest.get(job)
            if report is not None and _before(day, report) and issued[key(report.id)] > recorded_at:
                rested[key(report.id)] = report
    return [
        SaysOtherwise(report, session.get_one(Job, report.job_id).job, ())
        for report_id, report in sorted(rested.items())
        if report_id not in there
    ]


def _what_happened(
    session: Session, retractions: Sequence[Retraction], recorded: RecordedKeys, now: datetime
) -> ImpactReview:
    """The review of it, not yet appended."""
    cause, (table, keys) = RECORDED_LATER, _most_telling(recorded)
    happened = f"{_what_was_recorded(session, table, keys)} recorded on {now.date()}"
    if retractions:
        cause, table, keys = WITHDRAWAL, "retraction", [key(each.id) for each in retractions]
        happened = f"{_what_was_taken_back(session, retractions)} on {now.date()}: {retractions[0].reason}"
    return ImpactReview(
        criterion=happened,
        assessment=json.dumps({"since": None, "until": None, "certificate": None}),
        cause=cause,
        cause_table=table,
        cause_id=min(keys),
    )


def _most_telling(recorded: RecordedKeys) -> tuple[str, Collection[int]]:
    """The records by which what was recorded is known: a curve alone only where nothing else was."""
    telling = [each for each in recorded.items() if says_something(each[0])] or list(recorded.items())
    return min(telling, key=lambda each: each[0] == _CURVE)


def _what_was_recorded(session: Session, table: str, keys: Collection[int]) -> str:
    first = min(keys)
    day = day_held_from(session, table, first)
    more = f" and {len(keys) - 1} more were" if len(keys) > 1 else " was"
    return f"{record_in_words(session, table, first)}{f' as of {day}' if day else ''}{more}"


def _what_was_taken_back(session: Session, retractions: Sequence[Retraction]) -> str:
    if len(retractions) > 1:
        return f"{len(retractions)} records were withdrawn"
    (only,) = retractions
    verb = "withdrawn" if only.replaced_by_id is None else "corrected"
    return f"{record_in_words(session, only.record_table, only.record_id)} was {verb}"


# --- what reports say ------------------------------------------------------------------------------------------------------------


def _latest(session: Session, jobs: Collection[int]) -> dict[int, IssuedReport]:
    """The latest issued report of each of some jobs."""
    issued = by_keys(session, select(IssuedReport).order_by(col(IssuedReport.revision)), IssuedReport.job_id, jobs)
    return {report.job_id: report for report in issued}


def _recorded(session: Session, since: int) -> RecordedKeys:
    entry, recorded = LedgerEntry, defaultdict(list)
    entries = (
        select(entry.record_table, entry.record_id).where(col(entry.sequence) > since).order_by(col(entry.sequence))
    )
    for table, record_id in session.exec(entries):
        recorded[table].append(record_id)
    return recorded


def _before(day: str, report: IssuedReport) -> bool:
    """Whether what was observed on a day lies before the issue: what is observed later is new work, and contradicts nothing."""
    return day <= report.issued_at[:10]


def latest_says_now(session: Session, job: str, now: datetime) -> SaysOtherwise | None:
    """What the records say otherwise now than the latest issued report of a job; None without one, or one to compare with.

    Raises NotInRecordsError for an unknown job.
    """
    of_job = key(job_named(session, job).id)
    report = _latest(session, [of_job]).get(of_job)
    return None if report is None else says_now(session, report, now)


def says_now(session: Session, report: IssuedReport, now: datetime) -> SaysOtherwise | None:
    """What the records say otherwise now; None where the issue kept no form to compare with."""
    is_kept = select(IssuedForm.id).where(IssuedForm.issued_report_id == report.id, IssuedForm.form == "json")
    if session.exec(is_kept).first() is None:
        return None
    job = session.get_one(Job, report.job_id).job
    issued = stated_in(json.loads(issued_bytes(session, job, report.revision, "json")))
    evaluation = evaluate(session, job, now, issued.coverage_probability)
    after, of_totals = stated_now(evaluation, moment(report.issued_at), issued.units)
    before = issued.stated if of_totals is None else issued.stated | issued.of_totals
    after |= of_totals or {}
    differs = [
        {"what": what, "before": before.get(what, "not stated"), "after": after.get(what, "not stated")}
        for what in dict.fromkeys([*before, *after])
        if before.get(what) != after.get(what)
    ]
    return SaysOtherwise(report, job, differs)


def _not_told(session: Session, says: Sequence[SaysOtherwise], recorded: RecordedKeys) -> list[SaysOtherwise]:
    """What no open line tells yet, and the lines that end; of a report that the review of this act tells nothing."""
    if not says:
        return []
    of_decisions = (session.get_one(ReviewDecision, each) for each in recorded.get("review_decision", ()))
    of_act = {*recorded.get("impact_review", ()), *(decision.impact_review_id for decision in of_decisions)}
    waiting: dict[int, list[tuple[Review, ReviewLine]]] = defaultdict(list)
    for review in reviews(session, only_open=True):
        for line in review.lines:
            if line.is_open and line.record_table == _REPORT:
                waiting[line.record].append((review, line))
    others = []
    for each in says:
        of_report = waiting[key(each.report.id)]
        told = [difference for _, line in of_report for difference in line.finding.get("differs", ())]
        is_of_act = any(review.review in of_act for review, _ in of_report)
        differs = [] if is_of_act else [difference for difference in each.differs if difference not in told]
        ends = {
            line.record_id: review.review
            for review, line in of_report
            if review.cause == RECORDED_LATER and not any(told in each.differs for told in line.finding["differs"])
        }
        others += [replace(each, differs=differs, ends=ends)] if differs or ends else []
    return others


def _changed(
    session: Session, says: Sequence[SaysOtherwise], ended: Sequence[Review], now: datetime
) -> Iterator[SaysOtherwise]:
    """What this act changed of it: not what was otherwise before, but where a review that tells it has ended by this act."""
    told_no_more: dict[int, list[Mapping[str, str | None]]] = defaultdict(list)
    for line in (line for review in ended for line in review.lines):
        told_no_more[line.record] += line.finding["differs"]
    if not any(each.differs for each in says):
        yield from says
        return
    with as_before(session) as before:
        for each in says:
            report = before.get(IssuedReport, each.report.id)  # absent: this act issued it
            then = None if report is None else says_now(before, report, now)
            told = told_no_more[key(each.report.id)]
            there = [] if then is None else [difference for difference in then.differs if difference not in told]
            changed = replace(each, differs=[difference for difference in each.differs if difference not in there])
            if changed.differs or changed.ends:
                yield changed


def _finding(says: SaysOtherwise) -> dict[str, Any]:
    nothing = dict.fromkeys(
        ("before", "after", "shift", "shift_over_U", "statement_before", "statement_after", "statement_changed")
    )
    return {
        "job": says.job,
        "report": says.name,
        "issued_at": says.report.issued_at,
        "relied_on_as": [],
        "unit": "",
        **nothing,
        "readings": [],
        "totals": {},
        "statements_changed": [],
        "largest_shift_over_U": None,
        "reissue": bool(says.differs),
        "differs": [dict(each) for each in says.differs],
        "ends": [*says.ends],
        "notes": says.notes,
    }
