"""Authorise a write: the person is on record, and has a role that may do it.

Every procedure writes through `append`, or through `append_rows` where it has many: they know from each record which act it is. A
procedure that needs to know earlier calls `authorise(session, signature, "dispose")`, with a name of
`calib.confirmation.authority.ACTS`. It returns the signature with the name as it is on record, which is the one to keep in a
record (`accepted_by`).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

import sqlalchemy
from sqlalchemy import text
from sqlmodel import Session, SQLModel, col, select

from calib.confirmation.authority import (
    QA,
    PersonOnRecord,
    RoleChange,
    act_of,
    are_checked,
    holders,
    is_compared,
    owner_column,
    owner_of,
    owner_table,
    unknown,
    unmet,
    unmet_by_login,
    with_clock_step,
)
from calib.errors import BadInputError, Finding
from calib.records import ledger
from calib.records.record import key, typed
from calib.records.tables.custody import ClockStep
from calib.records.tables.ledger import LedgerEntry
from calib.records.tables.people import Person, PersonLogin, Role


@dataclass(frozen=True)
class People:
    """Everyone on record, and every change of a role in the order in which they were recorded."""

    people: tuple[PersonOnRecord, ...]
    changes: tuple[RoleChange, ...]


def append(session: Session, records: Sequence[SQLModel], signature: ledger.Signature) -> None:
    """Append records with their ledger entries; raises BadInputError where the person may not write one of them."""
    acts: dict[str, None] = {}
    for kind in dict.fromkeys(type(record) for record in records):
        acts |= _acts(session, _name_of(kind), [typed(record) for record in records if type(record) is kind])
    ledger.append_entries(session, records, _authorised(session, signature, tuple(acts)))


def append_rows(
    session: Session, kind: type[SQLModel], rows: Sequence[Mapping[str, Any]], signature: ledger.Signature
) -> Sequence[int]:
    """Append rows of one table, column -> value, with their ledger entries; their keys. Raises BadInputError as `append` does."""
    table = _name_of(kind)
    acts = _acts(session, table, rows)
    return ledger.append_entries_of_rows(session, kind, rows, _authorised(session, signature, tuple(acts)))


def _acts(session: Session, table: str, rows: Sequence[Mapping[str, Any]]) -> dict[str, None]:
    """The acts that write rows of a table."""
    if not is_compared(table):
        return dict.fromkeys(act_of(table, row) for row in rows)
    acts: dict[str, None] = {}
    amended: dict[int, Mapping[str, Any]] = {}
    for row in sorted(rows, key=lambda row: int(row["revision"])):
        owner = row[owner_column(table)]
        acts[act_of(table, row, amended.get(owner) or _before_amended(session, table, row))] = None
        amended[owner] = row
    return acts


def _before_amended(session: Session, table: str, revision: Mapping[str, Any]) -> Mapping[str, Any] | None:
    """What a row of a table of revisions amends: the revision before, or what was typed first."""
    revisions, first = SQLModel.metadata.tables[table], SQLModel.metadata.tables[owner_table(table)]
    owner = revision[owner_column(table)]
    own = sqlalchemy.select(revisions).where(
        revisions.c[owner_column(table)] == owner, revisions.c.revision < revision["revision"]
    )
    typed_first = sqlalchemy.select(first).where(first.c.id == owner)
    for query in (own.order_by(revisions.c.revision.desc()).limit(1), typed_first):
        row = session.execute(query).mappings().first()
        if row is not None:
            return {str(column): cell for column, cell in row.items()}
    return None


def authorise(session: Session, signature: ledger.Signature, act: str) -> ledger.Signature:
    """The signature with the person's name as it is on record; raises BadInputError where the person may not do the act."""
    return _authorised(session, signature, (act,))


def signed(session: Session, signature: ledger.Signature) -> ledger.Signature:
    """The signature with the person's name as it is on record, whatever the person may do; raises BadInputError."""
    return _authorised(session, signature, ())


def is_shared(session: Session) -> bool:
    """Whether the records are on a server that knows the login of whoever writes."""
    return session.get_bind().dialect.name == "postgresql"


def login_of(session: Session) -> str | None:
    """The login by which this session writes to a shared database, its own or the one it has taken on.

    None for a file, whose user no server has identified.
    """
    if not is_shared(session):
        return None
    return str(session.execute(text("SELECT acting_login()")).scalar_one())


def owns_tables(session: Session) -> bool:
    """Whether the login of this session owns the tables of a shared database."""
    asked = "SELECT pg_has_role(acting_login(), relowner, 'USAGE') FROM pg_class WHERE oid = to_regclass('ledger')"
    return is_shared(session) and bool(session.execute(text(asked)).scalar_one())


def people_on_record(session: Session) -> People:
    """Everyone on record, each with the login that was recorded last, and every change of their roles."""
    query = select(Person, PersonLogin).outerjoin(PersonLogin).order_by(col(Person.id), col(PersonLogin.id))
    names: dict[int, str] = {}
    logins: dict[int, list[str | None]] = {}
    for person, correction in session.exec(query):
        names[key(person.id)] = person.name
        logins.setdefault(key(person.id), [person.login])
        if correction is not None:
            logins[key(person.id)].append(correction.login)
    return People(
        tuple(PersonOnRecord(names[person_id], own[-1], _earlier(own)) for person_id, own in logins.items()),
        _changes(session, names),
    )


def _changes(session: Session, names: Mapping[int, str]) -> tuple[RoleChange, ...]:
    """Every change of a role; a step of the clock is one with all that was recorded before it."""
    recorded = {
        key(role.id): RoleChange(
            names[role.person_id], role.role, role.kind == "given", datetime.fromisoformat(role.at)
        )
        for role in session.exec(select(Role).order_by(col(Role.id)))
    }
    entries = select(LedgerEntry.sequence, LedgerEntry.time, LedgerEntry.record_table, LedgerEntry.record_id)
    steps = session.exec(entries.where(LedgerEntry.record_table == ClockStep.__tablename__)).all()
    if not steps:
        return tuple(recorded.values())
    changes: tuple[RoleChange, ...] = ()
    of_roles = session.exec(entries.where(LedgerEntry.record_table == Role.__tablename__)).all()
    for _, time, table, record_id in sorted([*steps, *of_roles]):
        if table == Role.__tablename__:
            changes = (*changes, recorded[record_id])
        else:
            changes = with_clock_step(changes, datetime.fromisoformat(time))
    return changes


def _earlier(logins: Sequence[str | None]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(login for login in logins[:-1] if login is not None and login != logins[-1]))


def _name_of(kind: type[SQLModel]) -> str:
    return str(kind.__tablename__)


def _authorised(session: Session, signature: ledger.Signature, acts: Sequence[str]) -> ledger.Signature:
    known = people_on_record(session)
    if not are_checked(known.changes):
        return signature
    login = login_of(session)
    signed = replace(signature, person=_name(login, signature, known.people), as_login=False)
    stands_in = tuple(acts) == ("login",) and _owner_stands_in(session, known, signature.time)
    expected = (None if stands_in else _misnamed(login, signature, known)) or unknown(
        signed.person, known.people, known.changes
    )
    for act in acts:
        # Whoever closes a step of the clock has the roles that were given while it was ahead.
        changes = with_clock_step(known.changes, signed.time) if act == "mend" else known.changes
        expected = expected or unmet(act, signed.person, known.people, changes, signed.time)
    if expected is not None:
        # Who was not named is told by the name that their login has on record, where it has one.
        told = signed.person if signature.as_login else signature.person
        raise BadInputError([Finding.typed("by", told, expected)])
    return signed


def _name(login: str | None, signature: ledger.Signature, people: Sequence[PersonOnRecord]) -> str:
    """The name on record of whoever has the login, where one says who writes; the name as typed otherwise."""
    if login is None and not signature.as_login:
        return signature.person
    return owner_of(login or signature.person, people) or signature.person


def _owner_stands_in(session: Session, known: People, at: datetime) -> bool:
    """Whether the owner of the tables may act for a QA, to correct a login: none of a QA is on the server."""
    able = holders(QA, known.people, known.changes, at)
    logins = [person.login for person in known.people if person.name in able and person.login is not None]
    asked = text("SELECT count(*) FROM pg_roles WHERE rolcanlogin AND rolname = ANY(:logins)")
    return owns_tables(session) and not session.execute(asked, {"logins": logins}).scalar_one()


def _misnamed(login: str | None, signature: ledger.Signature, known: People) -> str | None:
    if login is None:
        return None
    return unmet_by_login(login, None if signature.as_login else signature.person, known.people)
