"""Sheets to fill in as files: a workbook (.xlsx, .ods) with lists to choose from, or a CSV file.

Every cell is formatted as text, so that no spreadsheet makes a date of 3-4 or 7 of the tag 007. The lists stand in a sheet of
their own, since a workbook takes no longer ones in a cell (255 signs, Microsoft, "Excel specifications and limits").

Decision (2026-11-29). The OpenDocument file is written here (ODF 1.3 part 3): four small files in an archive. Options: odfpy (no
release since 2020). Cost: 90 lines of our own.
"""

import csv
import io
import zipfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import UTC, datetime
from itertools import takewhile
from typing import Any, Final
from xml.sax.saxutils import escape, quoteattr

from calib.faces.plain_text import controls_named
from calib.faces.printed_sheet import SMALLEST_PRINT, as_printed
from calib.procedures.enter.blank_sheet import BlankColumn, BlankSheet
from calib.procedures.typed.open_document import SPREADSHEET
from calib.procedures.typed.sheets import NOT_IMPORTED_SHEET

_ROWS: Final = 500  # that have lists to choose from
_WORDS = "words"
_ABOUT = f"{NOT_IMPORTED_SHEET} what the cells may be"
_LONGEST_HINT, _LONGEST_TITLE = 250, 30  # signs that a spreadsheet shows beside a cell
_MEANINGS, _WORD = 90, 20  # signs: widths of the columns of the sheet of words
_MOST_LEADING = 3  # columns that are repeated on each printed page
_MADE = datetime(2026, 1, 1, tzinfo=UTC)  # in every file: the same sheet gives the same bytes


def as_blank_csv(sheets: Sequence[BlankSheet]) -> bytes:
    """The first sheet as a CSV file."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([column.heading for column in sheets[0].columns])
    writer.writerows(sheets[0].rows)
    return out.getvalue().encode("utf-8", "backslashreplace")


def _lists(sheets: Sequence[BlankSheet]) -> dict[tuple[str, ...], int]:
    """Each list to choose from, and its column in the sheet of words."""
    lists: dict[tuple[str, ...], int] = {}
    for sheet in sheets:
        for column in sheet.columns:
            if column.choices:
                lists.setdefault(tuple(column.choices), len(lists) + 1)
    return lists


def _word_rows(sheets: Sequence[BlankSheet]) -> Iterator[list[str]]:
    """The sheet of words: what it is, then the lists side by side; the meanings of the columns below one another first."""
    lists = list(_lists(sheets))
    yield [_ABOUT]
    for place in range(max(map(len, lists), default=0)):
        yield ["", *(each[place] if place < len(each) else "" for each in lists)]
    for sheet in sheets:
        for column in sheet.columns:
            yield [f"{sheet.name}, {column.heading}: {column.meaning}{' (must be filled)' if column.must else ''}"]


# --- .xlsx -----------------------------------------------------------------------------------------------------------------------


def as_workbook(sheets: Sequence[BlankSheet]) -> bytes:
    """The sheets as the bytes of an .xlsx file (ECMA-376)."""
    from xlsxwriter import Workbook  # noqa: PLC0415 (a fifth of a second)

    out = io.BytesIO()
    lists = _lists(sheets)
    with Workbook(out, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}) as workbook:
        workbook.set_properties({"created": _MADE})
        text = workbook.add_format({"num_format": "@"})
        wrapped = workbook.add_format({"num_format": "@", "text_wrap": True, "valign": "top"})
        formats = {must: workbook.add_format({"bold": must, "bottom": 1, "num_format": "@"}) for must in (True, False)}
        pale = workbook.add_format({"num_format": "@", "italic": True, "font_color": "#595959"})
        for sheet in sheets:
            page = workbook.add_worksheet(sheet.name)
            page.freeze_panes(1, 0)
            page.repeat_rows(0)
            widths = [_width(sheet, place) for place in range(len(sheet.columns))]
            as_printed(page, widths, _leading(sheet), "")
            for place, column in enumerate(sheet.columns):
                page.set_column(place, place, widths[place], text)
                page.write_string(0, place, controls_named(column.heading), formats[column.must])
                page.data_validation(1, place, _ROWS, place, _validation(column, lists))
            for line, row in enumerate(sheet.rows, start=1):
                shown = pale if sheet.is_of_example and line == 1 else text
                for place, cell in enumerate(row):
                    page.write_string(line, place, controls_named(cell), shown)
        words = workbook.add_worksheet(_WORDS)
        columns = [_MEANINGS, *[_WORD] * len(lists)]
        as_printed(words, columns, 1, "")
        for place, width in enumerate(columns):
            words.set_column(place, place, width)
        for line, row in enumerate(_word_rows(sheets)):
            for place, cell in enumerate(row):
                if cell:
                    words.write_string(line, place, controls_named(cell), wrapped)
    return out.getvalue()


def _width(sheet: BlankSheet, place: int) -> int:
    longest = max(len(row[place]) for row in [*sheet.rows, [column.heading for column in sheet.columns]])
    return min(max(longest + 2, 10), 40)


def _leading(sheet: BlankSheet) -> int:
    """How many columns say what a row is of: the first of those that must be filled."""
    return min(len(list(takewhile(lambda column: column.must, sheet.columns))) or 1, _MOST_LEADING)


def _validation(column: BlankColumn, lists: Mapping[tuple[str, ...], int]) -> dict[str, Any]:
    hint = {"input_title": column.heading[:_LONGEST_TITLE], "input_message": column.meaning[:_LONGEST_HINT]}
    if not column.choices:
        return {"validate": "any"} | hint
    from xlsxwriter.utility import xl_col_to_name  # noqa: PLC0415 (as above)

    name = xl_col_to_name(lists[tuple(column.choices)])
    place = f"={_WORDS}!${name}$2:${name}${1 + len(column.choices)}"
    return {
        "validate": "list",
        "source": place,
        "error_type": "stop" if column.only else "warning",
        "error_title": column.heading[:_LONGEST_TITLE],
        "error_message": "one of the list" if column.only else "not in the list: is it meant?",
    } | hint


# --- .ods ------------------------------------------------------------------------------------------------------------------------

_NAMESPACES = " ".join(
    f'xmlns:{name}="urn:oasis:names:tc:opendocument:xmlns:{of}:1.0"'
    for name, of in (
        ("office", "office"),
        ("table", "table"),
        ("text", "text"),
        ("style", "style"),
        ("number", "datastyle"),
        ("fo", "xsl-fo-compatible"),
    )
)
_MANIFEST = (
    '<?xml version="1.0" encoding="UTF-8"?>\n<manifest:manifest manifest:version="1.3" '
    'xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0">'
    f'<manifest:file-entry manifest:full-path="/" manifest:version="1.3" manifest:media-type="{SPREADSHEET.decode()}"/>'
    '<manifest:file-entry manifest:full-path="content.xml" manifest:media-type="text/xml"/>'
    '<manifest:file-entry manifest:full-path="styles.xml" manifest:media-type="text/xml"/></manifest:manifest>'
)
_STYLES = (
    '<number:text-style style:name="text"><number:text-content/></number:text-style>'
    '<style:style style:name="cell" style:family="table-cell" style:data-style-name="text"/>'
)
_PRINTED = (
    f'<?xml version="1.0" encoding="UTF-8"?>\n<office:document-styles office:version="1.3" {_NAMESPACES}>'
    '<office:automatic-styles><style:page-layout style:name="page"><style:page-layout-properties fo:page-width="297mm" '
    f'fo:page-height="210mm" style:print-orientation="landscape" style:scale-to="{SMALLEST_PRINT}%" style:print-page-order="ltr"/>'
    "</style:page-layout></office:automatic-styles>"
    '<office:master-styles><style:master-page style:name="Default" style:page-layout-name="page"><style:footer><text:p>'
    "<text:sheet-name/>, <text:page-number/> of <text:page-count/></text:p></style:footer></style:master-page>"
    "</office:master-styles></office:document-styles>"
)


def as_open_document(sheets: Sequence[BlankSheet]) -> bytes:
    """The sheets as the bytes of an .ods file (ODF 1.3)."""
    lists = _lists(sheets)
    words = list(_word_rows(sheets))
    tables = "".join(_table(sheet, lists) for sheet in sheets)
    rules = "".join(_rule(rank, choices) for choices, rank in lists.items())
    content = (
        f'<?xml version="1.0" encoding="UTF-8"?>\n<office:document-content office:version="1.3" {_NAMESPACES}>'
        f"<office:automatic-styles>{_STYLES}</office:automatic-styles><office:body><office:spreadsheet>"
        f"<table:content-validations>{rules}</table:content-validations>{tables}"
        f"<table:table table:name={quoteattr(_WORDS)}>{''.join(map(_row, words))}</table:table>"
        "</office:spreadsheet></office:body></office:document-content>"
    )
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, text in (
            ("mimetype", SPREADSHEET.decode()),
            ("META-INF/manifest.xml", _MANIFEST),
            ("content.xml", content),
            ("styles.xml", _PRINTED),
        ):
            entry = zipfile.ZipInfo(name, _MADE.timetuple()[:6])
            entry.compress_type = zipfile.ZIP_STORED if name == "mimetype" else zipfile.ZIP_DEFLATED
            archive.writestr(entry, text.encode("utf-8", "backslashreplace"))
    return out.getvalue()


def _rule(rank: int, choices: Sequence[str]) -> str:
    words = ";".join('"{}"'.format(word.replace('"', '""')) for word in choices)
    condition = quoteattr(f"of:cell-content-is-in-list({words})")
    return (
        f'<table:content-validation table:name="list{rank}" table:condition={condition} table:allow-empty-cell="true">'
        '<table:error-message table:message-type="warning" table:display="true"/></table:content-validation>'
    )


def _table(sheet: BlankSheet, lists: Mapping[tuple[str, ...], int]) -> str:
    rules = [lists.get(tuple(column.choices)) for column in sheet.columns]
    rows = "".join(_row(row, rules) for row in sheet.rows)
    blank = _row([""] * len(sheet.columns), rules).replace(
        "<table:table-row>", f'<table:table-row table:number-rows-repeated="{_ROWS}">'
    )
    header = _row([column.heading for column in sheet.columns])
    head = f"{_columns(len(sheet.columns), _leading(sheet))}<table:table-header-rows>{header}</table:table-header-rows>"
    return f"<table:table table:name={quoteattr(sheet.name)}>{head}{rows}{blank}</table:table>"


def _columns(count: int, leading: int) -> str:
    """The columns of a sheet, of which the leading ones stand on each printed page."""
    repeated = f'<table:table-column table:number-columns-repeated="{leading}"/>'
    others = f'<table:table-column table:number-columns-repeated="{count - leading}"/>' if count > leading else ""
    return f"<table:table-header-columns>{repeated}</table:table-header-columns>{others}"


def _row(cells: Sequence[str], rules: Sequence[int | None] = ()) -> str:
    written = (_cell(cell, rules[place] if place < len(rules) else None) for place, cell in enumerate(cells))
    return f"<table:table-row>{''.join(written)}</table:table-row>"


def _cell(cell: str, rule: int | None) -> str:
    own = "" if rule is None else f' table:content-validation-name="list{rule}"'
    if not cell:
        return f'<table:table-cell table:style-name="cell"{own}/>'
    text = escape(controls_named(cell))
    return f'<table:table-cell table:style-name="cell" office:value-type="string"{own}><text:p>{text}</text:p></table:table-cell>'


SPREADSHEETS: Mapping[str, Callable[[Sequence[BlankSheet]], bytes]] = {
    ".xlsx": as_workbook, ".ods": as_open_document, ".csv": as_blank_csv,
}  # fmt: skip
