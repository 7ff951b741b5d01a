"""Compare the ledger with itself and with the records: the chain in stretches, on several processors where it is long.

What was appended is never changed, so each stretch may be read by itself while others write. A batch of entries at a time is in
memory, however long the ledger is.
"""

import json
import os
import sqlite3
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

from sqlalchemy import Connection, LargeBinary, text

from calib.records import stretches
from calib.records.stretches import ChainLink, Fetch, Problem, Stored, Stretch

BEFORE_THE_FIRST = "0" * 64
_STRETCH = 25_000  # entries

Progress = Callable[[str], None]


@dataclass(frozen=True)
class LedgerFinding:
    """One thing that `verify` found."""

    record: str  # "reading 7" or "ledger entry 12"
    problem: str

    def __str__(self) -> str:
        return f"{self.record}: {self.problem}"


def chain_findings(connection: Connection, progress: Progress = lambda _: None) -> Iterator[LedgerFinding]:
    """Changed entries, gaps, changed order; records that were changed or are missing: in the order of the ledger."""
    asked = _stretches(connection)
    for count, problems_of in enumerate(_each(connection, asked), 1):
        if len(asked) > 1:
            progress(f"verified {count} of {len(asked)} stretches of {_STRETCH} ledger entries")
        yield from (LedgerFinding(*problem) for problem in problems_of)


def _stretches(connection: Connection) -> list[Stretch]:
    """Where the stretches begin and end."""
    first, last = connection.execute(text("SELECT min(sequence), max(sequence) FROM ledger")).one()
    if first is None:
        return []
    step = text("SELECT sequence, digest FROM ledger WHERE sequence >= :first ORDER BY sequence LIMIT 1 OFFSET :skip")
    before, asked = ChainLink(0, BEFORE_THE_FIRST), []
    while first <= last:
        end = connection.execute(step, {"first": first, "skip": _STRETCH - 1}).first()
        asked.append(Stretch(first, last if end is None else end[0], before))
        if end is None:
            break
        before, first = ChainLink(end[0], end[1]), end[0] + 1
    return asked


def _each(connection: Connection, asked: Sequence[Stretch]) -> Iterator[list[Problem]]:
    done = 0
    processes = min(len(asked), _processors()) if _is_for_several(connection) else 1
    if processes > 1:
        for problems_of in _in_processes(str(connection.engine.url.database), asked, processes):
            done += 1
            yield problems_of
    fetch, tables = _fetch(connection), _tables()
    yield from (stretches.problems(fetch, tables, stretch) for stretch in asked[done:])


def _is_for_several(connection: Connection) -> bool:
    """Other processes can open a file; of a server they have no login, and what is not committed yet they do not see."""
    plain_file = connection.dialect.name == "sqlite" and not connection.engine.url.query
    return plain_file and not connection.get_execution_options().get("writes", False)


def _processors() -> int:
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _in_processes(file: str, asked: Sequence[Stretch], processes: int) -> Iterator[list[Problem]]:
    """Each process takes every so many-th stretch; ends early where a machine starts none, or one of them does not answer."""
    with ExitStack() as ended:
        try:
            answers = [_started(file, asked[place::processes], ended) for place in range(processes)]
        except OSError:
            return
        for place in range(len(asked)):
            line = answers[place % processes].readline()
            if not line.endswith(b"\n"):
                return
            yield [(record, problem) for record, problem in json.loads(line)]


def _started(file: str, asked: Sequence[Stretch], ended: ExitStack) -> IO[bytes]:
    """The answers of a process that is told what to do; it ends with the block."""
    import subprocess  # noqa: PLC0415 (not needed to append, nor by a short ledger: `calib due` starts without it)
    import sys  # noqa: PLC0415

    process = ended.enter_context(
        subprocess.Popen(
            [sys.executable, "-c", "from calib.records.stretches import serve; serve()"],
            env=os.environ | {"PYTHONPATH": os.pathsep.join(filter(None, sys.path))},
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
        )
    )
    ended.callback(process.kill)
    assert process.stdin is not None and process.stdout is not None  # noqa: S101, PT018 (both are pipes)
    task = {"file": str(Path(file).absolute()), "tables": _tables(), "stretches": asked}
    process.stdin.write(json.dumps(task).encode())
    process.stdin.close()
    return process.stdout


def _tables() -> dict[str, Stored]:
    from calib.records.tables.evidence import EVIDENCE  # noqa: PLC0415 (every table; who writes a record needs a few)

    return {
        table.name: Stored(
            sorted(column.name for column in table.columns),
            any(isinstance(column.type, LargeBinary) for column in table.columns),
        )
        for table in (each.__table__ for each in EVIDENCE)  # type: ignore[attr-defined]
    }


def _fetch(connection: Connection) -> Fetch:
    """Rows as stored, past any type conversion of the library: a changed type is a changed byte."""
    driver = connection.connection.driver_connection
    if isinstance(driver, sqlite3.Connection):
        return stretches.fetch_from(driver)

    def fetch(statement: str, asked: Mapping[str, Any]) -> list[tuple[Any, ...]]:
        cursor = connection.execute(text(statement), asked).cursor
        return [] if cursor is None else list(cursor.fetchall())

    return fetch


def row_findings(connection: Connection, asked: Mapping[str, Collection[int]]) -> Iterator[LedgerFinding]:
    """Some rows, by table and number, against their ledger entries: what `chain_findings` says of them, without the chain."""
    fetch, tables = _fetch(connection), _tables()
    for table, numbers in asked.items():
        for record, problem in stretches.row_problems(fetch, table, tables[table], sorted(numbers)):
            yield LedgerFinding(record, problem)


def missing_rows(connection: Connection, tables: Collection[str]) -> dict[str, Collection[int]]:
    """Numbers of the records of some tables that the ledger has and the tables have not."""
    asked = (
        "SELECT record_id FROM ledger WHERE record_table = :name AND NOT EXISTS "
        '(SELECT 1 FROM "{0}" WHERE "{0}".id = record_id)'
    )
    return {table: connection.execute(text(asked.format(table)), {"name": table}).scalars().all() for table in tables}


def head_findings(connection: Connection) -> Iterator[LedgerFinding]:
    """The last entry, whose digest a report prints: its bytes, its record, and that it goes on from the one before it."""
    newest = text("SELECT sequence, digest FROM ledger ORDER BY sequence DESC LIMIT 2")
    entries = [ChainLink(sequence, digest) for sequence, digest in connection.execute(newest)]
    if entries:
        before = entries[1] if len(entries) > 1 else ChainLink(0, BEFORE_THE_FIRST)
        asked = Stretch(entries[0].sequence, entries[0].sequence, before)
        yield from (LedgerFinding(*each) for each in stretches.problems(_fetch(connection), _tables(), asked))


def unaccounted_findings(connection: Connection) -> Iterator[LedgerFinding]:
    """Records that nobody entered in the ledger."""
    from calib.records.tables.evidence import EVIDENCE  # noqa: PLC0415 (the same)

    for evidence in EVIDENCE:
        table = str(evidence.__tablename__)
        asked = text(
            f'SELECT id FROM "{table}" WHERE NOT EXISTS '  # noqa: S608 (own names)
            f'(SELECT 1 FROM ledger WHERE record_table = :name AND record_id = "{table}".id) ORDER BY id'
        )
        for record_id in connection.execute(asked, {"name": table}).scalars():
            yield LedgerFinding(f"{table} {record_id}", "is in the records without a ledger entry")
