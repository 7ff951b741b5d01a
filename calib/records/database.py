"""Make, open, guard and upgrade the records file.

Embedded SQLite: WAL, synchronous=FULL, foreign keys on. A write transaction takes its lock at the start (BEGIN IMMEDIATE), so that
two people never read the same ledger head.
"""

import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, event, text
from sqlalchemy.exc import DBAPIError, IntegrityError
from sqlmodel import Session, create_engine

from calib.errors import RecordsError

SCHEMA = "0003"  # the revision that this version reads and writes
_OLDER = ("0001", "0002")  # revisions that `upgrade` brings to it
_WAIT_SECONDS = 10


def make(location: str) -> None:
    """Make a records file with the present schema; raises RecordsError where one is there already."""
    path = _path(location)
    try:
        present, folder = path.exists(), path.parent.is_dir()
    except OSError as error:  # a name too long for the system, a folder one may not enter
        raise RecordsError(f"{path}: no records can be made there ({error.strerror})") from error
    if present:
        raise RecordsError(f"{path} is there already: name another file with --records, or use this one")
    if not folder:
        raise RecordsError(f"{path}: the folder {path.parent} does not exist: make it first")
    with _taken_back([path, Path(f"{path}-wal"), Path(f"{path}-shm")]):
        with _told(location), closing(sqlite3.connect(path)) as file:
            file.execute("PRAGMA journal_mode=WAL")  # kept in the file; it cannot be set inside a transaction
        _migrate(location, path)


@contextmanager
def _taken_back(made: list[Path]) -> Iterator[None]:
    """Files that are made on the way are taken away again where it does not end well."""
    try:
        yield
    except BaseException:
        for one in made:
            one.unlink(missing_ok=True)
        raise


def upgrade(location: str) -> Path | None:
    """Bring an older records file to the present schema; a copy of it as it was stays beside it, and is returned.

    None where there was nothing to do. Everything or nothing: raises RecordsError with the file untouched.
    """
    path = _path(location)
    found = _schema_of(location, path)
    if found == SCHEMA:
        return None
    if found not in _OLDER:
        raise RecordsError(_other_schema(path, found))
    copy = path.with_name(f"{path.name}.schema-{found}")
    _migrate(location, path, copy)
    return copy


def _migrate(location: str, path: Path, copy: Path | None = None) -> None:
    """Bring a file to the present schema in one transaction; where a copy is wanted, it is made first, within it."""
    from calib.records.migrations import upgrade as to_revision  # noqa: PLC0415 (alembic takes 0.2 s to import)

    engine = _engine(path)
    # A table may be replaced by a new one of its name; what refers to it is checked when all is in its place.
    event.listen(engine, "connect", lambda connection, _: connection.execute("PRAGMA foreign_keys=OFF"))
    made: list[Path] = []
    try:
        with _taken_back(made), _told(location), engine.execution_options(writes=True).begin() as connection:
            if copy is not None:
                _keep(connection, path, copy)
                made.append(copy)
            to_revision(connection, SCHEMA)
            broken = connection.execute(text("PRAGMA foreign_key_check")).first()
            if broken is not None:
                raise RecordsError(f"{path}: a row of {broken[0]} refers to one of {broken[2]} that is not there")
    finally:
        engine.dispose()


def _keep(connection: Connection, path: Path, copy: Path) -> None:
    """Keep the bytes of the database in another file, whole or not at all; raises RecordsError where one is there already."""
    part = copy.with_name(f"{copy.name}.part")
    try:
        present = copy.exists()
        if not present:
            with _taken_back([part]), part.open("wb") as file:
                file.write(connection.connection.driver_connection.serialize())  # type: ignore[union-attr]
                file.flush()
                os.fsync(file.fileno())
            part.replace(copy)
    except OSError as error:  # no space left, a name too long for the system, a folder one may not write in
        raise RecordsError(f"{copy}: no copy of {path} can be made ({error.strerror}); nothing was changed") from error
    if present:
        raise RecordsError(
            f"{copy} is there already: move it away first, it would be overwritten by the copy of {path}"
        )


def open_records(location: str) -> Engine:
    """Engine on an existing records file of the present schema; raises RecordsError with the next step otherwise."""
    path = _path(location)
    schema = _schema_of(location, path)
    if schema in _OLDER:
        raise RecordsError(
            f"{path} has schema {schema}, this version needs {SCHEMA}: `calib upgrade --records {path}` brings it there "
            "and keeps a copy"
        )
    if schema != SCHEMA:
        raise RecordsError(_other_schema(path, schema))
    return _engine(path)


def _other_schema(path: Path, schema: str) -> str:
    return f"{path} has schema {schema}, this version knows {SCHEMA}: use the version that wrote it, or a later one"


def _schema_of(location: str, path: Path) -> str:
    """Schema of a file that is there; raises RecordsError."""
    if not _is_file(path):
        raise RecordsError(f"no records at {path}: make them with `calib init`, or name others with --records")
    engine = _engine(path)
    try:
        with _told(location), engine.connect() as connection:
            schema = _schema(connection)
    finally:
        engine.dispose()
    if schema is None:
        raise RecordsError(f"{path} is a database, but holds no calibration records: name another file with --records")
    return schema


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except OSError:  # a name that is too long for the system
        return False


def _path(location: str) -> Path:
    scheme, separator, rest = location.partition("://")
    if not separator:
        if location in ("", ":memory:"):
            raise RecordsError(f"{location!r} names no file: name a file with --records")
        return Path(location)
    if scheme != "sqlite":
        raise RecordsError(f"records at {scheme}:// are not served by this version: name a file with --records")
    return Path(rest.removeprefix("/"))


def _schema(connection: Connection) -> str | None:
    present = connection.execute(text("SELECT count(*) FROM sqlite_master WHERE name = 'alembic_version'")).scalar_one()
    if not present:
        return None
    # One row in every file of this program; in another's there may be any number.
    return (
        ", ".join(str(one) for one in connection.execute(text("SELECT version_num FROM alembic_version")).scalars())
        or None
    )


def _engine(path: Path) -> Engine:
    engine = create_engine(URL.create("sqlite", database=str(path)), connect_args={"timeout": _WAIT_SECONDS})
    event.listen(engine, "connect", _prepare)
    event.listen(engine, "begin", _begin)
    return engine


def _prepare(connection: sqlite3.Connection, _record: Any) -> None:
    connection.isolation_level = None  # the driver's own BEGIN comes too late for DDL and for locks
    # Bytes that are no UTF-8 were put there behind the program's back: `verify` must be able to read and name them.
    connection.text_factory = lambda raw: raw.decode("utf-8", "surrogateescape")
    for pragma in ("foreign_keys=ON", "synchronous=FULL", "recursive_triggers=ON"):
        connection.execute(f"PRAGMA {pragma}")


def _begin(connection: Connection) -> None:
    immediate = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if immediate else "BEGIN")


@contextmanager
def reading(location: str) -> Iterator[Session]:
    """A session that reads one consistent state of the records."""
    engine = open_records(location)
    try:
        with _told(location), Session(engine) as session:
            yield session
    finally:
        engine.dispose()


@contextmanager
def writing(location: str) -> Iterator[Session]:
    """A session whose writes become durable together when the block ends, or not at all when it raises."""
    engine = open_records(location)
    try:
        with _told(location), Session(engine.execution_options(writes=True)) as session, session.begin():
            yield session
    finally:
        engine.dispose()


@contextmanager
def _told(location: str) -> Iterator[None]:
    try:
        yield
    except IntegrityError as error:
        raise RecordsError(f"{location}: the records refuse this: {error.orig}; nothing was written") from error
    except (DBAPIError, sqlite3.Error) as error:
        cause = error.orig if isinstance(error, DBAPIError) else error
        raise RecordsError(f"{location}: {cause}; nothing was written") from error
