"""A copy of records in a file, made while others write, and read back before it counts.

Of a file the copy has its pages, as SQLite's online backup gives them from one snapshot. Of a server it has the rows of every
table, from one snapshot too, in a new file: the records' digests do not depend on where they live, so it is verified like any
other, and can be read, exported or worked on without the server.
"""

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Connection, text
from sqlmodel import Session

from calib.errors import RecordsError
from calib.records import database, ledger, on_file
from calib.records.beside import beside, put_new
from calib.records.location import located
from calib.records.stored_state import UNREADABLE, stored_findings
from calib.records.tables.evidence import EVERY_TABLE
from calib.records.verification import BEFORE_THE_FIRST, LedgerFinding, Progress

_PAGES = 2_000  # copied at a time: 8 MB
_ROWS = 1_000
_WAIT_SECONDS = 10


@dataclass(frozen=True)
class Backup:
    """A copy that was read back."""

    path: Path
    size: int  # [byte]
    entries: int  # of its ledger
    digest: str  # of its last ledger entry
    findings: tuple[LedgerFinding, ...]  # what `verify` finds in the copy, and so in the records


def back_up(location: str, target: Path, progress: Progress = lambda _: None) -> Backup:
    """Copy records into a new file and read it back: every page, every reference, every digest, the place in the chain.

    Damaged records are copied as they are, with the findings. A file that is there already is left alone. Raises RecordsError
    where nothing can be read or written, and then leaves no file behind.
    """
    _must_be_new(target, location)
    with _told(target), beside(target) as part:
        with database.reading(location) as session:
            _copy(session, part, progress)
        progress("reading the copy back")
        copy = _read_back(part, target, progress)
        _in_the_chain(location, copy)
        on_file.in_one_file(part)
        put_new(part, target)
    return copy


def _must_be_new(target: Path, location: str) -> None:
    located(str(target))  # a URL is no name of a file, and a password may stand in it
    if on_file.is_beside_another(target):
        raise RecordsError(f"{target}: SQLite takes a file of such a name for its own log: name another file")
    try:
        if target.exists():
            raise RecordsError(_is_there(target))
        if on_file.has_log(target):  # SQLite would take what stands in it for pages of the copy
            raise RecordsError(f"{target}: beside it is the log of a file of that name: name another file")
        if not target.parent.is_dir():
            raise RecordsError(f"{target}: the folder {target.parent} does not exist: make it first")
    except OSError as error:  # a name too long for the system, a folder one may not enter
        raise RecordsError(
            f"{target}: no backup of {database.shown_location(location)} can be made there ({error.strerror})"
        ) from error


@contextmanager
def _told(target: Path) -> Iterator[None]:
    try:
        yield
    except sqlite3.Error as error:
        raise RecordsError(f"{target}: {on_file.cause_of(error, _WAIT_SECONDS)}; no backup was made") from error
    except FileExistsError:
        raise RecordsError(_is_there(target)) from None
    except OSError as error:
        raise RecordsError(f"{target}: {error.strerror}; no backup was made") from error


def _is_there(target: Path) -> str:
    return f"{target} is there already: name another file, a backup overwrites none"


def _copy(session: Session, part: Path, progress: Progress) -> None:
    connection = session.connection()
    if connection.dialect.name == "sqlite":
        _copy_pages(connection, part, progress)
    else:
        database.make(str(part))
        _copy_rows(connection, part, progress)


def _copy_pages(connection: Connection, part: Path, progress: Progress) -> None:
    # A read begins the snapshot: without it each write of another would make the copy begin anew.
    size = connection.execute(text("SELECT page_size FROM pragma_page_size")).scalar_one()
    connection.execute(text("SELECT count(*) FROM alembic_version")).scalar_one()
    driver = connection.connection.driver_connection
    assert isinstance(driver, sqlite3.Connection)  # noqa: S101 (the dialect says so)

    def tell(_status: int, remaining: int, total: int) -> None:
        if total > _PAGES:
            progress(f"copied {(total - remaining) * size / 1e6:.0f} of {total * size / 1e6:.0f} MB")

    part.touch()  # with the permissions that the process gives: SQLite would leave out those of the group
    with closing(sqlite3.connect(part)) as copy:
        driver.backup(copy, pages=_PAGES, progress=tell)


def _copy_rows(connection: Connection, part: Path, progress: Progress) -> None:
    with closing(sqlite3.connect(part)) as copy, copy:
        for table in (each.__table__ for each in EVERY_TABLE):  # type: ignore[attr-defined]
            name, columns = table.name, [column.name for column in table.columns]
            listed = ", ".join(f'"{column}"' for column in columns)
            marks = ", ".join("?" * len(columns))
            rows = connection.execution_options(yield_per=_ROWS).execute(text(f'SELECT {listed} FROM "{name}"'))  # noqa: S608 (own names)
            copied = 0
            for batch in rows.partitions():
                copy.executemany(f'INSERT INTO "{name}" ({listed}) VALUES ({marks})', [tuple(row) for row in batch])  # noqa: S608
                copied += len(batch)
                if copied % (20 * _ROWS) == 0:
                    progress(f"copied {copied} rows of {name}")


def _read_back(part: Path, target: Path, progress: Progress) -> Backup:
    with database.reading(str(part)) as session:
        findings = stored_findings(session.connection(), None, progress)
        try:
            entries, digest = ledger.ledger_head(session)
        except UNREADABLE:
            # A damaged company needs its backup most: what can be copied is copied, and the findings say the rest.
            entries, digest = 0, BEFORE_THE_FIRST
    return Backup(target, part.stat().st_size, entries, digest, findings)


def _in_the_chain(location: str, copy: Backup) -> None:
    """The copy's last entry stands in the ledger of the records, however far others have written on."""
    if copy.entries == 0:
        return
    asked = text("SELECT count(*) FROM ledger WHERE sequence = :sequence AND digest = :digest")
    with database.reading(location) as session:
        there = session.execute(asked, {"sequence": copy.entries, "digest": copy.digest}).scalar_one()
    if not there:
        raise RecordsError(
            f"{copy.path}: the copy ends at ledger entry {copy.entries}, which the records do not hold; no backup was made"
        )
