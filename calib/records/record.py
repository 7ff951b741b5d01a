"""A record of the tables: its key, its times as typed, its cells."""

from datetime import datetime
from typing import Any

from sqlalchemy import inspect
from sqlmodel import SQLModel

RecordCells = dict[str, Any]  # column -> value, of a record as it was typed


def key(record_id: int | None) -> int:
    """The primary key of a record that is in the database."""
    assert record_id is not None  # noqa: S101 (absent only before the first flush)
    return record_id


def moment(typed: str) -> datetime:
    """The time that was typed with its zone."""
    return datetime.fromisoformat(typed)


def typed(record: SQLModel, *without: str) -> RecordCells:
    """The cells of a record as typed, in the order of its table, without keys of other tables."""
    columns = inspect(type(record)).local_table.columns
    return {column.name: getattr(record, column.name) for column in columns if column.name not in without}
