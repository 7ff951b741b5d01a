"""Who signed each entry and when: nobody unknown, nobody without the role that the act needs, and no time that runs back.

The ledger is read once, in its order, with people and roles as they were on record just before each entry. A time that runs back
among entries without the program's version was written before that was refused: it is remarked, and blocks nothing. So is an
instrument or a method that another role than QA put on record then, which was nobody's act alone once.
"""

from collections.abc import Iterator, Mapping
from datetime import datetime
from functools import lru_cache

import sqlalchemy
from sqlmodel import Session, SQLModel, col, select

from calib.confirmation.authority import (
    WRITTEN,
    PersonOnRecord,
    RoleChange,
    act_of,
    is_compared,
    owner_column,
    owner_table,
    unmet,
    with_clock_step,
)
from calib.records.ledger import runs_back
from calib.records.tables.custody import ClockStep
from calib.records.tables.evidence import EVIDENCE_NAMED
from calib.records.tables.ledger import LedgerEntry
from calib.records.tables.people import Person, Role
from calib.records.verification import LedgerFinding

_ENTRY = (
    LedgerEntry.sequence,
    LedgerEntry.time,
    LedgerEntry.person,
    LedgerEntry.record_table,
    LedgerEntry.record_id,
    LedgerEntry.version,
)


_ONCE_ANY_ROLE = ("instrument", "method")


def signature_findings(session: Session) -> tuple[list[LedgerFinding], list[LedgerFinding]]:
    """Findings: entries signed by nobody on record, by somebody who might not write them then, of a time before the entry before.

    And remarks: such times where both entries were written before they were refused.
    """
    findings: list[LedgerFinding] = []
    remarks: list[LedgerFinding] = []
    words, amended = _words(session), dict(_amended(session))
    people: tuple[PersonOnRecord, ...] = ()
    changes: tuple[RoleChange, ...] = ()
    persons = {person.id: person for person in session.exec(select(Person))}
    roles = {role.id: role for role in session.exec(select(Role))}
    judged, moment = lru_cache(maxsize=None)(unmet), lru_cache(maxsize=1_000)(datetime.fromisoformat)
    before: tuple[datetime, str | None] | None = None
    for sequence, time, person, table, record_id, version in _entries(session):
        at, entry = moment(time), f"ledger entry {sequence}"
        if before is not None:
            if before[1] is not None and version is None:
                findings.append(LedgerFinding(entry, "names no version of the program, and the entry before it does"))
            if runs_back(before[0], at, table):
                problem = f"is of {time}, before the entry before it ({before[0].isoformat()})"
                told = remarks if version is None or before[1] is None else findings
                told.append(LedgerFinding(entry, problem))
        if table == ClockStep.__tablename__:
            changes = with_clock_step(changes, at)
        before = (at, version)
        act = amended.get((table, record_id)) or act_of(table, words.get(table, {}).get(record_id, {}))
        expected = judged(act, person, people, changes, at)
        if expected is not None:
            # Whoever had a role could put them on record before entries named a version.
            is_early = version is None and table in _ONCE_ANY_ROLE
            was_allowed = is_early and judged("record", person, people, changes, at) is None
            told = remarks if was_allowed else findings
            told.append(LedgerFinding(entry, f"is signed by {person!r}; expected {expected}"))
        if table == "person":
            people += (PersonOnRecord(persons[record_id].name, persons[record_id].login),)
        if table == "role":
            role = roles[record_id]
            name = persons[role.person_id].name
            held_from = min(datetime.fromisoformat(role.at), at)  # given in the same second as it was written
            changes += (RoleChange(name, role.role, role.kind == "given", held_from),)
    return findings, remarks


def _entries(session: Session) -> Iterator[tuple[int, str, str, str, int, str | None]]:
    asked = select(*_ENTRY).order_by(col(LedgerEntry.sequence))  # type: ignore[call-overload]
    yield from session.execute(asked.execution_options(yield_per=10_000))


def _amended(session: Session) -> Iterator[tuple[tuple[str, int], str]]:
    """The act of each revision whose act follows from what it changed, by table and key."""
    for table in {written.table for written in WRITTEN if is_compared(written.table)}:
        revisions, first = SQLModel.metadata.tables[table], SQLModel.metadata.tables[owner_table(table)]
        before = {row.id: row._asdict() for row in session.execute(sqlalchemy.select(first))}
        for row in session.execute(sqlalchemy.select(revisions).order_by(revisions.c.revision)):
            revision = row._asdict()
            owner = revision[owner_column(table)]
            yield (table, row.id), act_of(table, revision, before.get(owner))
            before[owner] = revision


def _words(session: Session) -> Mapping[str, Mapping[int, Mapping[str, str]]]:
    """Of tables whose rows are written by several acts: the word of each row that says by which."""
    columns = {written.table: written.column for written in WRITTEN if written.column is not None}
    tables = {name: EVIDENCE_NAMED[name].__table__ for name in columns}  # type: ignore[attr-defined]
    return {
        name: {
            record_id: {column: word}
            for record_id, word in session.execute(select(tables[name].c.id, tables[name].c[column]))
        }
        for name, column in columns.items()
    }
