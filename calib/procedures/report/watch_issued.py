"""Watch the issued reports: what is recorded, for the past too, is asked which of them would now say something else.

Asked are the latest revisions of the jobs that the records touch, and nothing else; each is evaluated and compared with what was
issued, as a reader sees it: the flow of each reading with its U and its statement of conformity, the totals, and which readings are
refused. Where it differs a review opens, with a line for each report. It stays until the report is reissued, or QA judges it
immaterial.

Sources: ISO/IEC 17025:2017, 7.8.8 (amendments to reports) and 7.10.1, from memory.

Decision (2026-11-29): the watch is asked once for all that one act recorded, by whoever keeps the transaction, and not by each
procedure. Options: a call in each of them (a new one would be forgotten). Cost: whoever calls procedures from a notebook asks it.
"""

import json
from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlmodel import Session, col, select

from calib.errors import Step
from calib.procedures.measure.evaluate import evaluate
from calib.procedures.on_record.by_keys import by_keys
from calib.procedures.on_record.reviews import RECORDED_LATER, reviews
from calib.procedures.people.authorise import append
from calib.procedures.report.issued import issued_bytes
from calib.procedures.report.stated_now import stated_in, stated_now
from calib.procedures.report.touched_jobs import RecordedKeys, touched_jobs
from calib.records.ledger import Signature
from calib.records.record import key, moment
from calib.records.tables.jobs import Job
from calib.records.tables.ledger import LedgerEntry
from calib.records.tables.reports import IssuedForm, IssuedReport
from calib.records.tables.reviews import ImpactLine, ImpactReview, ReviewDecision

_REPORT = "issued_report"
_MOST_NAMED = 3  # differences that the answer names


@dataclass(frozen=True)
class SaysOtherwise:
    """An issued report that the records contradict since."""

    report: IssuedReport
    job: str
    differs: Sequence[Mapping[str, str | None]]  # what, before, after

    @property
    def name(self) -> str:
        """How it is called."""
        return f"{self.job} revision {self.report.revision}"

    def __str__(self) -> str:
        told = [f"{each['what']}: {each['before']} -> {each['after']}" for each in self.differs[:_MOST_NAMED]]
        more = len(self.differs) - len(told)
        return f"report {self.name}: {'; '.join(told)}{f'; and {more} more' if more else ''}"


def watch_issued(session: Session, since: int, signature: Signature, now: datetime) -> tuple[str, ...]:
    """Ask it of all that was recorded after a place in the ledger; what is told, a line each, the reviews being open then.

    Nothing is asked where nothing was issued.
    """
    if session.exec(select(IssuedReport.id).limit(1)).first() is None:
        return ()
    recorded = _recorded(session, since)
    jobs = touched_jobs(session, recorded)
    latest = _latest(session, jobs)
    asked = [latest[job] for job, day in jobs.items() if job in latest and _before(day, latest[job])]
    others = [each for report in asked if (each := _says(session, report, now)) is not None]
    others = _not_known(session, others, recorded)
    if not others:
        return ()
    review = _open(session, others, next(iter(recorded.items())), signature, now)
    told = (f"issued, but the records now say otherwise: {each}: {Step.SEE_REVIEW} {review}" for each in others)
    return tuple(told)


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


def _says(session: Session, report: IssuedReport, now: datetime) -> SaysOtherwise | None:
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
    return SaysOtherwise(report, job, differs) if differs else None


def _not_known(session: Session, others: list[SaysOtherwise], recorded: RecordedKeys) -> list[SaysOtherwise]:
    """Those of which no open line tells anyway: one that says the same, or is of the review that this act opened or decided."""
    if not others:
        return []
    of_decisions = (session.get_one(ReviewDecision, each) for each in recorded.get("review_decision", ()))
    of_act = {*recorded.get("impact_review", ()), *(decision.impact_review_id for decision in of_decisions)}
    told = [
        (line.record, line.finding.get("differs"), review.review in of_act)
        for review in reviews(session, only_open=True)
        for line in review.lines
        if line.is_open and line.record_table == _REPORT
    ]
    return [
        each
        for each in others
        if not any(
            report == each.report.id and (is_of_act or differs == list(each.differs))
            for report, differs, is_of_act in told
        )
    ]


def _open(
    session: Session,
    others: Sequence[SaysOtherwise],
    first: tuple[str, Collection[int]],
    signature: Signature,
    now: datetime,
) -> int:
    table, keys = first
    happened = f"{signature.action}, recorded on {now.date()}"
    review = ImpactReview(
        criterion=happened,
        assessment=json.dumps({"since": None, "until": None, "certificate": None}),
        cause=RECORDED_LATER,
        cause_table=table,
        cause_id=min(keys),
    )
    append(session, [review], signature)
    lines = [
        ImpactLine(
            impact_review_id=key(review.id),
            record_table=_REPORT,
            record_id=key(each.report.id),
            finding=json.dumps(_finding(each), ensure_ascii=False),
        )
        for each in others
    ]
    append(session, lines, signature)
    return key(review.id)


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
        "reissue": True,
        "differs": [dict(each) for each in says.differs],
        "notes": [f"{each['what']}: {each['before']} -> {each['after']}" for each in says.differs],
    }
