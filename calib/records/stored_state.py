"""All that is stored: pages and indexes, the schema, every row against the ledger."""

import sqlite3
from collections.abc import Callable, Iterable, Iterator

from sqlalchemy import Connection
from sqlalchemy.exc import DBAPIError

from calib.records import ledger
from calib.records.pages import page_findings
from calib.records.schema_findings import schema_findings
from calib.records.verification import LedgerFinding, Progress

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


def _ended(proof: Callable[[], Iterable[LedgerFinding]]) -> Iterator[LedgerFinding]:
    try:
        yield from proof()
    except UNREADABLE as error:
        cause = error.orig if isinstance(error, DBAPIError) else error
        if getattr(cause, "sqlstate", None) == _NOT_ALLOWED or getattr(error, "connection_invalidated", False):
            raise  # nothing was learnt of the records
        yield LedgerFinding("records", f"cannot be read whole: {' '.join(str(cause).split())}: go back to a backup")
