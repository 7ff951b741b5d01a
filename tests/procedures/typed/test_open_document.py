"""An OpenDocument spreadsheet is read like a workbook of the other kind, within the same bounds.

`comparisons.ods` was written by LibreOffice 7.4 from typed cells. The hostile files are written here as ODF 1.3 part 3 lays a
spreadsheet out: number-columns-repeated 19.675, number-rows-repeated 19.679, text:s 6.1.3 (clauses from memory).
"""

import io
import zipfile
from pathlib import Path

import pytest

from calib.faces.files import LARGEST_FILE, file_content
from calib.procedures.typed.bounded_archive import WorkbookError
from calib.procedures.typed.comparison_sheets import comparison_columns, read_comparisons
from calib.procedures.typed.open_document import SPREADSHEET, document_sheets
from calib.procedures.typed.sheets import FileContent
from tests.command import calib

WRITTEN = Path(__file__).with_name("comparisons.ods")
NAMES = " ".join(
    f'xmlns:{name}="urn:oasis:names:tc:opendocument:xmlns:{name}:1.0"' for name in ("office", "table", "text", "style")
)


def document(rows, *, prolog="", inside='<table:table table:name="S">{}</table:table>', mimetype=SPREADSHEET):
    """The bytes of a spreadsheet with one sheet of these rows."""
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(zipfile.ZipInfo("mimetype"), mimetype)
        body = f"<office:body><office:spreadsheet>{inside.format(rows)}</office:spreadsheet></office:body>"
        archive.writestr("content.xml", f"{prolog}<office:document-content {NAMES}>{body}</office:document-content>")
    return made.getvalue()


def cell(text="", value=None, kind=None, more=""):
    kind = kind or ("string" if value is None else "float")
    said = (
        f' office:value-type="{kind}"' + ("" if value is None else f' office:value="{value}"') if text or value else ""
    )
    return f"<table:table-cell{said} {more}>{f'<text:p>{text}</text:p>' if text else ''}</table:table-cell>"


def row(*cells, more=""):
    return f"<table:table-row {more}>{''.join(cells)}</table:table-row>"


def shown(content, sheet="S"):
    return [[each.shown for each in line] for line in document_sheets(content).rows[sheet]]


def read(content, sheet=None):
    return read_comparisons(FileContent("typed.ods", content), "VA-1", "C-7", comparison_columns(), sheet)


def reference_typed_as(typed):
    header = ("phase", "reference", "indication", "unit", "expanded_uncertainty", "coverage_factor")
    rows, findings = read(
        document(row(*map(cell, header)) + row(cell("as-found"), typed, *map(cell, ("1", "m/s", "1", "2"))))
    )
    return rows[0].get("reference") if not findings else str(findings[0])


def test_the_sheet_of_a_spreadsheet_program_is_read_with_the_digits_that_its_cells_show():
    rows, findings = read_comparisons(file_content(WRITTEN, LARGEST_FILE), "VA-1", "C-7", comparison_columns())
    assert findings == []
    assert [row.row_number for row in rows] == [2, 3, 5]  # as the spreadsheet counts
    digits = ("reference", "indication", "expanded_uncertainty", "repeatability")
    assert [[row.get(name) for name in digits] for row in rows] == [
        ["0.50", "0.52", "0.0140", "0.01"],  # shown with 2 and 4 decimal places; its note is none of the cell's
        ["1", "1.034", "0.018", "0.01"],  # shown with 2, holds 3
        ["2", "2.067", "0.024", "0.010"],  # a formula with its result; a text
    ]


def test_cells_that_hold_no_number_are_named_by_sheet_row_and_column():
    _, findings = read_comparisons(file_content(WRITTEN, LARGEST_FILE), "VA-1", "C-7", comparison_columns(), "wrong")
    assert [str(finding).partition("sheet ")[2] for finding in findings] == [
        "wrong row 2, reference: '2026-03-01'; expected text or a number, not a date or time",
        "wrong row 2, indication: '2.0%'; expected a number that is not shown in percent",
        "wrong row 2, expanded_uncertainty: '#DIV/0!'; expected a value, not an error of the workbook",
        "wrong row 2, coverage_factor: 'TRUE'; expected text or a number, not a truth value",
    ]


@pytest.mark.parametrize(
    ("text", "value", "typed"),
    [
        ("1.10", "1.1", "1.10"),
        ("1,10", "1.1", "1.10"),  # a comma marks the decimals
        ("1,234", "1234", "1234"),  # a comma marks the thousands
        ("1.234,50", "1234.5", "1234.50"),
        ("1.23", "1.2345", "1.2345"),  # no digit that the cell holds is lost
        ("-0.5 m/s", "-0.5", "-0.5"),
        ("", "0.5", "0.5"),
        (
            "Err:502",
            "0",
            "typed.ods, sheet S row 2, reference: 'Err:502'; expected a value, not an error of the workbook",
        ),
    ],
)
def test_a_number_has_the_digits_that_its_cell_shows(text, value, typed):
    assert reference_typed_as(cell(text, value)) == typed


def test_a_formula_without_its_result_is_named():
    said = reference_typed_as('<table:table-cell table:formula="of:=1/3"/>')
    assert "expected a value: the workbook keeps no result of this formula" in said


def test_what_stands_for_many_counts_for_many_and_empty_ends_for_nothing():
    twice, empty = 'table:number-columns-repeated="2"', 'table:number-columns-repeated="3"'
    rows = row(cell("a", more=twice), cell(more=empty), cell("b"), cell(more='table:number-columns-repeated="16000"'))
    rows += row(cell(), more='table:number-rows-repeated="2"') + row(cell("c"), more='table:number-rows-repeated="2"')
    rows += row(cell(), more='table:number-rows-repeated="1040000"')
    assert shown(document(rows)) == [["a", "a", "", "", "", "b"], [], [], ["c"], ["c"]]


def test_a_text_keeps_its_spaces_and_lines_and_leaves_its_notes_out():
    text = "<text:p>a<text:s text:c='2'/>b<text:tab/>c</text:p><text:p>d</text:p>"
    note = "<office:annotation><text:p>a note</text:p></office:annotation>"
    assert shown(document(row(f"<table:table-cell office:value-type='string'>{note}{text}</table:table-cell>"))) == [
        ["a  b c\nd"]
    ]


HOSTILE = {
    "100 columns": row(cell("a"), cell(more='table:number-columns-repeated="16382"'), cell("a")),
    "columns in a sheet": row(cell("a", more='table:number-columns-repeated="999999999"')),
    "20,000 rows": row(cell("a"), more='table:number-rows-repeated="1048576"'),
    "20,000,000 signs": row(
        cell("a" * 30_000, more='table:number-columns-repeated="90"'), more='table:number-rows-repeated="9"'
    ),
    "20,000,000 signs of text": row(
        "<table:table-cell><text:p><text:s text:c='999999999'/></text:p></table:table-cell>"
    ),
    "1,000,000 elements": row("<table:table-cell/>" * 1_000_001),
    "100 elements within one another": "<table:table-row>" * 101 + "</table:table-row>" * 101,
    "a whole number of times": row(cell("a", more='table:number-columns-repeated="-1"')),
    "(its cells cannot": "<table:table-row>",
}


@pytest.mark.parametrize("said", HOSTILE)
def test_a_hostile_document_is_refused_with_the_bound(said):
    content = document(HOSTILE[said])
    assert len(content) < 1_000_000
    with pytest.raises(WorkbookError) as refused:
        document_sheets(content)
    assert said in str(refused.value)
    rows, findings = read(content)
    assert (rows, len(findings)) == ([], 1)


def test_what_is_hidden_is_read_and_counted():
    rows = row(cell("a")) + row(cell("b"), more='table:visibility="collapse"')
    rows += row(cell("c"), more='table:visibility="filter" table:number-rows-repeated="2"')
    rows += row(cell(), more='table:visibility="collapse" table:number-rows-repeated="1000"')
    column = '<table:table-column table:visibility="collapse"/>'
    sheets = document_sheets(document(rows, inside=f'<table:table table:name="S">{column}{{}}</table:table>'))

    assert [[each.shown for each in line] for line in sheets.rows["S"]] == [["a"], ["b"], ["c"], ["c"]]
    assert (sheets.hidden, sheets.hidden_sheets) == (4, ())


def test_a_sheet_that_is_hidden_by_its_style_is_named():
    style = '<style:style style:name="ta1"><style:table-properties table:display="false"/></style:style>'
    sheets = '<table:table table:name="S" table:style-name="ta1">{}</table:table><table:table table:name="T"/>'

    assert document_sheets(document(row(cell("a")), inside=style + sheets)).hidden_sheets == ("S",)


def test_a_document_with_declarations_of_its_own_is_refused():
    laughs = (
        "<!DOCTYPE a [<!ENTITY e0 'ha'>"
        + "".join(f"<!ENTITY e{n} '{f'&e{n - 1};' * 10}'>" for n in range(1, 12))
        + "]>"
    )
    _, (finding,) = read(document(row(cell("&e11;")), prolog=laughs))
    assert "without declarations of its own in content.xml" in str(finding)


def test_a_command_reads_one(small_records):
    words = ("calibration", "add", "VA-1", "C-9", "--comparisons", WRITTEN, "--sheet", "comparisons")
    ran = calib(*words, "--laboratory", "L", "--calibrated-on", "2026-03-01", records=small_records)
    assert ran.status == 0, ran.err
    assert (
        '"expanded_uncertainty": "0.0140"'
        in calib("calibration", "show", "VA-1", "C-9", "--json", records=small_records).out
    )


@pytest.mark.filterwarnings("ignore:Duplicate name")
def test_an_archive_that_has_its_cells_twice_is_refused():
    """A file name is there once (ISO/IEC 21320-1, from memory); what is read of two is the reader's guess."""
    made = io.BytesIO(document(row(cell("a"))))
    with zipfile.ZipFile(made, "a") as archive:
        archive.writestr("content.xml", archive.read("content.xml"))
    with pytest.raises(WorkbookError, match=r"each file within it once \(it has 'content.xml' 2 times\)"):
        document_sheets(made.getvalue())
