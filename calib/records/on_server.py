"""Records on a PostgreSQL server, by way of psycopg.

Whoever writes takes one advisory lock first, held until the transaction ends: so writers come one after the other, each reads the
ledger's head that the one before left, and none waits for another in a circle. It needs no right but those to read and to append.
READ COMMITTED, because a snapshot older than the lock would show an older head. Readers see one state (REPEATABLE READ) and can
write nothing.
"""

import re
from typing import Any

from sqlalchemy import Connection, Engine, event, text
from sqlalchemy.exc import DBAPIError, OperationalError
from sqlmodel import create_engine

from calib.errors import RecordsError, Step
from calib.records.location import Server
from calib.records.on_file import MOST_CONNECTIONS
from calib.records.server_functions import LOCK_HOLDER

_LOCK = int.from_bytes(b"calib")
_ABANDONED_MINUTES = 5  # a transaction in which nothing is asked for so long is given up, and its lock with it

# Where SQLite has words for it, the same are said: one mistake reads alike wherever the records are.
_CHECK, _UNIQUE, _FOREIGN_KEY, _NOT_NULL = "23514", "23505", "23503", "23502"
_LOCKED, _DENIED = "55P03", "42501"
_NEXT_STEP = {
    "40001": "another transaction came in between: run it again",
    "40P01": "another transaction came in between: run it again",
    "25006": "this server may only be read: name the one that the replicas follow, or all with target_session_attrs=read-write",
    _DENIED: f"the login's roles do not allow it; {Step.SEE_GRANTS} what each may",
    "53100": "make room on the server and run it again",
}

# A line of the driver's on one of several hosts.
_ATTEMPT = re.compile(
    r"^- host: '(?P<host>[^']*)', port: '(?P<port>[^']*)'(?:, hostaddr: '[^']*')?: "
    r"(?:connection (?:failed|is bad): )?(?:connection to server .*? failed: )?(?P<said>.*)$",
    re.MULTILINE,
)


def engine_of(server: Server, wait: float) -> Engine:
    """Engine on a server; another's lock is waited for so many seconds. Raises RecordsError where the driver is missing."""
    try:
        # Prepared statements outlive their transaction, which not every connection pooler between here and there stands.
        # One that is kept is asked whether it lives before it is used again: its server may have gone, and another taken its place.
        engine = create_engine(
            server.url, connect_args={"prepare_threshold": None}, max_overflow=MOST_CONNECTIONS - 5, pool_pre_ping=True
        )
    except ImportError as error:
        raise RecordsError(
            f"{server}: records on a server need the driver psycopg: install it with `pip install 'calib[postgres]'`"
        ) from error
    event.listen(engine, "begin", lambda connection: _begin(connection, wait))
    return engine


def _begin(connection: Connection, wait: float) -> None:
    limits = (
        f"SET LOCAL lock_timeout = {round(1000 * wait)}; "
        f"SET LOCAL idle_in_transaction_session_timeout = '{_ABANDONED_MINUTES}min'"
    )
    login = connection.get_execution_options().get("acting_as")
    if login is not None:
        limits += f"; SET LOCAL ROLE {connection.dialect.identifier_preparer.quote_identifier(login)}"
    if connection.get_execution_options().get("writes", False):
        connection.exec_driver_sql(f"SET TRANSACTION ISOLATION LEVEL READ COMMITTED; {limits}")
        try:
            connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_LOCK})")
        except DBAPIError as error:
            if getattr(error.orig, "sqlstate", None) == _LOCKED:
                _name_holder(connection, error)
            raise
    else:
        connection.exec_driver_sql(f"SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY; {limits}")


def _name_holder(connection: Connection, error: DBAPIError) -> None:
    """Note on an error who holds the lock, where it is still held and the server says so."""
    own: Any = connection.connection.driver_connection
    try:
        own.rollback()
        holder = own.execute(f"SELECT {LOCK_HOLDER}({_LOCK})").fetchone()[0]
        own.rollback()
    except Exception:  # noqa: BLE001 (a driver's; what it was asked for is beside the point)
        return
    if holder is not None:
        process = holder.rpartition(" ")[2]
        error.add_note(f"{holder}; whoever runs the server can end it: SELECT pg_terminate_backend({process})")


def schema_of(connection: Connection) -> str | None:
    """Schema of a database; None where it holds no calibration records."""
    if connection.execute(text("SELECT to_regclass('alembic_version')")).scalar_one() is None:
        return None
    return ", ".join(map(str, connection.execute(text("SELECT version_num FROM alembic_version")).scalars())) or None


def must_be_empty(connection: Connection, server: Server) -> None:
    """Raises RecordsError where a database can hold no new records: tables are there, or its encoding is not UTF-8."""
    here = "SELECT relname FROM pg_class WHERE relnamespace = current_schema()::regnamespace AND relkind IN ('r', 'p')"
    tables = set(connection.execute(text(here)).scalars())
    if "ledger" in tables:
        raise RecordsError(f"{server} holds records already: {Step.NAME_ANOTHER_DATABASE}, or use this one")
    if tables:
        raise RecordsError(f"{server} holds tables of another program ({min(tables)}): name an empty database")
    encoding = connection.execute(text("SHOW server_encoding")).scalar_one()
    if encoding != "UTF8":
        raise RecordsError(f"{server} has the encoding {encoding}: make the database with ENCODING 'UTF8'")


def is_denied(error: BaseException) -> bool:
    """Whether the server refused something for want of a right."""
    return getattr(getattr(error, "orig", None), "sqlstate", None) == _DENIED


def is_unreachable(error: DBAPIError) -> bool:
    """Whether a connection was lost, or could not be had at all: the driver has no code of the server for that."""
    refused = isinstance(error, OperationalError) and error.statement is None
    return error.connection_invalidated or (refused and getattr(error.orig, "sqlstate", None) is None)


def cause_of(error: DBAPIError, wait: float) -> str:
    """What the server says, in one line, with the next step where there is one."""
    cause: Any = error.orig
    state, said = getattr(cause, "sqlstate", None), getattr(cause, "diag", None)
    if state == _LOCKED:
        return "; ".join([
            f"in use by another writer for longer than {wait:g} s: run it again", *getattr(error, "__notes__", ()),
        ])  # fmt: skip
    if error.connection_invalidated:
        said_first, _, _ = str(cause).partition("\n")
        return f"the connection was lost ({said_first})"
    if state is None or said is None or said.message_primary is None:
        return _of_each_host(str(cause)) or _one_line(cause)
    return _constraint(state, said) or ": ".join([said.message_primary, *filter(None, [_NEXT_STEP.get(state)])])


def _constraint(state: str, said: Any) -> str | None:
    if state == _CHECK:
        return f"CHECK constraint failed: {said.constraint_name}"
    if state == _UNIQUE:
        columns = re.search(r"\(([^)]*)\)=", said.message_detail or "")
        if columns is None:  # a key with an expression in it: SQLite names its index
            return f"UNIQUE constraint failed: index '{said.constraint_name}'"
        names = columns[1].replace('"', "").split(", ")
        return "UNIQUE constraint failed: " + ", ".join(f"{said.table_name}.{column}" for column in names)
    if state == _FOREIGN_KEY:
        return f"FOREIGN KEY constraint failed: {said.constraint_name}"
    return f"NOT NULL constraint failed: {said.table_name}.{said.column_name}" if state == _NOT_NULL else None


def _of_each_host(said: str) -> str | None:
    """What the driver says of several hosts, one after the other; None where it was not several."""
    attempts = [
        f"{each['host']}{each['port'] and ':'}{each['port']}: {each['said']}" for each in _ATTEMPT.finditer(said)
    ]
    return f"no host takes the connection ({'; '.join(attempts)}): try again in a minute" if attempts else None


def _one_line(error: object) -> str:
    return " ".join(str(error).split())
