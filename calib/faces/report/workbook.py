"""A report as a workbook: a first sheet for whoever reads it, and sheets of unrounded numbers for whoever computes with them.

Text is always text: no cell is a formula or a link, whatever it begins with. The same report gives the same bytes.

XlsxWriter writes it: no dependencies, fixed bytes, text stays text when it is edited. Digits are those of `repr`: the library's own
16 would lose the last bit. Number formats cannot round to tens, so beside each flow stands the text as reported.
"""

import io
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import UTC, date, datetime
from itertools import takewhile
from math import ceil
from typing import Any

from xlsxwriter import Workbook
from xlsxwriter.format import Format
from xlsxwriter.worksheet import Worksheet

from calib.faces.parts.validation_text import validation_text
from calib.faces.plain_text import controls_named, shortened
from calib.faces.printed_sheet import as_printed
from calib.faces.report.blocks import (
    Bullets,
    Heading,
    Layout,
    Letterhead,
    Notice,
    Paragraph,
    Picture,
    Signatures,
    Strip,
    Table,
    TableColumn,
    TableRow,
    Title,
    on_one_line,
    unmarked,
)
from calib.faces.report.first_page import WHEN_ISSUED
from calib.faces.report.workbook_columns import MINUTE, SheetColumn, in_one_zone
from calib.faces.report.workbook_sheets import WorkbookSheet, first_tables, sheets_of
from calib.faces.written import Content
from calib.unswept import unswept

# Signs, of two UTF-16 units each at the most; a cell holds 32,767 (Microsoft, "Excel specifications and limits").
_LONGEST_PIECE = 16_000
_LONGEST_IN_FOOTER = 60
_FIRST_SHEET = (24.0, *[12.0] * 7, 30.0)  # signs: widths of its columns
_LINE, _HIGHEST_ROW = 13.5, 409.0  # points, the latter being the most that a row may have
_FILLED = 0.95  # of a line, since words are not broken
_NEVER = float("inf")
# Who searches a sheet types a blank: cells wrap, so that a sign which holds a line together is of no use there.
_BLANKS = str.maketrans("\N{NO-BREAK SPACE}\N{NARROW NO-BREAK SPACE}", "  ")
_ABOUT_NUMBERS = (
    "Times are in the zone that the head of their column names. Numbers in the sheets are unrounded; each cell shows the "
    "digits that the report gives. Uncertainties of 100 and more are rounded to tens in the report and shown whole in their"
    " cells: the column “Flow ± U as reported” has them as reported."
)


class _Unrounded(float):
    """A number that is written with all its digits: 17 where it has them, and not 16."""

    def __format__(self, _: str) -> str:
        return repr(float(self))


@unswept
def as_xlsx(content: Content, layout: Layout) -> bytes:
    """The workbook, as the bytes of an .xlsx file (ECMA-376). `content` is the report's, `layout` the same laid out."""
    out = io.BytesIO()
    with Workbook(out, {"in_memory": True}) as workbook:
        written = _Written(workbook, layout)
        sheets = sheets_of(content)
        written.first_sheet(content, layout, sheets)
        for sheet in sheets:
            written.sheet(sheet)
        written.rest()
    return out.getvalue()


class _Written:
    """A workbook while it is written: its formats, and texts that are too long for a cell."""

    def __init__(self, workbook: Workbook, layout: Layout) -> None:
        self._workbook = workbook
        self._numbers: dict[str, Format] = {}
        self._rests: list[str] = []
        # With the quote prefix a text stays text when somebody opens its cell and closes it again.
        as_text = {
            "font_size": 10,
            "valign": "top",
            "text_wrap": True,
            "quote_prefix": True,
            "align": "left",
            "indent": 1,
        }
        self._text = workbook.add_format(as_text)
        self._strong = workbook.add_format(as_text | {"bold": True})
        self._soft = workbook.add_format(as_text | {"font_color": "#5a6872"})
        self._title = workbook.add_format(as_text | {"bold": True, "font_size": 16, "text_wrap": False})
        self._moment = workbook.add_format(as_text | {"num_format": MINUTE, "quote_prefix": False})
        head = as_text | {"bold": True, "bg_color": "#e9eeee", "bottom": 1, "valign": "bottom"}
        self._head = workbook.add_format(head)
        self._head_of_numbers = workbook.add_format(head | {"align": "right", "indent": 0})
        job = _shortened(layout.job)
        moment = datetime.fromisoformat(layout.issued).astimezone(UTC).replace(tzinfo=None)
        workbook.set_properties({"title": f"Air flow report on job {job}", "created": moment})
        said = f"{'draft, ' if layout.is_draft else ''}{_in_footer(job)}, revision {layout.revision}"
        self._footer = f"{said}, ledger {layout.ledger_digest[:16]}"

    def first_sheet(self, content: Content, layout: Layout, sheets: list[WorkbookSheet]) -> None:
        """What the first page says, what the other sheets hold, decision rule and cautions."""
        page = self._page("Report", _FIRST_SHEET)
        row = 0
        for said in self._said(content, layout, sheets):
            row = (
                self._table(page, row, said.columns, said.rows, _FIRST_SHEET)
                if isinstance(said, WorkbookSheet)
                else self._line(page, row, *said)
            )

    def _line(self, page: Worksheet, row: int, label: str, said: str | datetime, shown: Format) -> int:
        """A label, and a text beside it across the other columns, or a moment; the row after it."""
        lines, is_title = 1, shown is self._title
        if label:
            width = _NEVER if is_title else _FIRST_SHEET[0]
            lines = self._write_text(page, row, 0, label, self._title if is_title else self._strong, width)
        if isinstance(said, datetime):
            page.write_datetime(row, 1, said, self._moment)
        elif said:
            page.merge_range(row, 1, row, len(_FIRST_SHEET) - 1, "", shown)
            lines = max(lines, self._write_text(page, row, 1, said, shown, sum(_FIRST_SHEET[1:])))
        self._heighten(page, row, 2 if is_title else lines)
        return row + 1

    def _said(
        self, content: Content, layout: Layout, sheets: list[WorkbookSheet]
    ) -> Iterator[tuple[str, str | datetime, Format] | WorkbookSheet]:
        tables = first_tables(content, layout)
        for block in layout.parts[0]:
            if isinstance(block, Title):
                yield block.text, "", self._title
                yield block.below, "", self._text
            elif isinstance(block, Heading):
                yield block.text, "", self._strong
            elif isinstance(block, Paragraph) and unmarked(block.text) in tables:
                continue  # it names the table below, which is named here by itself
            elif isinstance(block, Picture | Table) and block.name in tables:
                if isinstance(block, Table):
                    yield block.name, "", self._strong
                yield tables[block.name]
            else:
                yield from (self._fact(label, said, layout.issued) for label, said in _IN_TWO[type(block)](block))
        yield "", "", self._text
        yield from ((f"Sheet {each.name}", each.holds, self._text) for each in sheets)
        yield "Numbers", _ABOUT_NUMBERS, self._text
        yield "Decision rule", content["decision_rule_in_words"], self._text
        yield from (("Caution", each, self._text) for each in content["cautions"])
        yield "Ledger digest", content["ledger_digest"], self._text
        if content.get("issue_digest"):
            yield "Issue digest", content["issue_digest"], self._text
        yield "Written by", content["written_by"], self._soft
        yield "Validation", validation_text(content.get("validation")), self._soft

    def _fact(self, label: str, said: str, issued: str) -> tuple[str, str | datetime, Format]:
        """A label and what it says; when the report was issued as a moment, whose zone the label names."""
        if label not in WHEN_ISSUED:
            return label, said, self._text
        moment = datetime.fromisoformat(issued)
        return f"{label} ({moment.tzname()})", moment.replace(tzinfo=None), self._text

    def sheet(self, sheet: WorkbookSheet) -> None:
        """A sheet with its head, frozen and repeated on each printed page, and its rows."""
        columns = [in_one_zone(column, sheet.rows) for column in sheet.columns]
        leading = len(list(takewhile(lambda column: column.names_row, columns))) or 1
        page = self._page(sheet.name, [column.width for column in columns], leading)
        page.freeze_panes(1, leading)
        page.repeat_rows(0)
        page.autofilter(0, 0, len(sheet.rows), len(columns) - 1)
        self._table(page, 0, columns, sheet.rows, [column.width for column in columns])

    def _table(
        self,
        page: Worksheet,
        top: int,
        columns: Sequence[SheetColumn],
        rows: Sequence[Content],
        widths: Sequence[float],
    ) -> int:
        """Head and rows in columns of these widths; the row after them."""
        for place, column in enumerate(columns):
            page.write_string(top, place, column.label, self._head if column.shown is None else self._head_of_numbers)
        self._heighten(
            page, top, max(_lines(column.label, width) for column, width in zip(columns, widths, strict=False))
        )
        for down, row in enumerate(rows, start=top + 1):
            lines = 1
            for place, column in enumerate(columns):
                cell = column.of(row)
                if isinstance(cell, str):
                    lines = max(lines, self._write_text(page, down, place, cell, self._text, widths[place]))
                elif isinstance(cell, date):
                    page.write_datetime(down, place, cell, self._number(column.shown_in(row)))
                elif cell is not None:
                    page.write_number(down, place, _Unrounded(cell), self._number(column.shown_in(row)))
            self._heighten(page, down, lines)
        return top + 1 + len(rows)

    def rest(self) -> None:
        """The texts that went on past what a cell holds."""
        if self._rests:
            page = self._page("Long texts", [98])
            for row, text in enumerate(self._rests):
                page.write_string(row, 0, text, self._text)

    def _page(self, name: str, widths: Sequence[float], leading: int = 1) -> Worksheet:
        page = self._workbook.add_worksheet(name)
        for place, width in enumerate(widths):
            page.set_column(place, place, width)
        as_printed(page, widths, leading, self._footer)
        return page

    def _number(self, shown: str) -> Format:
        if shown not in self._numbers:
            self._numbers[shown] = self._workbook.add_format({"num_format": shown, "font_size": 10, "valign": "top"})
        return self._numbers[shown]

    def _write_text(self, page: Worksheet, row: int, place: int, typed: str, shown: Format, width: float) -> int:
        """Write a text and tell how many lines of its column it takes."""
        text = controls_named(typed).translate(_BLANKS)
        if len(text) > _LONGEST_PIECE:
            pieces = [text[start : start + _LONGEST_PIECE] for start in range(0, len(text), _LONGEST_PIECE)]
            first, last = len(self._rests) + 1, len(self._rests) + len(pieces) - 1
            self._rests += pieces[1:]
            text = f"{pieces[0]}⟨goes on in the sheet Long texts, rows {first} to {last}⟩"
        page.write_string(row, place, text, shown)
        return 1 if len(text) < width and "\n" not in text else _lines(text, width)

    @staticmethod
    def _heighten(page: Worksheet, row: int, lines: int) -> None:
        """Give a row the height of its lines: not every program does that by itself."""
        if lines > 1:
            page.set_row(row, min(lines * _LINE, _HIGHEST_ROW))


def _row_in_two(row: TableRow, columns: Sequence[TableColumn]) -> tuple[str, str]:
    """What a row is of, and what its other cells say under their labels."""
    first, *others = (on_one_line(cell.text) for cell in row.cells)
    told = (f"{column.label}: {text}" for column, text in zip(columns[1:], others, strict=True) if text)
    return first, "; ".join(told)


def _signatures_in_two(signatures: Signatures) -> Iterator[tuple[str, str]]:
    yield from signatures.lines
    if signatures.signed is not None:
        yield "", f"{signatures.signed.text} {signatures.signed.on}"


# What a block of the first page says, as label and text.
_IN_TWO: Mapping[type, Callable[[Any], Iterable[tuple[str, str]]]] = {
    Letterhead: lambda head: [(head.name, "\n".join(head.said))],
    Strip: lambda strip: strip.facts,
    Notice: lambda notice: [(notice.lead, unmarked(notice.text))],
    Paragraph: lambda paragraph: [("", unmarked(paragraph.text))],
    Bullets: lambda bullets: [("", unmarked(item)) for item in bullets.items],
    Table: lambda table: [_row_in_two(row, table.columns) for row in table.rows],
    Picture: lambda picture: [("", picture.alternative)],
    Signatures: _signatures_in_two,
}


def _lines(text: str, width: float) -> int:
    """Lines that a text takes, wrapped at words, in a column of so many signs."""
    return sum(ceil((len(line) + 1) / (_FILLED * width)) or 1 for line in text.split("\n"))


def _shortened(text: str) -> str:
    return shortened(" ".join(controls_named(text).split()), _LONGEST_IN_FOOTER)


def _in_footer(text: str) -> str:
    """`&` begins a code in a footer; two of them are the sign itself."""
    return text.replace("&", "&&")
