"""A company's records over some weeks, and somebody who changes the file with another program: what `calib verify` then says.

The person is as able as one can be: guards are lifted and put back, and a chain that was broken is forged anew to its end. What no
chain can show by itself, a digest that was printed on a report shows. Source: common practice, no source.
"""

import hashlib
import json
import shutil
import sqlite3
from contextlib import closing

import pytest

from tests.command import calib
from tests.folders import changed, imported, only, records_of, small_job, write
from tests.records.test_ledger import behind_the_back, change, entries


@pytest.fixture(scope="module")
def history(tmp_path_factory):
    """Records with one job, a copy kept as a backup, the digest of a report printed after a second job came."""
    folder = tmp_path_factory.mktemp("history")
    records = records_of(folder, small_job())
    backup = shutil.copyfile(records, folder / "backup.sqlite")
    second = only(changed(("jobs.csv", 2, "job", "J-2")), "jobs.csv", "outlets.csv", "readings.csv")
    for rows in second.values():
        for row in rows:
            row["job"] = "J-2"
    imported(records, write(folder / "second", second))
    report = calib("report", "J-2", "--format", "json", "--into", folder / "reports", records=records)
    assert report.status == 0
    (printed,) = (folder / "reports").glob("*.json")
    return records, backup, json.loads(printed.read_text(encoding="utf-8"))["ledger_digest"]


@pytest.fixture
def records(history, tmp_path):
    """A copy of the records to tamper with."""
    return shutil.copyfile(history[0], tmp_path / "records.sqlite")


@pytest.fixture
def printed(history):
    """The digest on the report of the second job."""
    return history[2]


def told(records, *arguments):
    """Exit status, and record -> problem as `calib verify` prints them."""
    ran = calib("verify", "--json", *arguments, records=records)
    return ran.status, {one["record"]: one["problem"] for one in ran.document["findings"]}


def of_digest(printed):
    return ("--digest", printed)


def forged(records):
    """Forge the ledger anew from the records as they are: every digest fits again, from the first entry to the last."""
    with behind_the_back(records) as file:
        file.row_factory = sqlite3.Row
        rows = [dict(row) for row in file.execute("SELECT * FROM ledger ORDER BY sequence")]
        file.execute("DELETE FROM ledger")
        previous = "0" * 64
        for sequence, entry in enumerate(rows, 1):
            where = f"SELECT * FROM {entry['record_table']} WHERE id = ?"  # noqa: S608
            kept = file.execute(where, (entry["record_id"],)).fetchone()
            entry |= {
                "sequence": sequence,
                "record_digest": digest(entry["record_table"], dict(kept)),
                "previous": previous,
            }
            entry["digest"] = digest("ledger", {name: cell for name, cell in entry.items() if name != "digest"})
            previous = entry["digest"]
            marks = ", ".join("?" * len(entry))
            file.execute(f"INSERT INTO ledger ({', '.join(entry)}) VALUES ({marks})", list(entry.values()))  # noqa: S608


def digest(table, cells):
    """Digest of a record as the ledger's docstring states it, made here by hand."""
    present = sorted(
        [name, {"bytes": cell.hex()} if isinstance(cell, bytes) else cell]
        for name, cell in cells.items()
        if cell is not None
    )
    return hashlib.sha256(json.dumps([table, present], separators=(",", ":")).encode()).hexdigest()


def test_records_that_nobody_touched_hold_the_printed_digest(records, printed):
    assert told(records, *of_digest(printed)) == (0, {})


def test_the_backup_by_itself_is_in_order(history):
    assert told(history[1]) == (0, {})


def test_an_edited_row_is_named(records):
    change(records, "UPDATE reading SET indication = '4.40', observations = NULL WHERE id = 1")
    status, findings = told(records)
    assert (status, findings.keys()) == (1, {"reading 1"})


def test_a_swapped_order_is_named(records):
    """Two readings of one outlet change places, keys and all."""
    with behind_the_back(records) as file:
        for before, after in ((1, 999), (2, 1), (999, 2)):
            file.execute("UPDATE reading SET id = ? WHERE id = ?", (after, before))
    status, findings = told(records)
    assert (status, findings.keys()) == (1, {"reading 1", "reading 2"})


def test_a_swapped_order_of_the_ledger_is_named(records):
    with behind_the_back(records) as file:
        for before, after in ((7, 999), (8, 7), (999, 8)):
            file.execute("UPDATE ledger SET sequence = ? WHERE sequence = ?", (after, before))
    status, findings = told(records)
    assert status == 1
    assert {"ledger entry 7", "ledger entry 8"} <= findings.keys()


def test_a_deleted_row_is_named_with_who_wrote_it(records):
    change(records, "DELETE FROM reading WHERE id = 2")
    status, findings = told(records)
    assert (status, findings.keys()) == (1, {"reading 2"})
    assert "it was written 2026-03-06T09:00:00+00:00 by A. Person" in findings["reading 2"]


def test_a_deleted_row_whose_entry_went_with_it_is_a_gap(records):
    number = next(
        one["sequence"] for one in entries(records) if (one["record_table"], one["record_id"]) == ("reading", 2)
    )
    change(records, "DELETE FROM reading WHERE id = 2")
    change(records, "DELETE FROM ledger WHERE sequence = ?", number)
    status, findings = told(records)
    assert (status, findings.keys()) == (1, {f"ledger entry {number + 1}"})


def cut(records, count):
    """Cut the last entries with their records: what is left fits together."""
    with behind_the_back(records) as file:
        last = file.execute("SELECT record_table, record_id FROM ledger ORDER BY sequence DESC LIMIT ?", (count,))
        for table, number in last.fetchall():
            file.execute(f"DELETE FROM {table} WHERE id = ?", (number,))  # noqa: S608
        file.execute(
            "DELETE FROM ledger WHERE sequence IN (SELECT sequence FROM ledger ORDER BY sequence DESC LIMIT ?)",
            (count,),
        )


@pytest.mark.parametrize("count", [1, 2, 9])
def test_a_cut_tail_is_found_against_the_printed_digest_alone(records, printed, count):
    cut(records, count)
    assert told(records) == (0, {})
    status, findings = told(records, *of_digest(printed))
    assert (status, findings.keys()) == (1, {"ledger"})
    assert f"holds no entry with the digest {printed}: its tail was cut, or replaced" in findings["ledger"]


def test_a_cut_tail_that_others_have_written_over_is_found_too(history, records, printed, tmp_path):
    """The tail is cut, and the second job entered once more with one value changed."""
    cut(records, len(entries(records)) - len(entries(history[1])))
    again = only(changed(("readings.csv", 5, "remarks", "two passes")), "jobs.csv", "outlets.csv", "readings.csv")
    for rows in again.values():
        for row in rows:
            row["job"] = "J-2"
    imported(records, write(tmp_path / "again", again))
    assert told(records) == (0, {})
    assert told(records, *of_digest(printed))[0] == 1


def test_a_restored_old_backup_is_found_against_the_printed_digest_alone(history, printed, tmp_path):
    restored = shutil.copyfile(history[1], tmp_path / "records.sqlite")
    assert told(restored) == (0, {})
    status, findings = told(restored, *of_digest(printed))
    assert (status, findings.keys()) == (1, {"ledger"})


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE reading SET indication = '4.40', observations = NULL WHERE id = 1",
        "UPDATE calibration SET laboratory = 'Another' WHERE id = 1",
        "UPDATE ledger SET person = 'Somebody else' WHERE sequence = 5",
        "UPDATE ledger SET time = '2026-01-01T00:00:00+00:00' WHERE sequence = 5",
    ],
)
def test_a_ledger_forged_to_its_end_is_found_against_the_printed_digest_alone(records, printed, statement):
    change(records, statement)
    assert told(records)[0] == 1
    forged(records)
    assert told(records) == (0, {})
    status, findings = told(records, *of_digest(printed))
    assert (status, findings.keys()) == (1, {"ledger"})


def test_forging_an_untouched_ledger_changes_nothing(records, printed):
    """So the forger above is no straw man: what it writes is what the program writes."""
    before = entries(records)
    forged(records)
    assert entries(records) == before
    assert told(records, *of_digest(printed)) == (0, {})


def test_a_printed_digest_put_into_a_forged_ledger_breaks_it(records, printed):
    change(records, "UPDATE reading SET indication = '4.40', observations = NULL WHERE id = 1")
    forged(records)
    last = entries(records)[-1]["sequence"]
    change(records, "UPDATE ledger SET digest = ? WHERE sequence = ?", printed, last)
    assert told(records, *of_digest(printed))[1].keys() == {f"ledger entry {last}"}


def test_a_row_that_somebody_put_in_is_named(records):
    with closing(sqlite3.connect(records)) as file, file:
        file.execute(
            "INSERT INTO event (instrument_id, kind, at, reason) VALUES (1, 'release', '2026-03-01T08:00+01:00', 'all well')"
        )
    assert told(records) == (1, {"event 1": "is in the records without a ledger entry"})
