"""The ledger: append an entry for each record, verify the chain, return all findings.

    digest(entry) = SHA-256(sequence, time, person, action, table, id, digest of the record, digest of the entry before)

Whoever changes a recorded byte, takes a row out or swaps two breaks a digest; whoever cuts the tail is found against a digest that
was printed on a report.
"""

import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Table, inspect, select, text
from sqlmodel import Session, SQLModel, col

from calib.records.tables import EVIDENCE, LedgerEntry

BEFORE_THE_FIRST = "0" * 64


@dataclass(frozen=True)
class Signature:
    """Who writes, when and in which action: what each ledger entry of one transaction has in common."""

    person: str
    time: datetime
    action: str


@dataclass(frozen=True)
class LedgerFinding:
    """One thing that `verify` found."""

    record: str  # "reading 7" or "ledger entry 12"
    problem: str

    def __str__(self) -> str:
        return f"{self.record}: {self.problem}"


def record_bytes(table: str, columns: Mapping[str, Any]) -> bytes:
    """The exact bytes of a record that its digest is made of.

    Columns without a value are left out, so that a later schema may add a column without touching what was recorded before.
    """
    present = sorted((name, _plain(value)) for name, value in columns.items() if value is not None)
    return json.dumps([table, present], separators=(",", ":")).encode()


def _plain(value: Any) -> Any:
    return {"bytes": value.hex()} if isinstance(value, bytes) else value


def _entry_digest(entry: Mapping[str, Any]) -> str:
    return _sha256(record_bytes("ledger", {name: value for name, value in entry.items() if name != "digest"}))


def _sha256(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def append(session: Session, records: Sequence[SQLModel], signature: Signature) -> None:
    """Add records and one ledger entry for each, in order; the caller's transaction makes them durable together."""
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
        "record_digest": _sha256(record_bytes(table.name, columns)),
        "previous": previous,
    }
    return entry | {"digest": _entry_digest(entry)}


def head(session: Session) -> tuple[int, str]:
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


def verify(connection: Connection, printed_digest: str | None = None) -> tuple[LedgerFinding, ...]:
    """All findings: changed bytes, missing rows, rows nobody entered, changed order, a missing guard; a cut tail."""
    findings: list[LedgerFinding] = []
    unaccounted = {table.name: dict(_record_digests(connection, table)) for table in _tables()}
    known = {BEFORE_THE_FIRST}
    before: Mapping[str, Any] | None = None
    for entry in _rows(connection, LedgerEntry.__table__):  # type: ignore[attr-defined]
        findings += _entry_findings(entry, before)
        findings += _record_findings(entry, unaccounted)
        known.add(entry["digest"])
        before = entry
    for table, rest in unaccounted.items():
        findings += [LedgerFinding(f"{table} {number}", "is in the records without a ledger entry") for number in rest]
    findings += _guard_findings(connection)
    if printed_digest is not None and printed_digest not in known:
        findings.append(
            LedgerFinding("ledger", f"holds no entry with the digest {printed_digest}: its tail was cut, or replaced")
        )
    return tuple(findings)


def _tables() -> Iterator[Table]:
    for evidence in EVIDENCE:
        yield evidence.__table__  # type: ignore[attr-defined]


def _rows(connection: Connection, table: Table) -> Iterator[Mapping[str, Any]]:
    # As stored, past any type conversion of the library: a changed type is a changed byte.
    names = [column.name for column in table.columns]
    listed = ", ".join(f'"{name}"' for name in names)
    first = next(iter(table.primary_key.columns)).name
    for row in connection.execute(text(f'SELECT {listed} FROM "{table.name}" ORDER BY "{first}"')):  # noqa: S608 (own names)
        yield dict(zip(names, row, strict=True))


def _record_digests(connection: Connection, table: Table) -> Iterator[tuple[Any, str]]:
    for row in _rows(connection, table):
        yield row["id"], _sha256(record_bytes(table.name, row))


def _entry_findings(entry: Mapping[str, Any], before: Mapping[str, Any] | None) -> Iterable[LedgerFinding]:
    name = f"ledger entry {entry['sequence']}"
    expected = 1 if before is None else before["sequence"] + 1
    if entry["sequence"] != expected:
        yield LedgerFinding(name, f"follows a gap: entry {expected} is missing")
    if _entry_digest(entry) != entry["digest"]:
        yield LedgerFinding(name, "was changed: its bytes do not make its digest")
    if entry["previous"] != (BEFORE_THE_FIRST if before is None else before["digest"]):
        yield LedgerFinding(name, "does not continue the entry before it: an entry was changed, taken out or moved")


def _record_findings(entry: Mapping[str, Any], unaccounted: dict[str, dict[Any, str]]) -> Iterable[LedgerFinding]:
    name = f"{entry['record_table']} {entry['record_id']}"
    written = f"written {entry['time']} by {entry['person']} (ledger entry {entry['sequence']})"
    digest = unaccounted.get(entry["record_table"], {}).pop(entry["record_id"], None)
    if digest is None:
        yield LedgerFinding(name, f"is missing; it was {written}")
    elif digest != entry["record_digest"]:
        yield LedgerFinding(name, f"was changed since it was {written}")


def guards(table: str) -> dict[str, str]:
    """Triggers that refuse UPDATE and DELETE on a table: name -> statement."""
    return {
        f"{table}_no_{verb}": (
            f"CREATE TRIGGER {table}_no_{verb} BEFORE {verb.upper()} ON {table} "
            f"BEGIN SELECT RAISE(ABORT, '{table}: evidence is never changed; a correction is a new record'); END"
        )
        for verb in ("update", "delete")
    }


def _guard_findings(connection: Connection) -> Iterable[LedgerFinding]:
    rows = connection.execute(text("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"))
    present: dict[str, str] = {row[0]: row[1] for row in rows}
    for table in (*(one.name for one in _tables()), "ledger"):
        for name, statement in guards(table).items():
            if name not in present:
                yield LedgerFinding(f"table {table}", f"its guard {name} is missing: rows could be changed")
            elif present[name] != statement:
                yield LedgerFinding(f"table {table}", f"its guard {name} was changed: rows could be changed")
