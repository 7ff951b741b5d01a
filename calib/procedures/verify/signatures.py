"""Who signed each entry and when: nobody unknown, nobody without the role that the act needs, and no time that runs back.

The ledger is read in its order, with people and roles as they were on record just before each entry. A time that runs back among
entries without the program's version was written before that was refused: it is remarked, and blocks nothing.
"""

from collections.abc import Iterator, Mapping
from datetime import datetime
from functools import lru_cache

from sqlmodel import Session, col, select

from calib.confirmation.authority import WRITTEN, PersonOnRecord, RoleChange, act_of, unmet
from calib.confirmation.interval import CLOCKS_DIFFER_BY
from calib.records.tables.evidence import EVIDENCE
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

_BACK_BY = 2 * CLOCKS_DIFFER_BY  # one clock ahead, the next behind


def signature_findings(session: Session) -> Iterator[LedgerFinding]:
    """Entries signed by nobody on record, or by somebody who might not write them then."""
    words = _words(session)
    people: tuple[PersonOnRecord, ...] = ()
    changes: tuple[RoleChange, ...] = ()
    persons = {person.id: person for person in session.exec(select(Person))}
    roles = {role.id: role for role in session.exec(select(Role))}
    judged = lru_cache(maxsize=None)(unmet)
    for sequence, time, person, table, record_id, _ in _entries(session):
        act = act_of(table, words.get(table, {}).get(record_id, {}))
        at = datetime.fromisoformat(time)
        expected = judged(act, person, people, changes, at)
        if expected is not None:
            yield LedgerFinding(f"ledger entry {sequence}", f"is signed by {person!r}; expected {expected}")
        if table == "person":
            people += (PersonOnRecord(persons[record_id].name, persons[record_id].login),)
        if table == "role":
            role = roles[record_id]
            name = persons[role.person_id].name
            held_from = min(datetime.fromisoformat(role.at), at)  # given in the same second as it was written
            changes += (RoleChange(name, role.role, role.kind == "given", held_from),)


def time_findings(session: Session) -> tuple[list[LedgerFinding], list[LedgerFinding]]:
    """Entries whose time lies before that of the entry before: findings, and remarks where both were written before 0004."""
    findings: list[LedgerFinding] = []
    remarks: list[LedgerFinding] = []
    before: tuple[datetime, str | None] | None = None
    for sequence, time, _, table, _, version in _entries(session):
        at = datetime.fromisoformat(time)
        if before is not None and table != "clock_step" and at < before[0] - _BACK_BY:
            told = LedgerFinding(
                f"ledger entry {sequence}", f"is of {time}, before the entry before it ({before[0].isoformat()})"
            )
            (remarks if version is None or before[1] is None else findings).append(told)
        before = (at, version)
    return findings, remarks


def _entries(session: Session) -> Iterator[tuple[int, str, str, str, int, str | None]]:
    asked = select(*_ENTRY).order_by(col(LedgerEntry.sequence))  # type: ignore[call-overload]
    yield from session.execute(asked.execution_options(yield_per=10_000))


def _words(session: Session) -> Mapping[str, Mapping[int, Mapping[str, str]]]:
    """Of tables whose rows are written by several acts: the word of each row that says by which."""
    columns = {written.table: written.column for written in WRITTEN if written.column is not None}
    tables = {str(table.__tablename__): table.__table__ for table in EVIDENCE}  # type: ignore[attr-defined]
    return {
        name: {
            record_id: {column: word}
            for record_id, word in session.execute(select(tables[name].c.id, tables[name].c[column]))
        }
        for name, column in columns.items()
    }
