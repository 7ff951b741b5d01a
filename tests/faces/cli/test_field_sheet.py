"""The field sheet of a job: a workbook that comes back through an import, and pages to print with every place of the job."""

import shutil

import pypdfium2
import pytest
from openpyxl import load_workbook

from tests.command import calib, done

DAY = ("--on", "2026-10-14")


@pytest.fixture
def demo(demo_folder, tmp_path):
    return shutil.copyfile(demo_folder / "demo.sqlite", tmp_path / "demo.sqlite")


def fill(sheet, row, cells):
    """Put cells into a row of a sheet by their headings."""
    place = {cell.value: cell.column for cell in sheet[1]}
    for heading, cell in cells.items():
        sheet.cell(row, next(place[each] for each in place if each.startswith(heading))).value = cell


def row_of(sheet, outlet):
    return next(row[0].row for row in sheet.iter_rows() if row[1].value == outlet)


def test_a_field_sheet_that_is_filled_in_comes_back(demo, tmp_path):
    """Passes side by side become the observations of a reading, the points of a duct those of its traverse."""
    workbook = tmp_path / "field.xlsx"
    assert calib("plan", "LM-27", *DAY, "--sheet", workbook, records=demo).status == 0
    book = load_workbook(workbook)
    readings, points = book["readings"], book["traverses"]
    at = {"date": "2026-10-15", "time": "9:12", "operator": "J. Teasel"}
    vane = {"instrument": "VA-11", "method": "sweep with vane", "unit": "m/s"}
    fill(
        readings,
        row_of(readings, "S1-1 reading room"),
        at | vane | {"pass 1": "2.50", "pass 2": "2,55", "pass 3": 2.51},
    )
    meter = {"instrument": "TA-05", "method": "duct traverse", "unit": "m/s"}
    fill(readings, row_of(readings, "B1 branch to S1-6"), at | meter)
    for row in range(2, points.max_row + 1):
        if points.cell(row, 2).value == "B1 branch to S1-6":
            fill(points, row, {"pass 1": "3.2", "pass 2": "3,3"})
    book.save(workbook)
    read = calib("import", workbook, "--dry-run", "--json", records=demo)

    told = " ".join(read.err.split())
    assert "12 points of B1 branch to S1-6 are those of its one traverse in these sheets" in told
    assert "for people alone" in told
    assert {"reading", "traverse_point"} <= read.document["records"].keys() | {"traverse_point"}
    assert (read.status, read.document["records"]) == (0, {"reading": 2, "traverse": 1, "traverse_point": 12})
    assert "'2.50;2,55;2.51' is read as 2.50;2.55;2.51 (a decimal comma)" in told
    assert {row["indications"] for row in read.document["would_write"]["traverses.csv"]} == {"3.2;3.3"}


def test_what_is_not_filled_in_is_left_out(demo, tmp_path):
    for suffix in (".xlsx", ".ods"):
        sheet = tmp_path / f"field{suffix}"
        calib("plan", "LM-27", *DAY, "--sheet", sheet, records=demo)
        read = calib("import", sheet, "--json", records=demo)

        assert (read.status, read.document["records"]) == (0, {})
        assert "rows 2 to 23 are not filled in and are left out" in read.err


def printed(records, folder):
    """The text of the printed field sheet."""
    calib("plan", "LM-27", *DAY, "--sheet", folder / "field.pdf", records=records)
    pages = pypdfium2.PdfDocument(folder / "field.pdf")
    return " ".join(" ".join(page.get_textpage().get_text_range() for page in pages).split())


def test_the_pages_name_every_place_with_its_design(demo, tmp_path):
    text = printed(demo, tmp_path)
    listed = calib("outlet", "list", "LM-27", "--json", records=demo).document["outlets"]

    assert [each["outlet"] for each in listed if each["outlet"] not in text] == []
    assert "600 m3/h" in text
    assert "Pass 3" in text


# Distances of log-linear points on a diameter, as shares of it: ISO 3966:2008, 6 points.
LOG_LINEAR = (0.032, 0.135, 0.321, 0.679, 0.865, 0.968)
BRANCH = "B1 branch to S1-6"  # a round duct of 200 mm, traversed before by log-linear, 2 lines of 6 points


def test_a_duct_that_was_traversed_before_is_traversed_at_the_same_points(demo, tmp_path):
    text = printed(demo, tmp_path).partition(BRANCH)[2]
    distances = " ".join(f"{share * 200:.1f}" for share in LOG_LINEAR)

    assert text.startswith(
        ", AHU-1 supply Traverse by log-linear, 2 lines with 6 points, 12 in all, as it was traversed last"
    )
    assert f"Line 1 {distances} Line 2 {distances} Pass 2 " in text
    assert text.partition("Pass 2 ")[2].partition("Line 1 ")[2].startswith(distances)
    workbook = tmp_path / "field.xlsx"
    calib("plan", "LM-27", *DAY, "--sheet", workbook, records=demo)
    rows = [row for row in load_workbook(workbook)["traverses"].iter_rows(values_only=True) if row[1] == BRANCH]
    assert [row[4] for row in rows] == 2 * [f"{share * 200:.1f} mm" for share in LOG_LINEAR]


def test_a_duct_whose_section_has_no_such_points_any_more_is_traversed_as_is_usual(demo, tmp_path):
    """A flat-oval duct of five lines turns out to be round: there two diameters are usual, with 8 points up to 500 mm."""
    turned = ("shape=round", "width=", "height=", "diameter=300")
    amended = [word for change in turned for word in ("--set", change)]
    done(demo, "outlet", "amend", "LM-27", "M3 exhaust main", *amended, "--reason", "seen from above", "--sure")
    text = printed(demo, tmp_path).partition("M3 exhaust main")[2]

    assert "Traverse by log-Tchebycheff, 2 lines with 8 points, 16 in all, design 160 L/s" in text
    assert "as it was traversed last" not in text


@pytest.mark.parametrize("name", ["field.doc", "field"])
def test_a_form_that_is_not_known_is_refused_before_anything_is_written(demo, tmp_path, name):
    good = tmp_path / "field.ods"
    refused = calib("plan", "LM-27", *DAY, "--sheet", good, "--sheet", tmp_path / name, records=demo)

    assert refused.status == 2
    assert "expected a file that ends in one of .pdf, .xlsx, .ods" in " ".join(refused.err.split())
    assert not good.exists()


def test_a_file_that_is_there_is_left_alone(demo, tmp_path):
    sheet = tmp_path / "field.pdf"
    sheet.write_text("mine", encoding="utf-8")

    assert calib("plan", "LM-27", *DAY, "--sheet", sheet, records=demo).status == 2
    assert sheet.read_text(encoding="utf-8") == "mine"
