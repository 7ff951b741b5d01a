"""The guards: triggers by which the database itself refuses to change or to take out what is recorded.

On a server one more refuses a ledger entry that does not go on from the last (calib.records.server_functions).
"""

from collections.abc import Iterable, Iterator

from sqlalchemy import Connection, text

from calib.records.server_functions import LEDGER_GOES_ON, changed_functions, server_functions, trigger_statement
from calib.records.verification import LedgerFinding

REFUSAL = "evidence is never changed; a correction is a new record"
# On PostgreSQL one function speaks for all tables. TRUNCATE is a third way to take rows out there.
FUNCTION = "evidence_is_never_changed"
FUNCTION_BODY = (
    f" BEGIN RAISE EXCEPTION '%: {REFUSAL}', TG_TABLE_NAME USING ERRCODE = 'integrity_constraint_violation'; END; "
)
FUNCTION_STATEMENT = f"CREATE FUNCTION {FUNCTION}() RETURNS trigger LANGUAGE plpgsql AS $${FUNCTION_BODY}$$"
_VERBS = {"update": "ROW", "delete": "ROW", "truncate": "STATEMENT"}
_ALWAYS = "A"  # also where a session replays a replica's changes, which would switch other triggers off

_TRIGGERS_OF_A_FILE = "SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"
_TRIGGERS_OF_A_SERVER = """
    SELECT t.tgname, pg_get_triggerdef(t.oid, true), p.prosrc, t.tgenabled::text
    FROM pg_trigger t JOIN pg_proc p ON p.oid = t.tgfoid
    WHERE NOT t.tgisinternal AND pg_table_is_visible(t.tgrelid)
"""


def guards(table: str) -> dict[str, str]:
    """Triggers that refuse UPDATE and DELETE on a table of a file: name -> statement."""
    return {
        f"{table}_no_{verb}": (
            f"CREATE TRIGGER {table}_no_{verb} BEFORE {verb.upper()} ON {table} "
            f"BEGIN SELECT RAISE(ABORT, '{table}: {REFUSAL}'); END"
        )
        for verb in ("update", "delete")
    }


def guards_on_server(table: str) -> dict[str, str]:
    """Triggers that refuse UPDATE, DELETE and TRUNCATE on a table of a server: name -> statement."""
    return {
        f"{table}_no_{verb}": (
            f"CREATE TRIGGER {table}_no_{verb} BEFORE {verb.upper()} ON {table} "
            f"FOR EACH {each} EXECUTE FUNCTION {FUNCTION}()"
        )
        for verb, each in _VERBS.items()
    }


def guard_findings(connection: Connection) -> Iterator[LedgerFinding]:
    """Guards that are missing, changed or switched off; of a server the functions too that its policies ask."""
    from calib.records.tables.evidence import EVERY_TABLE  # noqa: PLC0415 (every table; who writes a record needs a few)

    on_server = connection.dialect.name == "postgresql"
    rows = connection.execute(text(_TRIGGERS_OF_A_SERVER if on_server else _TRIGGERS_OF_A_FILE))
    present = {row[0]: tuple(row[1:]) for row in rows}
    for table in (str(each.__tablename__) for each in EVERY_TABLE):
        yield from _findings(table, _expected(table, on_server=on_server), present)
    if on_server:
        yield from _findings("ledger", _on_entries(), present)
        for function, problem in changed_functions(connection):
            yield LedgerFinding(f"function {function}", f"{problem}: it says which entries and rows a login may write")


def _expected(table: str, *, on_server: bool) -> dict[str, tuple[str, ...]]:
    if on_server:
        return {name: (sql, FUNCTION_BODY, _ALWAYS) for name, sql in guards_on_server(table).items()}
    return {name: (sql,) for name, sql in guards(table).items()}


def _on_entries() -> dict[str, tuple[str, ...]]:
    body = next(function.body for function in server_functions() if function.name == LEDGER_GOES_ON)
    return {LEDGER_GOES_ON: (trigger_statement(), body, _ALWAYS)}


def _findings(
    table: str, expected: dict[str, tuple[str, ...]], present: dict[str, tuple[str, ...]]
) -> Iterable[LedgerFinding]:
    for name, statement in expected.items():
        could = "entries could be put in" if name == LEDGER_GOES_ON else "rows could be changed"
        if name not in present:
            yield LedgerFinding(f"table {table}", f"its guard {name} is missing: {could}")
        elif present[name] != statement:
            yield LedgerFinding(f"table {table}", f"its guard {name} was changed: {could}")
