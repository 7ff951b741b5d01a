"""Entries of a time to come: from such a one on all writing is refused, until QA closes a step of the clock."""

from datetime import datetime

from sqlmodel import Session, col, func, select

from calib.confirmation.interval import CLOCKS_DIFFER_BY, ZONES_DIFFER_BY
from calib.records.tables.custody import ClockStep
from calib.records.tables.ledger import LedgerEntry
from calib.records.verification import LedgerFinding


def ahead_findings(session: Session, now: datetime) -> tuple[list[LedgerFinding], list[LedgerFinding]]:
    """Findings: entries later than `now` by more than clocks may differ. Remarks: those that a step of the clock closed since."""
    step = select(func.max(LedgerEntry.sequence)).where(LedgerEntry.record_table == ClockStep.__tablename__)
    closed = session.exec(step).one() or 0
    # Times are text, each in its own zone: their days alone can be compared in the database.
    since = str((now - ZONES_DIFFER_BY).date())
    asked = select(LedgerEntry.sequence, LedgerEntry.time).where(LedgerEntry.time >= since)
    findings: list[LedgerFinding] = []
    remarks: list[LedgerFinding] = []
    for sequence, time in session.exec(asked.order_by(col(LedgerEntry.sequence))):
        if datetime.fromisoformat(time) > now + CLOCKS_DIFFER_BY:
            problem = f"is of {time}, a time to come: it is {now.isoformat(timespec='minutes')} by this clock"
            told = remarks if (sequence or 0) < closed else findings
            told.append(LedgerFinding(f"ledger entry {sequence}", problem))
    return findings, remarks
