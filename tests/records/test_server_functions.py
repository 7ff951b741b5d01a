"""What a server itself lets into the ledger. With a real server.

Sources: `calib help server`, which keeps the contract; RFC 8259, section 7 for strings, by way of Python's own json; FIPS 180-4
for SHA-256, by way of hashlib.
"""

import hashlib
import json
import random
from contextlib import closing
from datetime import UTC, datetime, timedelta

import psycopg
import pytest
from sqlalchemy import text

from calib.errors import RecordsError
from calib.records import carry, database, ledger, server_functions
from calib.records.tables.jobs import Job
from tests import postgres
from tests.command import calib
from tests.folders import ledger_head
from tests.postgres import database_of

COLUMNS = (
    "sequence", "time", "person", "action", "record_table", "record_id", "record_digest", "previous", "digest", "version",
)  # fmt: skip


@pytest.fixture(scope="module")
def _strict_there(postgres_server):
    """Name of a database whose server keeps the time, with one job in it."""
    name = postgres_server.new_database()
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(server_functions, "_CLOCKS_DIFFER_AT_MOST", "1 minute")
        database.make(postgres_server.url(name))
    with database.writing(postgres_server.url(name)) as session:
        ledger.append_entries(session, [Job(job="J-1", decision_rule="simple")], signed())
    return name


@pytest.fixture
def strict_there(copy_there, _strict_there, monkeypatch):
    """URL of a copy of it."""
    monkeypatch.setattr(server_functions, "_CLOCKS_DIFFER_AT_MOST", "1 minute")
    return copy_there(_strict_there)


def signed(**offset):
    return ledger.Signature("Anna", datetime.now(UTC) + timedelta(**offset), "job add")


def digest_of(entry):
    """The digest of an entry as RECORDS says: SHA-256 of the JSON of its table and its columns in order, absent ones left out."""
    cells = sorted((name, value) for name, value in entry.items() if name != "digest" and value is not None)
    return hashlib.sha256(json.dumps(["ledger", cells], separators=(",", ":")).encode()).hexdigest()


def next_entry(location, **changed):
    """The entry that would go on from the last, for a job that has none yet; with cells changed, and its digest worked out anew."""
    sequence, digest = ledger_head(location)
    entry = {
        "sequence": sequence + 1, "time": datetime.now(UTC).isoformat(timespec="seconds"), "person": "Anna", "action": "job add",
        "record_table": "job", "record_id": 2, "record_digest": "0" * 64, "previous": digest, "version": None,
    } | changed  # fmt: skip
    return {"digest": digest_of(entry)} | entry


def put_in(location, entry):
    """Insert a job and an entry past the program; what the server says against it."""
    marks = ", ".join(f"%({one})s" for one in COLUMNS)
    with closing(psycopg.connect(location)) as connection:
        try:
            connection.execute("INSERT INTO job (id, job, decision_rule) VALUES (2, 'J-2', 'simple')")
            connection.execute(f"INSERT INTO ledger ({', '.join(COLUMNS)}) VALUES ({marks})", entry)  # noqa: S608 (own names)
        except psycopg.Error as error:
            return f"{error.diag.message_primary}" if error.sqlstate == "23000" else f"{error.sqlstate}: {error}"
        connection.commit()
    return None


def random_texts(seed, count):
    source = random.Random(seed)  # noqa: S311 (no secret)
    ranges = [(1, 0x7F), (0x80, 0x2FF), (0x2000, 0x206F), (0xE000, 0xFFFF), (0x10000, 0x10FFFF)]
    for _ in range(count):
        yield "".join(chr(source.randint(*source.choice(ranges))) for _ in range(source.randint(0, 40)))


AWKWARD = [
    "", " ", '"', "\\", "\\u0041", '\\"', "\x01\x08\x09\x0a\x0b\x0c\x0d\x1f", "\x7f", "\x80", "ü", "☂", "𝄞", "\U0010ffff",
    "\ud7ff\ue000", "a\nb", "</script>", "/", "'", "$body$", "%s", "\u2028\u2029", "e\u0301", "\ufeff",
]  # fmt: skip


def test_a_string_is_written_as_json_writes_it_in_ascii(postgres_server, strict_there):
    texts = [*AWKWARD, *random_texts(20261128, 3000)]
    asked = (
        "SELECT json_string(written) FROM unnest(%s::text[]) WITH ORDINALITY AS given (written, place) ORDER BY place"
    )
    written = [row[0] for row in postgres_server.sql(database_of(strict_there), asked, texts)]
    assert written == [json.dumps(one) for one in texts]


def test_the_entry_that_goes_on_is_let_in(strict_there):
    assert put_in(strict_there, next_entry(strict_there)) is None
    assert ledger_head(strict_there)[0] == 2


def test_any_text_in_an_entry_has_the_same_digest_there(strict_there):
    entry = next_entry(strict_there, version='1.2 "β"', person='Änne "☂" \\ 𝄞\x7f', action="a\tb\n")
    assert put_in(strict_there, entry) is None


@pytest.mark.parametrize("sequence", [2**31 - 1, 2**63 - 1, 1, 0, -1, 3])
def test_an_entry_out_of_turn_is_refused(strict_there, sequence):
    """One row with the last number would end all writing."""
    entry = next_entry(strict_there, sequence=sequence)
    assert put_in(strict_there, entry) == f"ledger: entry {sequence} does not follow entry 1"


REFUSED = {
    "does not go on from the digest of the entry before": {"previous": "0" * 64},
    "the digest of entry 2 is not that of its content": {"digest": "a" * 64},
    "there is no job 3 for entry 2": {"record_id": 3},
    "there is no ledger 1 for entry 2": {"record_table": "ledger", "record_id": 1},
    "there is no alembic_version 1 for entry 2": {"record_table": "alembic_version", "record_id": 1},
    "there is no pg_class 1259 for entry 2": {"record_table": "pg_class", "record_id": 1259},
    'there is no job"; -- 2 for entry 2': {"record_table": 'job"; --'},
}


@pytest.mark.parametrize("said", REFUSED)
def test_an_entry_that_does_not_go_on_is_refused(strict_there, said):
    refusal = put_in(strict_there, next_entry(strict_there, **REFUSED[said]))
    assert refusal.startswith("ledger: ")
    assert refusal.endswith(said)
    assert ledger_head(strict_there)[0] == 1


@pytest.mark.parametrize("seconds", [-3600, -70, 70, 3600 * 24])
def test_the_time_is_the_server_s_within_a_minute(strict_there, seconds):
    time = (datetime.now(UTC) + timedelta(seconds=seconds)).isoformat(timespec="seconds")
    refusal = put_in(strict_there, next_entry(strict_there, time=time))
    assert refusal.startswith(f"ledger: entry 2 is of {time}, and the server's clock says 2")
    assert refusal.endswith("+00:00: set this machine's clock")


@pytest.mark.parametrize("seconds", [-50, 50])
@pytest.mark.parametrize("zone", [-11, 0, 5.5])
def test_a_clock_a_little_off_is_taken_in_any_zone(strict_there, seconds, zone):
    time = (datetime.now(UTC) + timedelta(seconds=seconds)).isoformat(timespec="seconds").replace("+00:00", "")
    local = datetime.fromisoformat(time) + timedelta(hours=zone)
    offset = f"{'-' if zone < 0 else '+'}{int(abs(zone)):02}:{30 if zone % 1 else 0:02}"
    assert put_in(strict_there, next_entry(strict_there, time=local.isoformat() + offset)) is None


@pytest.mark.parametrize("time", ["t", "", "now", "2026-03-06T09:00:00", "2026-03-06 09:00:00+00:00", "infinity"])
def test_what_is_no_time_with_its_zone_is_refused(strict_there, time):
    assert put_in(strict_there, next_entry(strict_there, time=time)).startswith(f"ledger: entry 2 is of {time}, and ")


def test_a_temporary_table_is_not_taken_for_the_records(strict_there):
    hidden = "CREATE TEMPORARY TABLE ledger (sequence bigint, digest text); SET search_path = pg_temp, public"
    entry = next_entry(strict_there, sequence=1, previous="0" * 64)
    marks = ", ".join(f"%({one})s" for one in COLUMNS)
    with closing(psycopg.connect(strict_there)) as connection:
        connection.execute(hidden)
        with pytest.raises(psycopg.errors.IntegrityError, match="entry 1 does not follow entry 1"):
            connection.execute(f"INSERT INTO public.ledger ({', '.join(COLUMNS)}) VALUES ({marks})", entry)  # noqa: S608 (own names)


def test_the_program_says_in_one_line_that_the_clock_is_wrong(strict_there):
    with pytest.raises(RecordsError) as caught, database.writing(strict_there) as session:
        ledger.append_entries(session, [Job(job="J-2", decision_rule="simple")], signed(hours=-2))
    assert "the records refuse this: ledger: entry 2 is of 2" in str(caught.value)
    assert str(caught.value).endswith("set this machine's clock; nothing was written")
    assert "\n" not in str(caught.value)


def test_entries_of_one_transaction_go_on_from_each_other(strict_there):
    with database.writing(strict_there) as session:
        ledger.append_entries(session, [Job(job=f"K-{one}", decision_rule="simple") for one in range(50)], signed())
    with database.reading(strict_there) as session:
        assert ledger.verify(session.connection()) == ()
    assert ledger_head(strict_there)[0] == 51


# --- the lock --------------------------------------------------------------------------------------------------------------------

LOCK = int.from_bytes(b"calib")


@pytest.mark.parametrize("login", [postgres.OWNER, "tom"])
def test_who_waits_too_long_is_told_who_holds_the_lock_and_since_when(
    strict_there, server_with_logins, login, monkeypatch
):
    monkeypatch.setattr(database, "_WAIT_SECONDS", 0.3)
    before = ledger_head(strict_there)
    words = ("method", "add", "m", "--uncertainty", "1", "--basis", "b")
    with closing(psycopg.connect(server_with_logins.url(database_of(strict_there), login))) as holder:
        asked = "SELECT pg_backend_pid(), now() FROM pg_advisory_xact_lock(%s)"
        process, since = holder.execute(asked, [LOCK]).fetchone()
        ran = calib(*words, records=strict_there)
    assert (ran.status, ran.out, ran.err.count("\n")) == (2, "", 1)
    assert (
        f'in use by another writer for longer than 0.3 s: run it again; the login "{login}" holds the lock since '
        f"{since.astimezone(UTC).isoformat(timespec='seconds')}, in process {process}; whoever runs the server can end it: "
        f"SELECT pg_terminate_backend({process}); nothing was written"
    ) in ran.err
    assert ledger_head(strict_there) == before
    assert calib(*words, records=strict_there).status == 0


# --- records that are carried over -----------------------------------------------------------------------------------------------


@pytest.fixture
def nothing_there(copy_there, monkeypatch):
    """URL of a database without tables, on a server that keeps the time."""
    monkeypatch.setattr(server_functions, "_CLOCKS_DIFFER_AT_MOST", "1 minute")
    return copy_there(None)


def test_records_of_the_past_are_carried_over_whole_and_then_time_is_the_server_s(small_records, nothing_there):
    assert carry.carry(str(small_records), nothing_there) == ledger_head(small_records)[0]
    assert ledger_head(nothing_there) == ledger_head(small_records)
    with pytest.raises(RecordsError, match="set this machine's clock"), database.writing(nothing_there) as session:
        ledger.append_entries(session, [Job(job="J-9", decision_rule="simple")], signed(hours=-2))
    assert calib("method", "add", "m", "--uncertainty", "1", "--basis", "b", records=nothing_there).status == 0


def test_the_owner_fills_an_empty_ledger_once_only_and_in_order(nothing_there):
    database.make(nothing_there)
    past = next_entry(nothing_there, time="2020-01-01T12:00:00+00:00")
    assert (
        put_in(nothing_there, past | {"digest": "a" * 64}) == "ledger: the digest of entry 1 is not that of its content"
    )
    assert put_in(nothing_there, next_entry(nothing_there, sequence=2)) == "ledger: entry 2 does not follow entry 0"
    assert put_in(nothing_there, past) is None


def test_nobody_else_fills_an_empty_ledger_with_another_time(nothing_there, server_with_logins):
    database.make(nothing_there)
    for granted in ("SELECT, INSERT ON ALL TABLES", "USAGE ON ALL SEQUENCES"):
        server_with_logins.sql(database_of(nothing_there), f"GRANT {granted} IN SCHEMA public TO stranger")
    location = server_with_logins.url(database_of(nothing_there), "stranger", postgres.PASSWORD)
    refusal = put_in(location, next_entry(nothing_there, time="2020-01-01T12:00:00+00:00"))
    assert refusal.endswith("set this machine's clock")


# --- found by verify -------------------------------------------------------------------------------------------------------------

HARMLESS = {
    "DROP TRIGGER ledger_goes_on ON ledger": {
        "table ledger": "its guard ledger_goes_on is missing: entries could be put in"
    },
    "ALTER TABLE ledger DISABLE TRIGGER ledger_goes_on": {
        "table ledger": "its guard ledger_goes_on was changed: entries could be put in"
    },
    "ALTER TABLE ledger ENABLE TRIGGER ledger_goes_on": {
        "table ledger": "its guard ledger_goes_on was changed: entries could be put in"
    },
    "CREATE OR REPLACE FUNCTION json_string(value text) RETURNS text LANGUAGE sql AS $$ SELECT 'x' $$": {
        "function json_string": "was changed: it says which entries and rows a login may write"
    },
    "ALTER FUNCTION roles_held() SECURITY INVOKER": {
        "function roles_held": "was changed: it says which entries and rows a login may write"
    },
    "ALTER FUNCTION login_name() SET search_path = pg_temp, public": {
        "function login_name": "was changed: it says which entries and rows a login may write"
    },
    "DROP FUNCTION lock_holder(bigint)": {
        "function lock_holder": "is missing: it says which entries and rows a login may write"
    },
    "DROP FUNCTION roles_held()": {
        "function roles_held": "is missing: it says which entries and rows a login may write"
    },
}


@pytest.mark.parametrize("statement", HARMLESS)
def test_a_guard_of_the_ledger_that_was_lifted_or_made_harmless_is_found(strict_there, postgres_server, statement):
    postgres_server.sql(database_of(strict_there), statement)
    with database.reading(strict_there) as session:
        assert {one.record: one.problem for one in ledger.verify(session.connection())} == HARMLESS[statement]


def test_a_guard_function_of_the_ledger_that_lets_everything_pass_is_found(strict_there, postgres_server):
    passes = (
        "CREATE OR REPLACE FUNCTION ledger_goes_on() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RETURN NEW; END $$"
    )
    postgres_server.sql(database_of(strict_there), passes)
    with database.reading(strict_there) as session:
        found = {one.record: one.problem for one in ledger.verify(session.connection())}
    assert found["table ledger"] == "its guard ledger_goes_on was changed: entries could be put in"


def test_a_server_whose_guards_are_whole_has_no_finding(strict_there):
    with database.reading(strict_there) as session:
        assert ledger.verify(session.connection()) == ()
        assert session.execute(text("SELECT count(*) FROM ledger")).scalar_one() == 1


# --- functions of an earlier state of this version -------------------------------------------------------------------------------


def without_job_before(location):
    """As a server has it that was made before there was `job_before`, with another function's earlier body."""
    with closing(psycopg.connect(location, autocommit=True)) as connection:
        connection.execute("DROP FUNCTION job_before CASCADE")
        connection.execute(
            "CREATE OR REPLACE FUNCTION login_name() RETURNS text LANGUAGE sql STABLE SECURITY DEFINER AS 'SELECT NULL::text'"
        )


def test_an_upgrade_makes_functions_of_an_earlier_state_anew_and_names_them(strict_there):
    without_job_before(strict_there)
    assert "function job_before: is missing" in calib("verify", records=strict_there).out

    upgraded = calib("upgrade", "--json", records=strict_there)

    assert upgraded.status == 0, upgraded.err
    assert upgraded.document["functions"] == ["login_name", "job_before"]
    assert any("job_before" in line for line in upgraded.document["grants"])
    added = calib("job", "add", "J-2", "--rule", "simple", "--by", "Anna", records=strict_there)
    assert added.status == 0, added.err
    assert calib("verify", records=strict_there).status == 0


def test_where_every_function_is_right_an_upgrade_does_nothing(strict_there):
    before = ledger_head(strict_there)
    assert "already: nothing was done" in calib("upgrade", records=strict_there).out
    assert ledger_head(strict_there) == before
