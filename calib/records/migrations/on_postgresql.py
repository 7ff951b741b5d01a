"""What a revision says, in the words of PostgreSQL. The revisions are written once, in those that SQLite understands.

- A number as typed is cast to double precision, not to REAL, which has 4 bytes there; text that is no number counts as 0, as it
  does in SQLite, where PostgreSQL's own cast would stop with an error.
- Text is compared byte by byte (collation C), as SQLite compares it: lists and reports keep their order on every server, and no
  upgrade of a system's collation rules spoils an index.
"""

import re
from typing import Any

from alembic import op
from sqlalchemy import Connection, event

from calib.records.guards import FUNCTION_STATEMENT, guards_on_server
from calib.records.server_functions import LEDGER_GOES_ON, make_functions, trigger_statement

_DEFINES = re.compile(r"\s*(CREATE|ALTER)\s+TABLE\b")
_TEXT = re.compile(r"\bVARCHAR(\(\d+\))?")
_NUMBER = re.compile(r"CAST\((\w+) AS REAL\)")
_AS_TYPED = r"^\s*[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?\s*$"


def is_here() -> bool:
    """Whether the revision that runs is at a PostgreSQL server."""
    return op.get_bind().dialect.name == "postgresql"


def make_guard_function() -> None:
    """Make the function that the guards of all tables call."""
    op.execute(FUNCTION_STATEMENT)


def guard(table: str) -> None:
    """Make the guards of a table; they hold also in sessions that replay the changes of a replica."""
    for name, statement in guards_on_server(table).items():
        op.execute(statement)
        op.execute(f"ALTER TABLE {table} ENABLE ALWAYS TRIGGER {name}")


def guard_ledger() -> None:
    """Make the functions that say what a login may, and the guard that lets in only entries that go on from the last."""
    connection = op.get_bind()
    make_functions(connection)
    connection.exec_driver_sql(trigger_statement())
    connection.exec_driver_sql(f"ALTER TABLE ledger ENABLE ALWAYS TRIGGER {LEDGER_GOES_ON}")


def in_its_words(statement: str) -> str:
    """A statement that defines a table, as PostgreSQL has to read it; any other as it is."""
    if not _DEFINES.match(statement):
        return statement
    return _NUMBER.sub(_number, _TEXT.sub(r'VARCHAR\1 COLLATE "C"', statement))


def _number(cast: re.Match[str]) -> str:
    column = f'"{cast[1]}"'
    return (
        f"(CASE WHEN CAST({column} AS TEXT) ~ '{_AS_TYPED}' THEN CAST({column} AS DOUBLE PRECISION) "
        f"WHEN {column} IS NOT NULL THEN 0 END)"
    )


def listen(connection: Connection) -> None:
    """Put what the revisions say on this connection into PostgreSQL's words."""
    event.listen(connection, "before_cursor_execute", _translated, retval=True)


def _translated(_connection: Any, _cursor: Any, statement: str, parameters: Any, *_: Any) -> tuple[str, Any]:
    return in_its_words(statement), parameters
