"""Records on a cluster of three PostgreSQL nodes whose primary is killed again and again, while people write.

Each node is a PostgreSQL run by Patroni, which keeps who leads in etcd; replication is synchronous and strict, so a commit is
confirmed once a second node has it, or not at all (Patroni documentation, "Replication modes"; PostgreSQL's, 26.2.8). All of it
runs on this machine, in a folder of its own, at ports that are free; by root as the user nobody. It needs etcd (Debian's package
etcd-server) and a Patroni with a PostgreSQL that it supports: of 4.1 or later (`pip install 'patroni[etcd3,psycopg3]'`, where that
user may read it) with the wheel of the tests, an earlier one with Debian's PostgreSQL.

Writers send readings as a phone does, each with a key of its own, and send again what was not acknowledged: some by an engine that
they keep, as pages do, one by the URL for each reading anew, as commands do. Meanwhile primaries are killed (SIGKILL, Patroni and
each process of its PostgreSQL), and come back when another leads; in the end a synchronous standby and a primary are frozen for a
while (SIGSTOP), as if they were cut off with their connections open. Then each node is asked: all have one head and no finding,
what was acknowledged is there under the number that was told, and no reading is there twice.

    python -m tests.faults.cluster 20      (kills; an interrupt ends them early, and what was done until then is counted)
"""

import json
import os
import random
import re
import shutil
import signal
import statistics
import subprocess
import sys
import tempfile
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from http.client import HTTPException
from itertools import pairwise
from pathlib import Path
from threading import Event
from urllib.parse import quote
from urllib.request import urlopen

import psycopg
from sqlmodel import select

from calib.errors import RecordsError
from calib.procedures.enter.send_entry import Sending, send_entry
from calib.procedures.enter.sitting import TypedEntry
from calib.records import carry, database, ledger
from calib.records.tables.entries import SentEntry
from calib.records.tables.readings import Reading
from tests import postgres
from tests.folders import records_of, small_job
from tests.postgres import NOBODY, OWNER, PASSWORD, as_nobody, free_port

NODES, WRITERS = 3, 4
TTL = 30  # [s] after which a primary that says nothing more has lost its place
PATIENCE = 600  # [s] until a cluster is whole again, on a busy machine
_PACE = 0.2  # [s] between two readings of one writer
_BEGUN = datetime(2026, 6, 3, 8, tzinfo=UTC)
_PASSES = {"S-1": "4.20;4.22", "S-2": "3.10;3.12"}  # outlet -> what the meter shows there [m/s]
_DEBIAN = Path("/usr/lib/postgresql")
_KNOWS_THE_WHEEL = (4, 1)  # the first Patroni that supports the PostgreSQL of the tests, 18
_AS_A_SERVICE = {"start_new_session": True, **as_nobody()}  # an interrupt at the terminal does not reach it
KILLED = "a primary killed"
# What is set for all nodes, in the words of Patroni and of PostgreSQL.
SETTINGS = {
    "ttl": TTL,
    "loop_wait": 5,
    "retry_timeout": 10,
    "synchronous_mode": True,
    "synchronous_mode_strict": True,
    "postgresql": {
        "use_pg_rewind": True,
        "parameters": {"wal_sender_timeout": "10s", "max_connections": 100, "wal_log_hints": "on"},
    },
}


class NoClusterError(Exception):
    """No cluster can be run here: what is missing."""


def patroni_and_postgresql(folder):
    """The program Patroni and the folder of PostgreSQL's, which may be copied into a folder; raises NoClusterError."""
    patroni, versions = (
        shutil.which("patroni"),
        sorted(_DEBIAN.glob("*/bin/postgres"), key=lambda path: int(path.parts[-3])),
    )
    if patroni is None or shutil.which("etcd") is None:
        raise NoClusterError("needs patroni and etcd: Debian's packages patroni and etcd-server")
    told = subprocess.run(
        [patroni, "--version"], capture_output=True, text=True, check=True, cwd=folder, **as_nobody()
    ).stdout
    if tuple(map(int, re.findall(r"\d+", told)[:2])) >= _KNOWS_THE_WHEEL:
        return patroni, postgres.programs_in(folder)
    if not versions:
        raise NoClusterError("needs a PostgreSQL of the time of this Patroni: Debian's package postgresql")
    return patroni, versions[-1].parent


# --- the cluster -----------------------------------------------------------------------------------------------------------------


@dataclass(eq=False)
class Node:
    """A PostgreSQL and the Patroni that runs it."""

    name: str
    folder: Path
    program: str  # Patroni
    port: int
    rest_port: int  # at which it answers
    patroni: subprocess.Popen | None = None

    def start(self):
        """Start Patroni, which starts PostgreSQL."""
        with (self.folder / "log").open("ab") as log:
            words = [self.program, self.folder / "patroni.json"]
            self.patroni = subprocess.Popen(words, stdout=log, stderr=log, cwd=self.folder, **_AS_A_SERVICE)

    def processes(self):
        """The processes of the node: Patroni, the first one of PostgreSQL, its children."""
        data = self.folder / "data"
        try:
            first = int((data / "postmaster.pid").read_text().split()[0])
            if Path(f"/proc/{first}/cwd").readlink() != data:  # it was killed, and the number is another's by now
                return [self.patroni.pid]
            children = Path(f"/proc/{first}/task/{first}/children").read_text().split()
        except (OSError, ValueError, IndexError):  # it does not run
            return [self.patroni.pid]
        return [self.patroni.pid, first, *map(int, children)]

    def signal(self, how):
        """Send a signal to each of its processes, Patroni first: else it starts again what has ended."""
        for pid in self.processes():
            try:
                os.kill(pid, how)
            except ProcessLookupError:
                continue

    def kill(self):
        """Kill it; its files stay as they are."""
        self.signal(signal.SIGKILL)
        self.patroni.wait()

    def url(self, database_name):
        """URL of a database on this node alone."""
        return f"postgresql://{OWNER}:{quote(PASSWORD, safe='')}@127.0.0.1:{self.port}/{database_name}"


@dataclass
class Cluster:
    """Three nodes, and what keeps who leads them."""

    nodes: list
    etcd: subprocess.Popen

    def url(self, database_name):
        """URL of a database wherever it may be written."""
        hosts = ",".join(f"127.0.0.1:{node.port}" for node in self.nodes)
        login = f"{OWNER}:{quote(PASSWORD, safe='')}"
        return f"postgresql://{login}@{hosts}/{database_name}?target_session_attrs=read-write&connect_timeout=5"

    def members(self):
        """What the nodes say of one another: name -> role, of those that run as they should; nothing where none answers."""
        for node in self.nodes:
            try:
                with urlopen(f"http://127.0.0.1:{node.rest_port}/cluster", timeout=5) as answer:
                    told = json.load(answer)["members"]
            except (OSError, HTTPException, ValueError, KeyError):
                continue
            return {one["name"]: one["role"] for one in told if one.get("state") in ("running", "streaming")}
        return {}

    def node_as(self, role):
        """The node that has a role now."""
        named = {role: name for name, role in self.members().items()}
        return next(node for node in self.nodes if node.name == named[role])

    def wait_until_whole(self):
        """Wait until one leads, one follows it synchronously, and the others follow."""
        self._wait(lambda roles: len(roles) == len(self.nodes) and {"leader", "sync_standby"} <= {*roles.values()})

    def wait_for_another(self, node):
        """Wait until another node than this one leads."""
        self._wait(lambda roles: any(role == "leader" and name != node.name for name, role in roles.items()))

    def _wait(self, wanted):
        until = time.monotonic() + PATIENCE
        while not wanted(roles := self.members()):
            if time.monotonic() > until:
                raise AssertionError(f"not there after {PATIENCE} s: {roles}")
            time.sleep(0.5)


def _settings_of(node, etcd_port, bin_folder):
    """What Patroni reads for a node."""
    known = {"username": OWNER, "password": PASSWORD}
    here = f"127.0.0.1:{node.port}"
    return {
        "scope": "calib",
        "name": node.name,
        "restapi": {"listen": f"127.0.0.1:{node.rest_port}", "connect_address": f"127.0.0.1:{node.rest_port}"},
        "etcd3": {"hosts": f"127.0.0.1:{etcd_port}"},
        "bootstrap": {"dcs": SETTINGS, "initdb": [{"encoding": "UTF8"}, {"locale": "C"}, "data-checksums"]},
        "postgresql": {
            "listen": here,
            "connect_address": here,
            "data_dir": str(node.folder / "data"),
            "bin_dir": str(bin_folder),
            "pgpass": str(node.folder / "pgpass"),
            "authentication": {"superuser": known, "replication": known, "rewind": known},
            "pg_hba": ["host all all 127.0.0.1/32 scram-sha-256", "host replication all 127.0.0.1/32 scram-sha-256"],
            "parameters": {"unix_socket_directories": str(node.folder), "password_encryption": "scram-sha-256"},
        },
    }


def _folder_of_nobody(path):
    path.mkdir(mode=0o700)
    if as_nobody():
        os.chown(path, NOBODY, NOBODY)
    return path


@contextmanager
def running():
    """A cluster that runs as long as the block does; afterwards nothing of it is left. Raises NoClusterError."""
    with tempfile.TemporaryDirectory(prefix="cluster-", ignore_cleanup_errors=True) as made_in, ExitStack() as ending:
        folder = Path(made_in)
        folder.chmod(0o755)
        program, bin_folder = patroni_and_postgresql(folder)
        kept, etcd_port = _folder_of_nobody(folder / "etcd"), free_port()
        at, peers = f"http://127.0.0.1:{etcd_port}", f"http://127.0.0.1:{free_port()}"
        words = ["etcd", "--data-dir", kept / "data", "--listen-client-urls", at, "--advertise-client-urls", at]
        words += [
            "--listen-peer-urls",
            peers,
            "--initial-advertise-peer-urls",
            peers,
            "--initial-cluster",
            f"default={peers}",
        ]
        with (kept / "log").open("wb") as log:
            etcd = subprocess.Popen(words, stdout=log, stderr=log, **_AS_A_SERVICE)
        ending.callback(etcd.wait)
        ending.callback(etcd.kill)
        cluster = Cluster([], etcd)
        for number in range(NODES):
            name = f"node{number + 1}"
            node = Node(name, _folder_of_nobody(folder / name), program, free_port(), free_port())
            (node.folder / "patroni.json").write_text(json.dumps(_settings_of(node, etcd_port, bin_folder)))
            (node.folder / "patroni.json").chmod(0o644)
            cluster.nodes.append(node)
            node.start()
            ending.callback(node.kill)
        cluster.wait_until_whole()
        yield cluster


# --- who writes ------------------------------------------------------------------------------------------------------------------


def _records(folder):
    """A file with the records of the small job, and a job for each writer."""
    sheets = small_job()
    for number in range(WRITERS):
        job = {"job": f"P-{number}"}
        sheets["outlets.csv"] += [
            row | job for row in sheets["outlets.csv"] if row["job"] == "J-1" and row["outlet"] in _PASSES
        ]
        sheets["jobs.csv"].append(sheets["jobs.csv"][0] | job)
    return records_of(folder, sheets)


@dataclass
class Written:
    """What writers were told."""

    acknowledged: dict = field(default_factory=dict)  # key -> number of the reading
    at: list = field(default_factory=list)  # [s] when each was, by one clock
    told: Counter = field(default_factory=Counter)  # what they were told where it was not

    def send(self, records, job, number):
        """Send one reading, once; whether it was acknowledged."""
        outlet = list(_PASSES)[number % len(_PASSES)]
        cells = {
            "job": job, "outlet": outlet, "instrument": "VA-1", "unit": "m/s", "method": "sweep",
            "observations": _PASSES[outlet],
            "observed_at": (_BEGUN + timedelta(minutes=number)).isoformat(),
        }  # fmt: skip
        now, key = datetime.now(UTC), f"{job}, reading {number}"
        try:
            with database.writing(records) as session:
                sending = Sending(key, now.isoformat(timespec="seconds"), "a writer")
                by = ledger.Signature("Tom", now, "page entry")
                arrived = send_entry(session, TypedEntry(cells), sending, by, now, sure=True, keep_refused=False)
        except RecordsError as error:
            self.told[str(error)] += 1
            return False
        assert self.acknowledged.setdefault(key, arrived.written.record_id) == arrived.written.record_id
        self.at.append(time.monotonic())
        return True

    def send_until(self, over, records, job):
        """Send one after the other until it is over; what is not acknowledged is sent again."""
        number = 0
        while not over.is_set():
            if self.send(records, job, number):
                number += 1
            time.sleep(_PACE)


# --- what was seen ---------------------------------------------------------------------------------------------------------------


@dataclass
class Counts:
    """What was seen in all."""

    acknowledged: int
    there: int
    pauses: dict  # what was done -> [s] without an acknowledgement, each time
    told: Counter  # each message, digits apart
    entries: int  # in the ledger


def _longest_pause(at, begin, end):
    """The longest time without an acknowledgement within a stretch of time [s]."""
    within = [begin, *(one for one in sorted(at) if begin < one < end), end]
    return max(later - earlier for earlier, later in pairwise(within))


@dataclass(frozen=True)
class Disturbance:
    """What was done to a node, and when the cluster was whole again [s]."""

    what: str
    node: str
    begin: float
    end: float


def _disturbed(cluster, kills, chance):
    """Kill primaries, then freeze a standby and a primary: each when the cluster is whole again."""
    for _ in range(kills):
        time.sleep(1 + 2 * chance.random())
        primary, begin = cluster.node_as("leader"), time.monotonic()
        primary.kill()
        cluster.wait_for_another(primary)
        time.sleep(2)
        primary.start()
        cluster.wait_until_whole()
        yield Disturbance(KILLED, primary.name, begin, time.monotonic())
    for role, what in (("sync_standby", "a synchronous standby frozen"), ("leader", "the primary frozen")):
        node, begin = cluster.node_as(role), time.monotonic()
        node.signal(signal.SIGSTOP)
        try:
            if role == "leader":
                cluster.wait_for_another(node)
            time.sleep(TTL)
        finally:
            node.signal(signal.SIGCONT)
        time.sleep(TTL)  # what it says of itself is of before, until it has lost its place too
        cluster.wait_until_whole()
        yield Disturbance(what, node.name, begin, time.monotonic())


def disturbed_cluster(kills, seed, folder, tell=lambda _: None):
    """What was seen while a cluster was disturbed; raises AssertionError; NoClusterError where none can be run."""
    chance = random.Random(seed)  # noqa: S311 (no secret)
    folder, over, written, pauses = Path(folder), Event(), Written(), {}
    records = _records(folder)
    with running() as cluster, ExitStack() as ending:
        with psycopg.connect(cluster.url("postgres"), autocommit=True) as connection:
            connection.execute("CREATE DATABASE records")
        url = cluster.url("records")
        carry.carry(str(records), url)
        with database.reading(url) as session:
            before = len(session.exec(select(Reading.id)).all())
        engine = database.open_records(url)
        ending.callback(engine.dispose)
        with ThreadPoolExecutor(WRITERS) as threads:
            tasks = [
                threads.submit(written.send_until, over, url if number == 0 else engine, f"P-{number}")
                for number in range(WRITERS)
            ]
            try:
                for one in _disturbed(cluster, kills, chance):
                    pauses.setdefault(one.what, []).append(_longest_pause(written.at, one.begin, one.end))
                    tell(
                        f"{one.what}: {one.node}; a pause of {pauses[one.what][-1]:.1f} s, whole after {one.end - one.begin:.0f} s"
                    )
            except KeyboardInterrupt:
                cluster.wait_until_whole()
            finally:
                over.set()
            for task in tasks:
                task.result()
        engine.dispose()
        there, entries = _same_everywhere(cluster, written.acknowledged, before)
    told = Counter()
    for message, times in written.told.items():
        told[re.sub(r"\d+", "#", message)] += times
    return Counts(len(written.acknowledged), there, pauses, told, entries)


def _same_everywhere(cluster, acknowledged, before):
    """How many readings were sent and are there, and how many entries the ledger has: on each node the same, and all sound."""
    heads, until = {}, time.monotonic() + PATIENCE
    while len(heads) < len(cluster.nodes) or len({*heads.values()}) > 1:
        assert time.monotonic() < until, heads
        for node in cluster.nodes:
            # It may just be starting anew.
            with suppress(RecordsError), database.reading(node.url("records")) as session:
                heads[node.name] = ledger.ledger_head(session)
    for node in cluster.nodes:
        with database.reading(node.url("records")) as session:
            assert ledger.verify(session.connection()) == (), node.name
            sent = session.exec(select(SentEntry.client_key, SentEntry.record_id)).all()
            readings = len(session.exec(select(Reading.id)).all())
        assert [key for key, times in Counter(key for key, _ in sent).items() if times > 1] == []
        on_record = dict(sent)
        assert {key: on_record.get(key) for key in acknowledged} == acknowledged, node.name
        assert readings == before + len(sent), node.name
    return len(sent), heads[node.name][0]


def main(kills):
    """Run it and print what was seen."""
    with tempfile.TemporaryDirectory() as made_in:
        seen = disturbed_cluster(kills, seed=20261130, folder=made_in, tell=lambda line: print(line, flush=True))
    print(f"{seen.acknowledged:,} acknowledged, {seen.there:,} there; {seen.entries:,} entries, one head")
    for what, pauses in seen.pauses.items():
        print(
            f"{what}, {len(pauses)} times: paused {statistics.median(pauses):.1f} s by the median, {max(pauses):.1f} s at the most"
        )
    for message, times in seen.told.most_common():
        print(f"{times:6,}  {message}")


if __name__ == "__main__":
    main(int(sys.argv[1]))
