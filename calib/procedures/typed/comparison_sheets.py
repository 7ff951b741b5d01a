"""Read a sheet of comparisons as it was typed: a CSV file, or a workbook (.xlsx, .ods). Which of them it is, its content says.

A number of a workbook keeps the digits that its cell shows, and never loses one that it holds: 1.1 in a cell with two decimal
places is 1.10, 1.234 there stays 1.234.
"""

import io
import os
import re
import warnings
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from datetime import date, datetime, time
from decimal import Decimal
from functools import lru_cache, partial
from typing import Any, TypeVar

from calib.errors import Finding
from calib.procedures.typed.bounded_archive import READABLE, WorkbookError, is_archive
from calib.procedures.typed.bounded_workbook import Extent, extent_of
from calib.procedures.typed.columns import FILES
from calib.procedures.typed.declaration import TypedColumn
from calib.procedures.typed.foreign_sheet import mapped_lines
from calib.procedures.typed.open_document import DocumentCell, document_sheets, is_open_document
from calib.procedures.typed.sheets import FileContent, HowToRead, TypedRow, csv_lines, sheet_rows
from calib.procedures.typed.unit_spelling import unit_meant

_NAMES = ("tag", "certificate")  # known from the command: they may be left out
_DIGITS = 15  # significant digits of a number that a workbook holds

# What is expected of a cell that holds no text and no number.
_NO_DATE = "text or a number, not a date or time"
_NO_TRUTH_VALUE = "text or a number, not a truth value"
_NO_PERCENT = "a number that is not shown in percent"
_NO_ERROR = "a value, not an error of the workbook"
_NO_RESULT = "a value: the workbook keeps no result of this formula, save it again"
_OF_ANOTHER_KIND = {"date": _NO_DATE, "time": _NO_DATE, "boolean": _NO_TRUTH_VALUE, "percentage": _NO_PERCENT}
_STRUCK = "a row that is not struck out: take it out, or the line through it"
_NUMBER_SHOWN = re.compile(r"[^\d]*\d[\d.,'\s]*(?:[eE][+-]?\d+)?")
_ERRORS = ("#", "Err:")  # how a cell shows one


class _Wrong:
    """A cell that holds no text and no number."""

    def __init__(self, shown: str, expected: str) -> None:
        self.shown, self.expected = shown, expected


_Text = str | _Wrong  # of a cell
_Asked = TypeVar("_Asked")


class _OfWorkbook(dict[str, Callable[[], Iterable[list[_Text]]]]):
    """Name of a sheet -> its rows, read when they are asked for; `told` is what is said of how they are read."""

    def __init__(self, sheets: Mapping[str, Callable[[], Iterable[list[_Text]]]], told: Sequence[str] = ()) -> None:
        super().__init__(sheets)
        self.told = told


def comparison_columns() -> tuple[TypedColumn, ...]:
    """The columns of comparisons.csv, without need of tag and certificate."""
    return tuple(
        replace(column, required=column.required and column.name not in _NAMES) for column in FILES["comparisons.csv"]
    )


def read_comparisons(
    file: FileContent,
    tag: str,
    certificate: str,
    columns: Iterable[TypedColumn],
    sheet: str | None = None,
    reading: HowToRead | None = None,
) -> tuple[list[TypedRow], list[Finding]]:
    """Rows of a file with tag and certificate given, and what is wrong with it as a file; `sheet` names one of a workbook.

    What was taken as what goes into the notices of `reading`, whose map of comparisons names the headings of the file.
    """
    reading, columns = reading or HowToRead(), tuple(columns)
    if file.expected is not None:
        return [], [Finding(file.source, None, None, None, file.expected)]
    if is_archive(file.content):
        rows, findings = _read_workbook(file, columns, sheet, reading)
    elif sheet is not None:
        rows, findings = (
            [],
            [Finding(file.source, None, "sheet", sheet, "nothing: only a workbook (.xlsx, .ods) has sheets")],
        )
    else:
        lines, expected = csv_lines(file, (column.name for column in columns), reading)
        if expected is not None:
            return [], [Finding(file.source, None, None, None, expected)]
        rows, findings = _rows_of_lines(file.source, lines, columns, reading)
    given = {"tag": tag.strip(), "certificate": certificate.strip()}
    for row in rows:
        row.cells = given | row.cells
        row.given = frozenset(name for name, cell in given.items() if row.cells[name] == cell)
    return rows, findings


def _rows_of_lines(
    source: str, lines: Sequence[Sequence[str]], columns: Sequence[TypedColumn], reading: HowToRead
) -> tuple[list[TypedRow], list[Finding]]:
    """Rows of a sheet, its headings those of the columns or those that a map names."""
    if reading.maps:
        own = [each for each in reading.maps if each.declared is FILES["comparisons.csv"]]
        if len(own) != 1:
            return [], [Finding(reading.maps[0].source, None, "comparisons", None, "this table, for the comparisons")]
        lines, said, wrong = mapped_lines(own[0], source, lines, own)
        if wrong:
            return [], wrong
        reading.notices += said
    return sheet_rows(source, lines, columns, reading)


def _read_workbook(
    file: FileContent, columns: Sequence[TypedColumn], sheet: str | None, reading: HowToRead
) -> tuple[list[TypedRow], list[Finding]]:
    def rows_of(sheets: _OfWorkbook) -> tuple[list[TypedRow], list[Finding]]:
        name, finding = _sheet_of(file, list(sheets), sheet)
        if finding is not None:
            return [], [finding]
        reading.notices += [f"{file.source}: {told}" for told in sheets.told]
        return _rows_of_sheet(f"{file.source}, sheet {name}", sheets[name](), columns, reading)

    read = _of_sheets(file, rows_of)
    return ([], [read]) if isinstance(read, Finding) else read


def _of_sheets(file: FileContent, ask: Callable[[_OfWorkbook], _Asked]) -> _Asked | Finding:
    """What is asked of the sheets of a workbook; what is wrong where it cannot be read."""
    opened = _open_document if is_open_document(file.content) else _office_workbook
    try:
        with opened(file.content) as sheets:
            return ask(sheets)
    except WorkbookError as error:
        return Finding(file.source, None, None, None, str(error))
    except Exception:  # noqa: BLE001 (whatever the library trips over in a file that is no workbook)
        return Finding(file.source, None, None, None, READABLE)


@contextmanager
def _open_document(content: bytes) -> Iterator[_OfWorkbook]:
    sheets = document_sheets(content)
    rows = {name: partial(_rows_shown, own) for name, own in sheets.rows.items()}
    yield _OfWorkbook(rows, _told_of(sheets.hidden_sheets, sheets.hidden, sheets.merged))


def _rows_shown(rows: Iterable[Sequence[DocumentCell]]) -> Iterator[list[_Text]]:
    for row in rows:
        yield [_Wrong(cell.shown, _STRUCK) if cell.is_struck else _shown(cell) for cell in row]


def _shown(cell: DocumentCell) -> _Text:
    if cell.has_formula and not cell.kind:
        return _Wrong(cell.shown, _NO_RESULT)
    if cell.kind in _OF_ANOTHER_KIND:
        expected = _OF_ANOTHER_KIND[cell.kind]
        return _Wrong(_clock(cell.value) or cell.shown if expected == _NO_DATE else cell.shown, expected)
    if cell.shown.startswith(_ERRORS):
        return _Wrong(cell.shown, _NO_ERROR)
    if cell.kind in ("float", "currency"):
        if cell.shown and not re.search(r"\d", cell.shown):
            return _Wrong(cell.shown, _NO_TRUTH_VALUE)
        digits = _digits(float(cell.value), _places_shown(cell.shown, float(cell.value)))
        return digits + _as_unit(_NUMBER_SHOWN.sub("", cell.shown, count=1))
    return cell.shown


def _clock(value: str) -> str:
    """A day or a time of a document: 2026-03-05, 2026-03-05T14:30:00, and 14:30:00 for PT14H30M00S (ODF 1.3 part 3, 19.387)."""
    parts = re.fullmatch(r"PT(\d{2})H(\d{2})M(\d{2})S", value)
    return value if parts is None else ":".join(parts.groups())


def _places_shown(shown: str, value: float) -> int:
    """Decimal places of a number as a cell shows it, whatever marks its decimals: as many as give the digits that are shown."""
    digits = "".join(filter(str.isdecimal, shown))
    after = re.search(r"[.,](\d+)\D*$", shown)
    places = 0 if after is None else len(after[1])
    return places if digits == f"{abs(value):.{places}f}".replace(".", "") else 0


@contextmanager
def _office_workbook(content: bytes) -> Iterator[_OfWorkbook]:
    # What it would defend against, declarations in XML, this door has refused (`bounded_archive`): in pure Python it takes a third
    # of the time of a large workbook.
    os.environ.setdefault("OPENPYXL_DEFUSEDXML", "False")
    from openpyxl import load_workbook  # noqa: PLC0415 (a fifth of a second, for workbooks only)

    def opened(*, results: bool) -> Any:
        return load_workbook(io.BytesIO(content), read_only=True, data_only=results, keep_links=False)

    extent = extent_of(content)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of styles and extensions that no comparison needs
        values = opened(results=True)
        formulas = opened(results=False) if extent.has_formulas_without_results else values
        rows = {name: partial(_rows_typed, extent, values[name], formulas[name]) for name in values.sheetnames}
        not_shown = [sheet.title for sheet in values.worksheets if sheet.sheet_state != "visible"]
        yield _OfWorkbook(rows, _told_of(not_shown, extent.hidden, extent.merged))


def _told_of(sheets: Sequence[str], hidden: int, merged: int) -> list[str]:
    """What a workbook hides and is read all the same, sheets, rows and columns; and how cells are read that span rows."""
    told = {
        f"hidden sheets are read too: {', '.join(sheets)}": bool(sheets),
        f"hidden rows and columns are read too: {hidden}": hidden > 0,
        f"merged cells that span rows count in the first of them alone, the others are blank: {merged}": merged > 0,
    }
    return [line for line, is_so in told.items() if is_so]


def _rows_typed(extent: Extent, values: Any, formulas: Any) -> Iterator[list[_Text]]:
    """The texts of the rows of a sheet; where a formula has no result, its cell is wrong."""
    typed_as = _typed_unless_struck if extent.has_strikes else _typed
    if values is formulas:
        for row in _rows_within(extent, values):
            yield [typed_as(cell) for cell in row]
        return
    for shown, typed in zip(_rows_within(extent, values), _rows_within(extent, formulas), strict=True):
        yield [
            _Wrong(str(formula.value), _NO_RESULT)
            if cell.value is None and formula.value is not None
            else typed_as(cell)
            for cell, formula in zip(shown, typed, strict=True)
        ]


def _typed(cell: Any) -> _Text:
    if cell.value is None or isinstance(cell.value, str):  # a text needs no format
        return cell_as_typed(cell.value, "")
    return cell_as_typed(cell.value, getattr(cell, "number_format", "General"))


def _typed_unless_struck(cell: Any) -> _Text:
    is_struck = cell.value is not None and cell.font is not None and cell.font.strike
    return _Wrong(str(cell.value), _STRUCK) if is_struck else _typed(cell)


def _rows_within(extent: Extent, sheet: Any) -> Iterable[Sequence[Any]]:
    """The rows of a sheet as far as they may be filled, whatever the sheet says of its own size."""
    if not extent.rows:
        return []
    rows: Iterable[Sequence[Any]] = sheet.iter_rows(1, extent.rows, 1, extent.columns)
    return rows


def workbook_lines(
    file: FileContent, reading: HowToRead | None = None
) -> tuple[dict[str, list[list[str]]], list[Finding]]:
    """The lines of every sheet of a workbook, dates as YYYY-MM-DD, and what is wrong with cells and file."""

    def lines_of(sheets: _OfWorkbook) -> tuple[dict[str, list[list[str]]], list[Finding]]:
        lines: dict[str, list[list[str]]] = {}
        findings: list[Finding] = []
        if reading is not None:
            reading.notices += [f"{file.source}: {told}" for told in sheets.told]
        for name, rows in sheets.items():
            dated = ([_dated(cell) for cell in row] for row in rows())
            lines[name], wrong = _lines_of_sheet(f"{file.source}, sheet {name}", dated)
            findings += wrong
        return lines, findings

    read = _of_sheets(file, lines_of)
    return ({}, [read]) if isinstance(read, Finding) else read


def _dated(text: _Text) -> _Text:
    """A day or a time of a workbook as it is written elsewhere; it knows no zone."""
    if not isinstance(text, _Wrong) or text.expected != _NO_DATE:
        return text
    day, _, clock = text.shown.replace("T", " ").partition(" ")
    return day if clock in {"", "00:00:00"} else f"{day}T{clock}"


def _sheet_of(file: FileContent, names: Sequence[str], wanted: str | None) -> tuple[str, Finding | None]:
    """The sheet asked for, the one named comparisons, or the only one."""
    for name in (wanted, "comparisons", names[0] if len(names) == 1 else None):
        if name is not None and name in names:
            return name, None
        if wanted is not None:
            break
    expected = f"one of the sheets {', '.join(names)}" if names else "a workbook with a sheet that is shown"
    return "", Finding(file.source, None, "sheet", wanted, expected)


def _rows_of_sheet(
    source: str, rows_of_texts: Iterable[list[_Text]], columns: Sequence[TypedColumn], reading: HowToRead
) -> tuple[list[TypedRow], list[Finding]]:
    lines, findings = _lines_of_sheet(source, rows_of_texts)
    rows, more = _rows_of_lines(source, lines, columns, reading)
    return rows, reading.of_rows_read([*findings, *more])


def _lines_of_sheet(source: str, rows_of_texts: Iterable[list[_Text]]) -> tuple[list[list[str]], list[Finding]]:
    """The texts of a sheet, each line as long as the first, and the cells that hold none."""
    findings: list[Finding] = []
    lines: list[list[str]] = []
    width = 0
    for row_number, texts in enumerate(rows_of_texts, start=1):
        if row_number == 1:
            width = len(_without_tail(texts))
        struck = [place for place, text in enumerate(texts) if isinstance(text, _Wrong) and text.expected == _STRUCK]
        for place, text in enumerate(texts):
            if isinstance(text, _Wrong) and place not in struck[1:]:  # a row is named once
                column = lines[0][place] if row_number > 1 and place < width else f"column {_letters(place)}"
                findings.append(Finding(source, row_number, column, text.shown, text.expected))
        cells = _without_tail(["" if isinstance(text, _Wrong) else text for text in texts])
        lines.append([*cells, *[""] * width][: max(width, len(cells))])
    return lines, findings


def _without_tail(cells: Sequence[Any]) -> list[Any]:
    """The cells up to the last one that is filled."""
    last = max((place for place, cell in enumerate(cells) if cell != ""), default=-1)
    return list(cells[: last + 1])


def _letters(place: int) -> str:
    """Name of a column, as a spreadsheet writes it."""
    name, rest = "", place + 1
    while rest:
        rest, letter = divmod(rest - 1, 26)
        name = chr(ord("A") + letter) + name
    return name


def cell_as_typed(value: Any, number_format: str) -> _Text:
    """The text of a cell: text as it is, a number with the decimal places that its format shows and all digits that it holds."""
    if value is None:
        return ""
    if isinstance(value, str):
        return _Wrong(value, _NO_ERROR) if value.startswith("#") else value.strip()
    if isinstance(value, bool):
        return _Wrong(str(value), _NO_TRUTH_VALUE)
    if isinstance(value, datetime | date | time):
        return _Wrong(str(value), _NO_DATE)
    if _is_percent(number_format):
        return _Wrong(str(value), _NO_PERCENT)
    return _digits(value, _places(number_format)) + _unit_of_format(number_format)


@lru_cache(maxsize=256)
def _is_percent(number_format: str) -> bool:
    return "%" in re.sub(r'"[^"]*"', "", number_format)


@lru_cache(maxsize=256)
def _places(number_format: str) -> int:
    """Decimal places that a number format shows, 0 where it does not say."""
    decimals = re.search(r"[0#]\.(0+)", number_format.partition(";")[0])
    return 0 if decimals is None else len(decimals[1])


@lru_cache(maxsize=256)
def _as_unit(behind: str) -> str:
    """What a cell shows behind its number, where that is a unit: 475 shown as 475 fpm is none in m/s."""
    shown = behind.strip()
    return f" {shown}" if shown and unit_meant(shown) is not None else ""


@lru_cache(maxsize=256)
def _unit_of_format(number_format: str) -> str:
    """The unit that a number format puts behind a number."""
    text = re.search(r'[0#?]((?:"[^"]*"|\\.|_.|\s)+)$', number_format.partition(";")[0])
    return "" if text is None else _as_unit(re.sub(r'["\\]|_.', "", text[1]))


def _digits(value: float, places: int) -> str:
    held = Decimal(format(value, f".{_DIGITS}g"))
    exponent = held.normalize().as_tuple().exponent
    own = max(-int(exponent), 0) if held.is_finite() else 0
    return f"{held:.{max(own, places)}f}"
