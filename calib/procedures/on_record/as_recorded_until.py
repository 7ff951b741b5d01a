"""The records as they were at a place in the ledger: what was recorded later is not seen.

Decision (2026-11-29). Every question that is asked within the block gets a condition on each table, by the ledger. Options: each
reader with a day as an argument (thirty readers), a copy of the file without what came later (its cost grows with the company's
past). Cost: a look-up in the ledger's index for each row, so that the block is for single answers; a condition that asks for
"none" has to be written as a query of its table, since a bare `exists()` names none.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from sqlalchemy import ColumnElement, event, literal_column
from sqlalchemy.orm import ORMExecuteState, aliased, with_loader_criteria
from sqlalchemy.sql.base import ExecutableOption
from sqlmodel import Session, select

from calib.records.tables.ledger import LedgerEntry
from calib.records.tables.row import Row


@contextmanager
def as_recorded_until(session: Session, sequence: int) -> Iterator[None]:
    """Within the block a session reads what was recorded up to a place in the ledger, that place with it."""
    until = [_only_until(table, sequence) for table in _tables()]

    def add_conditions(asked: ORMExecuteState) -> None:
        if asked.is_select:
            asked.statement = asked.statement.options(*until)

    event.listen(session, "do_orm_execute", add_conditions)
    try:
        yield
    finally:
        event.remove(session, "do_orm_execute", add_conditions)


def _tables() -> list[Any]:
    """Those of records: each has a key of its own, and an entry in the ledger for each row."""
    return [each.class_ for each in Row._sa_registry.mappers if "id" in each.columns]  # noqa: SLF001


def _only_until(table: Any, sequence: int) -> ExecutableOption:
    """A condition on a table, under whatever name a query has it."""
    # Constants of the query and no parameters: the library mixes up the parameters of conditions made alike.
    name: ColumnElement[str] = literal_column(f"'{table.__tablename__}'")
    until: ColumnElement[int] = literal_column(str(sequence))
    entry = aliased(LedgerEntry)
    return with_loader_criteria(
        table,
        lambda own: (
            select(entry.sequence)
            .where(entry.record_table == name, entry.record_id == own.id, entry.sequence <= until)
            .exists()
        ),
        include_aliases=True,
    )
