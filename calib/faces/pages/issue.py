"""Issue a job's report: what it needs is asked and checked at once, the report is made aside, and a page says how far it is.

The key of who signs and its password are in memory until the report is made, and nowhere else.
"""

import secrets
from dataclasses import dataclass, field
from datetime import datetime
from functools import partial
from threading import Lock

from sqlmodel import Session

from calib.clock import clock
from calib.errors import BadInputError, Finding, NotInRecordsError, RefusedError
from calib.faces.answers import written_report
from calib.faces.pages.frame.aside import Tell
from calib.faces.pages.frame.form import Form, Upload
from calib.faces.pages.frame.routes import Filled, Goto, Pages, address
from calib.faces.pages.frame.visit import Visit
from calib.faces.pages.report_desk import DESK, under_way
from calib.faces.report.file_names import FORMS
from calib.faces.report.time_stamp import authority
from calib.faces.report.write_report import Wanted, issue
from calib.procedures.measure.evaluate import evaluate
from calib.procedures.report.issue import may_issue, must_say_why
from calib.procedures.report.issued import issues_of
from calib.procedures.report.signing_key import Signing, must_sign_for, read_signing_key
from calib.records import database
from calib.records.credentials import IssueAsked
from calib.records.ledger import Signature

pages = Pages()
SIGNED_AS = "page issue"
LOOKS_AGAIN_AFTER = 2  # [s]
_BEGUN_ONE_BY_ONE = Lock()  # of two who ask at once the second is told of the first


@dataclass(frozen=True)
class WantedIssue:
    """A report to be issued, as it is handed to the process that makes it."""

    records: str = field(repr=False)
    login: str | None
    person: str
    job: str
    at: datetime
    reason: str | None
    gaps_reason: str | None
    with_photographs: bool
    key: Upload | None = field(repr=False)
    password: str = field(repr=False)


@pages.shows(f"{DESK}/issue", act="issue")
def issuing(visit: Visit, job: str) -> Filled:
    """What issuing asks for: why there is another revision, why it goes without outlets, the key of who signs."""
    session = visit.reading()
    issued = issues_of(session, job)
    shown = {
        "job": job,
        "revision": len(issued) + 1,
        "before": issued[-1] if issued else None,
        "not_measured": [each.outlet for each in evaluate(session, job, visit.at).not_measured],
        "under_way": under_way(visit, job),
    }
    return Filled("issue.html", shown, title=f"Issue revision {len(issued) + 1} of the report on {job}")


@pages.takes(f"{DESK}/issue", again=issuing, act="issue")
def begin(visit: Visit, job: str) -> Goto:
    """Check what was typed, and begin."""
    wish = _wish(visit, job)
    with _BEGUN_ONE_BY_ONE:
        running = under_way(visit, job)
        if running is not None:
            raise RefusedError(f"revision {running.revision} is being issued already, by {running.person}")
        with visit.reading_first() as session:
            _must_be_right(session, visit, wish)
            revision = len(issues_of(session, job)) + 1
        asked = IssueAsked(secrets.token_urlsafe(16), visit.person, job, revision)
        credentials = visit.served.credentials
        credentials.ask_issue(asked, visit.at)
        visit.served.aside.begin(asked.key, issued_aside, wish, partial(credentials.end_issue, asked.key))
    return Goto(address("/issuing/{}", asked.key))


def _wish(visit: Visit, job: str) -> WantedIssue:
    form: Form = visit.form
    enrolled = visit.served.credentials.enrolled(visit.person)
    return WantedIssue(
        database.location_of(visit.served.engine),
        None if enrolled is None else enrolled.login,
        visit.person,
        job,
        visit.at,
        form["reason"].strip() or None,
        form["gaps_reason"].strip() or None,
        form["photographs"] == "yes",
        form.file("sign"),
        form["password"],
    )


def _must_be_right(session: Session, visit: Visit, wish: WantedIssue) -> None:
    """Raise what the making would raise at once: BadInputError, GapError."""
    may_issue(session, wish.job, wish.reason, visit.signature(SIGNED_AS))
    must_say_why(session, evaluate(session, wish.job, visit.at), wish.gaps_reason)
    signing = _signing(wish, visit.at)
    if signing is not None:
        must_sign_for(session, signing, visit.person)
    elif wish.password:
        raise BadInputError([Finding.typed("sign", None, "the file of the key that this password is of")])


def _signing(wish: WantedIssue, at: datetime) -> Signing | None:
    """How it is signed; None: it is not. Raises BadInputError."""
    if wish.key is None:
        return None
    return Signing(read_signing_key(wish.key.name, wish.key.content, wish.password), at, authority())


def issued_aside(wish: WantedIssue, tell: Tell) -> str:
    """Issue it in a process of its own; what was issued, in words. Raises as `issue`."""

    def sign() -> Signature:
        tell("signing for it as the one who issues")  # nobody there to be told: nothing is written
        return Signature(wish.person, clock(), SIGNED_AS)

    now = clock()
    wanted = Wanted(
        wish.job,
        FORMS,
        wish.at,
        now,
        signing=_signing(wish, now),
        gaps_reason=wish.gaps_reason,
        with_photographs=wish.with_photographs,
    )
    records = database.acting_as(database.open_records(wish.records), wish.login)
    try:
        written = issue(records, wanted, wish.reason, sign, None, tell)
    finally:
        records.dispose()
    answer = written_report.document(wish.job, written.revision, written.files, written.refusals, is_draft=False)
    return "; ".join(written_report.remarks(answer))


@pages.shows("/issuing/{key}")
def progress(visit: Visit, key: str) -> Filled:
    """How far it is; once it is done, what was issued. A page that was closed finds it again."""
    asked = next((each for each in visit.served.credentials.issues_asked(visit.person) if each.key == key), None)
    if asked is None:
        raise NotInRecordsError("no report that you asked to be issued is called so")
    steps = visit.served.aside.steps(key)
    is_still = "still" in visit.asked
    shown = {
        "asked": asked,
        "steps": steps,
        "is_still": is_still,
        "became": None if steps is not None else _became(visit, asked),
    }
    again = {"Refresh": str(LOOKS_AGAIN_AFTER)} if steps is not None and not is_still else {}
    return Filled("issuing.html", shown, title=f"Revision {asked.revision} of the report on {asked.job}", headers=again)


def _became(visit: Visit, asked: IssueAsked) -> str:
    """What became of it: as it was told, or as the records show where the server ended before it could be told."""
    now = visit.served.credentials.issues_asked(visit.person)  # it may have ended since it was looked up
    told = next((each.told for each in now if each.key == asked.key), None)
    if told is not None:
        return told
    is_there = any(each.revision == asked.revision for each in issues_of(visit.reading(), asked.job))
    said = "was issued all the same" if is_there else "was not issued, and nothing of it is half done: issue it again"
    return f"the server ended while the report was made: revision {asked.revision} {said}"
