"""How people prove in a browser who they are: a file of its own, which only its owner may read (mode 0600).

It is no evidence and no part of the records: nothing in it is appended for ever, and a backup of the records does not hold it. It
keeps hashes of passwords, public keys of passkeys, digests of sessions and of one-time links, how often somebody tried, and what a
person has under way: a report that is made, a traverse that was left. Whoever reads it can sign in as nobody: secrets stand in it
as digests (SHA-256 of 32 random bytes) or as slow hashes.

Decision (2026-11-29). A file of SQLite beside the records. Options: tables of the records (append-only: a password would be
evidence for ever, and a server's logins could read it), a file of JSON (two changes at once: one is lost).
Cost: it is kept and moved by itself; who loses it enrols people anew.
"""

import os
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from pathlib import Path

from calib.errors import RecordsError

SESSION_UNUSED = timedelta(hours=12)  # after which a session has ended
SESSION_LONGEST = timedelta(days=7)
LINK_LASTS = timedelta(days=2)
ISSUES_KEPT = timedelta(days=7)  # what became of a report that was asked for; the records hold what was issued
TRAVERSES_KEPT = timedelta(days=7)  # from the last point that was typed
CHALLENGE_LASTS = timedelta(minutes=5)
_WAIT_SECONDS = 10
_NOTED_AFTER = timedelta(minutes=5)  # the use of a session is written down no more often

# Tries that cost nothing, and the longest wait. The wait doubles from 1 s on with each further one.
FREE_TRIES = {"name": 4, "address": 20}
LONGEST_WAIT = {"name": timedelta(minutes=5), "address": timedelta(minutes=15)}
_TRIES_FORGOTTEN = timedelta(days=1)

_SCHEMA = """
CREATE TABLE IF NOT EXISTS enrolled (person TEXT PRIMARY KEY, login TEXT, password TEXT) STRICT;
CREATE TABLE IF NOT EXISTS link (digest TEXT PRIMARY KEY, person TEXT NOT NULL, expires REAL NOT NULL) STRICT;
CREATE TABLE IF NOT EXISTS session (
    digest TEXT PRIMARY KEY, person TEXT NOT NULL, began REAL NOT NULL, used REAL NOT NULL, said TEXT NOT NULL DEFAULT '') STRICT;
CREATE TABLE IF NOT EXISTS passkey (
    id BLOB PRIMARY KEY, person TEXT NOT NULL, public_key BLOB NOT NULL, uses INTEGER NOT NULL, name TEXT NOT NULL,
    added REAL NOT NULL) STRICT;
CREATE TABLE IF NOT EXISTS challenge (digest TEXT PRIMARY KEY, challenge BLOB NOT NULL, expires REAL NOT NULL) STRICT;
CREATE TABLE IF NOT EXISTS issuing (
    key TEXT PRIMARY KEY, person TEXT NOT NULL, job TEXT NOT NULL, revision INTEGER NOT NULL, began REAL NOT NULL, told TEXT)
    STRICT;
CREATE TABLE IF NOT EXISTS traversing (
    person TEXT, job TEXT, outlet TEXT, address TEXT NOT NULL, typed INTEGER NOT NULL, points INTEGER NOT NULL, at REAL NOT NULL,
    PRIMARY KEY (person, job, outlet)) STRICT;
CREATE TABLE IF NOT EXISTS try (
    kind TEXT, whose TEXT, count INTEGER NOT NULL, last REAL NOT NULL, PRIMARY KEY (kind, whose)) STRICT;
"""


def digest_of(secret: str) -> str:
    """What is kept of a secret that was drawn by chance."""
    return sha256(secret.encode()).hexdigest()


def wait_after(kind: str, count: int) -> timedelta:
    """How long nobody may try after so many tries of a kind that failed."""
    over = count - FREE_TRIES[kind]
    return timedelta() if over < 0 else min(LONGEST_WAIT[kind], timedelta(seconds=2 ** min(over, 20)))


@dataclass(frozen=True)
class Enrolled:
    """A person who may sign in."""

    person: str
    login: str | None  # on a server: the login as which their transactions run
    password: str | None  # its hash; absent: none was set


@dataclass(frozen=True)
class SignedIn:
    """A session that holds."""

    enrolled: Enrolled
    since: datetime


@dataclass(frozen=True)
class Passkey:
    """A key that a device keeps; here is its public half."""

    id: bytes
    person: str
    public_key: bytes
    uses: int  # as the device counts them; 0 where it does not
    name: str
    added: datetime


@dataclass(frozen=True)
class IssueAsked:
    """A report that somebody asked to be issued, and what became of it."""

    key: str
    person: str
    job: str
    revision: int
    told: str | None = None  # absent: it is under way, or what did it has ended
    began: datetime | None = None  # absent: it was not asked for yet


@dataclass(frozen=True)
class TraverseBegun:
    """A traverse of which some points are typed and nothing is written."""

    address: str  # of the page of the point that comes next
    typed: int
    points: int  # in all, over the passes


class Credentials:
    """The file, opened anew for each question: a process that was killed leaves nothing half-written."""

    def __init__(self, path: Path) -> None:
        """Make the file where there is none; raises RecordsError where it cannot be, or others may read it."""
        self._path = path
        try:
            os.close(os.open(path, os.O_CREAT | os.O_RDWR, 0o600))
            mode = path.stat().st_mode & 0o077
        except OSError as error:
            raise RecordsError(f"{path}: the file of credentials cannot be opened ({error.strerror})") from error
        if os.name == "posix" and mode:
            raise RecordsError(f"{path}: others may read the file of credentials: chmod 600 it first")
        with self._asked() as file:
            file.executescript(_SCHEMA)

    @contextmanager
    def _asked(self) -> Iterator[sqlite3.Connection]:
        """The file to read from: nobody waits for another who reads."""
        try:
            with closing(sqlite3.connect(self._path, timeout=_WAIT_SECONDS, isolation_level=None)) as file:
                yield file
        except sqlite3.Error as error:
            raise RecordsError(f"{self._path}: the file of credentials cannot be used ({error})") from error

    @contextmanager
    def _changed(self) -> Iterator[sqlite3.Connection]:
        """A transaction that is written whole, or not at all; one comes after the other."""
        with self._asked() as file:
            file.execute("BEGIN IMMEDIATE")
            yield file
            file.execute("COMMIT")

    # --- who may sign in ---------------------------------------------------------------------------------------------------------

    def enrol(self, person: str, login: str | None, link: str, at: datetime) -> None:
        """Let a person begin anew by a one-time link, kept by its digest: whatever they signed in by before counts no longer."""
        with self._changed() as file:
            for table in ("session", "passkey", "link", "enrolled"):
                file.execute(f"DELETE FROM {table} WHERE person = ?", (person,))  # noqa: S608 (own names)
            file.execute("INSERT INTO enrolled (person, login) VALUES (?, ?)", (person, login))
            expires = (at + LINK_LASTS).timestamp()
            file.execute("INSERT INTO link VALUES (?, ?, ?)", (digest_of(link), person, expires))
            file.execute("DELETE FROM try WHERE kind = 'name' AND whose = ?", (person.casefold(),))

    def enrolled(self, person: str) -> Enrolled | None:
        """A person who may sign in; None where nobody of that name may."""
        with self._asked() as file:
            row = file.execute("SELECT person, login, password FROM enrolled WHERE person = ?", (person,)).fetchone()
        return None if row is None else Enrolled(*row)

    def person_of_link(self, link: str, at: datetime) -> str | None:
        """Whose one-time link it is; None where it was used, or is too old."""
        with self._asked() as file:
            return _person_of_link(file, link, at)

    def use_link(self, link: str, at: datetime, first: "str | Passkey") -> str | None:
        """Use a link up, and keep the hash of a first password, or a passkey; the person, or None where somebody was quicker."""
        with self._changed() as file:
            person = _person_of_link(file, link, at)
            file.execute("DELETE FROM link WHERE digest = ?", (digest_of(link),))
            if person is not None and isinstance(first, Passkey):
                _add_passkey(file, first)
            elif person is not None:
                file.execute("UPDATE enrolled SET password = ? WHERE person = ?", (first, person))
        return person

    def set_password(self, person: str, password: str | None, but: str) -> None:
        """Keep the hash of another password, or of none; every session of the person ends but one."""
        with self._changed() as file:
            file.execute("UPDATE enrolled SET password = ? WHERE person = ?", (password, person))
            _end_sessions(file, person, but)

    # --- sessions ----------------------------------------------------------------------------------------------------------------

    def begin_session(self, secret: str, person: str, at: datetime) -> None:
        """Let whoever shows a secret be a person from now on; sessions that are too old are forgotten."""
        with self._changed() as file:
            old = ((at - SESSION_UNUSED).timestamp(), (at - SESSION_LONGEST).timestamp())
            file.execute("DELETE FROM session WHERE used < ? OR began < ?", old)
            begun = (digest_of(secret), person, at.timestamp(), at.timestamp())
            file.execute("INSERT INTO session (digest, person, began, used) VALUES (?, ?, ?, ?)", begun)

    def end_session(self, secret: str) -> None:
        """End a session."""
        with self._changed() as file:
            file.execute("DELETE FROM session WHERE digest = ?", (digest_of(secret),))

    def end_sessions(self, person: str) -> None:
        """End every session of a person."""
        with self._changed() as file:
            file.execute("DELETE FROM session WHERE person = ?", (person,))

    def signed_in(self, secret: str, at: datetime) -> SignedIn | None:
        """Who shows a secret; None where its session ended."""
        with self._asked() as file:
            row = file.execute(
                "SELECT s.began, s.used, e.person, e.login, e.password FROM session AS s JOIN enrolled AS e USING (person) "
                "WHERE s.digest = ?",
                (digest_of(secret),),
            ).fetchone()
        if row is None:
            return None
        began, used = (datetime.fromtimestamp(time, at.tzinfo) for time in row[:2])
        if at - used > SESSION_UNUSED or at - began > SESSION_LONGEST:
            return None
        if at - used > _NOTED_AFTER:
            with self._changed() as file:
                file.execute("UPDATE session SET used = ? WHERE digest = ?", (at.timestamp(), digest_of(secret)))
        return SignedIn(Enrolled(*row[2:]), began)

    def leave_said(self, secret: str, lines: Sequence[str]) -> None:
        """Keep what is to be said on the next page of a session."""
        with self._changed() as file:
            file.execute(
                "UPDATE session SET said = said || ? WHERE digest = ?",
                ("".join(f"{line}\n" for line in lines), digest_of(secret)),
            )

    def take_said(self, secret: str) -> list[str]:
        """What was to be said, once."""
        asked, own = "SELECT said FROM session WHERE digest = ? AND said <> ''", (digest_of(secret),)
        with self._asked() as file:
            if file.execute(asked, own).fetchone() is None:
                return []
        with self._changed() as file:
            row = file.execute(asked, own).fetchone()
            file.execute("UPDATE session SET said = '' WHERE digest = ?", own)
        return [] if row is None else str(row[0]).splitlines()

    # --- tries -------------------------------------------------------------------------------------------------------------------

    def begin_try(self, name: str, address: str, at: datetime) -> timedelta:
        """Count a try before it is known whether it succeeds; how long to wait where there were too many: then none is counted.

        Of a hundred at once no more are let through than of a hundred in a row.
        """
        keys = _keys(name, address)
        with self._changed() as file:
            file.execute("DELETE FROM try WHERE last < ?", ((at - _TRIES_FORGOTTEN).timestamp(),))
            waits = [_wait(file, kind, whose, at) for kind, whose in keys]
            if not any(waits):
                file.executemany(
                    "INSERT INTO try VALUES (?, ?, 1, ?) ON CONFLICT DO UPDATE SET count = count + 1, last = excluded.last",
                    [(*each, at.timestamp()) for each in keys],
                )
        return max(waits)

    def end_try(self, name: str, address: str) -> None:
        """A try succeeded: those of the name are forgotten, of the address this one alone (its owner tries other names, else)."""
        with self._changed() as file:
            (of_name, of_address) = _keys(name, address)
            file.execute("DELETE FROM try WHERE kind = ? AND whose = ?", of_name)
            file.execute("UPDATE try SET count = count - 1 WHERE kind = ? AND whose = ?", of_address)

    # --- reports asked for -------------------------------------------------------------------------------------------------------

    def ask_issue(self, asked: IssueAsked, at: datetime) -> None:
        """Keep that somebody asks for a report to be issued."""
        with self._changed() as file:
            file.execute("DELETE FROM issuing WHERE began < ?", ((at - ISSUES_KEPT).timestamp(),))
            row = (asked.key, asked.person, asked.job, asked.revision, at.timestamp())
            file.execute("INSERT INTO issuing (key, person, job, revision, began) VALUES (?, ?, ?, ?, ?)", row)

    def end_issue(self, key: str, told: str) -> None:
        """Keep what became of it."""
        with self._changed() as file:
            file.execute("UPDATE issuing SET told = ? WHERE key = ?", (told, key))

    def issues_asked(self, person: str) -> list[IssueAsked]:
        """The reports that a person asked to be issued, the last one first."""
        return self._issues("person", person)

    def issues_asked_of(self, job: str) -> list[IssueAsked]:
        """The issues of a job's report that anybody asked for, the last one first."""
        return self._issues("job", job)

    def _issues(self, column: str, value: str) -> list[IssueAsked]:
        with self._asked() as file:
            asked = "SELECT key, person, job, revision, told, began FROM issuing WHERE "
            rows = file.execute(f"{asked}{column} = ? ORDER BY began DESC", (value,)).fetchall()
        return [
            IssueAsked(key, person, job, revision, told, datetime.fromtimestamp(began, UTC))
            for key, person, job, revision, told, began in rows
        ]

    # --- traverses begun ---------------------------------------------------------------------------------------------------------

    def leave_traverse(self, person: str, job: str, outlet: str, begun: TraverseBegun, at: datetime) -> None:
        """Keep how far a person's traverse of a duct is."""
        with self._changed() as file:
            file.execute("DELETE FROM traversing WHERE at < ?", ((at - TRAVERSES_KEPT).timestamp(),))
            row = (person, job, outlet, begun.address, begun.typed, begun.points, at.timestamp())
            file.execute("INSERT OR REPLACE INTO traversing VALUES (?, ?, ?, ?, ?, ?, ?)", row)

    def end_traverse(self, person: str, job: str, outlet: str) -> None:
        """It is written."""
        with self._changed() as file:
            file.execute("DELETE FROM traversing WHERE person = ? AND job = ? AND outlet = ?", (person, job, outlet))

    def traverses_begun(self, person: str, job: str) -> dict[str, TraverseBegun]:
        """The traverses that a person began in a job, by their ducts."""
        asked = "SELECT outlet, address, typed, points FROM traversing WHERE person = ? AND job = ?"
        with self._asked() as file:
            return {outlet: TraverseBegun(*row) for outlet, *row in file.execute(asked, (person, job))}

    # --- passkeys ----------------------------------------------------------------------------------------------------------------

    def set_challenge(self, secret: str, challenge: bytes, at: datetime) -> None:
        """Keep what a device has to sign, for whoever shows a secret; the newest counts."""
        with self._changed() as file:
            file.execute("DELETE FROM challenge WHERE expires < ?", (at.timestamp(),))
            expires = (at + CHALLENGE_LASTS).timestamp()
            file.execute("INSERT OR REPLACE INTO challenge VALUES (?, ?, ?)", (digest_of(secret), challenge, expires))

    def take_challenge(self, secret: str, at: datetime) -> bytes | None:
        """What was to be signed, once."""
        with self._changed() as file:
            row = file.execute(
                "SELECT challenge, expires FROM challenge WHERE digest = ?", (digest_of(secret),)
            ).fetchone()
            file.execute("DELETE FROM challenge WHERE digest = ?", (digest_of(secret),))
        return row[0] if row is not None and row[1] >= at.timestamp() else None

    def add_passkey(self, passkey: Passkey) -> None:
        """Keep the public half of a key."""
        with self._changed() as file:
            _add_passkey(file, passkey)

    def passkey(self, id_: bytes) -> Passkey | None:
        """A key by the name that the device gave it."""
        return next(iter(self._passkeys("id", id_)), None)

    def passkeys_of(self, person: str) -> list[Passkey]:
        """The keys of a person, in the order in which they were added."""
        return self._passkeys("person", person)

    def _passkeys(self, column: str, value: str | bytes) -> list[Passkey]:
        with self._asked() as file:
            asked = "SELECT id, person, public_key, uses, name, added FROM passkey WHERE "
            rows = file.execute(f"{asked}{column} = ? ORDER BY added, rowid", (value,)).fetchall()
        return [
            Passkey(key, person, public, uses, name, datetime.fromtimestamp(added, UTC))
            for key, person, public, uses, name, added in rows
        ]

    def count_passkey(self, id_: bytes, uses: int) -> None:
        """Keep how often a device says that a key was used."""
        with self._changed() as file:
            file.execute("UPDATE passkey SET uses = ? WHERE id = ?", (uses, id_))

    def remove_passkey(self, person: str, id_: bytes, but: str) -> None:
        """Let a key of a person count no longer; every session of theirs ends but one: the device may be lost."""
        with self._changed() as file:
            file.execute("DELETE FROM passkey WHERE person = ? AND id = ?", (person, id_))
            _end_sessions(file, person, but)


def _person_of_link(file: sqlite3.Connection, link: str, at: datetime) -> str | None:
    row = file.execute("SELECT person, expires FROM link WHERE digest = ?", (digest_of(link),)).fetchone()
    return str(row[0]) if row is not None and row[1] >= at.timestamp() else None


def _add_passkey(file: sqlite3.Connection, key: Passkey) -> None:
    row = (key.id, key.person, key.public_key, key.uses, key.name, key.added.timestamp())
    file.execute("INSERT INTO passkey VALUES (?, ?, ?, ?, ?, ?)", row)


def _end_sessions(file: sqlite3.Connection, person: str, but: str) -> None:
    file.execute("DELETE FROM session WHERE person = ? AND digest <> ?", (person, digest_of(but)))


def _keys(name: str, address: str) -> tuple[tuple[str, str], tuple[str, str]]:
    return ("name", name.casefold()[:200]), ("address", address)


def _wait(file: sqlite3.Connection, kind: str, whose: str, at: datetime) -> timedelta:
    row = file.execute("SELECT count, last FROM try WHERE kind = ? AND whose = ?", (kind, whose)).fetchone()
    if row is None:
        return timedelta()
    until = datetime.fromtimestamp(row[1], at.tzinfo) + wait_after(kind, row[0])
    return max(timedelta(), until - at)
