"""Import, file by file: what cannot be read is named, what may vary in form is read.

Source: common practice, no source; RFC 4180 for comma-separated values.
"""

import csv

import pytest

from calib.records import database
from calib.records.tables.readings import Reading
from tests.folders import (
    HEADERS,
    UNTOUCHED,
    all_of,
    csv_text,
    findings_of,
    imported,
    ledger_head,
    only,
    small_job,
    write,
)


def text_changed(folder, file, change):
    path = folder / file
    path.write_bytes(change(path.read_bytes()))


def first_line(change):
    def changes(content):
        header, _, rest = content.partition(b"\n")
        return change(header) + b"\n" + rest

    return changes


# A change of readings.csv as bytes; row, column and expectation of the one finding that must come of it.
UNKNOWN = "one of the columns job, outlet"


def renamed(header):
    """Another name for the column of remarks."""
    return first_line(lambda names: names.replace(b"remarks", header))


def replaced(typed, content, count=-1):
    return lambda before: before.replace(typed, content, count)


def without_operator(content):
    return content.replace(b",operator", b"").replace(b"T. One,", b"").replace(b"T. Two,", b"")


# A change of readings.csv as bytes; row, column and expectation of the one finding that must come of it.
BAD_FILES = {
    "unknown column": (renamed(b"comment"), 1, "comment", UNKNOWN),
    "column of another name": (renamed(b"Notes"), 1, "Notes", UNKNOWN),
    "column without a name": (renamed(b""), 1, "(no name)", UNKNOWN),
    "duplicated column": (renamed(b"operator"), 1, "operator", "the column once, found 2 times"),
    "missing column": (without_operator, 1, "operator", "this column, which is missing"),
    "a cell too many": (replaced(b",,30", b",,30,x", 1), 2, None, "11 cells as in the header, found 12"),
    "a cell too few": (replaced(b"one pass,20", b"one pass"), 5, None, "11 cells as in the header, found 10"),
    "not UTF-8": (replaced(b"T. One", b"T. \x81ne", 1), None, None, "text, best as UTF-8"),
    "half of UTF-16": (lambda content: content.decode().encode("utf-16")[:-1], None, None, "text, best as UTF-8"),
    "NUL byte": (replaced(b"T. One", b"T.\x00One", 1), None, None, "text (there is a NUL byte in it)"),
    "empty file": (lambda _: b"", None, None, "a header row with job, outlet"),
    "open quote": (replaced(b"one pass", b'"one pass'), None, None, "comma-separated values"),
    "quote in the midst": (replaced(b"one pass", b'"one" pass'), None, None, "comma-separated values"),
    "a cell without end": (replaced(b"one pass", b"o" * 200_000), None, None, "comma-separated values"),
}


@pytest.mark.parametrize(("change", "row", "column", "expected"), BAD_FILES.values(), ids=BAD_FILES)
def test_a_wrong_file_is_named_and_nothing_is_written(empty_records, tmp_path, change, row, column, expected):
    folder = write(tmp_path / "in", small_job())
    text_changed(folder, "readings.csv", change)
    found = findings_of(empty_records, folder)
    first = found[0]
    assert (first.source, first.row, first.column, first.value) == (str(folder / "readings.csv"), row, column, None)
    assert expected in first.expected
    assert {one.source for one in found} == {str(folder / "readings.csv")}
    assert ledger_head(empty_records) == UNTOUCHED


def test_semicolons_for_commas_are_read_as_they_are_meant(empty_records, tmp_path):
    folder = write(tmp_path / "in", small_job())
    text_changed(folder, "readings.csv", lambda content: content.replace(b";", b"/").replace(b",", b";"))
    assert imported(empty_records, folder).records["reading"] == 4


@pytest.mark.parametrize("file", ["instruments.csv", "jobs.csv", "methods.csv", "outlets.csv", "calibrations.csv"])
def test_a_wrong_header_is_the_only_finding(empty_records, tmp_path, file):
    folder = write(tmp_path / "in", small_job())
    text_changed(folder, file, first_line(lambda header: header + b",colour"))
    assert [(one.row, one.column) for one in findings_of(empty_records, folder)] == [(1, "colour")]


def test_a_folder_that_is_not_there_is_named(empty_records, tmp_path):
    (finding,) = findings_of(empty_records, tmp_path / "nowhere")
    assert finding.source == str(tmp_path / "nowhere")
    assert "a file, or a folder with CSV files; there is none of this name" in finding.expected


def test_a_path_that_is_not_there_is_told(empty_records, tmp_path):
    (finding,) = findings_of(empty_records, write(tmp_path / "in", small_job()) / "none.csv")
    assert "a file, or a folder with CSV files; there is none of this name" in finding.expected


def test_a_folder_without_csv_files_is_named(empty_records, tmp_path):
    (tmp_path / "in").mkdir()
    (tmp_path / "in" / "notes.txt").write_text("nothing here", encoding="utf-8")
    (finding,) = findings_of(empty_records, tmp_path / "in")
    assert "at least one of instruments.csv, calibrations.csv" in finding.expected


@pytest.mark.parametrize("name", ["reading.csv", "Readings.csv", "readings (1).csv", "READINGS.CSV"])
def test_an_unknown_file_name_is_named(empty_records, tmp_path, name):
    folder = write(tmp_path / "in", small_job())
    (folder / "readings.csv").rename(folder / name)
    (finding,) = findings_of(empty_records, folder)
    assert finding.source == str(folder / name)
    assert "one of the file names instruments.csv" in finding.expected


def test_a_folder_in_the_place_of_a_file_is_named(empty_records, tmp_path):
    folder = write(tmp_path / "in", only(small_job(), "methods.csv"))
    (folder / "jobs.csv").mkdir()
    (finding,) = findings_of(empty_records, folder)
    assert "a file that can be read" in finding.expected


def test_other_files_of_a_folder_are_let_be(empty_records, tmp_path):
    folder = write(tmp_path / "in", only(small_job(), "methods.csv"))
    (folder / "certificate.pdf").write_bytes(b"%PDF-\x00\xff")
    assert imported(empty_records, folder).records == {"method": 1}


FORMS = {
    "byte order mark": lambda content: b"\xef\xbb\xbf" + content,
    "line ends of Windows": lambda content: content.replace(b"\n", b"\r\n"),
    "line ends of old Macs": lambda content: content.replace(b"\n", b"\r"),
    "no last line end": lambda content: content.rstrip(b"\n"),
    "blank lines": lambda content: content.replace(b"\n", b"\n\n,,,,,,,,,,\n"),
    "every cell quoted": lambda content: b"\n".join(
        b",".join(b'"' + one + b'"' for one in line.split(b",")) for line in content.rstrip().split(b"\n")
    ),
    "spaces around cells": lambda content: content.replace(b",", b" ,  "),
    "another order of columns": lambda content: b"\n".join(
        b",".join(reversed(line.split(b","))) for line in content.rstrip().split(b"\n")
    ),
}


@pytest.mark.parametrize("change", FORMS.values(), ids=FORMS)
def test_a_file_may_have_this_form(empty_records, small_records, tmp_path, change):
    folder = write(tmp_path / "in", small_job())
    text_changed(folder, "readings.csv", change)
    imported(empty_records, folder)
    assert readings_of(empty_records) == readings_of(small_records)


def readings_of(records):
    with database.reading(str(records)) as session:
        return [one.model_dump() for one in all_of(session, Reading)]


def test_rows_are_counted_as_a_spreadsheet_counts_them(empty_records, tmp_path):
    """A cell over two lines is one row, a blank line is one too."""
    folder = write(tmp_path / "in", small_job())
    text_changed(
        folder,
        "readings.csv",
        lambda content: content.replace(b"T. One,,", b'T. One,"two\nlines",\n', 1).replace(b",\n30", b",30"),
    )
    text_changed(folder, "readings.csv", lambda content: content.replace(b"\nJ-1,E-1,VA-1", b"\n\nJ-1,E-1,VA-9"))
    (finding,) = findings_of(empty_records, folder)
    assert (finding.row, finding.value) == (6, "VA-9")


def test_a_header_alone_is_no_row(empty_records, tmp_path):
    (tmp_path / "in").mkdir()
    (tmp_path / "in" / "jobs.csv").write_text(",".join(HEADERS["jobs.csv"]) + "\n", encoding="utf-8")
    assert imported(empty_records, tmp_path / "in").records == {}


def test_the_builder_writes_what_csv_reads(tmp_path):
    folder = write(tmp_path / "in", small_job())
    with (folder / "outlets.csv").open(encoding="utf-8", newline="") as lines:
        assert list(csv.DictReader(lines)) == small_job()["outlets.csv"]
    assert csv_text([{"a": "1", "b": "x,y"}]) == 'a,b\n1,"x,y"\n'
