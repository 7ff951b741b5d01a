"""All that is stored: pages and indexes, the schema, every row against the ledger."""

import sqlite3
from collections.abc import Callable, Iterable, Iterator, Sequence

from sqlalchemy import Connection
from sqlalchemy.exc import DBAPIError
from sqlmodel import col, func, select

from calib.records import ledger
from calib.records.pages import page_findings
from calib.records.schema_findings import schema_findings
from calib.records.tables.custody import LedgerBreak
from calib.records.tables.ledger import LedgerEntry
from calib.records.verification import BEFORE_THE_FIRST, LedgerFinding, Progress

UNREADABLE = (DBAPIError, sqlite3.Error, UnicodeDecodeError)
_NOT_ALLOWED = "42501"  # of PostgreSQL: the login may not read here


def stored_findings(
    connection: Connection, printed_digest: str | None = None, progress: Progress = lambda _: None
) -> tuple[LedgerFinding, ...]:
    """Findings of pages, schema, rows and chain; what cannot be read at all is a finding too, so that this always ends."""
    proofs: tuple[Callable[[], Iterable[LedgerFinding]], ...] = (
        lambda: page_findings(connection),
        lambda: schema_findings(connection),
        lambda: ledger.verify(connection, printed_digest, progress),
    )
    return tuple(finding for proof in proofs for finding in _ended(proof))


def apart_from_closed(
    connection: Connection, findings: Sequence[LedgerFinding]
) -> tuple[tuple[LedgerFinding, ...], tuple[LedgerFinding, ...]]:
    """Findings apart from those that the owner of the records has looked into and closed, as the entry still stands."""
    digest_now = select(LedgerEntry.digest).where(col(LedgerEntry.sequence) == LedgerBreak.sequence)
    as_closed = col(LedgerBreak.digest) == func.coalesce(digest_now.scalar_subquery(), BEFORE_THE_FIRST)
    try:
        breaks = (
            connection.execute(select(LedgerBreak.sequence, LedgerBreak.reason).where(as_closed)) if findings else ()
        )
        closed = {f"ledger entry {sequence}": reason for sequence, reason in breaks}
    except UNREADABLE:  # of damaged records nothing is closed
        closed = {}
    open_ones = tuple(finding for finding in findings if finding.record not in closed)
    looked_into = tuple(
        LedgerFinding(finding.record, f"{finding.problem}; closed by the records' owner: {closed[finding.record]}")
        for finding in findings
        if finding.record in closed
    )
    return open_ones, looked_into


def _ended(proof: Callable[[], Iterable[LedgerFinding]]) -> Iterator[LedgerFinding]:
    try:
        yield from proof()
    except UNREADABLE as error:
        cause = error.orig if isinstance(error, DBAPIError) else error
        if getattr(cause, "sqlstate", None) == _NOT_ALLOWED or getattr(error, "connection_invalidated", False):
            raise  # nothing was learnt of the records
        yield LedgerFinding("records", f"cannot be read whole: {' '.join(str(cause).split())}: go back to a backup")
