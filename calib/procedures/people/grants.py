"""What the logins of a shared database may write: GRANT statements and row-level policies, from the same data as `authorise`.

The program refuses what a role does not allow; with these the PostgreSQL server refuses it too, whatever program a login comes
with. Each role is a group of logins, `calib_person` the group of everyone on record. The policies ask the newest rows of the
people's roles besides (calib.records.server_functions), so that a role withdrawn ends at once. None of it binds the owner of the
tables. Source: PostgreSQL documentation, GRANT, CREATE POLICY, and 5.9 "Row Security Policies".

Decision (2026-11). On PostgreSQL the person is the one of the login that writes. Policies ask the newest rows of the people's
roles by a function of the owner, beside the groups: a withdrawn role ends at once. Options: groups alone (it went on until the
GRANTs were run again), policies alone (a new login needs a group all the same). Cost: one question to two small tables for each
statement of a login; roles given and logins wait for the GRANTs.
"""

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime

from sqlmodel import Session

from calib.confirmation.authority import (
    ACTS,
    ANYONE,
    ENGINEER,
    QA,
    TECHNICIAN,
    WRITTEN,
    Written,
    owner_column,
    owner_table,
    roles_of,
)
from calib.procedures.people.authorise import People, people_on_record
from calib.records.tables.evidence import EVIDENCE
from calib.records.tables.ledger import LedgerEntry

EVERYONE = "calib_person"
PAGES_LOGIN = "calib_pages"  # of the process that serves pages in a browser: it takes on the login of each person
GROUPS = {TECHNICIAN: "calib_technician", QA: "calib_qa", ENGINEER: "calib_engineer"}
ALL_GROUPS = (EVERYONE, *GROUPS.values())
_A_ROLE = "(SELECT public.roles_held()) IS NOT NULL"  # refuses whoever has none


def grants(session: Session, at: datetime) -> tuple[str, ...]:
    """Lines of SQL that let each login on record write what its roles allow at a time; the owner of the tables runs them."""
    return statements(people_on_record(session), at)


def statements(known: People, at: datetime) -> tuple[str, ...]:
    """The lines, in one transaction: first what is taken away, then what is given.

    Run again after a change of people they bring the server to the new state. A login that is not there is skipped with a notice.
    """
    held = {login: (*groups, EVERYONE) for login, groups in _groups_of_logins(known, at).items()}
    return (
        "BEGIN;",
        *_groups(),
        *_revoked(),
        *_no_longer(known, held),
        *_reading(),
        *_writing(),
        *_ledger(),
        *_members(held),
        *_taken_on(held),
        "COMMIT;",
    )


def _groups() -> Iterator[str]:
    for group in ALL_GROUPS:
        yield (
            f"DO $$ BEGIN IF NOT EXISTS (SELECT FROM pg_roles WHERE rolname = '{group}') "
            f"THEN CREATE ROLE {group} NOLOGIN; END IF; END $$;"
        )


def _revoked() -> Iterator[str]:
    """What an earlier version granted, or anybody may by the server's own default."""
    yield f"REVOKE ALL ON ALL TABLES IN SCHEMA public FROM PUBLIC, {', '.join(ALL_GROUPS)};"
    yield "REVOKE CREATE ON SCHEMA public FROM PUBLIC;"
    yield (
        "DO $$ DECLARE own record; BEGIN FOR own IN SELECT tablename, policyname FROM pg_policies "
        "WHERE schemaname = 'public' AND policyname LIKE 'calib\\_%' "
        "LOOP EXECUTE format('DROP POLICY %I ON public.%I', own.policyname, own.tablename); END LOOP; END $$;"
    )


def _reading() -> Iterator[str]:
    yield f"GRANT USAGE ON SCHEMA public TO {EVERYONE};"
    yield f"GRANT SELECT ON ALL TABLES IN SCHEMA public TO {EVERYONE};"
    yield f"GRANT USAGE ON ALL SEQUENCES IN SCHEMA public TO {EVERYONE};"


def _writing() -> Iterator[str]:
    for evidence in EVIDENCE:
        table = str(evidence.__tablename__)
        lines = [line for line in WRITTEN if line.table == table] or [Written(table, "record")]
        groups = dict.fromkeys(group for line in lines for group in _may(line.act))
        yield f"GRANT INSERT ON {_quoted(table)} TO {', '.join(groups)};"
        yield from _guarded(table)
        yield from _limits(table, lines)


def _may(act: str) -> tuple[str, ...]:
    roles = ACTS[act].roles
    return (EVERYONE,) if roles is ANYONE else tuple(GROUPS[role] for role in roles)


def _guarded(table: str) -> Iterator[str]:
    """From here on the server lets in only rows that a policy allows; whoever has a role reads all of them."""
    yield f"ALTER TABLE {_quoted(table)} ENABLE ROW LEVEL SECURITY;"
    yield _policy(table, "read", f"FOR SELECT TO {EVERYONE} USING ({_A_ROLE})")


def _limits(table: str, lines: Sequence[Written]) -> Iterator[str]:
    """One policy for each act: the words of its own, or none of those that other lines name; none for the owner of the tables."""
    for line in lines:
        if not line.of_owner:
            condition = " AND ".join(
                [*_role(line.act), _own_key(table), *_words_of(line, lines), *_open(line), *_within(line), *_same(line)]
            )
            yield _policy(table, line.act, f"FOR INSERT TO {', '.join(_may(line.act))} WITH CHECK ({condition})")


def _role(act: str) -> Iterator[str]:
    roles = ACTS[act].roles
    yield _A_ROLE if roles is ANYONE else f"(SELECT public.roles_held()) && ARRAY[{_words(roles)}]"


def _own_key(table: str) -> str:
    """The key is the next of its sequence: of several records the one with the highest counts, and none could follow the last."""
    return f"id <= pg_catalog.pg_sequence_last_value('public.{table}_id_seq'::regclass)"


def _words_of(line: Written, lines: Sequence[Written]) -> Iterator[str]:
    if line.column is not None:
        yield f"{line.column} IN ({_words(line.words)})"
    else:
        for other in lines:
            if other.column is not None:
                # What is absent is none of the words.
                yield f"COALESCE({other.column}, '') NOT IN ({_words(other.words)})"


def _open(line: Written) -> Iterator[str]:
    if line.until is not None:
        same = f"closing.calibration_id = {_quoted(line.table)}.calibration_id"
        yield f"NOT EXISTS (SELECT FROM public.{line.until} AS closing WHERE {same})"


def _within(line: Written) -> Iterator[str]:
    """It names its calibration by a column of its own, and what else caused it by table and key."""
    if line.within:
        written = "cause.xmin = pg_catalog.pg_current_xact_id()::xid"
        causes = (
            f"EXISTS (SELECT FROM public.{table} AS cause WHERE cause.id = {_named_by(table)} AND {written})"
            for table in line.within
        )
        yield f"({' OR '.join(causes)})"


def _same(line: Written) -> Iterator[str]:
    """Columns of a revision are those of the revision before, or of what was typed first."""
    before = f"public.{owner_table(line.table)}_before({owner_column(line.table)}, revision)"
    for column in line.same:
        yield f"{before} ->> '{column}' IS NOT DISTINCT FROM {column}"


def _named_by(table: str) -> str:
    return "calibration_id" if table == "calibration" else f"CASE cause_table WHEN '{table}' THEN cause_id END"


def _ledger() -> Iterator[str]:
    """Nobody signs in another's name, nor without a role."""
    ledger = str(LedgerEntry.__tablename__)
    yield f"GRANT INSERT ON {ledger} TO {EVERYONE};"
    yield from _guarded(ledger)
    own = f"{_A_ROLE} AND person = (SELECT public.login_name())"
    yield _policy(ledger, "sign", f"FOR INSERT TO {EVERYONE} WITH CHECK ({own})")


def _policy(table: str, name: str, rule: str) -> str:
    return f"CREATE POLICY calib_{table}_{name} ON {_quoted(table)} {rule};"


# --- logins ----------------------------------------------------------------------------------------------------------------------


def _groups_of_logins(known: People, at: datetime) -> dict[str, tuple[str, ...]]:
    return {
        person.login: tuple(GROUPS[role] for role in roles_of(person.name, known.changes, at))
        for person in known.people
        if person.login is not None
    }


def _no_longer(known: People, held: dict[str, tuple[str, ...]]) -> Iterator[str]:
    """Groups that a login of the records is in no longer; one that was somebody's once is in none."""
    earlier = [login for person in known.people for login in person.earlier_logins]
    for login in dict.fromkeys([*held, *earlier]):
        groups = [group for group in ALL_GROUPS if group not in held.get(login, ())]
        yield from _where_it_is(login, [f"REVOKE {group} FROM {_quoted(login)};" for group in groups])
    theirs_no_more = dict.fromkeys(login for login in earlier if login not in held)
    taken_away = (_if_there(login, [f"REVOKE {_quoted(login)} FROM {PAGES_LOGIN};"]) for login in theirs_no_more)
    yield from _where_it_is(PAGES_LOGIN, [line for lines in taken_away for line in lines])


def _members(held: dict[str, tuple[str, ...]]) -> Iterator[str]:
    for login, groups in held.items():
        told = f"the login {login} is not on this server, or may not log in: it is skipped"
        yield from _where_it_is(login, [f"GRANT {group} TO {_quoted(login)};" for group in reversed(groups)], told)


def _taken_on(held: dict[str, tuple[str, ...]]) -> Iterator[str]:
    """The login of the pages, where there is one, may take on each login on record (SET ROLE), and has nothing of its own by that.

    It reads which schema it has before it, and nothing else.
    """
    lines = [f"GRANT USAGE ON SCHEMA public TO {PAGES_LOGIN};", f"GRANT SELECT ON alembic_version TO {PAGES_LOGIN};"]
    for login in held:
        lines += _if_there(login, [f"GRANT {_quoted(login)} TO {PAGES_LOGIN} WITH INHERIT FALSE, SET TRUE;"])
    yield from _where_it_is(PAGES_LOGIN, lines)


def _where_it_is(login: str, lines: Sequence[str], otherwise: str | None = None) -> Iterator[str]:
    """Lines about a login that are run where the server has it; a group, which may not log in, is none."""
    if lines:
        first, *rest = _if_there(login, lines, otherwise)
        tag = "$login$"
        while any(tag in line for line in (first, *rest)):
            tag = f"$a{tag[1:]}"
        yield f"DO {tag} BEGIN {first}"
        yield from rest[:-1]
        yield f"{rest[-1]} END {tag};"


def _if_there(login: str, lines: Sequence[str], otherwise: str | None = None) -> Iterator[str]:
    """The same within a block."""
    yield f"IF EXISTS (SELECT FROM pg_roles WHERE rolname = {_literal(login)} AND rolcanlogin) THEN"
    yield from lines
    if otherwise is not None:
        yield f"ELSE RAISE NOTICE '%', {_literal(otherwise)};"
    yield "END IF;"


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'


def _words(words: Iterable[str]) -> str:
    return ", ".join(f"'{word}'" for word in words)


def _literal(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"
