"""Read the sheets of an OpenDocument spreadsheet (.ods, ODF 1.3 part 3) within the bounds of every workbook.

A cell or a row may stand for many like it (`number-columns-repeated`, `number-rows-repeated`): they count where one of them holds
something, and cells that are empty to the end of their row or sheet count for nothing.

Decision (2026-11). The elements are met here rather than in a library: one that reads values only loses the digits that a cell
shows, and each builds what the file says before a bound can be asked. Options: python-calamine (values alone), odfpy (all elements
kept, no release since 2020). Cost: 130 lines of our own.
"""

from dataclasses import dataclass, field

from calib.procedures.typed.bounded_archive import (
    MOST_SHEET_COLUMNS,
    MOST_SHEET_ROWS,
    MOST_TEXT,
    BoundedXml,
    WorkbookError,
    at_most,
    inflated,
)

SPREADSHEET = b"application/vnd.oasis.opendocument.spreadsheet"
_CONTENT = "content.xml"
_NAMESPACE = "urn:oasis:names:tc:opendocument:xmlns:{}:1.0 "
_OFFICE, _TABLE, _TEXT, _STYLE = (_NAMESPACE.format(name) for name in ("office", "table", "text", "style"))
_NOT_SHOWN = (
    "collapse",
    "filter",
)  # the visibility of rows and columns that are not shown (table:visibility of ODF 1.3 part 3)
_VALUES = tuple(f"{_OFFICE}{name}" for name in ("value", "date-value", "time-value"))
_STRUCK = f"{_STYLE}text-line-through-style"
_CELLS = (f"{_TABLE}table-cell", f"{_TABLE}covered-table-cell")


@dataclass(frozen=True)
class DocumentCell:
    """A cell: the kind of its value, the value, and the text that it shows."""

    kind: str = ""  # float, percentage, currency, date, time, boolean, string, or nothing
    value: str = ""
    shown: str = ""
    has_formula: bool = False
    is_struck: bool = False  # whether it is struck out

    @property
    def is_filled(self) -> bool:
        """Whether it holds anything."""
        return bool(self.kind or self.shown or self.has_formula)


@dataclass(frozen=True)
class DocumentSheets:
    """The sheets of a spreadsheet by their names, and what of them is not shown."""

    rows: dict[str, list[list[DocumentCell]]]  # each sheet to its last filled cell
    hidden_sheets: tuple[str, ...]
    hidden: int  # rows and columns
    merged: int  # cells that span several rows


@dataclass
class _Sheet:
    rows: list[list[DocumentCell]] = field(default_factory=list)
    empty_rows: int = 0  # since the last one that is filled


def is_open_document(content: bytes) -> bool:
    """Whether an archive says of itself that it is such a spreadsheet; its first file does (ODF 1.3 part 2, 3.3)."""
    return SPREADSHEET in content[:200]


def document_sheets(content: bytes) -> DocumentSheets:
    """The sheets of a spreadsheet; raises WorkbookError beyond a bound."""
    reader = _Content()
    is_whole = False
    for name, part in inflated(content):
        if name == _CONTENT:
            is_whole = reader.parse(name, part)
    if not is_whole:
        raise WorkbookError("a workbook that can be read (its cells cannot: is it kept with a password?)")
    rows = {name: sheet.rows for name, sheet in reader.sheets.items()}
    hidden = tuple(name for name, style in reader.styles_of_sheets.items() if style in reader.hiding_styles)
    return DocumentSheets(rows, hidden, reader.hidden, reader.merged)


class _Content(BoundedXml):
    """The file of the cells."""

    def __init__(self) -> None:
        super().__init__()
        self.sheets: dict[str, _Sheet] = {}
        self.styles_of_sheets: dict[str, str] = {}
        self.hiding_styles: set[str] = set()  # of a sheet that is not shown, by its table:display
        self.hidden = 0  # rows and columns
        self.merged = 0  # cells that span several rows
        self._striking_styles: set[str] = set()  # of a cell, or of a text, with a line through it
        self._is_struck = False  # of the cell that is open
        self._style = ""  # that is open
        self._sheet = _Sheet()
        self._row: list[DocumentCell] = []
        self._row_stands_for = self._cell_stands_for = 1
        self._row_is_hidden = False
        self._empty_cells = 0  # since the last one of the row that is filled
        self._cell: dict[str, str] | None = None  # attributes of the cell that is open
        self._shown: list[str] = []  # pieces of the text that it shows
        self._is_in_paragraph = False
        self._notes = 0  # annotations that are open: their text is none of the cell's
        self._signs = 0

    def opened(self, name: str, attributes: dict[str, str]) -> None:
        """A sheet, a row, a cell or a text begins."""
        if name == f"{_TABLE}table":
            named = attributes.get(f"{_TABLE}name", "")
            self._sheet = self.sheets.setdefault(named, _Sheet())
            self.styles_of_sheets[named] = attributes.get(f"{_TABLE}style-name", "")
        elif name == f"{_TABLE}table-row":
            self._row, self._empty_cells = [], 0
            self._row_stands_for = _times(attributes, "rows")
            self._row_is_hidden = attributes.get(f"{_TABLE}visibility") in _NOT_SHOWN
        elif name in _CELLS:
            self._cell, self._shown = attributes, []
            self._is_struck = attributes.get(f"{_TABLE}style-name") in self._striking_styles
            self.merged += _whole(attributes.get(f"{_TABLE}number-rows-spanned", "1")) > 1
            self._cell_stands_for = _times(attributes, "columns")
        elif name == f"{_OFFICE}annotation":
            self._notes += 1
        elif name == f"{_TABLE}table-column":
            self.hidden += attributes.get(f"{_TABLE}visibility") in _NOT_SHOWN
        elif name == f"{_STYLE}style":
            self._style = attributes.get(f"{_STYLE}name", "")
        elif name == f"{_STYLE}table-properties":
            self.hiding_styles |= {self._style} if attributes.get(f"{_TABLE}display") == "false" else set()
        elif name == f"{_STYLE}text-properties":
            self._striking_styles |= {self._style} if attributes.get(_STRUCK, "none") != "none" else set()
        elif self._cell is not None and not self._notes:
            self._text_begins(name, attributes)

    def _text_begins(self, name: str, attributes: dict[str, str]) -> None:
        if name == f"{_TEXT}p":
            self._is_in_paragraph = True
            self.characters("\n" if self._shown else "")
        elif name == f"{_TEXT}span":
            self._is_struck |= attributes.get(f"{_TEXT}style-name") in self._striking_styles
        elif name == f"{_TEXT}s":
            self.characters(" " * min(_whole(attributes.get(f"{_TEXT}c", "1")), MOST_TEXT + 1))
        elif name in (f"{_TEXT}tab", f"{_TEXT}line-break"):
            self.characters(" ")

    def closed(self, name: str) -> None:
        """What has ended is kept, as often as it stands for."""
        if name == f"{_OFFICE}annotation":
            self._notes -= 1
        elif name == f"{_TEXT}p" and not self._notes:
            self._is_in_paragraph = False
        elif name in _CELLS and self._cell is not None:
            self._end_cell(self._cell)
            self._cell = None
        elif name == f"{_TABLE}table-row":
            self._end_row()

    def characters(self, text: str) -> None:
        """Text that a cell shows."""
        if self._is_in_paragraph and not self._notes:
            self._signs += len(text)
            at_most(MOST_TEXT, self._signs, "signs of text in its cells")
            self._shown.append(text)

    def _end_cell(self, attributes: dict[str, str]) -> None:
        kind = attributes.get(f"{_OFFICE}value-type", "")
        cell = DocumentCell(
            kind,
            next((attributes[name] for name in _VALUES if name in attributes), ""),
            "".join(self._shown).strip(),
            f"{_TABLE}formula" in attributes,
            self._is_struck,
        )
        if not cell.is_filled:
            self._empty_cells += self._cell_stands_for
            return
        columns = len(self._row) + self._empty_cells + self._cell_stands_for
        at_most(MOST_SHEET_COLUMNS, columns, f"columns in a sheet, which {_CONTENT} exceeds")
        self._signs += len(cell.shown) * (self._cell_stands_for * self._row_stands_for - 1)
        at_most(MOST_TEXT, self._signs, "signs of text in its cells")
        self._row += [DocumentCell()] * self._empty_cells + [cell] * self._cell_stands_for
        self._empty_cells = 0

    def _end_row(self) -> None:
        sheet = self._sheet
        if not self._row:
            sheet.empty_rows += self._row_stands_for
            return
        self.hidden += self._row_stands_for * self._row_is_hidden
        rows = len(sheet.rows) + sheet.empty_rows + self._row_stands_for
        at_most(MOST_SHEET_ROWS, rows, f"rows in a sheet, which {_CONTENT} exceeds")
        sheet.rows += [[]] * sheet.empty_rows + [self._row] * self._row_stands_for
        sheet.empty_rows = 0


def _times(attributes: dict[str, str], of: str) -> int:
    return _whole(attributes.get(f"{_TABLE}number-{of}-repeated", "1"))


def _whole(typed: str) -> int:
    if not typed.isdecimal() or len(typed) > 9:
        raise WorkbookError(f"a workbook whose cells are repeated a whole number of times (one says {typed[:20]!r})")
    return int(typed)
