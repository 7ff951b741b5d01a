"""Read comparisons from a workbook or a CSV file, digits as they were typed.

Source: `calib help` (certificates); what a spreadsheet shows for a number format is common practice, no source.
"""

import csv
import os
from datetime import date

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.faces.files import LARGEST_FILE, file_content
from calib.procedures.typed.comparison_sheets import cell_as_typed, comparison_columns, read_comparisons

HEADER = (
    "phase",
    "reference",
    "indication",
    "unit",
    "expanded_uncertainty",
    "coverage_factor",
    "repeatability",
    "observations",
)
ROWS = [("as-found", 0.5, 0.52, "m/s", 0.014, 2, 0.01, 10), ("as-found", 1, 1.03, "m/s", 0.018, 2, 0.01, 10)]


def workbook(folder, *rows, sheet="Sheet1", formats=(), others=(), header=HEADER):
    made = openpyxl.Workbook()
    own = made.active
    own.title = sheet
    for row in (header, *rows):
        own.append(row)
    for cell, number_format in formats:
        own[cell].number_format = number_format
    for name in others:
        made.create_sheet(name)
    path = folder / "typed.xlsx"
    made.save(path)
    return path


def read(path, sheet=None):
    return read_comparisons(file_content(path, LARGEST_FILE), "VA-1", "C-7", comparison_columns(), sheet)


def cells(path, sheet=None):
    rows, findings = read(path, sheet)
    assert findings == []
    return [row.cells for row in rows]


def only_finding(path, sheet=None):
    rows, (finding,) = read(path, sheet)
    assert rows == [] or finding.row is not None
    return finding


@pytest.mark.parametrize(
    ("value", "number_format", "text"),
    [
        (1.1, "0.00", "1.10"),
        (1.1, "General", "1.1"),
        (1.234, "0.00", "1.234"),  # no digit that the cell holds is lost
        (5, "0", "5"),
        (5, "0.000", "5.000"),
        (5.0, "General", "5"),
        (-0.05, "#,##0.000", "-0.050"),
        (0.30000000000000004, "General", "0.3"),  # a workbook holds 15 digits
        (1e-7, "General", "0.0000001"),
        (1500, '0.0" Pa"', "1500.0 Pa"),  # a unit that is shown is one that was typed
        (1500, '0.0" pieces"', "1500.0"),
        (2.5, "0.00;[Red]-0.00", "2.50"),
        ("0.500", "General", "0.500"),  # text stays text
        (" as-found ", "@", "as-found"),
        (None, "General", ""),
    ],
)
def test_a_cell_gives_the_digits_that_it_shows_and_all_that_it_holds(value, number_format, text):
    assert cell_as_typed(value, number_format) == text


@given(st.integers(-(10**9), 10**9), st.integers(0, 6), st.integers(0, 8))
def test_the_text_of_a_number_is_that_number(digits, scale, places):
    value = digits / 10**scale
    text = cell_as_typed(value, "0" if places == 0 else "0." + "0" * places)
    assert float(text) == value
    assert len(text.partition(".")[2]) >= places


def test_a_workbook_reads_like_the_csv_file_of_the_same_digits(tmp_path):
    path = workbook(tmp_path, *ROWS, formats=[("B2", "0.00"), ("B3", "0.00")])
    with (tmp_path / "typed.csv").open("w", newline="", encoding="utf-8") as out:
        csv.writer(out).writerows(
            [
                HEADER,
                ("as-found", "0.50", "0.52", "m/s", "0.014", "2", "0.01", "10"),
                ("as-found", "1.00", "1.03", "m/s", "0.018", "2", "0.01", "10"),
            ]
        )
    assert cells(path) == cells(tmp_path / "typed.csv")
    assert cells(path)[0]["tag"] == "VA-1"


def test_what_the_file_is_its_content_says(tmp_path):
    path = workbook(tmp_path, *ROWS)
    assert cells(path.rename(tmp_path / "typed.csv"))[1]["reference"] == "1"


def test_rows_are_counted_as_the_spreadsheet_counts_them(tmp_path):
    rows, _ = read(workbook(tmp_path, ROWS[0], (), ROWS[1]))
    assert [row.row_number for row in rows] == [2, 4]
    assert rows[0].source.endswith("typed.xlsx, sheet Sheet1")


def test_columns_and_rows_that_hold_nothing_are_no_part_of_the_sheet(tmp_path):
    path = workbook(tmp_path, *ROWS, formats=[("Z50", "0.00")])
    assert len(cells(path)) == 2


def test_the_only_sheet_is_read_whatever_its_name(tmp_path):
    assert len(cells(workbook(tmp_path, *ROWS, sheet="Blatt"))) == 2


def test_of_several_sheets_the_one_named_comparisons_is_read(tmp_path):
    assert len(cells(workbook(tmp_path, *ROWS, sheet="comparisons", others=("notes",)))) == 2


def test_a_sheet_can_be_asked_for(tmp_path):
    path = workbook(tmp_path, *ROWS, sheet="May", others=("June",))
    assert len(cells(path, "May")) == 2
    finding = only_finding(path)
    assert (finding.column, finding.expected) == ("sheet", "one of the sheets May, June")
    assert only_finding(path, "July").value == "July"


@pytest.mark.parametrize(
    ("value", "number_format", "expected"),
    [
        (True, "General", "truth value"),
        (date(2026, 3, 1), "yyyy-mm-dd", "not a date or time"),
        (0.02, "0.0%", "not shown in percent"),
        ("#DIV/0!", "General", "not an error of the workbook"),
        ("=1/3", "General", "keeps no result of this formula"),
    ],
)
def test_a_wrong_cell_is_named_by_sheet_row_and_column(tmp_path, value, number_format, expected):
    row = ("as-found", 0.5, value, "m/s", 0.014, 2, 0.01, 10)
    finding = only_finding(workbook(tmp_path, ROWS[0], row, formats=[("C3", number_format)]))
    assert finding.source.endswith("typed.xlsx, sheet Sheet1")
    assert (finding.row, finding.column) == (3, "indication")
    assert expected in finding.expected


def test_an_unknown_column_and_a_missing_one_are_named(tmp_path):
    _, findings = read(
        workbook(tmp_path, header=("phase", "colour", "indication", "unit", "expanded_uncertainty", "coverage_factor"))
    )
    assert [(one.row, one.column) for one in findings] == [(1, "colour"), (1, "reference")]


@pytest.mark.parametrize("content", [b"PK\x03\x04 no workbook", b"PK\x05\x06" + b"\0" * 18, b"\x89PNG\r\n\x1a\n\0\xff"])
def test_a_file_that_is_none_is_told(tmp_path, content):
    path = tmp_path / "typed.xlsx"
    path.write_bytes(content)
    rows, findings = read(path)
    assert rows == []
    assert findings


def test_a_file_that_is_not_there_is_told(tmp_path):
    assert "a file that can be read" in only_finding(tmp_path / "nowhere.xlsx").expected


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes with a name are POSIX")
def test_a_pipe_is_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "typed.csv")
    assert "this is a pipe or a device" in only_finding(tmp_path / "typed.csv").expected


def test_a_csv_file_has_no_sheets(tmp_path):
    (tmp_path / "typed.csv").write_text(",".join(HEADER), encoding="utf-8")
    assert only_finding(tmp_path / "typed.csv", "May").column == "sheet"


def test_a_file_beyond_25_megabytes_is_not_read(tmp_path):
    with (tmp_path / "typed.csv").open("wb") as out:
        out.truncate(25_000_001)
    assert "at most 25 MB" in only_finding(tmp_path / "typed.csv").expected
