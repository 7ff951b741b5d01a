"""Verify the whole state: what is stored, and that it means what the program would have written.

What is stored comes first: pages and indexes, schema, rows and chain. What the rows mean is asked only where all of that is right,
since of damaged rows nothing can be said.

Decision (2026-11). What is stored is proven first (pages, indexes read from end to end, schema, rows, chain), what it means only
where that is right: of damaged rows nothing can be said. Cost: two runs where both are wrong.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from sqlmodel import Session, func, select

from calib.procedures.verify.closed_certificates import late_findings
from calib.procedures.verify.curves_by_rule import curve_findings
from calib.procedures.verify.kept_files import file_findings, report_findings
from calib.procedures.verify.signatures import signature_findings, time_findings
from calib.records import pages
from calib.records.stored_state import UNREADABLE, stored_findings
from calib.records.tables.custody import LedgerBreak
from calib.records.tables.ledger import LedgerEntry
from calib.records.verification import BEFORE_THE_FIRST, LedgerFinding, Progress


@dataclass(frozen=True)
class Verified:
    """What verify says of records."""

    findings: tuple[LedgerFinding, ...]
    remarks: tuple[LedgerFinding, ...] = ()  # what cannot be mended any more, and blocks nothing


def verify_state(session: Session, printed_digest: str | None = None, progress: Progress = lambda _: None) -> Verified:
    """All findings and remarks; always ends."""
    stored = stored_findings(session.connection(), printed_digest, progress)
    findings, remarks = _closed(session, stored) if stored else ((), ())
    if not pages.are_proven(session.connection()):
        unproven = (
            "are not proven here: the server's owner can install its extension amcheck, and switch data checksums on"
        )
        remarks = (*remarks, LedgerFinding("pages and indexes", unproven))
    if findings:
        return Verified(findings, remarks)
    backward, before_versions = time_findings(session)
    proofs: tuple[Callable[[Session], Iterable[LedgerFinding]], ...] = (
        signature_findings, late_findings, curve_findings, file_findings, report_findings,
    )  # fmt: skip
    meant = [finding for proof in proofs for finding in proof(session)]
    return Verified((*backward, *meant), (*remarks, *before_versions))


def _closed(
    session: Session, findings: tuple[LedgerFinding, ...]
) -> tuple[tuple[LedgerFinding, ...], tuple[LedgerFinding, ...]]:
    """Findings apart from those that the owner of the records has looked into and closed, as the entry still stands."""
    digest_now = select(LedgerEntry.digest).where(LedgerEntry.sequence == LedgerBreak.sequence)
    as_closed = LedgerBreak.digest == func.coalesce(digest_now.scalar_subquery(), BEFORE_THE_FIRST)
    try:
        breaks = session.exec(select(LedgerBreak).where(as_closed))
        closed = {f"ledger entry {broken.sequence}": broken.reason for broken in breaks}
    except UNREADABLE:  # of damaged records nothing is closed
        closed = {}
    open_ones = tuple(finding for finding in findings if finding.record not in closed)
    looked_into = tuple(
        LedgerFinding(finding.record, f"{finding.problem}; closed by the records' owner: {closed[finding.record]}")
        for finding in findings
        if finding.record in closed
    )
    return open_ones, looked_into
