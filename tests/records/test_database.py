"""Make, open, guard and refuse a records file. Source: common practice, no source; the pragmas are SQLite's own documentation."""

import os
import re
import sqlite3
from contextlib import closing

import pytest
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session

from calib.errors import RecordsError
from calib.records import database, ledger, on_file
from calib.records.tables.evidence import EVERY_TABLE
from calib.records.tables.jobs import Job
from tests.folders import NOW

SIGNED = ledger.Signature("A. Person", NOW, "test")
TABLES = [table.__tablename__ for table in EVERY_TABLE]


def sql(path, statement, *values):
    """What a statement gives, past the program."""
    with closing(sqlite3.connect(path)) as file, file:
        return file.execute(statement, values).fetchall()


def test_a_made_file_is_open_to_the_program(tmp_path):
    database.make(str(tmp_path / "new.sqlite"))
    with database.reading(str(tmp_path / "new.sqlite")) as session:
        assert ledger.ledger_head(session) == (0, ledger.BEFORE_THE_FIRST)


def test_a_url_names_the_same_file(tmp_path):
    database.make(f"sqlite:///{tmp_path}/new.sqlite")
    assert (tmp_path / "new.sqlite").is_file()


@pytest.mark.parametrize(
    "name",
    [
        "with space.sqlite",
        "Prüf-Nr. 5 – α.sqlite",
        "a#b.sqlite",
        "a%20b.sqlite",
        "what?.sqlite",
    ],
)
def test_any_name_that_a_file_may_have_is_kept(tmp_path, name):
    database.make(str(tmp_path / name))
    assert {path.name.removesuffix("-wal").removesuffix("-shm") for path in tmp_path.iterdir()} == {name}
    with database.reading(str(tmp_path / name)) as session:
        assert ledger.ledger_head(session) == (0, ledger.BEFORE_THE_FIRST)


@pytest.fixture
def kept(empty_records):
    """An engine that a caller keeps."""
    engine = database.open_records(str(empty_records))
    yield engine
    engine.dispose()


def test_records_are_looked_at_once_for_all_sessions_of_an_engine_that_is_kept(kept, monkeypatch):
    monkeypatch.setattr(on_file, "schema_of", None)  # whoever looks again stumbles
    with database.writing(kept) as session:
        ledger.append_entries(session, [Job(job="J-1", decision_rule="simple")], SIGNED)
    for _ in range(3):
        with database.reading(kept) as session:
            assert ledger.ledger_head(session)[0] == 1
    assert kept.pool.checkedin() == 1  # one connection, ready for the next


def test_an_engine_that_is_kept_writes_all_of_a_session_or_nothing(kept):
    jobs = [Job(job="J-1", decision_rule="simple"), Job(job="J-1", decision_rule="simple")]
    with pytest.raises(RecordsError, match="UNIQUE"), database.writing(kept) as session:
        ledger.append_entries(session, jobs, SIGNED)
    with database.reading(kept) as session:
        assert ledger.ledger_head(session) == (0, ledger.BEFORE_THE_FIRST)


def test_a_mistake_by_an_engine_that_is_kept_names_its_records(kept, empty_records):
    said = rf"^{re.escape(str(empty_records))}: the records refuse this"
    with pytest.raises(RecordsError, match=said), database.writing(kept) as session:
        ledger.append_entries(session, [Job(job="J-1", decision_rule="by feel")], SIGNED)


@pytest.mark.parametrize("act", [database.make, database.open_records])
def test_another_kind_of_database_is_refused(act):
    with pytest.raises(
        RecordsError, match="records at mysql:// are not served: name a file, or a database as postgresql://"
    ):
        act("mysql://host/name")


def test_a_database_in_memory_is_refused():
    with pytest.raises(RecordsError):
        database.make(":memory:")


def test_a_file_that_is_there_is_not_made_again(empty_records):
    before = empty_records.read_bytes()
    with pytest.raises(RecordsError, match="is there already"):
        database.make(str(empty_records))
    assert empty_records.read_bytes() == before


def test_a_file_in_a_missing_folder_is_not_made(tmp_path):
    with pytest.raises(RecordsError, match=r"the folder .*nowhere does not exist"):
        database.make(str(tmp_path / "nowhere" / "new.sqlite"))


def test_a_file_that_cannot_be_made_leaves_nothing_behind(tmp_path, monkeypatch, by_migrations):
    monkeypatch.setattr(database, "_migrate", by_migrations)

    def stops(*_):
        raise RecordsError("no space left")

    monkeypatch.setattr("calib.records.migrations.upgrade", stops)
    with pytest.raises(RecordsError, match="no space left"):
        database.make(str(tmp_path / "new.sqlite"))
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("act", [database.reading, database.writing])
def test_a_missing_file_is_named_with_the_next_step(tmp_path, act):
    with (
        pytest.raises(RecordsError, match="make records there, or name other records"),
        act(str(tmp_path / "none.sqlite")),
    ):
        pass
    assert list(tmp_path.iterdir()) == []


def test_a_folder_is_no_records_file(tmp_path):
    with pytest.raises(RecordsError, match="is a folder: name the file of the records"):
        database.open_records(str(tmp_path))


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes with a name are POSIX")
def test_a_pipe_is_no_records_file(tmp_path):
    os.mkfifo(tmp_path / "pipe.sqlite")
    with pytest.raises(RecordsError, match="is no plain file: name the file of the records"):
        database.open_records(str(tmp_path / "pipe.sqlite"))


def test_a_file_that_is_no_database_is_refused(tmp_path):
    path = tmp_path / "notes.txt"
    path.write_text("dear diary, " * 100, encoding="utf-8")
    with pytest.raises(RecordsError, match="file is not a database: name the file of the records"):
        database.open_records(str(path))


@pytest.mark.parametrize("statement", ["CREATE TABLE birds (name TEXT)", "PRAGMA user_version = 1"])
def test_the_database_of_another_program_is_refused(tmp_path, statement):
    path = tmp_path / "other.sqlite"
    sql(path, statement)
    with pytest.raises(RecordsError, match="holds no calibration records"):
        database.open_records(str(path))


def test_a_broken_file_is_refused(small_records):
    content = small_records.read_bytes()
    small_records.write_bytes(content[:5000] + bytes(5000))
    with (
        pytest.raises(RecordsError, match=r"malformed|not a database|no calibration records"),
        database.reading(str(small_records)) as session,
    ):
        session.execute(text("SELECT * FROM instrument"))


@pytest.mark.parametrize("schema", ["0000", "0005", "9999"])
def test_another_schema_is_refused(empty_records, schema):
    sql(empty_records, "UPDATE alembic_version SET version_num = ?", schema)
    with pytest.raises(RecordsError, match=f"has schema {schema}, this version knows 0004"):
        database.open_records(str(empty_records))


@pytest.mark.parametrize(
    ("pragma", "value"), [("journal_mode", "wal"), ("synchronous", 2), ("foreign_keys", 1), ("recursive_triggers", 1)]
)
def test_the_program_asks_for_durable_writes_and_whole_references(empty_records, pragma, value):
    """synchronous 2 is FULL; recursive_triggers lets the guard on DELETE see what INSERT OR REPLACE takes out."""
    with database.reading(str(empty_records)) as session:
        assert session.execute(text(f"PRAGMA {pragma}")).scalar_one() == value


def put_a_row(path, table):
    """Put a row into a table past the program, with something in every column and no check of it."""
    with closing(sqlite3.connect(path)) as file, file:
        file.execute("PRAGMA ignore_check_constraints=ON")
        kinds = [row[2] for row in file.execute(f'PRAGMA table_info("{table}")')]
        cells = [1 if kind in ("INTEGER", "FLOAT") else "x" for kind in kinds]
        file.execute(f'INSERT INTO "{table}" VALUES ({", ".join("?" * len(cells))})', cells)  # noqa: S608


def past_the_checks(session, statement):
    session.execute(text("PRAGMA ignore_check_constraints=ON"))
    session.execute(text(statement))


@pytest.mark.parametrize("table", TABLES)
def test_nothing_recorded_can_be_changed_by_way_of_the_program(empty_records, table):
    put_a_row(empty_records, table)
    before = sql(empty_records, f'SELECT * FROM "{table}"')  # noqa: S608
    assert len(before) == 1
    first = "sequence" if table == "ledger" else "id"
    for statement in (
        f'UPDATE "{table}" SET {first} = {first}',  # noqa: S608
        f'DELETE FROM "{table}"',  # noqa: S608
        f'INSERT OR REPLACE INTO "{table}" SELECT * FROM "{table}"',  # noqa: S608
        f'REPLACE INTO "{table}" SELECT * FROM "{table}" LIMIT 1',  # noqa: S608
    ):
        with (
            pytest.raises(RecordsError, match="evidence is never changed"),
            database.writing(str(empty_records)) as session,
        ):
            past_the_checks(session, statement)
        assert sql(empty_records, f'SELECT * FROM "{table}"') == before  # noqa: S608


@pytest.mark.parametrize("table", TABLES)
def test_another_program_cannot_change_what_is_recorded_without_lifting_the_guard(empty_records, table):
    put_a_row(empty_records, table)
    with pytest.raises(sqlite3.IntegrityError, match="evidence is never changed"):
        sql(empty_records, f'DELETE FROM "{table}"')  # noqa: S608


# A change of one column of a copied row, and the CHECK constraint that refuses it.
REFUSED = [
    ("instrument", "tag", "''", "tag_not_blank"),
    ("instrument", "resolution", "'0.00'", "resolution_above_0"),
    ("instrument", "resolution", "'fine'", "resolution_above_0"),
    ("instrument", "range_high", "'-1'", "range_rises"),
    ("instrument", "interval_months", "0", "interval_months_above_0"),
    ("instrument", "mpe_percent", "'-1.0'", "mpe_percent_not_negative"),
    ("calibration", "calibrated_on", "'12.01.2026'", "calibrated_on_is_a_day"),
    ("calibration", "laboratory", "''", "laboratory_not_blank"),
    ("comparison", "phase", "'as-sold'", "phase_is_known"),
    ("comparison", "expanded_uncertainty", "'0'", "expanded_uncertainty_above_0"),
    ("comparison", "coverage_factor", "'-2'", "coverage_factor_above_0"),
    ("correction_curve", "shape", "'freehand'", "shape_is_known"),
    ("correction_curve", "reason", "''", "reason_not_blank"),
    ("acceptance", "accepted_by", "''", "accepted_by_not_blank"),
    ("event", "kind", "'lost'", "kind_is_known"),
    ("event", "at", "'yesterday'", "at_is_a_time"),
    ("intermediate_check", "result", "'nearly'", "result_is_known"),
    ("method", "relative_standard_uncertainty_percent", "'-2.5'", "relative_standard_uncertainty_percent_not_negative"),
    ("method", "basis", "''", "basis_not_blank"),
    ("job", "decision_rule", "'lenient'", "decision_rule_is_known"),
    ("outlet", "service", "'sideways'", "service_is_known"),
    ("outlet", "shape", "'oval'", "shape_is_known"),
    ("outlet", "width", "'-400'", "width_above_0"),
    ("outlet", "outlet_factor", "'0'", "outlet_factor_above_0"),
    ("outlet", "found_factor", "'G-1'", "one_factor_at_most"),
    ("outlet", "effective_area", "'0.05'", "one_factor_at_most"),
    ("outlet", "tolerance_percent", "'0'", "tolerance_percent_above_0"),
    ("reading", "observed_at", "'5 March'", "observed_at_is_a_time"),
    ("reading", "operator", "''", "operator_not_blank"),
    ("refusal", "reasons", "''", "reasons_not_blank"),
]


def copied_with(session, table, column, value):
    """Insert a copy of the first row of a table with one column changed, its own key, and other names where they are unique."""
    columns = [row[1] for row in session.execute(text(f"PRAGMA table_info({table})"))]
    new = {"id": "NULL", "tag": "'other'", "job": "'other'", "outlet": "'other'", "method": "'other'"}
    new |= {"certificate": "'other'", "observed_at": "'2026-03-05T23:59+00:00'", "calibration_id": "calibration_id + 1"}
    new[column] = value
    cells = ", ".join(new.get(one, one) for one in columns)
    session.execute(text(f"INSERT INTO {table} SELECT {cells} FROM {table} LIMIT 1"))  # noqa: S608


@pytest.mark.parametrize(("table", "column", "value", "constraint"), REFUSED)
def test_the_database_refuses_what_no_procedure_may_write(demo_records, table, column, value, constraint):
    with (
        pytest.raises(RecordsError, match=f"CHECK constraint failed: {constraint}"),
        database.writing(str(demo_records)) as session,
    ):
        copied_with(session, table, column, value)


def test_a_reference_to_nothing_is_refused(small_records):
    with (
        pytest.raises(RecordsError, match="FOREIGN KEY constraint failed"),
        database.writing(str(small_records)) as session,
    ):
        copied_with(session, "reading", "instrument_id", "99")


@pytest.mark.parametrize("table", ["reading", "calibration", "outlet", "instrument", "method", "job"])
def test_what_must_be_unique_is_refused_a_second_time(small_records, table):
    same = {"reading": "observed_at", "calibration": "certificate", "instrument": "tag"}.get(table, table)
    with (
        pytest.raises(RecordsError, match="UNIQUE constraint failed"),
        database.writing(str(small_records)) as session,
    ):
        copied_with(session, table, same, same)


def append_and_stop(session):
    ledger.append_entries(session, [Job(job="J-9", decision_rule="simple")], SIGNED)
    raise ZeroDivisionError


def test_a_block_that_raises_writes_nothing(empty_records):
    with pytest.raises(ZeroDivisionError), database.writing(str(empty_records)) as session:
        append_and_stop(session)
    assert sql(empty_records, "SELECT count(*) FROM job") == [(0,)]
    assert sql(empty_records, "SELECT count(*) FROM ledger") == [(0,)]


def test_a_block_that_ends_writes_everything(empty_records):
    with database.writing(str(empty_records)) as session:
        ledger.append_entries(session, [Job(job="J-9", decision_rule="simple")], SIGNED)
    assert sql(empty_records, "SELECT job FROM job") == [("J-9",)]
    assert sql(empty_records, "SELECT sequence, record_table, record_id FROM ledger") == [(1, "job", 1)]


def test_a_reader_sees_one_state_while_another_writes(empty_records):
    with database.reading(str(empty_records)) as session:
        assert ledger.ledger_head(session)[0] == 0
        with database.writing(str(empty_records)) as other:
            ledger.append_entries(other, [Job(job="J-9", decision_rule="simple")], SIGNED)
        assert ledger.ledger_head(session)[0] == 0
    with database.reading(str(empty_records)) as session:
        assert ledger.ledger_head(session)[0] == 1


def test_a_ledger_cannot_fork(small_records):
    engine = database.open_records(str(small_records))
    with Session(engine) as session, pytest.raises(IntegrityError, match=r"UNIQUE constraint failed: ledger\.previous"):
        session.execute(
            text(
                "INSERT INTO ledger SELECT NULL, time, person, action, record_table, 99, record_digest, previous, 'other', version "
                "FROM ledger WHERE sequence = 2"
            )
        )
    engine.dispose()
