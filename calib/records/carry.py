"""Carry records over whole, with their ledger: from a file to a server when a company grows, or back."""

from collections.abc import Iterator, Sequence
from typing import Any

from sqlalchemy import Connection, Table, insert, text

from calib.errors import RecordsError, Step
from calib.records import database, ledger
from calib.records.stored_state import apart_from_closed
from calib.records.tables.evidence import METADATA
from calib.records.verification import Progress

_BATCH = 1_000  # rows in memory at a time; of rows that hold whole files, one


def carry(source: str, target: str, progress: Progress = lambda _: None) -> int:
    """Make records at the target that are those of the source, row by row, and verify them there.

    The chain goes on: a digest printed on an earlier report is still in it, and a break that was closed stays closed. Returns the
    number of ledger entries. Everything or nothing: raises RecordsError where the source has findings of its own, or where the
    target holds an entry; empty records made on the way stay, and may be the target of the next attempt.
    """
    with database.reading(source) as old:
        _must_be_whole(old.connection(), database.shown_location(source), progress)
        if not _is_empty(target):
            database.make(target)
        with database.writing(target) as new:
            # The ledger last: a server lets in no entry of a record that is not there.
            for table in sorted(METADATA.sorted_tables, key=lambda table: table.name == "ledger"):
                _copy(old.connection(), new.connection(), table, progress)
            if new.get_bind().dialect.name == "postgresql":
                # Else the server plans its first questions as if all tables were small.
                new.execute(text("ANALYZE"))
            progress("reading the copy back")
            _must_be_whole(new.connection(), database.shown_location(target), progress)
            if ledger.ledger_head(new) != ledger.ledger_head(old):
                raise RecordsError(
                    f"{database.shown_location(target)} does not end as {database.shown_location(source)} does"
                )
        return ledger.ledger_head(old)[0]


def _is_empty(location: str) -> bool:
    """Whether records are there that hold nothing yet; whatever else is there, or is not, is left for `make` to judge."""
    try:
        with database.reading(location) as session:
            return ledger.ledger_head(session)[0] == 0
    except RecordsError:
        return False


def _must_be_whole(connection: Connection, place: str, progress: Progress) -> None:
    findings, _ = apart_from_closed(connection, ledger.verify(connection, None, progress))
    if findings:
        raise RecordsError(f"{place} is not carried over: {findings[0]}; {Step.VERIFY} names all {len(findings)}")


def _copy(old: Connection, new: Connection, table: Table, progress: Progress) -> None:
    for count, rows in enumerate(_batches(old, table), 1):
        new.execute(insert(table), rows)
        if count % 20 == 0:
            progress(f"copying {table.name}, to number {rows[-1][next(iter(table.primary_key.columns)).name]}")
    if new.dialect.name == "postgresql" and "id" in table.columns:
        # Rows that come with their numbers do not move the sequence that numbers the next.
        new.execute(
            text(
                f"SELECT setval(pg_get_serial_sequence('{table.name}', 'id'), max(id)) "  # noqa: S608 (own names)
                f'FROM "{table.name}" HAVING max(id) > 0'
            )
        )


def _batches(connection: Connection, table: Table) -> Iterator[Sequence[dict[str, Any]]]:
    """Rows as stored, in the order of their numbers."""
    key = next(iter(table.primary_key.columns)).name
    names = [column.name for column in table.columns]
    listed = ", ".join(f'"{name}"' for name in names)
    asked = text(f'SELECT {listed} FROM "{table.name}" WHERE "{key}" > :last ORDER BY "{key}" LIMIT :most')  # noqa: S608
    most = 1 if "content" in names else _BATCH
    last = 0
    while rows := [
        dict(zip(names, row, strict=True)) for row in connection.execute(asked, {"last": last, "most": most})
    ]:
        yield rows
        last = rows[-1][key]
