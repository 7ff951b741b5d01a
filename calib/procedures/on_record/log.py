"""Who recorded what, when, and with which version of the program: the ledger, newest first, or the part of it that is asked for.

What is of an instrument or a job follows from the tables themselves: a record that names it, or names a record that does, and what
was retracted, tried, sent or reviewed of one.

Decision (2026-11-29). Entries are found by the ledger's own keys (sequence; table and record), days by halving the sequence, since
no time runs back between steps of the clock. Options: indexes on person and time (every write would carry them, and records on
file another schema). Cost: of one person's entries the ledger is looked through backwards, as far as the days that are asked for.
"""

from bisect import bisect_left
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from itertools import pairwise
from typing import Any

from sqlalchemy import Select, String, Table, and_, func, literal, or_, select, union_all
from sqlmodel import Session, SQLModel

from calib.confirmation.interval import ZONES_DIFFER_BY
from calib.errors import BadInputError, Finding
from calib.procedures.on_record.by_name import instrument_tagged
from calib.procedures.on_record.jobs_by_name import job_named
from calib.records.ledger import ledger_head
from calib.records.tables.custody import ClockStep
from calib.records.tables.evidence import EVIDENCE_NAMED
from calib.records.tables.instruments import Instrument
from calib.records.tables.jobs import Job
from calib.records.tables.ledger import LedgerEntry

_TABLES: dict[str, Table] = {name: kind.__table__ for name, kind in EVIDENCE_NAMED.items()}  # type: ignore[attr-defined]
_ENTRIES: Table = LedgerEntry.__table__  # type: ignore[attr-defined]
RECORDED = {name.replace("_", " "): name for name in sorted(_TABLES)}  # kinds of records in words, with their tables


@dataclass(frozen=True)
class LogWish:
    """Which entries are asked for; what is absent confines nothing."""

    most: int
    instrument: str | None = None
    job: str | None = None
    person: str | None = None
    since: date | None = None  # days of the zone that each entry was written in, both included
    until: date | None = None
    before: int | None = None  # the entry after the last one wanted
    action: str | None = None  # contained in the act's words, capitals or not
    kind: str | None = None  # of record, one of RECORDED


@dataclass(frozen=True)
class LogEntry:
    """One entry of the ledger, with the instrument and the job that its record speaks of."""

    sequence: int
    time: str
    person: str
    action: str
    record_table: str
    record_id: int
    version: str | None
    instrument: str | None
    job: str | None


@dataclass(frozen=True)
class Log:
    """Entries, the newest first, and how many more there are before them."""

    entries: tuple[LogEntry, ...]
    more: int


def log(session: Session, wish: LogWish) -> Log:
    """The entries asked for; raises NotInRecordsError for an unknown instrument or job, BadInputError for what cannot be asked."""
    findings = []
    if wish.since is not None and wish.until is not None and wish.since > wish.until:
        findings.append(Finding.typed("until", str(wish.until), f"a day not before {wish.since}"))
    if wish.kind not in (None, *RECORDED):
        findings.append(Finding.typed("kind", wish.kind, f"one of {', '.join(RECORDED)}"))
    if findings:
        raise BadInputError(findings)
    asked = list(_conditions(session, wish))
    newest = select(_ENTRIES).where(*asked).order_by(_ENTRIES.c.sequence.desc()).limit(wish.most)
    rows = session.execute(newest).mappings().all()
    counted = select(func.count()).select_from(_ENTRIES).where(*asked)
    more = session.execute(counted).scalar_one() - len(rows) if len(rows) == wish.most else 0
    names: dict[type[SQLModel], dict[tuple[str, int], str]] = {
        owner: _names(session, rows, owner) for owner in (Instrument, Job)
    }
    return Log(tuple(_entry(row, names) for row in rows), more)


def _entry(row: Any, names: dict[type[SQLModel], dict[tuple[str, int], str]]) -> LogEntry:
    record = (row["record_table"], row["record_id"])
    spoken_of = names[Instrument].get(record), names[Job].get(record)
    return LogEntry(row["sequence"], row["time"], row["person"], row["action"], *record, row["version"], *spoken_of)


def _conditions(session: Session, wish: LogWish) -> Iterator[Any]:
    entry = _ENTRIES.c
    if wish.instrument is not None:
        yield _of_record(Instrument, instrument_tagged(session, wish.instrument).id)
    if wish.job is not None:
        yield _of_record(Job, job_named(session, wish.job).id)
    if wish.person is not None:
        yield entry.person == wish.person
    if wish.before is not None:
        yield entry.sequence < wish.before
    if wish.action is not None:
        yield func.lower(entry.action).contains(wish.action.strip().lower(), autoescape=True)
    if wish.kind is not None:
        yield entry.record_table == RECORDED[wish.kind]
    if wish.since is not None or wish.until is not None:
        yield or_(*(entry.sequence.between(*stretch) for stretch in _stretches(session, wish)))
        day = func.substr(entry.time, 1, len("2026-03-05"))
        yield from [] if wish.since is None else [day >= str(wish.since)]
        yield from [] if wish.until is None else [day <= str(wish.until)]


# --- days ------------------------------------------------------------------------------------------------------------------------


def _stretches(session: Session, wish: LogWish) -> Iterator[tuple[int, int]]:
    """First and last sequence of where the days asked for lie, in each stretch in which no time runs back."""
    start = datetime.combine(wish.since or date.min + 2 * ZONES_DIFFER_BY, time.min, UTC) - ZONES_DIFFER_BY
    end = datetime.combine(wish.until or date.max - 2 * ZONES_DIFFER_BY, time.max, UTC) + ZONES_DIFFER_BY

    def asked(sequence: int) -> Any:
        at = select(_ENTRIES.c.time, _ENTRIES.c.version).where(_ENTRIES.c.sequence >= sequence)
        return session.execute(at.order_by(_ENTRIES.c.sequence).limit(1)).one()

    def time_of(sequence: int) -> datetime:
        return datetime.fromisoformat(asked(sequence).time)

    last, _ = ledger_head(session)
    versioned = 1 + bisect_left(range(1, last + 1), True, key=lambda sequence: asked(sequence).version is not None)
    steps = select(_ENTRIES.c.sequence).where(_ENTRIES.c.record_table == ClockStep.__tablename__)
    begins = sorted({1, versioned, *session.execute(steps).scalars(), last + 1})
    for first, following in pairwise(begins):
        if first < versioned:  # times may run back there
            yield first, following - 1
            continue
        sequences = range(first, following)
        low = bisect_left(sequences, start, key=time_of)
        yield first + low, first + bisect_left(sequences, end, lo=low, key=time_of)


# --- what a record is of ---------------------------------------------------------------------------------------------------------


def _of_record(owner: type[SQLModel], owner_id: int | None) -> Any:
    """A condition on entries: their record is of an instrument or a job by its key."""
    owned = {
        name: keys for name, table in _TABLES.items() if (keys := _owned(table, _table(owner), owner_id)) is not None
    }
    named = union_all(
        *(select(literal(name, String).label("name"), keys.subquery().c.id.label("id")) for name, keys in owned.items())
    ).cte("owned")
    of_others = [
        select(literal(name, String), table.c.id).join(
            named, and_(table.c.record_table == named.c.name, table.c.record_id == named.c.id)
        )
        for name, table in _TABLES.items()
        if {"record_table", "record_id"} <= set(table.columns.keys()) and name not in owned
    ]
    all_of_it = union_all(select(named.c.name, named.c.id), *of_others).subquery("of_record")
    entries = _ENTRIES.alias("entries")
    own = select(entries.c.sequence).join(
        all_of_it, and_(entries.c.record_table == all_of_it.c.name, entries.c.record_id == all_of_it.c.id)
    )
    return _ENTRIES.c.sequence.in_(own)


def _table(kind: type[SQLModel]) -> Table:
    table: Table = kind.__table__  # type: ignore[attr-defined]
    return table


def _referring(table: Table) -> Iterator[tuple[Any, Table]]:
    """Columns of a table that hold the key of a record of another, and that table."""
    for column in table.columns:
        for reference in column.foreign_keys:
            if reference.column.table is not table:
                yield column, reference.column.table


def _owned(table: Table, owner: Table, owner_id: int | None) -> Select[Any] | None:
    """Keys of the rows that name a record of the owner, or name a record that does; None where none can."""
    if table is owner:
        return select(table.c.id).where(table.c.id == owner_id)
    conditions = []
    for column, referred in _referring(table):
        below = _owned(referred, owner, owner_id)
        if below is not None:
            conditions.append(column == owner_id if referred is owner else column.in_(below))
    return select(table.c.id).where(or_(*conditions)) if conditions else None


# --- what each entry speaks of ---------------------------------------------------------------------------------------------------


def _names(session: Session, rows: Sequence[Any], owner: type[SQLModel]) -> dict[tuple[str, int], str]:
    """The tag or the name of the instrument or the job that each record is of: a question for each table among them."""
    names: dict[tuple[str, int], str] = {}
    for name in {row["record_table"] for row in rows} & _TABLES.keys():
        keys = {row["record_id"] for row in rows if row["record_table"] == name}
        for record_id, told in _named(session, _TABLES[name], _table(owner), keys):
            names[name, record_id] = told
    return names


def _named(session: Session, table: Table, owner: Table, keys: Collection[int]) -> Iterable[tuple[int, str]]:
    way = _shortest_way(table, owner)
    if way is None:
        return ()
    joined: Any = table
    for column, referred in way:
        joined = joined.join(referred, column == referred.c.id)
    called = owner.c.tag if "tag" in owner.c else owner.c.job
    rows = session.execute(select(table.c.id, called).select_from(joined).where(table.c.id.in_(sorted(keys))))
    return [(record_id, told) for record_id, told in rows]


def _shortest_way(table: Table, owner: Table) -> list[tuple[Any, Table]] | None:
    """Columns from a table to the owner, each with the table that it leads to; None where there is no way."""
    if table is owner:
        return []
    ways = [
        [(column, referred), *further]
        for column, referred in _referring(table)
        if (further := _shortest_way(referred, owner)) is not None
    ]
    return min(ways, key=len, default=None)
