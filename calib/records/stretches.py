"""One stretch of the ledger compared with itself and with its records; and a process that does so for several, one after the other.

Nothing but the standard library is imported here: such a process starts at once. It is told what to do by one JSON document on its
standard input, and answers each stretch with one line.
"""

import gc
import json
import sqlite3
import sys
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import closing
from itertools import pairwise
from typing import Any, NamedTuple

from calib.records.digests import ENTRY_COLUMNS, entry_digests, row_digests

BATCH = 2_000  # entries in memory at a time
_GAP = 50  # row numbers not asked for that are read along rather than asked around
_MAPPED = 1 << 40  # as much of the file as there is [byte]

Fetch = Callable[[str, Mapping[str, Any]], list[tuple[Any, ...]]]
Problem = tuple[str, str]  # the record, and what is wrong with it


class ChainLink(NamedTuple):
    """What the next entry must continue."""

    sequence: Any  # a number, where no page is damaged
    digest: str


class Stretch(NamedTuple):
    """Entries that are read in one go."""

    first: int
    last: int
    before: ChainLink


class Stored(NamedTuple):
    """How a table is read."""

    columns: Sequence[str]  # in alphabetical order
    holds_files: bool  # then its rows are read one at a time


class _Entry(NamedTuple):
    """A ledger entry as stored: ENTRY_COLUMNS and its digest."""

    action: Any
    person: Any
    previous: Any
    record_digest: Any
    record_id: Any
    record_table: Any
    sequence: Any
    time: Any
    version: Any
    digest: Any


def problems(fetch: Fetch, tables: Mapping[str, Stored], stretch: Stretch) -> list[Problem]:
    """All that is wrong in a stretch, entry by entry: changed, out of order, its record changed or missing."""
    wrong: list[Problem] = []
    before = stretch.before
    for batch in _batches(fetch, stretch.first, stretch.last):
        columns = list(zip(*batch, strict=True))
        digests = entry_digests(columns[:-1])
        recorded = _kept(fetch, tables, columns)
        # Most batches are right: a few comparisons of everything decide whether to look at each entry.
        if not (_continues(columns, digests, before) and _holds(columns, recorded)):
            wrong += _problems_of_batch(batch, digests, recorded, before)
        before = ChainLink(batch[-1][6], batch[-1][9])
    return wrong


def row_problems(fetch: Fetch, table: str, stored: Stored, numbers: Sequence[int]) -> Iterator[Problem]:
    """What is wrong with rows of one table, by their ledger entries alone: changed, missing, entered by nobody, entry changed."""
    if not numbers:
        return
    recorded, wanted = dict(_digests(fetch, table, stored, numbers)), frozenset(numbers)
    columns = ", ".join((*ENTRY_COLUMNS, "digest"))
    statement = f"SELECT {columns} FROM ledger WHERE record_table = :name AND record_id >= :low AND record_id <= :high"  # noqa: S608 (own names)
    entered: set[int] = set()
    for low, high in _spans(numbers, _GAP):
        entries = fetch(statement, {"name": table, "low": low, "high": high})
        for row, digest in zip(entries, entry_digests(list(zip(*entries, strict=True))), strict=True):
            entry = _Entry._make(row)
            entered.add(entry.record_id)
            if digest != entry.digest:
                yield f"ledger entry {entry.sequence}", "was changed: its bytes do not make its digest"
            if entry.record_id in wanted:
                yield from _of_record(entry, recorded.get(entry.record_id))
    for record_id in numbers:
        if record_id not in entered:
            yield f"{table} {record_id}", "is in the records without a ledger entry"


def _batches(fetch: Fetch, first: int, last: int) -> Iterator[list[tuple[Any, ...]]]:
    columns = ", ".join((*ENTRY_COLUMNS, "digest"))
    statement = (
        f"SELECT {columns} FROM ledger WHERE sequence >= :first AND sequence <= :last ORDER BY sequence LIMIT {BATCH}"  # noqa: S608 (own names)
    )
    while batch := fetch(statement, {"first": first, "last": last}):
        yield batch
        reached = batch[-1][6]
        if reached == last:
            return
        if not isinstance(reached, int) or reached < first:  # a damaged page gives rows that were not asked for
            raise sqlite3.DatabaseError(f"the ledger gives entry {reached!r} where entry {first} was asked for")
        first = reached + 1


def _kept(fetch: Fetch, tables: Mapping[str, Stored], columns: Sequence[tuple[Any, ...]]) -> dict[Any, dict[Any, str]]:
    """Digests of the records that entries speak of, as the records are now: by table and number."""
    asked: dict[Any, list[int]] = defaultdict(list)
    for record_id, table in zip(columns[4], columns[5], strict=True):
        if record_id.__class__ is int:
            asked[table].append(record_id)
    return {table: dict(_digests(fetch, table, tables[table], asked[table])) for table in asked if table in tables}


def _digests(fetch: Fetch, name: str, stored: Stored, numbers: Sequence[int]) -> Iterator[tuple[int, str]]:
    listed = ", ".join(f'"{column}"' for column in stored.columns)
    statement = f'SELECT {listed} FROM "{name}" WHERE id >= :low AND id <= :high'  # noqa: S608 (own names)
    place = stored.columns.index("id")
    for low, high in _spans(sorted(numbers), 0 if stored.holds_files else _GAP):
        rows = fetch(statement, {"low": low, "high": high})
        yield from zip([row[place] for row in rows], row_digests(name, stored.columns, rows), strict=True)


def _spans(numbers: Sequence[int], gap: int) -> Iterator[tuple[int, int]]:
    """First and last of the runs of numbers in which none is more than a gap above the one before."""
    breaks = [place for place, (each, following) in enumerate(pairwise(numbers), 1) if following - each > gap]
    for start, end in pairwise([0, *breaks, len(numbers)]):
        yield numbers[start], numbers[end - 1]


def _continues(columns: Sequence[tuple[Any, ...]], digests: list[str], before: ChainLink) -> bool:
    previous, sequences, own = columns[2], columns[6], columns[9]
    return (
        list(own) == digests
        and previous == (before.digest, *own[:-1])
        and isinstance(before.sequence, int)
        and sequences == tuple(range(before.sequence + 1, before.sequence + 1 + len(sequences)))
    )


def _holds(columns: Sequence[tuple[Any, ...]], recorded: Mapping[Any, Mapping[Any, str]]) -> bool:
    nothing: Mapping[Any, str] = {}
    entered, numbers, tables = columns[3:6]
    return entered == tuple(
        [recorded.get(table, nothing).get(record_id) for table, record_id in zip(tables, numbers, strict=True)]
    )


def _problems_of_batch(
    batch: Iterable[tuple[Any, ...]],
    digests: Iterable[str],
    recorded: Mapping[Any, Mapping[Any, str]],
    before: ChainLink,
) -> Iterator[Problem]:
    for row, digest in zip(batch, digests, strict=True):
        entry = _Entry._make(row)
        yield from _of_entry(entry, before, digest)
        yield from _of_record(entry, recorded.get(entry.record_table, {}).get(entry.record_id))
        before = ChainLink(entry.sequence, entry.digest)


def _of_entry(entry: _Entry, before: ChainLink, digest: str) -> Iterator[Problem]:
    name = f"ledger entry {entry.sequence}"
    if not isinstance(before.sequence, int):  # a bit of its type was turned over
        yield name, f"follows an entry whose number is none: {before.sequence!r}"
    elif entry.sequence != before.sequence + 1:
        yield name, f"follows a gap: entry {before.sequence + 1} is missing"
    if digest != entry.digest:
        yield name, "was changed: its bytes do not make its digest"
    if entry.previous != before.digest:
        yield name, "does not continue the entry before it: an entry was changed, taken out or moved"


def _of_record(entry: _Entry, digest: str | None) -> Iterator[Problem]:
    name = f"{entry.record_table} {entry.record_id}"
    written = f"written {entry.time} by {entry.person} (ledger entry {entry.sequence})"
    if digest is None:
        yield name, f"is missing; it was {written}"
    elif digest != entry.record_digest:
        yield name, f"was changed since it was {written}"


def fetch_from(connection: sqlite3.Connection) -> Fetch:
    """Rows of a file as stored: bytes that are no UTF-8 were put there behind the program's back, and must be read all the same."""

    def fetch(statement: str, asked: Mapping[str, Any]) -> list[tuple[Any, ...]]:
        before = connection.text_factory
        connection.text_factory = str  # half the time of a function of our own
        try:
            return connection.execute(statement, asked).fetchall()
        except sqlite3.OperationalError as error:
            if "UTF-8" not in str(error):
                raise
            connection.text_factory = lambda raw: raw.decode("utf-8", "surrogateescape")
            return connection.execute(statement, asked).fetchall()
        finally:
            connection.text_factory = before

    return fetch


def serve() -> None:
    """Answer the stretches that standard input asks about, a line each; what was appended is never changed, so in any order."""
    gc.disable()  # nothing here refers to itself, and memory is a batch at a time
    asked = json.load(sys.stdin)
    tables = {name: Stored(*cells) for name, cells in asked["tables"].items()}
    with closing(sqlite3.connect(asked["file"], isolation_level=None)) as connection:
        connection.execute(f"PRAGMA mmap_size={_MAPPED}")
        for first, last, before in asked["stretches"]:
            wrong = problems(fetch_from(connection), tables, Stretch(first, last, ChainLink(*before)))
            sys.stdout.write(json.dumps(wrong) + "\n")
            sys.stdout.flush()
