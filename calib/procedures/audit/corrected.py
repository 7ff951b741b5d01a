"""What was corrected in the records, and what was found out of order with what was done (ISO/IEC 17025:2017, 7.5.2, 7.10)."""

from collections.abc import Iterator
from datetime import datetime
from typing import Any

from sqlmodel import Session, col, select

from calib.confirmation.interval import OUT_OF_USE, RELEASE
from calib.counted import count_of
from calib.procedures.audit.answer import Answer
from calib.procedures.audit.since_issue import after_issue, changed_since
from calib.procedures.audit.subject import Subject
from calib.procedures.on_record.by_keys import by_keys
from calib.procedures.on_record.record_in_words import record_in_words
from calib.procedures.on_record.reviews import FOUND_BEYOND, Review, reviews_numbered, reviews_of_job
from calib.procedures.on_record.reviews_of_register import reviews_about
from calib.procedures.on_record.what_counts import not_retracted, not_withdrawn
from calib.records.ledger import written
from calib.records.record import key, moment
from calib.records.tables.calibrations import Acceptance, Calibration, Withdrawal
from calib.records.tables.curves import StoredCurve
from calib.records.tables.entries import Retraction
from calib.records.tables.events import Event, IntermediateCheck
from calib.records.tables.factors import FoundFactor
from calib.records.tables.instruments import Instrument, InstrumentRevision
from calib.records.tables.jobs import Job, JobRevision
from calib.records.tables.methods import Method, MethodRevision
from calib.records.tables.outlets import Outlet, OutletRevision
from calib.records.tables.supersessions import Supersession
from calib.records.words import BY_THE_RULE, RETRACTABLE

# Records that correct others: what each does, the column that says whose they are, that record's table and its name.
_CORRECTING: tuple[tuple[Any, str, str, Any, str], ...] = (
    (OutletRevision, "outlet {} amended", "outlet_id", Outlet, "outlet"),
    (JobRevision, "job {} amended", "job_id", Job, "job"),
    (InstrumentRevision, "instrument {} amended", "instrument_id", Instrument, "tag"),
    (MethodRevision, "method {} amended", "method_id", Method, "method"),
    (Withdrawal, "certificate {} withdrawn", "calibration_id", Calibration, "certificate"),
)


def corrected(session: Session, subject: Subject, now: datetime) -> Answer:
    """Every record that corrects another, with who, when and why; of a report what it states and the records say otherwise now."""
    question = "What was changed in the records?"
    lines = sorted(_corrections(session, subject))
    said = "Nothing: every record stands as it was first written."
    if lines:
        count = count_of(len(lines), "record was", "records were")
        said = f"{count} corrected, each by a record that leaves the first in place."
    told = (f"{time[:10]}: {text}." for time, text in lines)
    return Answer(question, said, is_finding=False, rests_on=(*told, *changed_since(session, subject, now)))


def _corrections(session: Session, subject: Subject) -> Iterator[tuple[str, str]]:
    """When, and what by whom and why."""
    numbers = subject.numbers
    for table, does, column, owner, name in _CORRECTING:
        for record in by_keys(session, select(table), table.id, numbers.get(str(table.__tablename__), ())):
            named = getattr(session.get_one(owner, getattr(record, column)), name)
            yield _told(session, subject, record, does.format(named))
    for factor in by_keys(session, select(FoundFactor), FoundFactor.id, numbers.get("found_factor", ())):
        if factor.revision > 1:
            yield _told(session, subject, factor, f"factor {factor.factor} found anew, revision {factor.revision}")
    chosen = select(StoredCurve).where(StoredCurve.chosen_by != BY_THE_RULE)
    for curve in by_keys(session, chosen, StoredCurve.id, numbers.get("correction_curve", ())):
        certificate = session.get_one(Calibration, curve.calibration_id).certificate
        yield _told(session, subject, curve, f"another curve chosen for certificate {certificate}")
    replaced = by_keys(session, select(Supersession), Supersession.old_calibration_id, numbers.get("calibration", ()))
    for supersession in replaced:
        old = session.get_one(Calibration, supersession.old_calibration_id).certificate
        yield _told(session, subject, supersession, f"certificate {old} superseded")
    for table in RETRACTABLE:
        of_table = select(Retraction).where(Retraction.record_table == table)
        for retraction in by_keys(session, of_table, Retraction.record_id, numbers.get(table, ())):
            does = "taken back" if retraction.replaced_by_id is None else "replaced"
            yield _told(session, subject, retraction, f"{record_in_words(session, table, retraction.record_id)} {does}")


def _told(session: Session, subject: Subject, record: Any, does: str) -> tuple[str, str]:
    named = (str(record.__tablename__), key(record.id))
    person, time = written(session, *named)
    reason = getattr(record, "reason", None)
    return time, f"{does} by {person}{f' ({reason})' if reason else ''}{after_issue(session, subject, *named)}"


def out_of_order(session: Session, subject: Subject) -> Answer:
    """Reviews, failed checks and suspensions of what was relied on, with what became of them."""
    question = "What was found out of order, and what was done?"
    if subject.job is not None:
        concerned = reviews_of_job(session, subject.job.job)
    else:
        concerned = reviews_numbered(session, reviews_about(session, subject.numbers["instrument"]))
    still = [_of_review(session, subject, each) for each in concerned if each.is_open]
    done = [_of_review(session, subject, each) for each in concerned if not each.is_open]
    for told, is_open in _events(session, subject):
        (still if is_open else done).append(told)
    if not still and not done:
        return Answer(question, "Nothing was found out of order.", is_finding=False)
    count = count_of(len(still) + len(done), "finding is", "findings are")
    said = f"{count} on record, {f'{len(still)} of them not closed yet' if still else 'each of them closed'}."
    return Answer(question, said, bool(still), (*still, *done))


def _of_review(session: Session, subject: Subject, review: Review) -> str:
    what = review.about
    if review.cause == FOUND_BEYOND:
        what = f"{review.tag} was found beyond its limits (certificate {review.certificate})"
    after = after_issue(session, subject, "impact_review", review.review, ", after the issue")
    began = f"{review.time[:10]}{after}: {what}; {count_of(len(review.lines), 'record rests', 'records rest')} on it"
    curve = review.holds
    held = "" if curve is None else f"; the curve {curve.curve} holds, decided by {curve.person} ({curve.reason})"
    if review.is_open:
        return f"{began}{held}, and {count_of(review.open_lines, 'waits', 'wait')} for a decision."
    disposed = [line.disposition for line in review.lines if line.disposition is not None]
    decisions = ", ".join(sorted({each.decision for each in disposed}))
    people = ", ".join(sorted({each.person for each in disposed}))
    return f"{began}{held}{f'; decided by {people}: {decisions}' if disposed else ''}{_end_of(review)}."


def _end_of(review: Review) -> str:
    """How a review ended without a decision, or after one: by revisions of reports, or by itself."""
    answers = [f"{line.finding['job']} revision {line.reissued}" for line in review.lines if line.reissued is not None]
    if answers:
        return f"; answered by {', '.join(dict.fromkeys(answers))}"
    is_ended = review.has_ended or any(line.is_ended for line in review.lines)
    return "; the records do not say that any more" if is_ended else ""


def _events(session: Session, subject: Subject) -> Iterator[tuple[str, bool]]:
    """Suspensions and failed checks of what was relied on, and whether they are open still."""
    named = {
        key(instrument.id): instrument.tag
        for instrument in by_keys(session, select(Instrument), Instrument.id, subject.numbers["instrument"])
        if instrument.tag in subject.tags
    }
    befell = by_keys(session, select(Event).where(not_retracted(Event)), Event.instrument_id, named)
    events = sorted(befell, key=lambda each: (moment(each.at), each.id))
    for event in events:
        if event.kind in OUT_OF_USE:
            later = [each for each in events if each.instrument_id == event.instrument_id and each.kind == RELEASE]
            released = next((each for each in later if moment(each.at) >= moment(event.at)), None)
            end = f"; released on {released.at[:10]} ({released.reason})" if released else "; not released"
            after = after_issue(session, subject, "event", key(event.id))
            told = f"{event.at[:10]}: {named[event.instrument_id]} was {OUT_OF_USE[event.kind]} ({event.reason}){after}{end}."
            yield told, released is None
    failed = select(IntermediateCheck).where(IntermediateCheck.result == "failed", not_retracted(IntermediateCheck))
    failed = failed.order_by(col(IntermediateCheck.id))
    for check in by_keys(session, failed, IntermediateCheck.instrument_id, named):
        since = _calibrated_after(session, check.instrument_id, moment(check.at))
        end = f"; calibrated again on {since}" if since else "; not calibrated since"
        after = after_issue(session, subject, "intermediate_check", key(check.id))
        told = f"{check.at[:10]}: {named[check.instrument_id]} failed an intermediate check ({check.kind}){after}{end}."
        yield told, since is None


def _calibrated_after(session: Session, instrument_id: int, at: datetime) -> str | None:
    later = (
        select(Calibration.calibrated_on)
        .join(Acceptance, col(Acceptance.calibration_id) == Calibration.id)
        .where(Calibration.instrument_id == instrument_id, col(Calibration.calibrated_on) > str(at.date()))
        .where(not_withdrawn())
    )
    return session.exec(later.order_by(col(Calibration.calibrated_on))).first()
