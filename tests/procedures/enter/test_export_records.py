"""An export is read back to the same content: the same flows, refusals and export. Source: common practice, no source."""

import csv
import hashlib
import json
import shutil
from datetime import datetime
from pathlib import Path

import pytest

from calib.errors import CalibError
from calib.faces.files import write_export
from calib.procedures.enter import export_records as export_records_module
from calib.procedures.enter.export_records import NOT_IMPORTED, export_records
from calib.procedures.measure.evaluate import evaluate
from calib.procedures.typed.columns import FILES
from calib.records import database, ledger
from calib.records.tables.evidence import EVIDENCE
from calib.records.tables.files import Attachment
from tests import every_way
from tests.command import calib
from tests.folders import NOW, changed, flows_of, imported, only, records_of, small_job, write

SIGNED = ledger.Signature("A. Person", NOW, "test")
# Tables whose records an import writes: each has its file, or is made from those that have.
IMPORTED = {
    "instrument", "calibration", "reference_standard", "comparison", "correction_curve", "acceptance", "withdrawal", "event",
    "intermediate_check", "method", "job", "declared_air", "outlet", "logged_series", "reading", "refusal", "system_design", "room",
    "outlet_revision", "condition", "traverse", "traverse_point", "found_factor", "factor_pair", "pairing", "source",
    "source_spelling", "comparison_correlation", "instrument_revision", "method_revision", "job_revision", "supersession",
    "review_decision", "house_rule", "competence", "validation", "laboratory_certificate",
}  # fmt: skip


def exported(records, folder):
    """An export of records."""
    with database.reading(str(records)) as session:
        return write_export(folder, export_records(session))


def again(records, folder, now=NOW):
    """New records, imported from an export of others."""
    exported(records, folder / "export")
    new = folder / "new.sqlite"
    database.make(str(new))
    imported(new, folder / "export", now=now)
    return new


def files_of(folder):
    """What an import reads of a folder: name -> bytes."""
    return {one.name: one.read_bytes() for one in folder.iterdir() if one.is_file()}


def rows(path):
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def assert_same(records, folder, job, now=NOW):
    """Records imported from an export have the same flows and the same export."""
    new = again(records, folder, now)
    assert flows_of(new, job, now) == flows_of(records, job, now)
    with database.reading(str(records)) as before, database.reading(str(new)) as after:
        one, other = evaluate(before, job, now), evaluate(after, job, now)
        assert [each.reasons for each in one.refused] == [each.reasons for each in other.refused]
    exported(new, folder / "again")
    assert files_of(folder / "again") == files_of(folder / "export")
    with database.reading(str(new)) as session:
        assert ledger.verify(session.connection()) == ()


def in_any_order(found):
    return sorted(sorted(row.items()) for row in found)


def test_the_small_job_comes_back(small_records, tmp_path):
    assert_same(small_records, tmp_path, "J-1")


def test_a_job_measured_in_every_way_comes_back(tmp_path):
    assert_same(records_of(tmp_path / "first", every_way.every_way()), tmp_path, "E-1")


def test_records_that_hold_nothing_make_no_import_file(empty_records, tmp_path):
    exported(empty_records, tmp_path / "export")
    assert files_of(tmp_path / "export") == {}


def test_what_was_imported_is_exported_as_it_was_typed(tmp_path):
    """Each cell of the folder that was imported stands in the export: the sheets are the test's own."""
    sheets = every_way.every_way()
    exported(records_of(tmp_path / "first", sheets), tmp_path / "export")
    for name, typed in sheets.items():
        found = [{column: cell for column, cell in row.items() if cell} for row in rows(tmp_path / "export" / name)]
        wanted = [{column: cell for column, cell in row.items() if cell} for row in typed]
        accepted_by = {"accepted_by": "A. Person"} if name == "calibrations.csv" else {}
        assert in_any_order(found) == in_any_order(row | accepted_by for row in wanted), name


def test_ranges_of_the_air_and_densities_are_exported_as_they_were_typed(tmp_path):
    sheets = every_way.every_way()
    sheets["jobs.csv"][0]["density_kg_per_m3"] = "1.20"
    for row in sheets["outlets.csv"]:
        row["design_density_kg_per_m3"] = "1.204" if row["design_flow"] else ""
    names = ("job", "service", "temperature_low_degC", "temperature_high_degC", "basis")
    sheets["air.csv"] = [dict(zip(names, ("E-1", "supply", "14.0", "16.0", "set point"), strict=True))]
    exported(records_of(tmp_path / "first", sheets), tmp_path / "export")
    for name, column in (
        ("jobs.csv", "density_kg_per_m3"), ("outlets.csv", "design_density_kg_per_m3"), ("air.csv", "temperature_low_degC"),
    ):  # fmt: skip
        found = [row[column] for row in rows(tmp_path / "export" / name)]
        assert found == [row[column] for row in sheets[name]], name


def test_every_table_is_exported():
    """Each in the files that an import reads, or in those marked as not imported; refusals, and some decisions, in both."""
    not_imported = {table.__tablename__ for table in export_records_module._OTHERS}  # noqa: SLF001 (most have no rows here)
    assert not_imported | IMPORTED == {table.__tablename__ for table in EVIDENCE} | {"ledger"}
    assert not_imported & IMPORTED == {"refusal", "review_decision"}


LATE = [
    ("suspend", "VA-2", "--reason", "dropped; then looked at", "--at", "2026-03-05T18:00+01:00"),
    ("release", "VA-2", "--reason", "checked"),
    ("suspend", "PG-1", "--reason", 'said "no", twice', "--at", "2026-03-05T18:00+01:00"),
]


def worked_on(small_records):
    """The small job, and what people did afterwards: events, a check, a chosen curve, amendments."""
    for verb, *words in LATE:
        assert calib("instrument", verb, *words, "--by", "Q. Person", records=small_records).status == 0
    check = ("--kind", "zero", "--value", "0.01", "--low", "-0.02", "--high", "0.02", "--unit", "m/s")
    assert calib("check", "add", "VA-1", *check, "--at", "2026-03-05T07:00+01:00", records=small_records).status == 0
    chosen = ("--degree", "1", "--reason", "as before, \n on two lines")
    assert calib("calibration", "choose", "VA-1", "C-101", *chosen, records=small_records).status == 0
    for width in ("401", "402"):
        amended = ("J-1", "S-1", "--set", f"width={width}", "--reason", f"measured {width}")
        assert calib("outlet", "amend", *amended, records=small_records).status == 0
    pair = ("instrument", "pair", "VA-2", "PG-1", "--reason", "one case", "--at", "2026-03-05T20:00+01:00")
    assert calib(*pair, records=small_records).status == 0
    return small_records


@pytest.fixture
def small_file(_small, tmp_path):
    """The small job of tests.folders in a file."""
    return shutil.copyfile(_small, tmp_path / "small.sqlite")


def test_what_people_did_afterwards_comes_back(small_file, tmp_path):
    from calib.clock import clock

    records = worked_on(small_file)
    assert_same(records, tmp_path, "J-1", clock())
    folder = tmp_path / "export"
    assert [one["kind"] for one in rows(folder / "events.csv")] == ["suspension", "release", "suspension"]
    assert [one["revision"] for one in rows(folder / "amendments.csv")] == ["2", "3"]
    assert rows(folder / "curves.csv")[0]["reason"] == "as before, \n on two lines"
    assert rows(folder / "outlets.csv")[0]["width"] == "400"
    assert {one.name for one in folder.iterdir() if one.suffix == ".csv"} <= FILES.keys()


def test_the_demo_comes_back_with_its_factor_its_amendment_and_its_refusal(demo_records, tmp_path):
    now = datetime.fromisoformat("2026-10-15T09:00+01:00")
    assert_same(demo_records, tmp_path, "LM-27", now)
    assert len(rows(tmp_path / "export" / "factor_pairs.csv")) == 4
    assert len(rows(tmp_path / "export" / NOT_IMPORTED / "refusal.csv")) == 1


def test_a_reading_that_the_gate_refused_is_refused_again(tmp_path):
    """And one that a later suspension took out stays out."""
    late = changed(("readings.csv", 2, "observed_at", "2024-03-05T09:10+01:00"))
    records = records_of(tmp_path / "first", late)
    new = again(records, tmp_path)
    with database.reading(str(new)) as session:
        assert session.connection().exec_driver_sql("SELECT count(*) FROM refusal").scalar_one() == 1
    assert len(rows(tmp_path / "export" / "readings.csv")) == 4
    (refused,) = rows(tmp_path / "export" / NOT_IMPORTED / "refusal.csv")
    assert "no calibration accepted on or before 2024-03-05" in json.loads(refused["reasons"])[0]


LOG = "time,value\n" + "".join(f"{second},{4.2 + 0.01 * (second % 5):.2f}\n" for second in range(60))


def logged(folder, job, log):
    """A folder with a job whose first reading names a log, always under the same name."""
    sheets = only(small_job(), "jobs.csv", "outlets.csv", "readings.csv")
    for sheet in sheets.values():
        for row in sheet:
            row["job"] = job
    for row in sheets["readings.csv"]:
        row["log_file"] = ""
    sheets["readings.csv"][0] |= {"indication": "", "observations": "", "log_file": "log.csv"}
    write(folder, sheets)
    (folder / "log.csv").write_text(log, encoding="utf-8")
    return folder


def test_logs_come_back_and_two_of_one_name_stay_two(small_records, tmp_path):
    first, second = LOG, LOG.replace("4.20", "4.30")
    imported(small_records, logged(tmp_path / "a", "J-2", first))
    imported(small_records, logged(tmp_path / "b", "J-3", second))
    assert_same(small_records, tmp_path, "J-3")
    written = {name: content for name, content in files_of(tmp_path / "export").items() if name.startswith("log")}
    assert written == {"log.csv": first.encode(), "log-2.csv": second.encode()}


@pytest.mark.parametrize("text", ["Übach; «ж»", 'a "quoted", word', "two\nlines", "=1+1", "\u2028", "'", "a\tb"])
def test_any_text_comes_back(tmp_path, text):
    sheets = changed(("jobs.csv", 2, "title", text), ("readings.csv", 5, "remarks", text))
    assert_same(records_of(tmp_path / "first", sheets), tmp_path, "J-1")


def test_files_that_are_kept_are_exported_beside(small_records, tmp_path):
    content = b"%PDF-1.7 not much of one"
    digest = hashlib.sha256(content).hexdigest()
    with database.writing(str(small_records)) as session:
        one = Attachment(name="c.pdf", media_type="application/pdf", sha256=digest, content=content)
        ledger.append_entries(session, [one], SIGNED)
    found = exported(small_records, tmp_path / "export")
    (row,) = rows(tmp_path / "export" / NOT_IMPORTED / "attachment.csv")
    assert (row["name"], row["content"]) == ("c.pdf", digest)
    assert (tmp_path / "export" / NOT_IMPORTED / "files" / digest).read_bytes() == content
    assert found.not_imported[f"{NOT_IMPORTED}/attachment.csv"] == 1


def test_the_ledger_is_exported_beside(small_records, tmp_path):
    exported(small_records, tmp_path / "export")
    entries = rows(tmp_path / "export" / NOT_IMPORTED / "ledger.csv")
    with database.reading(str(small_records)) as session:
        assert (int(entries[-1]["sequence"]), entries[-1]["digest"]) == ledger.ledger_head(session)


def test_a_folder_with_something_in_it_is_left_alone(small_records, tmp_path):
    (tmp_path / "export").mkdir()
    (tmp_path / "export" / "notes.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(CalibError, match="holds something already"):
        exported(small_records, tmp_path / "export")
    assert [one.name for one in (tmp_path / "export").iterdir()] == ["notes.txt"]


def test_a_folder_that_is_there_and_empty_is_filled(small_records, tmp_path, monkeypatch):
    (tmp_path / "export").mkdir()
    monkeypatch.chdir(tmp_path / "export")
    exported(small_records, Path())
    exported(small_records, tmp_path / "other")
    assert contents(tmp_path / "export") == contents(tmp_path / "other")


def contents(folder):
    """Every file below a folder."""
    return {str(one.relative_to(folder)): one.read_bytes() for one in folder.rglob("*") if one.is_file()}


@pytest.mark.parametrize("number", [1, 3, 8])
def test_a_disk_that_is_full_in_the_midst_leaves_no_half_export(small_file, tmp_path, monkeypatch, number):
    """The system refuses to write the file of a number: nothing that could be taken for an export stays behind."""
    seen, real = [], Path.write_bytes

    def full(path, content):
        seen.append(path)
        if len(seen) == number:
            raise OSError(28, "No space left on device")
        return real(path, content)

    folder = tmp_path / "below"
    folder.mkdir()
    with monkeypatch.context() as patched:
        patched.setattr(Path, "write_bytes", full)
        ran = calib("export", folder / "export", records=small_file)
    assert len(seen) == number
    assert ran.status == 2
    assert (
        ran.err.splitlines()[-1]
        == f"error: {folder / 'export'}: the records cannot be written there (No space left on device)"
    )
    assert list(folder.iterdir()) == []


def test_a_folder_that_cannot_be_made_is_one_line(small_file, tmp_path):
    (tmp_path / "file").write_text("", encoding="utf-8")
    for name in ("file", "x" * 300):
        ran = calib("export", tmp_path / name, records=small_file)
        assert ran.status == 2
        assert len(ran.err.strip().splitlines()) == 1


def test_the_command_says_what_is_imported_and_what_is_not(small_file, tmp_path):
    ran = calib("export", tmp_path / "export", "--json", records=small_file)
    assert ran.status == 0
    assert ran.document["imported"]["readings.csv"] == 4
    assert list(ran.document["not_imported"]) == [f"{NOT_IMPORTED}/ledger.csv"]
    told = calib("export", tmp_path / "other", records=small_file)
    assert f"{NOT_IMPORTED}/ledger.csv (not imported)" in told.out
