"""When a record was recorded, by the ledger: its place there, and the day beside the one from which it holds, as that was typed."""

from collections.abc import Collection
from datetime import date
from typing import Any

from sqlalchemy import and_
from sqlmodel import Session, SQLModel, col, select

from calib.procedures.on_record.by_keys import by_keys
from calib.records.record import key
from calib.records.tables.ledger import LedgerEntry


def entry_of(table: type[SQLModel]) -> Any:
    """A condition on ledger entries joined with a table: the entry is that of the record."""
    own: Any = table
    return and_(col(LedgerEntry.record_table) == table.__tablename__, col(LedgerEntry.record_id) == own.id)


def recorded_by(session: Session, table: type[SQLModel], keys: Collection[int]) -> dict[int, dict[str, str]]:
    """Who recorded each of some records of a table, and when: `person` and `recorded_at`, by key."""
    entries = select(LedgerEntry.record_id, LedgerEntry.person, LedgerEntry.time)
    own = entries.where(LedgerEntry.record_table == table.__tablename__)
    return {
        record_id: {"person": person, "recorded_at": time}
        for record_id, person, time in by_keys(session, own, LedgerEntry.record_id, keys)
    }


def sequences(session: Session, table: str, keys: Collection[int]) -> dict[int, int]:
    """Place in the ledger of records of a table, by their key."""
    query = select(LedgerEntry.record_id, LedgerEntry.sequence).where(LedgerEntry.record_table == table)
    places = by_keys(session, query, LedgerEntry.record_id, keys)
    return dict(sorted((record_id, key(sequence)) for record_id, sequence in places))


def why_from(on: date) -> str:
    """What the reason of a record that holds from an earlier day should have told."""
    return f"why it holds from {on}, before it is recorded"


def holds_from_earlier(on: date, recorded: date, reason: str | None) -> bool:
    """Whether a record that holds from a day lacks the reason why it was recorded on a later one only."""
    return on < recorded and not (reason or "").strip()
