"""Records in a file: embedded SQLite, WAL, synchronous=FULL, foreign keys on.

A write transaction takes its lock at the start (BEGIN IMMEDIATE), so that two people never read the same ledger head.
"""

import shutil
import sqlite3
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path
from typing import IO, Any

from sqlalchemy import URL, Connection, Engine, Executable, Row, event, text
from sqlalchemy.exc import OperationalError
from sqlmodel import create_engine

from calib.errors import RecordsError, Step

MOST_CONNECTIONS = 40  # that one engine has at once; 5 of them stay open (SQLAlchemy, QueuePool)
_PAGES = 2_000  # copied at a time: 8 MB
_PIECE = 2**20  # [byte] of a file copied at a time

# What is said beside SQLite's own words, by its primary result code.
_NEXT_STEP = {
    sqlite3.SQLITE_READONLY: "file and folder must be writable for whatever writes, and here may only be read",
    sqlite3.SQLITE_CANTOPEN: "look at the permissions of the file and of its folder",
    sqlite3.SQLITE_FULL: "make room and run it again",
    sqlite3.SQLITE_IOERR: "look at the disk and at the room on it",
    sqlite3.SQLITE_NOTADB: f"{Step.NAME_FILE}, or go back to a backup if it was one",
    sqlite3.SQLITE_CORRUPT: "the file is damaged, go back to a backup and verify it",
}


def engine_of(path: Path, wait: float) -> Engine:
    """Engine on a file; another's lock is waited for so many seconds."""
    return _engine(URL.create("sqlite", database=str(path)), wait)


def engine_for_reading_only(path: Path, wait: float) -> Engine:
    """Engine on a file in a folder where nothing may be written, not even the shared memory that SQLite's log needs.

    Raises RecordsError where the newest entries are still in that log.
    """
    if has_log(path):
        raise RecordsError(
            f"{path}: its newest entries stand in {_log(path).name}, and the folder may only be read: "
            "copy both into a folder that one may write in, and read them there"
        )
    query = {"mode": "ro", "immutable": "1", "uri": "true"}
    return _engine(URL.create("sqlite", database=path.absolute().as_uri(), query=query), wait)


def needs_a_writable_folder(error: BaseException | None) -> bool:
    """Whether a file was not opened for want of a place for its log."""
    return isinstance(error, sqlite3.Error) and _code(error) in (sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY)


def state_of(path: Path) -> tuple[int, ...]:
    """What changes when somebody writes to a file: size and time of the file and of its log."""
    stats = [each.stat() for each in (path, _log(path)) if each.exists()]
    return tuple(figure for stat in stats for figure in (stat.st_size, stat.st_mtime_ns))


def is_for_reading_only(engine: Engine) -> bool:
    """Whether an engine reads a file without any lock, so that it must be looked at again afterwards."""
    return "immutable" in engine.url.query


def schema_of(connection: Connection) -> str | None:
    """Schema of a file; None where it holds no calibration records."""
    present = connection.execute(text("SELECT count(*) FROM sqlite_master WHERE name = 'alembic_version'")).scalar_one()
    if not present:
        return None
    # One row in every file of this program; in another's there may be any number.
    return ", ".join(map(str, connection.execute(text("SELECT version_num FROM alembic_version")).scalars())) or None


def cause_of(error: sqlite3.Error, wait: float) -> str:
    """What SQLite says, with the next step where there is one."""
    code = _code(error)
    if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return f"in use by another writer for longer than {wait:g} s (database is locked): run it again"
    step = _NEXT_STEP.get(code)
    return str(error) if step is None else f"{error}: {step}"


def _code(error: sqlite3.Error) -> int:
    code = getattr(error, "sqlite_errorcode", None)  # absent where Python's own library raises
    return 0 if code is None else code & 0xFF


def is_beside_another(path: Path) -> bool:
    """Whether a file of this name would be taken for the log of the one it is named after, and thrown away with it."""
    return path.name.endswith(("-wal", "-shm", "-journal"))


def in_one_file(path: Path) -> None:
    """Put the pages that stand in the log of a file into their places: what is renamed is the file alone.

    Whoever closes a file does so too, but says nothing where there is no room for them, and the log stays. Raises sqlite3.Error.
    """
    if has_log(path):
        with closing(sqlite3.connect(path)) as file:
            file.execute("PRAGMA wal_checkpoint(TRUNCATE)")


def has_log(path: Path) -> bool:
    """Whether pages stand in the log beside a file."""
    return _log(path).exists() and _log(path).stat().st_size > 0


def copy(file: IO[bytes], path: Path, target: Path) -> None:
    """Copy a file, opened to read, while a transaction keeps others from writing: a piece at a time, every byte of it.

    Of a file with pages in its log, since another program has it open too, the copy has those in their places, and its own count
    of changes. Raises OSError, sqlite3.Error.
    """
    target.touch()
    if has_log(path):
        with closing(sqlite3.connect(path)) as source, closing(sqlite3.connect(target)) as copied:
            source.backup(copied, pages=_PAGES)
    else:
        with target.open("wb") as copied_bytes:
            shutil.copyfileobj(file, copied_bytes, _PIECE)


def _log(path: Path) -> Path:
    return path.with_name(f"{path.name}-wal")


def _engine(url: URL, wait: float) -> Engine:
    engine = create_engine(url, connect_args={"timeout": wait}, max_overflow=MOST_CONNECTIONS - 5)
    event.listen(engine, "connect", _prepare)
    event.listen(engine, "begin", _begin)
    return engine


def _prepare(connection: sqlite3.Connection, _record: Any) -> None:
    connection.isolation_level = None  # the driver's own BEGIN comes too late for DDL and for locks
    # Bytes that are no UTF-8 were put there behind the program's back: `verify` must be able to read and name them.
    connection.text_factory = _decoded
    for pragma in ("foreign_keys=ON", "synchronous=FULL", "recursive_triggers=ON"):
        connection.execute(f"PRAGMA {pragma}")


def _decoded(raw: bytes) -> str:
    return raw.decode("utf-8", "surrogateescape")


def rows_of(connection: Connection, query: Executable) -> Sequence[Row[Any]]:
    """All rows of a query, of a server too; text of a file is decoded by its driver, in two thirds of the time, where it can be."""
    driver = connection.connection.driver_connection
    if isinstance(driver, sqlite3.Connection):
        driver.text_factory = str
        try:
            return connection.execute(query).all()
        except OperationalError:
            pass  # bytes that are no UTF-8; whatever else it was is raised below
        finally:
            driver.text_factory = _decoded
    return connection.execute(query).all()


def _begin(connection: Connection) -> None:
    immediate = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if immediate else "BEGIN")
