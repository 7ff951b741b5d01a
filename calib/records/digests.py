"""Digests of records, from the rows of a table as they are stored.

Decision (2026-11). Digests leave out columns without a value, so a migration adds a column without breaking them; `verify` reads
rows past the ORM, whatever bytes they hold. CHECKs cast typed text to REAL: the database refuses what no procedure may write
while digits stay as typed. Cost (11-25): a digest does not tell a column that did not exist from one left blank; the bytes
are written column by column, and held by tests to what JSON makes of one record; a CHECK is no second check
of the cells: on SQLite text that begins with a number passes it.
"""

import hashlib
import json
from collections.abc import Sequence
from json.encoder import encode_basestring_ascii as _quoted  # what an encoder itself writes of a string
from types import NoneType
from typing import Any

ENTRY_COLUMNS = (
    "action", "person", "previous", "record_digest", "record_id", "record_table", "sequence", "time", "version",
)  # fmt: skip
_ENCODER = json.JSONEncoder(separators=(",", ":"))


def sha256(content: bytes) -> str:
    """SHA-256 in hexadecimal digits."""
    return hashlib.sha256(content).hexdigest()


def row_digests(table: str, columns: Sequence[str], rows: Sequence[Sequence[Any]]) -> list[str]:
    """Digests of rows of one table, each of the bytes of its record as JSON: `["outlet",[["id",1],["name","S-1"]]]`.

    `columns` in alphabetical order. Those without a value are left out, so that a later schema may add a column without touching
    what was recorded before; bytes are `{"bytes":"00ff"}`. Column by column: most hold text alone or numbers alone, and are written
    in a fraction of the time that an encoder takes on each record.
    """
    if not rows:
        return []
    cells = [_written(f',["{name}",', column) for name, column in zip(columns, zip(*rows, strict=True), strict=True)]
    opening = f'["{table}",['
    # Each record begins with the comma of its first column.
    filled = list(filter(None, cells)) or [[""] * len(rows)]
    records = map("".join, zip(*filled, strict=True))
    return [hashlib.sha256(f"{opening}{record[1:]}]]".encode()).hexdigest() for record in records]


def _written(head: str, column: Sequence[Any]) -> list[str]:
    """The cells of a column as they stand in their records, absent ones as nothing; no cells where all are absent."""
    kinds = set(map(type, column))
    if kinds == {str}:
        return [f"{head}{_quoted(cell)}]" for cell in column]
    if kinds == {int}:
        return [f"{head}{cell}]" for cell in column]
    if kinds == {NoneType}:
        return []
    return ["" if cell is None else f"{head}{_ENCODER.encode(_plain(cell))}]" for cell in column]


def _plain(cell: Any) -> Any:
    return {"bytes": cell.hex()} if isinstance(cell, bytes) else cell


def entry_digests(columns: Sequence[tuple[Any, ...]]) -> list[str]:
    """Digests of ledger entries, the same as of `row_digests`, from ENTRY_COLUMNS column by column.

    Half of all that `verify` does, and so written out.
    """
    if not columns:
        return []
    try:
        if set(map(type, columns[4] + columns[6])) == {int}:
            written = [f',["version",{_quoted(version)}]' if version is not None else "" for version in columns[8]]
            return [
                hashlib.sha256(
                    (
                        f'["ledger",[["action",{_quoted(action)}],["person",{_quoted(person)}],["previous",{_quoted(previous)}],'
                        f'["record_digest",{_quoted(digest)}],["record_id",{record_id}],["record_table",{_quoted(table)}],'
                        f'["sequence",{sequence}],["time",{_quoted(time)}]{version}]]'
                    ).encode()
                ).hexdigest()
                for action, person, previous, digest, record_id, table, sequence, time, version in zip(
                    *columns[:8], written, strict=True
                )
            ]
    except TypeError:  # no text where text belongs: somebody put it there
        pass
    return row_digests("ledger", ENTRY_COLUMNS, list(zip(*columns, strict=True)))
