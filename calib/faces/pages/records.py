"""The state of the records: how far the ledger goes, its head, anchors, the last backup, the last verification; and one asked for.

Decision (2026-11-30). A verification is asked for by a page and runs aside as the issue of a report does, in a process apart from
that, so that no report waits for it. QA asks: it has the machine work for minutes where the ledger is long. Options: the command
alone (QA without a shell never verifies), within the request (a browser gives up). What it said stands beside the credentials: it
is no evidence, whoever doubts verifies again. Cost: it is lost with that file.
"""

import secrets
from dataclasses import dataclass, field

from calib.clock import clock
from calib.errors import DamagedError, RefusedError
from calib.faces.answers import anchors as anchors_answer
from calib.faces.answers import status as status_answer
from calib.faces.answers import verification as answer
from calib.faces.pages.frame.aside import Ended, Tell
from calib.faces.pages.frame.routes import Filled, Goto, Pages, Sent
from calib.faces.pages.frame.visit import Visit
from calib.faces.pages.issue import LOOKS_AGAIN_AFTER
from calib.procedures.on_record.left_open import last_backup
from calib.procedures.on_record.log import LogWish, log
from calib.procedures.verify.anchors import anchored, head_of
from calib.procedures.verify.whole_state import verify_state
from calib.records import database
from calib.records.credentials import VerificationAsked
from calib.records.ledger import ledger_head, ledger_length

pages = Pages()
_MOST_TOLD = 100  # findings; a ledger may have as many as entries


@dataclass(frozen=True)
class WantedVerification:
    """The records to be verified, as they are handed to the process that does it."""

    records: str = field(repr=False)
    login: str | None


@pages.shows("/records", menu="Records")
def records_shown(visit: Visit) -> Filled:
    """What there is, and how far it is proven and kept elsewhere."""
    session = visit.reading()
    sequence, digest = ledger_head(session)
    backup = status_answer.backup_document(last_backup(session), visit.at)
    asked = visit.served.credentials.verifications_asked()
    running = _under_way(visit, asked)
    if running is None:  # it may have ended since
        asked = visit.served.credentials.verifications_asked()
    content = {
        "name": database.name_of(database.location_of(visit.served.engine)),
        "schema": database.SCHEMA,
        "entries": ledger_length(session),
        "sequence": sequence,
        "digest": digest,
        "last": next(iter(log(session, LogWish(1)).entries), None),
        "backup": backup,
        "backup_said": status_answer.backup_line(backup),
        "anchors": anchors_answer.document(anchored(session))["anchors"],
        "running": running,
        "steps": [] if running is None else visit.served.verifying.steps(running.key) or [],
        "verified": next((each for each in asked if each.ended is not None), None),
        "broken_off": running is None and bool(asked) and asked[0].ended is None,
        "is_still": "still" in visit.asked,
    }
    again = {"Refresh": str(LOOKS_AGAIN_AFTER)} if running is not None and not content["is_still"] else {}
    return Filled("records.html", content, title="Records", headers=again)


def _under_way(visit: Visit, asked: list[VerificationAsked]) -> VerificationAsked | None:
    return next((each for each in asked if visit.served.verifying.steps(each.key) is not None), None)


@pages.takes("/records/verification", again=records_shown, act="mend")
def verification_asked(visit: Visit) -> Goto:
    """Begin to verify them."""
    credentials, key = visit.served.credentials, secrets.token_urlsafe(16)
    if _under_way(visit, credentials.verifications_asked()) is not None:
        raise RefusedError("the records are being verified already")

    def ended(outcome: Ended) -> None:
        credentials.end_verification(key, outcome.told, clock(), is_right=outcome.is_right)

    credentials.ask_verification(key, visit.person, visit.at)
    wish = WantedVerification(database.location_of(visit.served.engine), visit.login)
    visit.served.verifying.begin(key, verified_aside, wish, ended)
    return Goto("/records")


def verified_aside(wish: WantedVerification, tell: Tell) -> str:
    """Verify them in a process of its own; what it says, in words. Raises DamagedError with them where there are findings."""
    tell("comparing what is stored with the ledger, and then what it means")
    records = database.acting_as(database.open_records(wish.records), wish.login)
    try:
        with database.reading(records) as session:
            verified = verify_state(session, None, tell, clock())
            _, digest = ledger_head(session)
            document = answer.document(ledger_length(session), digest, verified.findings, verified.remarks)
    finally:
        records.dispose()
    lines = answer.text(document | {"findings": document["findings"][:_MOST_TOLD]}).splitlines()
    if not verified.findings:
        return "\n".join(lines)
    more = len(verified.findings) - _MOST_TOLD
    raise DamagedError(
        "\n".join([*lines, *([f"and {more:,} more: `calib verify` names them all"] if more > 0 else [])])
    )


@pages.shows("/records/head")
def head_sent(visit: Visit) -> Sent:
    """Where the ledger ends, as an anchor to be kept where whoever writes the records cannot change it."""
    name = database.name_of(database.location_of(visit.served.engine))
    head = head_of(visit.reading(), name, visit.at)
    return Sent(head.as_line().encode(), "application/json", f"{head.records}-{head.sequence}.anchor")
