"""Close a step of the clock: entries of a time to come were written, and what follows is of the right time again."""

from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session, col, select

from calib.errors import BadInputError, Finding
from calib.procedures.people.authorise import append, authorise
from calib.records.ledger import Signature, runs_back
from calib.records.record import key
from calib.records.tables.custody import ClockStep
from calib.records.tables.ledger import LedgerEntry


@dataclass(frozen=True)
class EntryAhead:
    """The last entry of a clock that had been ahead."""

    sequence: int
    time: str


def close_step(session: Session, reason: str, signature: Signature) -> EntryAhead:
    """Append that the clock had been ahead, and from here on goes right; returns the entry that was ahead.

    Roles given before hold from now on at the latest. Raises BadInputError without a reason, where no entry is ahead of this clock,
    or where the person may not.
    """
    signature = authorise(session, signature, "mend")
    newest = select(LedgerEntry.sequence, LedgerEntry.time).order_by(col(LedgerEntry.sequence).desc()).limit(1)
    last = next((EntryAhead(key(sequence), time) for sequence, time in session.exec(newest)), None)
    findings = (
        [] if reason.strip() else [Finding.typed("reason", reason, "what was wrong with the clock, in a few words")]
    )
    if last is None or not runs_back(datetime.fromisoformat(last.time), signature.time, ""):
        told = "none" if last is None else f"entry {last.sequence} of {last.time}"
        now = signature.time.isoformat(timespec="seconds")
        findings.append(
            Finding.typed(None, None, f"a last entry that is ahead of this machine's clock ({now}); it is {told}")
        )
    if last is None or findings:
        raise BadInputError(findings)
    append(session, [ClockStep(reason=reason.strip())], signature)
    return last
