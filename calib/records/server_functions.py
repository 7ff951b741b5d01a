"""Functions that a server keeps: they let in only a ledger entry that goes on from the last, and say what a login may.

They run with the rights of the owner of the tables, so that they see all rows whoever asks them, and look for names in the schema
of the records alone. Source: PostgreSQL documentation, CREATE FUNCTION ("Writing SECURITY DEFINER Functions Safely").

Decision (2026-11). A server's trigger works the digest of each ledger entry out anew, from its bytes, and compares time, turn and
record. The record's own digest stays with `verify`: its bytes would need a function for each table. Its limit on the time is a
constant that tests widen, as they do the wait.

Decision (2026-11-29). Who writes is the login that a session has taken on (SET ROLE), and its own where it has taken on none or
a group: one program may serve many people by one login, each transaction as the person. PostgreSQL lets a login take on only
what it was granted WITH SET TRUE. A function with its owner's rights sees the owner as current_user, so that the setting `role`
is asked, which has the same guard. Cost: whoever takes that program over may act as anybody granted to its login.

Decision (2026-11-29). An upgrade of a server that has the present schema makes those of its functions anew that are missing or not
as this version makes them: an earlier state of the version made others, with which the grants of this one cannot be run. Options: a
number of their own beside the schema's (a table that a login could ask, and two numbers to keep in step); a schema for each change
of a body. Cost: what somebody changed past the program is put right too; it is named, and `verify` names it until then.
"""

from collections.abc import Collection, Iterator
from dataclasses import dataclass

from sqlalchemy import Connection, text

from calib.records.digests import ENTRY_COLUMNS

LEDGER_GOES_ON = "ledger_goes_on"  # the trigger, and its function
LOCK_HOLDER = "lock_holder"
_CLOCKS_DIFFER_AT_MOST = "1 minute"  # the time of an entry and the server's

# A string as JSON writes it in ASCII alone (RFC 8259, section 7): what stands in the bytes of a digest.
_JSON_STRING = r"""
DECLARE
    plain text := to_json(value)::text;
BEGIN
    IF plain ~ '^[ -~]*$' THEN
        RETURN plain;
    END IF;
    RETURN (
        SELECT string_agg(
            CASE
                WHEN code BETWEEN 32 AND 126 THEN letter
                WHEN code < 65536 THEN '\u' || lpad(to_hex(code), 4, '0')
                ELSE '\u' || to_hex(55232 + (code >> 10)) || '\u' || to_hex(56320 + (code & 1023))
            END, '' ORDER BY place)
        FROM (
            SELECT letter, ascii(letter) AS code, place
            FROM regexp_split_to_table(plain, '') WITH ORDINALITY AS letters (letter, place)
        ) AS written
    );
END;
"""

# A group that was taken on is no login: whoever is in it stays who they are.
_ACTING_LOGIN = """
    SELECT COALESCE(
        (SELECT r.rolname FROM pg_roles AS r WHERE r.rolname = current_setting('role') AND r.rolcanlogin), session_user);
"""

# The person whose login this is: of several records of a person's login the latest counts.
_LOGIN_NAME = """
    SELECT p.name FROM person AS p
    LEFT JOIN LATERAL (
        SELECT true AS given, l.login FROM person_login AS l WHERE l.person_id = p.id ORDER BY l.id DESC LIMIT 1
    ) AS last ON true
    WHERE CASE WHEN last.given THEN last.login ELSE p.login END = acting_login()
    ORDER BY p.id LIMIT 1;
"""

_ROLES_HELD = """
DECLARE
    held text[] := (
        SELECT array_agg(newest.role) FROM (
            SELECT DISTINCT ON (r.role) r.role, r.kind FROM role AS r JOIN person AS p ON p.id = r.person_id
            WHERE p.name = login_name() ORDER BY r.role, r.id DESC
        ) AS newest WHERE newest.kind = 'given');
BEGIN
    IF held IS NULL THEN
        RAISE EXCEPTION 'the login "%" holds no role in these records', acting_login() USING ERRCODE = 'insufficient_privilege';
    END IF;
    RETURN held;
END;
"""

# A job before one of its revisions: what that changes says by which role it is written. A policy cannot ask its own table.
_JOB_BEFORE = """
    SELECT COALESCE(
        (SELECT to_jsonb(r) FROM job_revision AS r WHERE r.job_id = $1 AND r.revision < $2 ORDER BY r.revision DESC LIMIT 1),
        (SELECT to_jsonb(j) FROM job AS j WHERE j.id = $1));
"""

# Who holds an advisory lock. Since when is said of another's session where the owner of the tables may know it.
_LOCK_HOLDER = """
    SELECT format('the login "%s" holds the lock%s, in process %s', a.usename, COALESCE(
        ' since ' || to_char(a.xact_start AT TIME ZONE 'UTC', 'YYYY-MM-DD"T"HH24:MI:SS"+00:00"'), ''), a.pid)
    FROM pg_locks AS l JOIN pg_stat_activity AS a ON a.pid = l.pid
    WHERE l.locktype = 'advisory' AND l.granted AND l.objsubid = 1 AND a.datname = current_database()
        AND l.database = a.datid AND (l.classid::bigint << 32) + l.objid::bigint = key
    LIMIT 1;
"""


@dataclass(frozen=True)
class ServerFunction:
    """A function with its body; its own settings hold while it runs."""

    name: str
    arguments: str
    returns: str
    body: str
    language: str = "plpgsql"
    kind: str = "STABLE SECURITY DEFINER"

    def statement(self, schema: str) -> str:
        """The statement that makes it in a schema, or puts it in the place of an earlier one."""
        return (
            f"CREATE OR REPLACE FUNCTION {self.name}({self.arguments}) RETURNS {self.returns} LANGUAGE {self.language} "
            f"{self.kind} SET search_path = {_path(schema)} AS $body${self.body}$body$"
        )


def server_functions() -> tuple[ServerFunction, ...]:
    """All of them, each after those that it calls."""
    return (
        ServerFunction("json_string", "value text", "text", _JSON_STRING, kind="IMMUTABLE STRICT PARALLEL SAFE"),
        ServerFunction("acting_login", "", "text", _ACTING_LOGIN, "sql", "STABLE"),
        ServerFunction("login_name", "", "text", _LOGIN_NAME, "sql"),
        ServerFunction("roles_held", "", "text[]", _ROLES_HELD),
        ServerFunction("job_before", "job bigint, revision bigint", "jsonb", _JOB_BEFORE, "sql"),
        ServerFunction(LOCK_HOLDER, "key bigint", "text", _LOCK_HOLDER, "sql", "VOLATILE SECURITY DEFINER"),
        ServerFunction(LEDGER_GOES_ON, "", "trigger", _ledger_goes_on(), kind="VOLATILE SECURITY DEFINER"),
    )


def make_functions(connection: Connection, names: Collection[str] | None = None) -> None:
    """Make those of some names, or all, each in the place of an earlier one."""
    schema = schema_quoted(connection)
    for function in server_functions():
        if names is None or function.name in names:
            # Past `text`, which would take each colon for a parameter; the driver takes a single % for one.
            connection.exec_driver_sql(function.statement(schema).replace("%", "%%"))


def trigger_statement() -> str:
    """The trigger that asks of each entry whether the ledger goes on with it."""
    return f"CREATE TRIGGER {LEDGER_GOES_ON} BEFORE INSERT ON ledger FOR EACH ROW EXECUTE FUNCTION {LEDGER_GOES_ON}()"


def schema_quoted(connection: Connection) -> str:
    """The schema that the records are in, as statements name it."""
    return str(connection.execute(text("SELECT quote_ident(current_schema())")).scalar_one())


def changed_functions(connection: Connection) -> Iterator[tuple[str, str]]:
    """Functions that are missing or not as they were made: name, and which of both."""
    asked = text(
        "SELECT p.proname, p.prosrc, p.prosecdef, array_to_string(p.proconfig, ''), p.proowner = c.relowner FROM pg_proc p "
        "JOIN pg_class c ON c.oid = to_regclass('ledger') WHERE p.pronamespace = current_schema()::regnamespace"
    )
    present = {row[0]: tuple(row[1:]) for row in connection.execute(asked)}
    path = f"search_path={_path(schema_quoted(connection))}"
    for function in server_functions():
        expected = (function.body, "SECURITY DEFINER" in function.kind, path, True)
        if present.get(function.name) != expected:
            yield function.name, "was changed" if function.name in present else "is missing"


def _path(schema: str) -> str:
    return f"pg_catalog, {schema}, pg_temp"  # the temporary schema last: otherwise its tables would be taken for the records'


def _ledger_goes_on() -> str:
    """The body of the trigger's function.

    Whoever owns the tables may fill an empty ledger, in one transaction, with entries of other times, and with those that their
    owner had closed as broken: records that are carried over whole. A transaction may be long, so that a time counts from its
    beginning on.
    """
    return rf"""
DECLARE
    last record;
    carries boolean := pg_has_role(session_user, (SELECT relowner FROM pg_class WHERE oid = TG_RELID), 'USAGE')
        AND NOT EXISTS (SELECT FROM ledger WHERE sequence = 1 AND xmin <> pg_current_xact_id()::xid);
    own_digest text := encode(sha256(convert_to({_entry_bytes()}, 'UTF8')), 'hex');
    is_there boolean := false;
BEGIN
    IF carries AND EXISTS (SELECT FROM ledger_break AS b WHERE b.sequence = NEW.sequence AND b.digest = NEW.digest) THEN
        RETURN NEW;
    END IF;
    SELECT sequence, digest INTO last FROM ledger ORDER BY sequence DESC LIMIT 1;
    IF NEW.sequence IS DISTINCT FROM COALESCE(last.sequence, 0) + 1 THEN
        RAISE EXCEPTION 'ledger: entry % does not follow entry %', NEW.sequence, COALESCE(last.sequence, 0)
            USING ERRCODE = 'integrity_constraint_violation';
    ELSIF NEW.previous IS DISTINCT FROM COALESCE(last.digest, repeat('0', 64)) THEN
        RAISE EXCEPTION 'ledger: entry % does not go on from the digest of the entry before', NEW.sequence
            USING ERRCODE = 'integrity_constraint_violation';
    ELSIF NEW.digest IS DISTINCT FROM own_digest THEN
        RAISE EXCEPTION 'ledger: the digest of entry % is not that of its content', NEW.sequence
            USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    IF EXISTS (
        SELECT FROM pg_trigger WHERE tgrelid = to_regclass(quote_ident(NEW.record_table))
        AND tgname = NEW.record_table || '_no_update' AND NEW.record_table <> 'ledger'
    ) THEN
        EXECUTE format('SELECT EXISTS (SELECT FROM %I WHERE id = $1)', NEW.record_table) INTO is_there USING NEW.record_id;
    END IF;
    IF NOT is_there THEN
        RAISE EXCEPTION 'ledger: there is no % % for entry %', NEW.record_table, NEW.record_id, NEW.sequence
            USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    IF NEW.time ~ '^\d{{4}}-\d\d-\d\dT\d\d:\d\d:\d\d[+-]\d\d:\d\d$' THEN
        IF NEW.time::timestamptz BETWEEN transaction_timestamp() - interval '{_CLOCKS_DIFFER_AT_MOST}'
            AND clock_timestamp() + interval '{_CLOCKS_DIFFER_AT_MOST}' THEN
            RETURN NEW;
        END IF;
    END IF;
    IF carries THEN
        RETURN NEW;
    END IF;
    RAISE EXCEPTION 'ledger: entry % is of %, and the server''s clock says %: set this machine''s clock',
        NEW.sequence, NEW.time, to_char(clock_timestamp() AT TIME ZONE 'UTC', 'YYYY-MM-DD"T"HH24:MI:SS"+00:00"')
        USING ERRCODE = 'integrity_constraint_violation';
END;
"""  # noqa: S608 (own names)


def _entry_bytes() -> str:
    """An expression for the bytes of an entry that its digest is made of; a column without a value is left out."""
    numbers = {"record_id", "sequence"}
    cells = []
    for column in ENTRY_COLUMNS:
        value = f"NEW.{column}::text" if column in numbers else f"json_string(NEW.{column})"
        cell = f"""',["{column}",' || {value} || ']'"""
        cells.append(f"COALESCE({cell}, '')" if column == ENTRY_COLUMNS[-1] else cell)
    first, *others = cells
    return "'[\"ledger\",['" + " || " + first.replace("',[", "'[", 1) + " || " + " || ".join(others) + " || ']]'"
