"""A records file of an earlier schema is brought to the present one: nothing is lost, and nothing is half done.

tests/golden/schema-0001.sqlite was written by the version that had schema 0001, from the job of tests.folders; schema-0002.sqlite
by the one that had schema 0002, from the job of tests.every_way; schema-0003.sqlite by the one that had schema 0003, from the job
of tests.folders with people, a rule, a check, an interval, a pair, two files, an issued report, and two later certificates: one as
found beyond its limits with a line of its review disposed of, one withdrawn.

Source: common practice, no source; that a transaction is whole or not there is SQLite's own documentation.
"""

import shutil
import sqlite3
import subprocess
import sys
import textwrap
from concurrent.futures import ProcessPoolExecutor
from contextlib import closing
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path

import pytest

from calib.errors import RecordsError
from calib.records import database, ledger
from calib.records.tables.evidence import EVERY_TABLE
from tests import every_way, folders
from tests.command import calib
from tests.folders import flows_of, ledger_head, only, small_job, write
from tests.writers import PATIENCE

ROOT = Path(__file__).parents[2]
PRESENT = "0004"


@dataclass(frozen=True)
class Golden:
    """A file as an earlier version wrote it, and the last entry of its ledger as it was printed then."""

    schema: str
    head: tuple[int, str]

    @property
    def path(self):
        return Path(__file__).parents[1] / "golden" / f"schema-{self.schema}.sqlite"


FIRST = Golden("0001", (45, "00e4b483a028cf4cf7e51015cec059552e7c965a58479c7e3db05fc0a999a0ef"))
SECOND = Golden("0002", (141, "a2f7d86b2280395c64ae2aa4c702981d6eb17a11fc9cf6425363f4a173f36f6f"))
THIRD = Golden("0003", (95, "c6a634ec716462c2f0442ce2c6a1837131d0059e67a34800511dd095459eb535"))
GOLDEN = {one.schema: one for one in (FIRST, SECOND, THIRD)}
TABLES = [table.__tablename__ for table in EVERY_TABLE]


@pytest.fixture(params=GOLDEN, scope="module")
def golden(request):
    """Each earlier schema in its turn."""
    return GOLDEN[request.param]


@pytest.fixture
def old(golden, tmp_path):
    """A copy of the file of an earlier schema."""
    return shutil.copyfile(golden.path, tmp_path / "records.sqlite")


@pytest.fixture
def first(tmp_path):
    """A copy of the file of the first schema: the longest way to the present one."""
    return shutil.copyfile(FIRST.path, tmp_path / "records.sqlite")


@pytest.fixture(scope="module")
def _upgraded(golden, tmp_path_factory):
    path = shutil.copyfile(golden.path, tmp_path_factory.mktemp("upgraded") / "records.sqlite")
    database.upgrade(str(path))
    return path


@pytest.fixture
def upgraded(_upgraded, tmp_path):
    """The same brought to the present schema, with the copy beside it."""
    for one in _upgraded.parent.iterdir():
        shutil.copyfile(one, tmp_path / one.name)
    return tmp_path / _upgraded.name


def copy_of(path, golden=FIRST):
    return path.with_name(f"{path.name}.schema-{golden.schema}")


def sql(path, statement):
    """What a statement gives, past the program."""
    with closing(sqlite3.connect(path)) as file, file:
        return file.execute(statement).fetchall()


def schema_of(path):
    return sql(path, "SELECT version_num FROM alembic_version")[0][0]


def contents(path):
    """Every row of every table, as stored with its types: table -> rows, each a dict of its columns."""
    with closing(sqlite3.connect(path)) as file:
        file.row_factory = sqlite3.Row
        tables = [name for (name,) in file.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        return {
            table: [dict(row) for row in file.execute(f'SELECT * FROM "{table}" ORDER BY 1')]  # noqa: S608 (its own names)
            for table in tables
            if table != "alembic_version"
        }


def is_whole(path):
    """Whether the database is sound, and every record is the one that its ledger entry was made for."""
    with database.reading(str(path)) as session:
        findings = ledger.verify(session.connection())
    return (
        findings == ()
        and sql(path, "PRAGMA integrity_check") == [("ok",)]
        and not sql(path, "PRAGMA foreign_key_check")
    )


@pytest.mark.parametrize("act", [database.reading, database.writing])
def test_an_older_file_says_what_to_run(golden, old, act):
    said = rf"has schema {golden.schema}, this version needs {PRESENT}: an upgrade brings it there and keeps a copy"
    with pytest.raises(RecordsError, match=said), act(str(old)):
        pass
    assert old.read_bytes() == golden.path.read_bytes()


@pytest.mark.parametrize(
    "words", [("verify",), ("due",), ("report", "J-1"), ("reading", "list", "J-1"), ("import", "in")]
)
def test_every_command_on_an_older_file_says_what_to_run(first, tmp_path, monkeypatch, words):
    monkeypatch.chdir(tmp_path)
    write(tmp_path / "in", only(small_job(), "methods.csv"))
    ran = calib(*words, records=first)
    assert (ran.status, ran.out) == (2, "")
    assert f"calib upgrade --records {first}" in ran.err
    assert first.read_bytes() == FIRST.path.read_bytes()


def test_the_command_brings_it_to_the_present_schema_and_says_where_the_copy_is(golden, old):
    ran = calib("upgrade", records=old)
    assert (ran.status, ran.err) == (0, "")
    assert f"{old} has schema {PRESENT} now" in ran.out
    assert str(copy_of(old, golden)) in ran.out
    assert schema_of(old) == database.SCHEMA == PRESENT


def test_the_command_answers_in_json(golden, old):
    assert calib("upgrade", "--json", records=old).document == {
        "records": str(old),
        "schema": PRESENT,
        "copy": str(copy_of(old, golden)),
        "sources_of_several_names": [],
        "sources_nearly_alike": [],
    }


def test_the_command_says_which_sources_are_one_and_which_are_nearly_alike_and_changes_no_text(first):
    """Outlets of the file with other spellings of their factor's source, put in past the program."""
    typed = {"S-1": "traverses at grille G", "S-8": "Traverses at grille-G", "S-9": "traverse at grille G"}
    columns = [name for (name,) in sql(first, "SELECT name FROM pragma_table_info('outlet') WHERE name <> 'id'")]
    for outlet, source in list(typed.items())[1:]:
        cells = {"outlet": f"'{outlet}'", "outlet_factor_source": f"'{source}'"}
        selected = ", ".join(cells.get(name, name) for name in columns)
        sql(first, f"INSERT INTO outlet ({', '.join(columns)}) SELECT {selected} FROM outlet WHERE outlet = 'S-1'")  # noqa: S608
    ran = calib("upgrade", records=first)
    assert "one source, whose error its outlets share: 'traverses at grille G' = 'Traverses at grille-G'\n" in ran.out
    assert "'traverse at grille G' and 'traverses at grille G' are nearly alike, and count as two sources" in ran.out
    kept = dict(sql(first, "SELECT outlet, outlet_factor_source FROM outlet"))
    assert {outlet: kept[outlet] for outlet in typed} == typed


def test_the_copy_has_every_byte_of_the_file_before(golden, upgraded):
    assert copy_of(upgraded, golden).read_bytes() == golden.path.read_bytes()


def test_nothing_else_is_left_beside_it(golden, upgraded):
    assert {one.name for one in upgraded.parent.iterdir()} == {upgraded.name, copy_of(upgraded, golden).name}


def test_a_file_that_another_program_has_open_is_copied_with_what_is_not_in_its_place_yet(golden, old):
    """In SQLite's write-ahead log mode, as the program makes its files, the newest pages may stand in a file beside it."""
    with closing(sqlite3.connect(old)) as file:
        file.execute("PRAGMA journal_mode=WAL")
        file.execute("PRAGMA user_version=7")
        database.upgrade(str(old))
    assert sql(copy_of(old, golden), "PRAGMA user_version") == [(7,)]
    assert contents(copy_of(old, golden)) == contents(golden.path)
    assert is_whole(old)


def test_the_copy_may_be_upgraded_in_its_turn(golden, upgraded, tmp_path):
    again = copy_of(upgraded, golden).rename(tmp_path / "again.sqlite")
    database.upgrade(str(again))
    assert contents(again) == contents(upgraded)


def test_every_ledger_entry_verifies_and_the_head_is_the_one_that_was_printed(golden, upgraded):
    assert is_whole(upgraded)
    assert ledger_head(upgraded) == golden.head
    assert sql(golden.path, "SELECT sequence, digest FROM ledger ORDER BY sequence DESC LIMIT 1") == [golden.head]
    assert calib("verify", "--digest", golden.head[1], records=upgraded).status == 0


def test_every_cell_is_kept_as_typed(golden, upgraded):
    """Column by column, with its type; what is new is absent."""
    before, after = contents(golden.path), contents(upgraded)
    assert {table: len(after[table]) for table in before} == {table: len(rows) for table, rows in before.items()}
    assert not any(rows for table, rows in after.items() if table not in before)
    for table, rows in before.items():
        for old_row, new_row in zip(rows, after[table], strict=True):
            assert {name: new_row[name] for name in old_row} == old_row
            assert {type(new_row[name]) for name in old_row} == {type(cell) for cell in old_row.values()}
            assert all(cell is None for name, cell in new_row.items() if name not in old_row)


def test_the_files_that_are_upgraded_here_hold_something_in_most_tables(golden):
    filled = {table for table, rows in contents(golden.path).items() if rows}
    assert filled >= {"instrument", "calibration", "comparison", "correction_curve", "outlet", "reading", "ledger"}
    assert golden is not SECOND or filled >= {"condition", "traverse", "traverse_point", "room", "system_design"}
    desk = {
        "person",
        "role",
        "house_rule",
        "pairing",
        "attachment",
        "attached",
        "withdrawal",
        "issued_report",
        "issued_form",
    }
    assert golden is not THIRD or filled >= desk | {"impact_review", "impact_line", "disposition", "event"}


JOBS = {
    "0001": (folders.small_job, "J-1"), "0002": (every_way.every_way, "E-1"), "0003": (folders.small_job, "J-1"),
}  # fmt: skip


def test_flows_are_those_of_a_fresh_import(golden, upgraded, tmp_path):
    sheets, job = JOBS[golden.schema]
    fresh = folders.records_of(tmp_path / "fresh", sheets())
    before, now = flows_of(upgraded, job), flows_of(fresh, job)
    # Curves on record stay those of the first edition of the rule, whose scatter differs; what they give does not.
    assert before == pytest.approx(now, rel=1e-3)
    assert {name: before[name] for name in before if not name.startswith("u ")} == pytest.approx(
        {name: now[name] for name in now if not name.startswith("u ")}, rel=1e-12
    )


def test_every_table_has_its_guards(upgraded):
    guards = dict(sql(upgraded, "SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"))
    assert {name.rpartition("_no_")[0] for name in guards} == set(TABLES)
    assert guards == {name: one for table in TABLES for name, one in ledger.guards(table).items()}


def test_nothing_that_was_recorded_can_be_changed_afterwards(golden, upgraded):
    for table in [table for table, rows in contents(golden.path).items() if rows]:
        with pytest.raises(sqlite3.IntegrityError, match="evidence is never changed"):
            sql(upgraded, f'DELETE FROM "{table}"')  # noqa: S608 (its own names)


def test_the_tables_are_those_of_a_new_file(upgraded, empty_records):
    asked = "SELECT type, name, sql FROM sqlite_master WHERE name NOT LIKE 'sqlite_%' ORDER BY type, name"
    assert sql(upgraded, asked) == sql(empty_records, asked)


def test_later_records_continue_the_chain(golden, upgraded, tmp_path):
    sheets = only(small_job(), "methods.csv")
    sheets["methods.csv"][0] |= {"method": "later", "pattern": "traverse", "degrees_of_freedom": "12"}
    assert calib("import", write(tmp_path / "in", sheets), "--by", "Q. Keeper", records=upgraded).status == 0
    assert is_whole(upgraded)
    assert ledger_head(upgraded)[0] == golden.head[0] + 1


def test_a_second_run_does_nothing(golden, upgraded):
    before = (upgraded.read_bytes(), copy_of(upgraded, golden).read_bytes())
    assert database.upgrade(str(upgraded)) is None
    ran = calib("upgrade", records=upgraded)
    assert ran.status == 0
    assert f"has the present schema {PRESENT} already: nothing was done" in ran.out
    assert (upgraded.read_bytes(), copy_of(upgraded, golden).read_bytes()) == before


@pytest.mark.parametrize("content", [b"somebody's work", b""], ids=["another", "empty"])
def test_a_copy_that_is_there_already_is_not_overwritten(first, content):
    copy_of(first).write_bytes(content)
    ran = calib("upgrade", records=first)
    assert (ran.status, ran.out) == (2, "")
    assert f"{copy_of(first)} is there already: move it away first" in ran.err
    assert (first.read_bytes(), copy_of(first).read_bytes()) == (FIRST.path.read_bytes(), content)
    assert {one.name for one in first.parent.iterdir()} == {first.name, copy_of(first).name}


def test_the_copy_that_a_killed_run_left_behind_is_the_one_that_is_wanted(first):
    copy_of(first).write_bytes(FIRST.path.read_bytes())
    assert database.upgrade(str(first)).copy == copy_of(first)
    assert copy_of(first).read_bytes() == FIRST.path.read_bytes()
    assert is_whole(first)


def test_a_name_that_leaves_no_room_for_the_copy_s_is_said(tmp_path):
    path = shutil.copyfile(FIRST.path, tmp_path / ("r" * 248 + ".sqlite"))
    ran = calib("upgrade", records=path)
    assert ran.status == 2
    assert "no copy of" in ran.err
    assert path.read_bytes() == FIRST.path.read_bytes()


def stopping(at_statement, error):
    """A change of the engine by which the statement of a number stops the upgrade."""
    from sqlalchemy import event

    make_engine = database._engine  # noqa: SLF001 (failing in the midst of what nothing else reaches)

    def engine(path):
        found, seen = make_engine(path), []

        def before(_connection, _cursor, statement, *_):
            seen.append(statement)
            if len(seen) == at_statement:
                raise error

        event.listen(found, "before_cursor_execute", before)
        return found

    return engine


@pytest.mark.parametrize("journal", ["delete", "wal"])
@pytest.mark.parametrize(
    "error", [RecordsError("no space left"), KeyboardInterrupt(), sqlite3.OperationalError("disk I/O error")]
)
@pytest.mark.parametrize("at_statement", [4, 14, 108], ids=["at its first step", "without a table", "at its end"])
def test_a_failure_in_the_midst_leaves_the_file_as_it_was(first, monkeypatch, journal, error, at_statement):
    with closing(sqlite3.connect(first)) as file:
        file.execute(f"PRAGMA journal_mode={journal}")
    before = first.read_bytes()
    with monkeypatch.context() as patched:
        patched.setattr(database, "_engine", stopping(at_statement, error))
        with pytest.raises((RecordsError, KeyboardInterrupt)):
            database.upgrade(str(first))
    assert first.read_bytes() == before
    assert {one.name for one in first.parent.iterdir()} == {first.name}
    assert database.upgrade(str(first)).copy == copy_of(first)
    assert is_whole(first)


def test_a_migration_that_fails_at_its_end_leaves_the_file_as_it_was(first, monkeypatch):
    from calib.records import migrations

    real = migrations.upgrade

    def fails(connection, revision):
        real(connection, revision)
        raise RecordsError("the last step failed")

    monkeypatch.setattr(migrations, "upgrade", fails)
    ran = calib("upgrade", records=first)
    assert (ran.status, ran.err) == (2, "error: the last step failed\n")
    assert first.read_bytes() == FIRST.path.read_bytes()
    assert not copy_of(first).exists()


def test_a_row_that_refers_to_nothing_stops_the_upgrade(first):
    with closing(sqlite3.connect(first)) as file, file:
        columns = [name for _, name, *_ in file.execute("PRAGMA table_info(comparison)")]
        cells = ", ".join({"id": "NULL", "calibration_id": "99"}.get(name, name) for name in columns)
        file.execute(f"INSERT INTO comparison SELECT {cells} FROM comparison WHERE id = 1")  # noqa: S608 (its own names)
    before = first.read_bytes()
    ran = calib("upgrade", records=first)
    assert ran.status == 2
    assert "a row of comparison refers to one of calibration that is not there" in ran.err
    assert first.read_bytes() == before


def test_while_another_program_writes_nothing_is_begun(first, monkeypatch):
    """Whoever holds the lock may be upgrading: the copy that it has made is let be."""
    monkeypatch.setattr(database, "_WAIT_SECONDS", 0.1)
    copy_of(first).write_bytes(b"made by the other")
    with closing(sqlite3.connect(first)) as file:
        file.execute("BEGIN IMMEDIATE")
        with pytest.raises(RecordsError, match=r"in use by another writer .*database is locked.*nothing was written"):
            database.upgrade(str(first))
    assert first.read_bytes() == FIRST.path.read_bytes()
    assert copy_of(first).read_bytes() == b"made by the other"


def upgraded_by(location):
    """What an upgrade answers: True where it was done, False where it was refused or there was nothing to do."""
    database._WAIT_SECONDS = PATIENCE  # noqa: SLF001 (in a process of its own)
    try:
        return database.upgrade(location) is not None
    except RecordsError:
        return False


def test_of_two_upgrades_at_once_one_is_done(first):
    with ProcessPoolExecutor(2, get_context("spawn")) as executor:
        done = list(executor.map(upgraded_by, [str(first)] * 2))
    assert sorted(done) == [False, True]
    assert copy_of(first).read_bytes() == FIRST.path.read_bytes()
    assert is_whole(first)


# Upgrades a file, and waits at a statement until it is killed.
WAITING = textwrap.dedent("""
    import sys, time
    from sqlalchemy import event
    from sqlalchemy.engine import Engine
    from calib.records import database

    seen = []

    @event.listens_for(Engine, "before_cursor_execute")
    def before(_connection, _cursor, statement, *_):
        seen.append(statement)
        if len(seen) == int(sys.argv[2]):
            print("there", flush=True)
            time.sleep(60)

    database.upgrade(sys.argv[1])
    print("done", flush=True)
    time.sleep(60)
""")


# Statements of an upgrade from the first schema: where a table is away, the first of the second revision, the last but one.
PLACES = [17, 60, 111]


@pytest.mark.parametrize("journal", ["delete", "wal"])
def test_a_program_that_is_killed_leaves_the_old_file(first, tmp_path, journal):
    """Several at once, each on a file of its own; the next run needs nothing but to be run."""
    sql(first, f"PRAGMA journal_mode={journal}")
    copies = [shutil.copyfile(first, tmp_path / f"{place}.sqlite") for place in PLACES]
    for path, said in killed(copies, PLACES):
        assert said == "there"
        assert schema_of(path) == "0001"
        assert contents(path) == contents(copy_of(path)) == contents(FIRST.path)
        assert database.upgrade(str(path)).copy == copy_of(path)
        assert copy_of(path).read_bytes() == first.read_bytes()
        assert is_whole(path)
        assert ledger_head(path) == FIRST.head


def test_a_program_that_is_killed_when_it_has_said_so_leaves_the_new_file(golden, old):
    [(path, said)] = killed([old], [10_000])
    assert said == "done"
    assert schema_of(path) == PRESENT
    assert copy_of(path, golden).read_bytes() == golden.path.read_bytes()
    assert is_whole(path)
    assert ledger_head(path) == golden.head


def killed(paths, statements):
    """Programs that upgrade files are killed at a statement of a number, or when they are done: each file, and what was said."""
    started = [
        subprocess.Popen(
            [sys.executable, "-c", WAITING, str(path), str(number)], cwd=ROOT, stdout=subprocess.PIPE, text=True
        )
        for path, number in zip(paths, statements, strict=True)
    ]
    for path, process in zip(paths, started, strict=True):
        with process:
            said = process.stdout.readline().strip()
            process.kill()
        yield path, said


@pytest.mark.parametrize("schema", ["0005", "9999", "0000", "1"])
def test_a_schema_that_this_version_does_not_know_is_refused(first, schema):
    sql(first, f"UPDATE alembic_version SET version_num = '{schema}'")  # noqa: S608 (of the list above)
    before = first.read_bytes()
    ran = calib("upgrade", records=first)
    assert ran.status == 2
    assert (
        f"has schema {schema}, this version knows {PRESENT}: use the version that wrote it, or a later one" in ran.err
    )
    assert first.read_bytes() == before
    assert {one.name for one in first.parent.iterdir()} == {first.name}


def test_a_file_with_two_schemas_is_refused(first):
    with closing(sqlite3.connect(first)) as file, file:
        file.execute("INSERT INTO alembic_version VALUES ('0009')")
    ran = calib("upgrade", records=first)
    assert ran.status == 2
    assert "has schema 0001, 0009" in ran.err


@pytest.mark.parametrize(
    ("content", "expected"),
    [(b"dear diary, " * 99, "file is not a database"), (b"", "holds no calibration records")],
    ids=["notes", "nothing"],
)
def test_what_is_no_records_file_is_refused(tmp_path, content, expected):
    path = tmp_path / "notes.sqlite"
    path.write_bytes(content)
    ran = calib("upgrade", records=path)
    assert ran.status == 2
    assert expected in ran.err
    assert path.read_bytes() == content
    assert [one.name for one in tmp_path.iterdir()] == [path.name]


def test_a_file_that_is_not_there_is_named(tmp_path):
    ran = calib("upgrade", records=tmp_path / "none.sqlite")
    assert ran.status == 2
    assert "no records at" in ran.err
    assert list(tmp_path.iterdir()) == []


def test_a_file_cut_in_half_is_refused_and_left_alone(first):
    content = FIRST.path.read_bytes()
    first.write_bytes(content[: len(content) // 2])
    ran = calib("upgrade", records=first)
    assert ran.status == 2
    assert "malformed" in ran.err
    assert first.read_bytes() == content[: len(content) // 2]
