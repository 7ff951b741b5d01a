"""Make, open, guard and upgrade the records, wherever they live: in a file, or in a database on a server."""

import filecmp
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from sqlalchemy import Engine, event, text
from sqlalchemy.exc import DBAPIError, IntegrityError
from sqlmodel import Session

from calib.errors import DeniedError, RecordsError, Step, UnreachableError, UnsureError
from calib.records import on_file, on_server
from calib.records.beside import beside, put_new
from calib.records.expected_schema import is_as_made
from calib.records.location import Server, located

SCHEMA = "0004"  # the revision that this version reads and writes
_OLDER = ("0001", "0002", "0003")  # revisions that `upgrade` brings to it
_WAIT_SECONDS = 10
OpenRecords = Engine  # that a face keeps open


def shown_location(location: str) -> str:
    """A location as messages may name it: without the password of a URL. Raises RecordsError."""
    place = located(location)
    return str(place) if isinstance(place, Server) else location


def name_of(location: str) -> str:
    """The name of records as another company may read it: without folder, password or machine. Raises RecordsError."""
    place = located(location)
    return str(place.url.database) if isinstance(place, Server) else place.name


def make(location: str) -> None:
    """Make records with the present schema; raises RecordsError where some are there already."""
    place = located(location)
    if isinstance(place, Server):
        _make_on_server(place)
    else:
        _make_file(place)


def _make_on_server(server: Server) -> None:
    from calib.records.migrations import upgrade as to_revision  # noqa: PLC0415 (alembic takes 0.2 s to import)

    with _disposed(_engine(server)) as engine, _told(str(server)), _written_by(engine).begin() as connection:
        on_server.must_be_empty(connection, server)
        to_revision(connection, SCHEMA)


def _make_file(path: Path) -> None:
    if on_file.is_beside_another(path):
        raise RecordsError(f"{path}: SQLite takes a file of such a name for its own log: {Step.NAME_ANOTHER_FILE}")
    try:
        present, folder, log = path.exists(), path.parent.is_dir(), on_file.has_log(path)
    except OSError as error:  # a name too long for the system, a folder one may not enter
        raise RecordsError(_cannot_be_made(path, error)) from error
    if present:
        raise RecordsError(_is_there(path))
    if not folder:
        raise RecordsError(f"{path}: the folder {path.parent} does not exist: make it first")
    if log:  # SQLite would take what stands in it for pages of the new file
        raise RecordsError(
            f"{path}: beside it is the log of a file of that name: move it away, or {Step.NAME_ANOTHER_FILE}"
        )
    try:
        with beside(path) as part:
            part.touch()  # with the permissions that the process gives: SQLite would leave out those of the group
            with _told(str(path)), closing(sqlite3.connect(part)) as file:
                file.execute("PRAGMA journal_mode=WAL")  # kept in the file; it cannot be set inside a transaction
            _migrate(part, str(path))
            with _told(str(path)):
                on_file.in_one_file(part)
            put_new(part, path)
    except FileExistsError:
        raise RecordsError(_is_there(path)) from None
    except OSError as error:
        raise RecordsError(_cannot_be_made(path, error)) from error


def _is_there(path: Path) -> str:
    return f"{path} is there already: {Step.NAME_ANOTHER_FILE}, or use this one"


def _cannot_be_made(path: Path, error: OSError) -> str:
    return f"{path}: no records can be made there ({error.strerror})"


@contextmanager
def _taken_back(made: list[Path]) -> Iterator[None]:
    """Files that are made on the way are taken away again where it does not end well."""
    try:
        yield
    except BaseException:
        for each in made:
            each.unlink(missing_ok=True)
        raise


@dataclass(frozen=True)
class Upgraded:
    """Older records that were brought to the present schema, or functions of a server to what this version makes of them."""

    schema: str  # before
    copy: Path | None  # of the file as it was; absent: records on a server
    functions: tuple[str, ...] = ()  # of a server that has the present schema: those that were made anew


def upgrade(location: str) -> Upgraded | None:
    """Bring older records to the present schema in one transaction; of a file a copy as it was stays beside it.

    None where there was nothing to do. Everything or nothing: raises RecordsError with the records untouched.
    """
    place = located(location)
    schema = _schema_of(place)
    if schema == SCHEMA:
        functions = _functions_anew(place) if isinstance(place, Server) else ()
        return Upgraded(schema, None, functions) if functions else None
    if schema not in _OLDER:
        raise RecordsError(_other_schema(place, schema))
    if isinstance(place, Server):
        _migrate_server(place)
        return Upgraded(schema, None)
    copy = place.with_name(f"{place.name}.schema-{schema}")
    _migrate(place, str(place), copy)
    return Upgraded(schema, copy)


def _functions_anew(server: Server) -> tuple[str, ...]:
    """Make the functions of a server anew that are missing or not as they should be; their names."""
    from calib.records.server_functions import changed_functions, make_functions  # noqa: PLC0415 (of a server alone)

    with _disposed(_engine(server)) as engine, _told(str(server)):
        with engine.connect() as connection:
            if not any(changed_functions(connection)):
                return ()
        with _written_by(engine).begin() as connection:
            names = tuple(name for name, _ in changed_functions(connection))
            make_functions(connection, names)
            return names


def _migrate_server(server: Server) -> None:
    """Bring a server's tables to the present schema; one of two that begin at once finds nothing left to do."""
    from calib.records.migrations import upgrade as to_revision  # noqa: PLC0415 (alembic takes 0.2 s to import)

    with _disposed(_engine(server)) as engine, _told(str(server)), _written_by(engine).begin() as connection:
        to_revision(connection, SCHEMA)


def _migrate(path: Path, shown: str, copy: Path | None = None) -> None:
    """Bring a file to the present schema in one transaction; where a copy is wanted, it is made first, within it."""
    from calib.records.migrations import upgrade as to_revision  # noqa: PLC0415 (alembic takes 0.2 s to import)

    made: list[Path] = []
    # The file is closed last: whoever closes a file gives up every lock that its process has on it (POSIX), those of SQLite too.
    with path.open("rb") as file, _disposed(_engine(path)) as engine, _taken_back(made), _told(shown):
        # A table may be replaced by a new one of its name; what refers to it is checked when all is in its place.
        event.listen(engine, "connect", lambda connection, _: connection.execute("PRAGMA foreign_keys=OFF"))
        with _written_by(engine).begin() as connection:
            if copy is not None and _keep(file, path, copy):
                made.append(copy)
            to_revision(connection, SCHEMA)
            broken = connection.execute(text("PRAGMA foreign_key_check")).first()
            if broken is not None:
                raise RecordsError(f"{shown}: a row of {broken[0]} refers to one of {broken[2]} that is not there")


def _keep(file: IO[bytes], path: Path, copy: Path) -> bool:
    """Keep a database, to which nobody else can write now, in another file; whether it was made now.

    A run that was killed leaves its copy behind: with these very bytes it is the one that is wanted. Raises RecordsError where
    another is there.
    """
    try:
        with beside(copy) as part:
            on_file.copy(file, path, part)
            if not copy.exists():
                put_new(part, copy)
                return True
            if filecmp.cmp(part, copy, shallow=False):
                return False
    except OSError as error:  # no space left, a name too long for the system, a folder one may not write in
        raise RecordsError(f"{copy}: no copy of {path} can be made ({error.strerror}); nothing was changed") from error
    raise RecordsError(f"{copy} is there already: move it away first, it would be overwritten by the copy of {path}")


def open_records(location: str) -> Engine:
    """Engine on existing records of the present schema; raises RecordsError with the next step otherwise.

    Whoever keeps it hands it to `reading` and `writing` in place of the location, and disposes of it in the end: the records are
    opened and looked at once, however often they are asked.
    """
    place = located(location)
    engine, schema = _opened(place)
    if schema == SCHEMA:
        engine.update_execution_options(location=location)
        return engine
    engine.dispose()
    if schema in _OLDER:
        raise RecordsError(f"{place} has schema {schema}, this version needs {SCHEMA}: {Step.UPGRADE} and keeps a copy")
    raise RecordsError(_other_schema(place, schema))


def acting_as(engine: Engine, login: str | None) -> Engine:
    """The same records, with each transaction on a server as a login that the engine's own may take on; None: as its own."""
    return engine if login is None else engine.execution_options(acting_as=login)


def _other_schema(place: Path | Server, schema: str) -> str:
    return f"{place} has schema {schema}, this version knows {SCHEMA}: use the version that wrote it, or a later one"


def _schema_of(place: Path | Server) -> str:
    engine, schema = _opened(place)
    engine.dispose()
    return schema


def _opened(place: Path | Server) -> tuple[Engine, str]:
    """Engine on records that are there, and their schema; raises RecordsError."""
    if isinstance(place, Path) and not _is_file(place):
        raise RecordsError(_no_file(place))
    try:
        return _asked(place, _engine(place))
    except RecordsError as error:
        cause = error.__cause__
        if isinstance(place, Path) and isinstance(cause, DBAPIError) and on_file.needs_a_writable_folder(cause.orig):
            return _asked(place, on_file.engine_for_reading_only(place, _WAIT_SECONDS))
        raise


def _asked(place: Path | Server, engine: Engine) -> tuple[Engine, str]:
    with _kept_if_well(engine), _told(str(place)), engine.connect() as connection:
        schema_of = on_server.schema_of if isinstance(place, Server) else on_file.schema_of
        schema = schema_of(connection)
    if schema is not None:
        return engine, schema
    engine.dispose()
    if isinstance(place, Server):
        raise RecordsError(f"no records at {place}: {Step.MAKE_RECORDS}, or {Step.NAME_RECORDS}")
    raise RecordsError(f"{place} is a database, but holds no calibration records: {Step.NAME_ANOTHER_FILE}")


def _no_file(path: Path) -> str:
    try:
        is_something = path.exists()
    except OSError:  # a name that is too long for the system
        is_something = False
    if not is_something:
        return f"no records at {path}: {Step.MAKE_RECORDS}, or {Step.NAME_RECORDS}"
    kind = "a folder" if path.is_dir() else "no plain file"
    return f"{path} is {kind}: {Step.NAME_FILE}"


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except OSError:  # a name that is too long for the system
        return False


def _engine(place: Path | Server) -> Engine:
    if isinstance(place, Server):
        return on_server.engine_of(place, _WAIT_SECONDS)
    return on_file.engine_of(place, _WAIT_SECONDS)


def _written_by(engine: Engine) -> Engine:
    return engine.execution_options(writes=True)


@contextmanager
def _disposed(engine: Engine) -> Iterator[Engine]:
    try:
        yield engine
    finally:
        engine.dispose()


@contextmanager
def _kept_if_well(engine: Engine) -> Iterator[None]:
    try:
        yield
    except BaseException:
        engine.dispose()
        raise


@contextmanager
def _engine_on(records: str | Engine) -> Iterator[Engine]:
    """The engine that a caller keeps, or one that is opened for this once."""
    if isinstance(records, Engine):
        yield records
    else:
        with _disposed(open_records(records)) as engine:
            yield engine


def location_of(engine: Engine) -> str:
    """How the records were named that an engine was opened on: a path, or the URL of a server with all that opens it."""
    return str(engine.get_execution_options()["location"])


@contextmanager
def reading(records: str | Engine) -> Iterator[Session]:
    """A session that reads one consistent state of records: of those at a location, or of those that an engine was opened on."""
    with (
        _engine_on(records) as engine,
        _unmoved(engine),
        _told(shown_location(location_of(engine))),
        Session(engine) as session,
    ):
        yield session


@contextmanager
def _unmoved(engine: Engine) -> Iterator[None]:
    """A file that is read without a lock must be the same afterwards."""
    path = located(location_of(engine))
    if not isinstance(path, Path) or not on_file.is_for_reading_only(engine):
        yield
        return
    before = on_file.state_of(path)
    yield
    if on_file.state_of(path) != before:
        raise RecordsError(f"{path} was written to while it was read: run it again")


@contextmanager
def writing(records: str | Engine) -> Iterator[Session]:
    """A session whose writes become durable together when the block ends, or not at all when it raises."""
    with _engine_on(records) as engine:
        confirming: list[bool] = []
        to_write = _written_by(engine)  # its own events are those of this session alone
        event.listen(to_write, "commit", lambda _: confirming.append(True))
        place = shown_location(location_of(engine))
        with _told(place, confirming), Session(to_write) as session, session.begin():
            if not is_as_made(session.connection()):
                raise RecordsError(
                    f"{place}: its schema was changed past the program; nothing was written; {Step.VERIFY} says where"
                )
            yield session


@contextmanager
def as_before(session: Session) -> Iterator[Session]:
    """A session that reads the records as they were before what another writes, which is not durable yet."""
    with Session(session.get_bind().engine.execution_options(writes=False)) as before:
        yield before


@contextmanager
def _told(place: str, confirming: list[bool] | None = None) -> Iterator[None]:
    """Errors of the database in one line; `confirming` is no longer empty when the commit was asked for."""
    try:
        yield
    except UnicodeDecodeError as error:  # SQLite names what it cannot read, and that is no text any more
        raise RecordsError(
            f"{place}: the file is damaged, go back to a backup and verify it; nothing was written"
        ) from error
    except UnicodeEncodeError as error:  # bytes typed at a terminal that are no UTF-8
        raise RecordsError(f"{place}: {error.object!a} is no text in UTF-8; nothing was written") from error
    except IntegrityError as error:
        raise RecordsError(f"{place}: the records refuse this: {_cause_of(error)}; nothing was written") from error
    except (DBAPIError, sqlite3.Error) as error:
        kind, end = _kind_of(error), "nothing was written"
        if kind is UnreachableError and confirming:
            kind, end = (
                UnsureError,
                (
                    "the server was confirming it, and may have written all of it or nothing: look before you run it again"
                ),
            )
        raise kind(f"{place}: {_cause_of(error)}; {end}") from error


def _kind_of(error: DBAPIError | sqlite3.Error) -> type[RecordsError]:
    if not isinstance(error, DBAPIError) or isinstance(error.orig, sqlite3.Error):
        return RecordsError
    if on_server.is_denied(error):
        return DeniedError
    return UnreachableError if on_server.is_unreachable(error) else RecordsError


def _cause_of(error: DBAPIError | sqlite3.Error) -> str:
    cause = error.orig if isinstance(error, DBAPIError) else error
    if isinstance(cause, sqlite3.Error):
        return on_file.cause_of(cause, _WAIT_SECONDS)
    return on_server.cause_of(error, _WAIT_SECONDS) if isinstance(error, DBAPIError) else str(cause)
