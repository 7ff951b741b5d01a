"""What the logins of a shared database may write: GRANT statements and row-level policies, from the same data as `authorise`.

The program refuses what a role does not allow; with these the PostgreSQL server refuses it too, whatever program a login comes
with. Each role is a group of logins, `calib_person` the group of everyone on record. None of it binds the owner of the tables.
Source: PostgreSQL documentation, GRANT, CREATE POLICY, and 5.9 "Row Security Policies".
"""

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime

from sqlmodel import Session

from calib.confirmation.authority import ACTS, ANYONE, ENGINEER, QA, ROLES, TECHNICIAN, WRITTEN, Written, roles_of
from calib.procedures.people.authorise import People, people_on_record
from calib.records.tables import EVIDENCE, LedgerEntry

EVERYONE = "calib_person"
GROUPS = {TECHNICIAN: "calib_technician", QA: "calib_qa", ENGINEER: "calib_engineer"}
_ALL = (EVERYONE, *GROUPS.values())


def grants(session: Session, at: datetime) -> tuple[str, ...]:
    """Statements that let each login on record write what its roles allow at a time; the owner of the tables runs them."""
    return statements(people_on_record(session), at)


def statements(known: People, at: datetime) -> tuple[str, ...]:
    """The statements, in one transaction; run again after a change of people they bring the server to the new state."""
    return ("BEGIN;", *_groups(), *_reading(), *_writing(), *_own_name(), *_members(known, at), "COMMIT;")


def _groups() -> Iterator[str]:
    for group in _ALL:
        yield (
            f"DO $$ BEGIN IF NOT EXISTS (SELECT FROM pg_roles WHERE rolname = '{group}') "
            f"THEN CREATE ROLE {group} NOLOGIN; END IF; END $$;"
        )


def _reading() -> Iterator[str]:
    yield f"REVOKE ALL ON ALL TABLES IN SCHEMA public FROM PUBLIC, {', '.join(_ALL)};"
    yield f"GRANT USAGE ON SCHEMA public TO {EVERYONE};"
    yield f"GRANT SELECT ON ALL TABLES IN SCHEMA public TO {EVERYONE};"
    yield f"GRANT USAGE ON ALL SEQUENCES IN SCHEMA public TO {EVERYONE};"


def _writing() -> Iterator[str]:
    for evidence in EVIDENCE:
        table = str(evidence.__tablename__)
        lines = [line for line in WRITTEN if line.table == table] or [Written(table, "record")]
        groups = dict.fromkeys(group for line in lines for group in _may(line.act))
        yield f"GRANT INSERT ON {_quoted(table)} TO {', '.join(groups)};"
        if len(lines) > 1:
            yield from _guarded(table)
            yield from _limits(table, lines)


def _may(act: str) -> tuple[str, ...]:
    roles = ACTS[act].roles
    return (EVERYONE,) if roles is ANYONE else tuple(GROUPS[role] for role in roles)


def _guarded(table: str) -> Iterator[str]:
    """From here on the server lets in only rows that a policy allows; everyone reads all of them."""
    yield f"ALTER TABLE {_quoted(table)} ENABLE ROW LEVEL SECURITY;"
    yield from _policy(table, "read", f"FOR SELECT TO {EVERYONE} USING (true)")


def _limits(table: str, lines: Sequence[Written]) -> Iterator[str]:
    """One policy for each act: the words of its own, or none of those that other lines name."""
    for line in lines:
        if line.column is not None:
            condition = f"{line.column} IN ({_words(line.words)})"
        else:
            named = [other for other in lines if other.column is not None]
            condition = " AND ".join(f"{other.column} NOT IN ({_words(other.words)})" for other in named)
        yield from _policy(table, line.act, f"FOR INSERT TO {', '.join(_may(line.act))} WITH CHECK ({condition})")


def _own_name() -> Iterator[str]:
    """Nobody signs in another's name."""
    ledger = str(LedgerEntry.__tablename__)
    yield f"GRANT INSERT ON {ledger} TO {EVERYONE};"
    yield from _guarded(ledger)
    own = "person = (SELECT own.name FROM public.person AS own WHERE own.login = session_user)"
    yield from _policy(ledger, "sign", f"FOR INSERT TO {EVERYONE} WITH CHECK ({own})")


def _policy(table: str, name: str, rule: str) -> Iterator[str]:
    yield f"DROP POLICY IF EXISTS calib_{table}_{name} ON {_quoted(table)};"
    yield f"CREATE POLICY calib_{table}_{name} ON {_quoted(table)} {rule};"


def _members(known: People, at: datetime) -> Iterator[str]:
    for person in known.people:
        if person.login is not None:
            login, held = _quoted(person.login), roles_of(person.name, known.changes, at)
            yield f"GRANT {EVERYONE} TO {login};"
            yield from (f"GRANT {GROUPS[role]} TO {login};" for role in held)
            yield from (f"REVOKE {GROUPS[role]} FROM {login};" for role in ROLES if role not in held)


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'


def _words(words: Iterable[str]) -> str:
    return ", ".join(f"'{word}'" for word in words)
