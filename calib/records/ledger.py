"""The ledger: append an entry for each record, verify the chain, return all findings.

    digest(entry) = SHA-256(sequence, time, person, action, table, id, digest of the record, digest of the entry before, version)

The version is that of the program which wrote the entry. Entries from before it was kept have none, and their digest is made
without one. Where it stands no time runs back by more than a minute: refused where it is written, found where it was put in.

Decision (2026-11). The version is within an entry's digest. Options: in a table of its own (a second row for each write), outside
the digest (whoever takes it away would take the rule of times away). Cost: a clock that was ahead stops all writing until QA closes
the step.

Whoever changes a recorded byte, takes a row out or swaps two breaks a digest; whoever cuts the tail is found against a digest that
was printed on a report.

Decision (2026-11). What is written goes through one function that takes rows (`ledger.append_entries_of_rows`): it reserves the
keys under the lock, works out all digests and hands the database whole batches; a single act's record is one such row. Options:
mapped objects that are flushed, of which the digests are known only after each has its key. Cost: a record that was appended does
not belong to the session.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import groupby
from typing import Any

from sqlalchemy import Connection, Float, Table, func, inspect, select, text
from sqlmodel import Session, SQLModel, col

from calib import __version__
from calib.errors import RecordsError, Step
from calib.records.digests import ENTRY_COLUMNS, entry_digests, row_digests
from calib.records.guards import guard_findings
from calib.records.guards import guards as guards  # noqa: PLC0414 (a public name of the ledger)
from calib.records.issue_digest import is_of_an_issue
from calib.records.record import typed
from calib.records.tables.custody import ClockStep
from calib.records.tables.ledger import LedgerEntry
from calib.records.verification import (
    BEFORE_THE_FIRST,
    LedgerFinding,
    Progress,
    chain_findings,
    unaccounted_findings,
)

# As far as the clocks of two machines that write to the same records may differ (common practice, no source).
_BACK_AT_MOST = timedelta(seconds=60)
_AT_ONCE = 1_000  # rows handed to the database together; with more of them each costs more


@dataclass(frozen=True)
class Signature:
    """Who writes, when and in which action: what each ledger entry of one transaction has in common."""

    person: str
    time: datetime
    action: str
    as_login: bool = False  # nobody was named: the person is whoever has this login


def append_entries(session: Session, records: Sequence[SQLModel], signature: Signature) -> None:
    """Add records and one ledger entry for each, in order; each record gets its key.

    The caller's transaction makes them durable together. The records do not belong to the session: what is asked of it later is
    read from the database.
    """
    for kind, of_kind in groupby(records, key=type):
        appended = list(of_kind)
        keys = append_entries_of_rows(session, kind, [typed(record) for record in appended], signature)
        for record, record_id in zip(appended, keys, strict=True):
            record.id = record_id


def append_entries_of_rows(
    session: Session, kind: type[SQLModel], rows: Sequence[Mapping[str, Any]], signature: Signature
) -> Sequence[int]:
    """Add rows of one table (column -> value; what is absent has none) and one ledger entry for each; the keys of the rows.

    Keys are reserved first, so that each digest is known before anything is written: whoever writes holds the lock, and no other
    writer reserves the same. The order of keys and entries is that of the rows.
    """
    if not rows:
        return ()
    table: Table = inspect(kind).local_table
    filled = {"id", *(name for row in rows for name, value in row.items() if value is not None)}
    names = sorted(filled)
    fractions = [name for name in names if isinstance(table.columns[name].type, Float)]
    keys = _reserved(session, table, len(rows))
    stored = [_stored(names, fractions, row, record_id) for row, record_id in zip(rows, keys, strict=True)]
    digests = row_digests(table.name, names, [tuple(row.values()) for row in stored])
    _insert(session, table, stored)
    _insert(session, LedgerEntry.__table__, _entries(session, table.name, keys, digests, signature))  # type: ignore[attr-defined]
    return keys


def _reserved(session: Session, table: Table, count: int) -> Sequence[int]:
    """Keys for so many new rows of a table: the next ones of a file, those of the sequence of a server."""
    if session.get_bind().dialect.name == "postgresql":
        asked = text("SELECT nextval(pg_get_serial_sequence(:name, 'id')) FROM generate_series(1, :count)")
        return sorted(session.execute(asked, {"name": table.name, "count": count}).scalars())
    last = session.execute(select(func.max(table.c.id))).scalar_one() or 0
    return range(last + 1, last + 1 + count)


def _stored(names: Sequence[str], fractions: Sequence[str], row: Mapping[str, Any], record_id: int) -> dict[str, Any]:
    """A row as the database keeps it, in the order of its digest.

    SQLite keeps 0.0 where -0.0 is written, PostgreSQL keeps -0.0: one digest for both needs one zero.
    """
    stored = dict(zip(names, map(row.get, names), strict=True))
    stored["id"] = record_id
    for name in fractions:
        if stored[name] == 0:
            stored[name] = 0.0
    return stored


def _insert(session: Session, table: Table, rows: Sequence[Mapping[str, Any]]) -> None:
    for first in range(0, len(rows), _AT_ONCE):
        session.execute(table.insert(), rows[first : first + _AT_ONCE])


def _entries(
    session: Session, table: str, keys: Iterable[int], digests: Iterable[str], signature: Signature
) -> list[dict[str, Any]]:
    sequence, previous = _head_to_go_on_from(session, table, signature.time)
    common = {
        "time": signature.time.isoformat(timespec="seconds"),
        "person": signature.person,
        "action": signature.action,
        "record_table": table,
        "version": __version__,
    }
    entries = []
    for record_id, digest in zip(keys, digests, strict=True):
        sequence += 1
        entry = common | {"sequence": sequence, "record_id": record_id, "record_digest": digest, "previous": previous}
        (previous,) = entry_digests([(entry.get(name),) for name in ENTRY_COLUMNS])
        entry["digest"] = previous
        entries.append(entry)
    return entries


def ledger_length(session: Session) -> int:
    """How many entries there are: fewer than the number of the last one says where some are missing."""
    return int(session.execute(select(func.count()).select_from(LedgerEntry)).scalar_one())


def ledger_head(session: Session) -> tuple[int, str]:
    """Sequence and digest of the last entry; (0, sixty-four zeros) before the first."""
    last = session.execute(
        select(LedgerEntry.sequence, LedgerEntry.digest).order_by(col(LedgerEntry.sequence).desc()).limit(1)  # type: ignore[call-overload]
    ).first()
    return (0, BEFORE_THE_FIRST) if last is None else (last[0], last[1])


def _head_to_go_on_from(session: Session, table: str, at: datetime) -> tuple[int, str]:
    """Sequence and digest of the last entry; raises RecordsError where its time lies after the one of a record to write."""
    last = session.execute(
        select(LedgerEntry.sequence, LedgerEntry.digest, LedgerEntry.time, LedgerEntry.version)  # type: ignore[call-overload]
        .order_by(col(LedgerEntry.sequence).desc())
        .limit(1)
    ).first()
    if last is None:
        return 0, BEFORE_THE_FIRST
    sequence, digest, time, version = last
    if version is not None and runs_back(datetime.fromisoformat(time), at, table):
        raise RecordsError(
            f"clock set back: this machine's clock says {at.isoformat(timespec='seconds')}, and ledger entry {sequence} is of "
            f"{time}; nothing was written: set the clock, or where that of the entry was ahead, {Step.CLOSE_CLOCK_STEP}"
        )
    return sequence, digest


def runs_back(before: datetime, at: datetime, table: str) -> bool:
    """Whether the time of an entry lies before that of the one before by more than clocks differ; that of a clock step may."""
    return before - at > _BACK_AT_MOST and table != ClockStep.__tablename__


def written(session: Session, table: str, record_id: int) -> tuple[str, str]:
    """Who wrote a record, and when."""
    entry = session.execute(
        select(LedgerEntry.person, LedgerEntry.time).where(  # type: ignore[call-overload]
            col(LedgerEntry.record_table) == table, col(LedgerEntry.record_id) == record_id
        )
    ).one()
    return entry[0], entry[1]


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
    if printed_digest is None or printed_digest == BEFORE_THE_FIRST or connection.execute(asked).first() is not None:
        return
    if is_of_an_issue(connection, printed_digest):
        return
    yield LedgerFinding("ledger", f"holds no entry with the digest {printed_digest}: its tail was cut, or replaced")
