"""The ledger: append an entry for each record, verify the chain, return all findings.

    digest(entry) = SHA-256(sequence, time, person, action, table, id, digest of the record, digest of the entry before)

Whoever changes a recorded byte, takes a row out or swaps two breaks a digest; whoever cuts the tail is found against a digest that
was printed on a report.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, inspect, select
from sqlmodel import Session, SQLModel, col

from calib.records.digests import entry_digest, record_bytes, sha256
from calib.records.guards import guard_findings
from calib.records.guards import guards as guards  # noqa: PLC0414 (a public name of the ledger)
from calib.records.tables import LedgerEntry
from calib.records.verification import (
    BEFORE_THE_FIRST,
    LedgerFinding,
    Progress,
    chain_findings,
    unaccounted_findings,
)


@dataclass(frozen=True)
class Signature:
    """Who writes, when and in which action: what each ledger entry of one transaction has in common."""

    person: str
    time: datetime
    action: str
    as_login: bool = False  # nobody was named: the person is whoever has this login


def append_entries(session: Session, records: Sequence[SQLModel], signature: Signature) -> None:
    """Add records and one ledger entry for each, in order; the caller's transaction makes them durable together."""
    for record in records:
        _without_negative_zero(record)
    session.add_all(records)
    session.flush()
    last = session.exec(select(LedgerEntry).order_by(col(LedgerEntry.sequence).desc()).limit(1)).scalar_one_or_none()  # type: ignore[call-overload]
    sequence, previous = (0, BEFORE_THE_FIRST) if last is None else (last.sequence, last.digest)
    entries = []
    for record in records:
        sequence += 1
        entry = _entry(record, sequence, previous, signature)
        previous = entry["digest"]
        entries.append(entry)
    session.execute(LedgerEntry.__table__.insert(), entries)  # type: ignore[attr-defined]


def _without_negative_zero(record: SQLModel) -> None:
    """SQLite keeps 0.0 where -0.0 is written, PostgreSQL keeps -0.0: one digest for both needs one zero."""
    for name, value in list(record):
        if isinstance(value, float) and value == 0:
            setattr(record, name, 0.0)


def _entry(record: SQLModel, sequence: int, previous: str, signature: Signature) -> dict[str, Any]:
    table = inspect(type(record)).local_table
    columns = {column.name: getattr(record, column.name) for column in table.columns}
    entry = {
        "sequence": sequence,
        "time": signature.time.isoformat(timespec="seconds"),
        "person": signature.person,
        "action": signature.action,
        "record_table": table.name,
        "record_id": columns["id"],
        "record_digest": sha256(record_bytes(table.name, columns)),
        "previous": previous,
    }
    return entry | {"digest": entry_digest(entry)}


def ledger_head(session: Session) -> tuple[int, str]:
    """Sequence and digest of the last entry; (0, sixty-four zeros) before the first."""
    found = session.execute(
        select(LedgerEntry.sequence, LedgerEntry.digest).order_by(col(LedgerEntry.sequence).desc()).limit(1)  # type: ignore[call-overload]
    ).first()
    return (0, BEFORE_THE_FIRST) if found is None else (found[0], found[1])


def written(session: Session, table: str, record_id: int) -> tuple[str, str]:
    """Who wrote a record, and when."""
    found = session.execute(
        select(LedgerEntry.person, LedgerEntry.time).where(  # type: ignore[call-overload]
            col(LedgerEntry.record_table) == table, col(LedgerEntry.record_id) == record_id
        )
    ).one()
    return found[0], found[1]


def verify(
    connection: Connection, printed_digest: str | None = None, progress: Progress = lambda _: None
) -> tuple[LedgerFinding, ...]:
    """All findings: changed bytes, missing rows, rows nobody entered, changed order, a missing guard; a cut tail.

    A long ledger is read by several processes, which see what is committed.
    """
    return (
        *chain_findings(connection, progress),
        *unaccounted_findings(connection),
        *guard_findings(connection),
        *_tail_findings(connection, printed_digest),
    )


def _tail_findings(connection: Connection, printed_digest: str | None) -> Iterable[LedgerFinding]:
    asked = select(LedgerEntry.sequence).where(col(LedgerEntry.digest) == printed_digest)  # type: ignore[call-overload]
    if printed_digest in (None, BEFORE_THE_FIRST) or connection.execute(asked).first() is not None:
        return
    yield LedgerFinding("ledger", f"holds no entry with the digest {printed_digest}: its tail was cut, or replaced")
