"""The ledger: one entry for each record, chained; `verify` finds whatever was changed behind the program's back.

Changes are made as somebody with another program would make them: the guards lifted, a change, the guards put back. Source: common
practice, no source; SHA-256 and JSON as Python's own library makes them.
"""

import hashlib
import json
import shutil
import sqlite3
from contextlib import closing, contextmanager
from functools import cache
from pathlib import Path

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from calib.records import database, ledger
from calib.records.tables.evidence import EVIDENCE
from calib.records.tables.jobs import Job
from calib.records.tables.methods import Method
from tests.folders import NOW, changed, imported, ledger_head, only, small_job, write

SIGNED = ledger.Signature("A. Person", NOW, "test")
TABLES = [table.__tablename__ for table in EVIDENCE]


@contextmanager
def behind_the_back(path):
    """A connection past the program: guards lifted for as long as it lasts, checks and references not looked at."""
    with closing(sqlite3.connect(path)) as file, file:
        file.execute("PRAGMA ignore_check_constraints=ON")
        guards = file.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
        file.execute("BEGIN")
        for name, _ in guards:
            file.execute(f"DROP TRIGGER {name}")
        yield file
        for _, guard in guards:
            file.execute(guard)


def change(path, statement, *values):
    """One change behind the program's back; says how many rows it met."""
    with behind_the_back(path) as file:
        return file.execute(statement, values).rowcount


def found(path, digest=None):
    """Findings of verify, as record -> problem."""
    with database.reading(str(path)) as session:
        return {one.record: one.problem for one in ledger.verify(session.connection(), digest)}


def entries(path):
    with closing(sqlite3.connect(path)) as file:
        file.row_factory = sqlite3.Row
        return [dict(row) for row in file.execute("SELECT * FROM ledger ORDER BY sequence")]


def sha256_of(*parts):
    return hashlib.sha256(json.dumps(parts, separators=(",", ":")).encode()).hexdigest()


def test_untouched_records_have_no_finding(demo_records):
    assert found(demo_records) == {}


def test_lifting_the_guards_and_putting_them_back_is_no_finding(demo_records):
    with behind_the_back(demo_records):
        pass
    assert found(demo_records) == {}


def test_each_record_makes_one_entry(empty_records):
    records = [Job(job="J-8", decision_rule="simple"), Job(job="J-9", decision_rule="guarded")]
    with database.writing(str(empty_records)) as session:
        ledger.append_entries(session, records, SIGNED)
    written = [(one["sequence"], one["record_table"], one["record_id"]) for one in entries(empty_records)]
    assert written == [(1, "job", 1), (2, "job", 2)]


def test_rows_make_the_same_records_and_entries_as_mapped_objects(empty_records, tmp_path):
    other = shutil.copyfile(empty_records, tmp_path / "other.sqlite")
    rows = [{"job": "J-8", "decision_rule": "simple"}, {"job": "J-9", "site": "Übach", "decision_rule": "guarded"}]
    with database.writing(str(empty_records)) as session:
        assert list(ledger.append_entries_of_rows(session, Job, rows, SIGNED)) == [1, 2]
    with database.writing(str(other)) as session:
        ledger.append_entries(session, [Job(**row) for row in rows], SIGNED)
    assert entries(empty_records) == entries(other)
    assert found(empty_records) == {}


def test_as_many_rows_as_are_handed_over_in_several_batches_are_all_there(empty_records):
    rows = [{"job": f"J-{place}", "decision_rule": "simple"} for place in range(2_345)]
    with database.writing(str(empty_records)) as session:
        assert list(ledger.append_entries_of_rows(session, Job, rows, SIGNED)) == list(range(1, 2_346))
    with closing(sqlite3.connect(empty_records)) as file:
        assert file.execute("SELECT count(*), max(id) FROM job").fetchall() == [(2_345, 2_345)]
    assert found(empty_records) == {}


def test_a_row_with_a_column_that_its_table_has_not_is_not_written(empty_records):
    with pytest.raises(KeyError, match="colour"), database.writing(str(empty_records)) as session:
        ledger.append_entries_of_rows(
            session, Job, [{"job": "J-9", "decision_rule": "simple", "colour": "red"}], SIGNED
        )
    assert entries(empty_records) == []


def test_an_entry_says_who_wrote_when_and_in_which_action(empty_records):
    with database.writing(str(empty_records)) as session:
        ledger.append_entries(session, [Job(job="J-9", decision_rule="simple")], SIGNED)
    (entry,) = entries(empty_records)
    assert (entry["person"], entry["time"], entry["action"]) == ("A. Person", "2026-03-06T09:00:00+00:00", "test")


def test_digests_are_those_of_the_bytes_that_the_docstring_states(empty_records):
    """SHA-256 of the JSON of the table's name and its filled columns in alphabetical order: computed here by hand."""
    with database.writing(str(empty_records)) as session:
        ledger.append_entries(session, [Job(job="J-9", site="Übach", decision_rule="simple")], SIGNED)
    (entry,) = entries(empty_records)
    record = [["decision_rule", "simple"], ["id", 1], ["job", "J-9"], ["site", "Übach"]]
    assert entry["record_digest"] == sha256_of("job", record)
    own = sorted([name, value] for name, value in entry.items() if name != "digest" and value is not None)
    assert entry["digest"] == sha256_of("ledger", own)


def test_each_entry_holds_the_digest_of_the_one_before(demo_records):
    chain = entries(demo_records)
    assert chain[0]["previous"] == "0" * 64
    assert [one["previous"] for one in chain[1:]] == [one["digest"] for one in chain[:-1]]
    assert [one["sequence"] for one in chain] == list(range(1, len(chain) + 1))


def test_every_row_of_every_table_has_its_entry(demo_records):
    with closing(sqlite3.connect(demo_records)) as file:
        rows = {(table, number) for table in TABLES for (number,) in file.execute(f"SELECT id FROM {table}")}  # noqa: S608
    assert {(one["record_table"], one["record_id"]) for one in entries(demo_records)} == rows


def test_the_head_is_the_last_entry(demo_records):
    last = entries(demo_records)[-1]
    assert ledger_head(demo_records) == (last["sequence"], last["digest"])


def test_a_later_transaction_continues_the_chain(small_records):
    sequence, digest = ledger_head(small_records)
    with database.writing(str(small_records)) as session:
        ledger.append_entries(
            session, [Method(method="m", relative_standard_uncertainty_percent="1", basis="b")], SIGNED
        )
    last = entries(small_records)[-1]
    assert (last["sequence"], last["previous"]) == (sequence + 1, digest)
    assert found(small_records) == {}


@pytest.mark.parametrize("typed", ["1.10", "01.1", "+1.1", "1.100e0", ".110e1", "1.1"])
def test_values_are_kept_as_typed(empty_records, tmp_path, typed):
    sheets = only(changed(("instruments.csv", 2, "mpe_percent", typed)), "instruments.csv")
    imported(empty_records, write(tmp_path / "in", sheets))
    with closing(sqlite3.connect(empty_records)) as file:
        kept = file.execute("SELECT mpe_percent, typeof(mpe_percent) FROM instrument WHERE tag = 'VA-1'").fetchall()
    assert kept == [(typed, "text")]


# What is done to one record behind the program's back, and the record that verify must name.
CELLS = [
    ("UPDATE reading SET indication = '2.53' WHERE id = 1", "reading 1"),
    ("UPDATE reading SET observations = observations || ' ' WHERE id = 1", "reading 1"),
    ("UPDATE reading SET remarks = 'as agreed' WHERE id = 2", "reading 2"),
    ("UPDATE reading SET remarks = '' WHERE id = 1", "reading 1"),
    ("UPDATE reading SET remarks = NULL WHERE id = 4", "reading 4"),
    ("UPDATE comparison SET reference = '0.6' WHERE id = 1", "comparison 1"),
    ("UPDATE comparison SET reference = '0.60 ' WHERE id = 1", "comparison 1"),
    ("UPDATE calibration SET calibrated_on = '2026-09-12' WHERE id = 1", "calibration 1"),
    ("UPDATE acceptance SET accepted_by = 'B. Person' WHERE id = 3", "acceptance 3"),
    ("UPDATE instrument SET interval_months = 24 WHERE id = 1", "instrument 1"),
    ("UPDATE instrument SET tag = 'va-1' WHERE id = 1", "instrument 1"),
    ("UPDATE correction_curve SET low = low + 1e-15 WHERE id = 1", "correction_curve 1"),
    ("UPDATE correction_curve SET parameters = replace(parameters, '0', '0 ') WHERE id = 2", "correction_curve 2"),
    ("UPDATE outlet SET design_flow = 999 WHERE id = 1", "outlet 1"),
    ("UPDATE job SET decision_rule = 'simple' WHERE id = 1", "job 1"),
    ("UPDATE job SET title = upper(title) WHERE id = 1", "job 1"),
]
TYPES = [
    ("UPDATE reading SET indication = CAST(indication AS BLOB) WHERE id = 1", "reading 1"),
    ("UPDATE instrument SET interval_months = 12.5 WHERE id = 1", "instrument 1"),
    ("UPDATE instrument SET interval_months = 'twelve' WHERE id = 1", "instrument 1"),
    ("UPDATE instrument SET interval_months = x'3132' WHERE id = 1", "instrument 1"),
    ("UPDATE correction_curve SET high = 'far' WHERE id = 1", "correction_curve 1"),
    ("UPDATE correction_curve SET high = 9e999 WHERE id = 1", "correction_curve 1"),
]
BYTES = [
    ("UPDATE job SET title = CAST(x'4aff4a' AS TEXT) WHERE id = 1", "job 1"),
    ("UPDATE reading SET operator = CAST(x'c3' AS TEXT) WHERE id = 1", "reading 1"),
    ("UPDATE outlet SET outlet = CAST(x'532d3100' AS TEXT) WHERE id = 1", "outlet 1"),
]


@pytest.mark.parametrize(("statement", "record"), [*CELLS, *TYPES, *BYTES])
def test_a_changed_cell_is_found_and_named(small_records, statement, record):
    assert change(small_records, statement) == 1
    assert found(small_records).keys() == {record}
    assert "was changed since it was written 2026-03-06T09:00:00+00:00 by A. Person" in found(small_records)[record]


@pytest.mark.parametrize("table", ["instrument", "comparison", "reading", "acceptance"])
def test_a_deleted_row_is_found_and_named(small_records, table):
    assert change(small_records, f"DELETE FROM {table} WHERE id = 2") == 1  # noqa: S608
    assert found(small_records).keys() == {f"{table} 2"}
    assert "is missing; it was written" in found(small_records)[f"{table} 2"]


def test_a_row_with_another_number_is_missing_here_and_unknown_there(small_records):
    assert change(small_records, "UPDATE method SET id = 7") == 1
    assert found(small_records).keys() == {"method 1", "method 7"}


def test_two_rows_that_change_places_are_both_found(small_records):
    with behind_the_back(small_records) as file:
        file.executescript("""
            UPDATE comparison SET id = 999 WHERE id = 1;
            UPDATE comparison SET id = 1 WHERE id = 2;
            UPDATE comparison SET id = 2 WHERE id = 999;
        """)
    assert found(small_records).keys() == {"comparison 1", "comparison 2"}


def test_a_row_put_in_behind_the_back_is_found_and_named(small_records):
    change(
        small_records,
        "INSERT INTO method (method, relative_standard_uncertainty_percent, basis) VALUES ('guess', '0.1', 'none')",
    )
    assert found(small_records) == {"method 2": "is in the records without a ledger entry"}


def test_a_row_put_in_past_the_procedures_needs_no_lifted_guard_and_is_found_all_the_same(small_records):
    with closing(sqlite3.connect(small_records)) as file, file:
        file.execute("INSERT INTO job (job, decision_rule) VALUES ('J-2', 'simple')")
    assert found(small_records) == {"job 2": "is in the records without a ledger entry"}


@pytest.mark.parametrize("column", ["time", "person", "action", "record_digest", "previous", "digest"])
def test_an_edited_ledger_entry_is_found(small_records, column):
    assert change(small_records, f"UPDATE ledger SET {column} = 'x' WHERE sequence = 5") == 1  # noqa: S608
    assert "ledger entry 5" in found(small_records)


def test_an_edited_entry_with_its_digest_made_to_fit_breaks_the_chain(small_records):
    """Whoever recomputes the entry's own digest leaves the next entry pointing at the old one."""
    entry = entries(small_records)[4] | {"person": "Somebody else"}
    digest = sha256_of(
        "ledger", sorted([name, value] for name, value in entry.items() if name != "digest" and value is not None)
    )
    change(small_records, "UPDATE ledger SET person = 'Somebody else', digest = ? WHERE sequence = 5", digest)
    assert found(small_records).keys() == {"ledger entry 6"}


def test_a_deleted_ledger_entry_is_found(small_records):
    entry = entries(small_records)[4]
    assert change(small_records, "DELETE FROM ledger WHERE sequence = 5") == 1
    assert found(small_records).keys() == {"ledger entry 6", f"{entry['record_table']} {entry['record_id']}"}


def test_a_record_deleted_together_with_its_entry_is_found(small_records):
    entry = entries(small_records)[4]
    with behind_the_back(small_records) as file:
        file.execute(f"DELETE FROM {entry['record_table']} WHERE id = ?", (entry["record_id"],))  # noqa: S608
        file.execute("DELETE FROM ledger WHERE sequence = 5")
    assert found(small_records).keys() == {"ledger entry 6"}


def test_the_first_entry_deleted_is_found(small_records):
    change(small_records, "DELETE FROM ledger WHERE sequence = 1")
    assert "ledger entry 2" in found(small_records)


def test_swapped_ledger_entries_are_found(small_records):
    with behind_the_back(small_records) as file:
        file.executescript("""
            UPDATE ledger SET sequence = 999 WHERE sequence = 5;
            UPDATE ledger SET sequence = 5 WHERE sequence = 6;
            UPDATE ledger SET sequence = 6 WHERE sequence = 999;
        """)
    assert {"ledger entry 5", "ledger entry 6"} <= found(small_records).keys()


def test_renumbered_ledger_entries_are_found(small_records):
    change(small_records, "UPDATE ledger SET sequence = sequence + 1000")
    assert "ledger entry 1001" in found(small_records)


def cut(path, kept):
    """Cut the tail of the ledger and the records written there, leaving nothing behind that does not fit."""
    with behind_the_back(path) as file:
        tail = file.execute("SELECT record_table, record_id FROM ledger WHERE sequence > ?", (kept,)).fetchall()
        for table, number in tail:
            file.execute(f"DELETE FROM {table} WHERE id = ?", (number,))  # noqa: S608
        file.execute("DELETE FROM ledger WHERE sequence > ?", (kept,))


def test_a_cut_tail_is_found_against_a_printed_digest(small_records):
    sequence, printed = ledger_head(small_records)
    cut(small_records, sequence - 3)
    assert found(small_records) == {}
    assert found(small_records, printed).keys() == {"ledger"}
    assert printed in found(small_records, printed)["ledger"]


def test_everything_cut_is_found_against_a_printed_digest(small_records):
    _, printed = ledger_head(small_records)
    cut(small_records, 0)
    assert found(small_records, printed).keys() == {"ledger"}


@pytest.mark.parametrize("kept", [1, 5, 20])
def test_a_digest_printed_earlier_is_still_in_the_chain(small_records, kept):
    assert found(small_records, entries(small_records)[kept - 1]["digest"]) == {}


@pytest.mark.parametrize("table", [*TABLES, "ledger"])
@pytest.mark.parametrize("verb", ["update", "delete"])
def test_a_lifted_guard_is_found(small_records, table, verb):
    with closing(sqlite3.connect(small_records)) as file, file:
        file.execute(f"DROP TRIGGER {table}_no_{verb}")
    assert found(small_records) == {f"table {table}": f"its guard {table}_no_{verb} is missing: rows could be changed"}


def test_a_guard_made_harmless_is_found(small_records):
    with closing(sqlite3.connect(small_records)) as file, file:
        file.execute("DROP TRIGGER reading_no_update")
        file.execute("CREATE TRIGGER reading_no_update BEFORE UPDATE ON reading WHEN 0 BEGIN SELECT 1; END")
    assert "table reading" in found(small_records)


def test_several_changes_are_all_named_at_once(small_records):
    change(small_records, "UPDATE reading SET unit = 'fpm' WHERE id = 1")
    change(small_records, "UPDATE job SET client = 'Somebody' WHERE id = 1")
    change(small_records, "DELETE FROM acceptance WHERE id = 2")
    assert found(small_records).keys() == {"reading 1", "job 1", "acceptance 2"}


@cache
def cells_of(path):
    """Every text cell of the records and of their ledger: table, key, column, bytes."""
    cells = []
    with closing(sqlite3.connect(path)) as file:
        for table in (*TABLES, "ledger"):
            columns = [row[1] for row in file.execute(f"PRAGMA table_info({table})")]
            for column in columns:
                asked = (
                    f"SELECT {key_column(table)}, CAST({column} AS BLOB) FROM {table} WHERE typeof({column}) = 'text'"  # noqa: S608
                )
                cells += [(table, key, column, content) for key, content in file.execute(asked) if content]
    return cells


def key_column(table):
    return "sequence" if table == "ledger" else "id"


def put_bytes(path, table, key, column, content):
    """Put bytes into a text cell behind the program's back; False where the database itself refuses a second of its kind."""
    try:
        change(path, f"UPDATE {table} SET {column} = CAST(? AS TEXT) WHERE {key_column(table)} = ?", content, key)  # noqa: S608
    except sqlite3.IntegrityError:
        return False
    return True


@given(data=st.data(), byte=st.integers(0, 255))
@settings(max_examples=60)
def test_any_changed_byte_of_any_recorded_text_is_found(demo_folder, tmp_path_factory, data, byte):
    table, key, column, content = data.draw(st.sampled_from(cells_of(demo_folder / "demo.sqlite")))
    place = data.draw(st.integers(0, len(content) - 1))
    assume(content[place] != byte)
    copy = shutil.copyfile(demo_folder / "demo.sqlite", Path(tmp_path_factory.getbasetemp()) / "changed.sqlite")
    assume(put_bytes(copy, table, key, column, content[:place] + bytes([byte]) + content[place + 1 :]))
    assert (f"ledger entry {key}" if table == "ledger" else f"{table} {key}") in found(copy)


def test_the_property_above_has_text_of_every_table_to_choose_from(demo_folder):
    cells = cells_of(demo_folder / "demo.sqlite")
    assert len(cells) > 1000
    assert {"instrument", "comparison", "correction_curve", "outlet", "reading", "refusal", "ledger"} <= {
        table for table, *_ in cells
    }


def test_records_written_in_another_order_have_another_chain(empty_records, tmp_path):
    """The digests of two imports of the same rows differ with their order: the ledger keeps it."""
    other = shutil.copyfile(empty_records, tmp_path / "other.sqlite")
    methods = [Method(method=name, relative_standard_uncertainty_percent="1", basis="b") for name in "ab"]
    with database.writing(str(empty_records)) as session:
        ledger.append_entries(session, methods, SIGNED)
    methods = [Method(method=name, relative_standard_uncertainty_percent="1", basis="b") for name in "ba"]
    with database.writing(str(other)) as session:
        ledger.append_entries(session, methods, SIGNED)
    assert ledger_head(empty_records) != ledger_head(other)


def test_the_same_records_written_at_the_same_time_have_the_same_chain(small_records, tmp_path):
    database.make(str(tmp_path / "again.sqlite"))
    imported(tmp_path / "again.sqlite", write(tmp_path / "in", small_job()))
    assert ledger_head(tmp_path / "again.sqlite") == ledger_head(small_records)
