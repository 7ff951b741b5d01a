"""Sheets to fill in come back through an import: they bring what was filled in, and else nothing."""

import csv
import io
import shutil
import zipfile
from xml.etree import ElementTree as ET

import pytest
from openpyxl import load_workbook

from calib.faces.handouts.spreadsheet import SPREADSHEETS
from calib.procedures.enter.blank_sheet import blank_sheet
from calib.procedures.typed.any_sheet import read_any
from calib.procedures.typed.columns import FILES
from calib.procedures.typed.sheets import FileContent, HowToRead, cell_findings
from tests.command import calib
from tests.printed import printed_widths, room_of, smallest_scale

AT = "2026-10-15T09:12+01:00"


@pytest.fixture
def demo(demo_folder, tmp_path):
    return shutil.copyfile(demo_folder / "demo.sqlite", tmp_path / "demo.sqlite")


def test_the_sheet_of_each_kind_has_its_headings_and_an_example_that_is_never_taken():
    for file in FILES:
        for suffix in SPREADSHEETS:
            sheet = blank_sheet(FILES[file], {})
            reading = HowToRead()
            name = file.replace(".csv", suffix)
            rows, findings = read_any(FileContent(name, SPREADSHEETS[suffix]([sheet])), reading)

            assert [column.heading for column in sheet.columns] == [column.name for column in FILES[file]]
            assert (rows, findings) == ({file: []}, [])
            assert [notice for notice in reading.notices if "row 2 is the example and is left out" in notice]


def test_the_example_is_right_in_every_cell():
    """The cell that says so is the first."""
    for file in FILES:
        sheet = blank_sheet(FILES[file], {})
        lines = [[column.heading for column in sheet.columns], sheet.rows[0]]
        text = io.StringIO()
        csv.writer(text).writerows([lines[0], [lines[1][0].removeprefix("Example: "), *lines[1][1:]]])
        rows, _ = read_any(FileContent(file, text.getvalue().encode()), HowToRead())

        assert len(rows[file]) == 1
        assert cell_findings(rows[file], FILES[file].columns) == []


def test_readings_of_a_job_have_its_outlets_filled_in_and_come_back(demo, tmp_path):
    workbook = tmp_path / "readings.xlsx"
    assert calib("template", workbook, "--job", "LM-27", records=demo).status == 0
    book = load_workbook(workbook)
    sheet = book["readings"]
    place = {cell.value: cell.column for cell in sheet[1]}
    outlet = sheet.cell(3, place["outlet"]).value
    for column, cell in {
        "instrument": "VA-11", "observed_at": AT, "unit": "m/s", "observations": "2.50;2.55;2.51",
        "method": "sweep with vane", "operator": "J. Teasel",
    }.items():  # fmt: skip
        sheet.cell(3, place[column]).value = cell
    book.save(workbook)
    read = calib("import", workbook, "--json", records=demo)

    assert read.status == 0, read.err
    assert read.document["records"] == {"reading": 1}
    assert "row 2 is the example and is left out" in read.err
    assert "rows 4 to 24 are not filled in and are left out" in read.err
    shown = calib("reading", "list", "LM-27", "--json", records=demo).document["readings"]
    assert [each["outlet"] for each in shown if each["observed_at"] == AT] == [outlet]


@pytest.mark.parametrize("suffix", SPREADSHEETS)
def test_what_is_on_record_of_a_job_comes_back_as_known(demo, tmp_path, suffix):
    sheet = tmp_path / f"outlets{suffix}"
    made = calib("template", sheet, "--job", "LM-27", "--json", records=demo).document
    read = calib("import", sheet, "--json", records=demo)

    assert read.document["on_record_already"] == {"outlets.csv": made["rows_filled_in"]}
    assert (read.status, read.document["records"]) == (0, {})


def test_words_tags_methods_and_outlets_are_chosen_from_lists(demo, tmp_path):
    workbook = tmp_path / "readings.xlsx"
    calib("template", workbook, "--job", "LM-27", records=demo)
    book = load_workbook(workbook)
    chosen = {}
    for rule in book["readings"].data_validations.dataValidation:
        if rule.type == "list":
            sheet, _, cells = rule.formula1.lstrip("=").partition("!")
            heading = book["readings"].cell(1, next(iter(rule.sqref.ranges)).min_col).value
            chosen[heading] = [cell.value for (cell,) in book[sheet][cells.replace("$", "")]]

    assert "VA-11" in chosen["instrument"]
    assert "sweep with vane" in chosen["method"]
    assert "S1-1 reading room" in chosen["outlet"]
    assert chosen["job"] == ["LM-27"]
    assert chosen["stage"] == ["before adjustment", "after adjustment", "repeat"]
    assert {"m/s", "fpm", "cfm", "Pa"} <= set(chosen["unit"])


def test_a_company_that_has_no_records_yet_gets_a_sheet_too(tmp_path):
    made = calib("template", tmp_path / "instruments.ods", records=tmp_path / "none.sqlite")

    assert made.status == 0
    assert "no records here: without tags, methods and jobs to choose from" in made.err


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("reedings.xlsx", "(did you mean readings?)"),
        ("readings.xls", "expected a file that ends in one of .xlsx, .ods, .csv"),
        ("readings", "expected a file that ends in one of .xlsx, .ods, .csv"),
    ],
)
def test_a_name_that_says_nothing_is_refused(tmp_path, name, said):
    refused = calib("template", tmp_path / name, records=tmp_path / "none.sqlite")

    assert refused.status == 2
    assert said in " ".join(refused.err.split())
    assert list(tmp_path.iterdir()) == []


def test_a_job_that_is_not_there_is_refused(demo, tmp_path):
    refused = calib("template", tmp_path / "readings.ods", "--job", "LM-72", records=demo)

    assert refused.status == 2
    assert not (tmp_path / "readings.ods").exists()


def test_a_file_that_is_there_is_left_alone(demo, tmp_path):
    sheet = tmp_path / "jobs.csv"
    sheet.write_text("mine", encoding="utf-8")

    assert calib("template", sheet, records=demo).status == 2
    assert sheet.read_text(encoding="utf-8") == "mine"


def test_every_sheet_of_a_template_prints_so_that_it_can_be_read(empty_records, tmp_path):
    for file in ("readings", "instruments", "outlets", "methods"):
        calib("template", tmp_path / f"{file}.xlsx", records=empty_records)
        for page in load_workbook(tmp_path / f"{file}.xlsx").worksheets:
            assert smallest_scale(page) >= 65
            assert all(width <= room_of(page) for width in printed_widths(page))
            assert page.oddFooter.right.text == "&P of &N"
            assert page.title == "words" or page.print_title_rows == "$1:$1"


def test_an_open_document_prints_its_head_and_leading_columns_on_each_page_with_its_number(empty_records, tmp_path):
    """The elements of ODF 1.3, part 3, from memory; no spreadsheet program runs here."""
    calib("template", tmp_path / "readings.ods", records=empty_records)
    with zipfile.ZipFile(tmp_path / "readings.ods") as archive:
        content, styles = (ET.fromstring(archive.read(name)) for name in ("content.xml", "styles.xml"))  # noqa: S314 (our own)
    table, text, style = (
        f"{{urn:oasis:names:tc:opendocument:xmlns:{name}:1.0}}" for name in ("table", "text", "style")
    )
    head = content.find(f".//{table}table-header-rows/{table}table-row")
    columns = content.find(f".//{table}table-header-columns/{table}table-column")
    assert [cell.findtext(f"{text}p") for cell in head][:2] == ["job", "outlet"]
    assert int(columns.get(f"{table}number-columns-repeated")) >= 2
    assert styles.find(f".//{style}footer/{text}p/{text}page-number") is not None
    assert int(styles.find(f".//{style}page-layout-properties").get(f"{style}scale-to").strip("%")) >= 65
