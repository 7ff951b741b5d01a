"""A report as plain text, for a reader who is shown no page: every word and number of it, the pictures as what they tell."""

import re
from collections.abc import Callable, Iterator, Sequence
from textwrap import wrap
from typing import Any

from calib.faces.plain_text import controls_named
from calib.faces.report.blocks import (
    Bullets,
    Formula,
    Heading,
    Layout,
    Letterhead,
    Notice,
    Paragraph,
    Photographs,
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
from calib.faces.written import QUANTITY

_WIDTH = 76  # signs: RFC 5322, 2.1.1 would have lines of 78 at the most
_HELD = (
    "\ufdd0"  # a space at which no line is broken: a sign that is none, kept for a program's own use (Unicode, 23.7)
)
_QUANTITY = re.compile(QUANTITY)
_UNDER = {2: "=", 3: "-"}


def as_plain_text(layout: Layout) -> str:
    """The report in lines."""
    return "\n".join(line for block in layout.blocks for line in (*_FORMS[type(block)](block), "")) + "\n"


def _wrapped(text: str, first: str = "", after: str = "") -> Iterator[str]:
    held = _QUANTITY.sub(lambda quantity: quantity[0].replace(" ", _HELD), controls_named(text))
    lines = held.split("\n")
    for place, line in enumerate(lines):
        begin = after if place else first
        wrapped = wrap(
            line, _WIDTH, initial_indent=begin, subsequent_indent=after, break_long_words=False, break_on_hyphens=False
        )
        yield from (each.replace(_HELD, " ") for each in wrapped or [begin.rstrip()])


def _letterhead(head: Letterhead) -> Iterator[str]:
    for line in (head.name, *head.said):
        yield from _wrapped(line)


def _title(title: Title) -> Iterator[str]:
    yield from _wrapped(title.text)
    yield from _wrapped(title.below)


def _strip(strip: Strip) -> Iterator[str]:
    for label, said in strip.facts:
        yield from _wrapped(f"{label}: {said}", after="  ")


def _notice(notice: Notice) -> Iterator[str]:
    yield from _wrapped(f"{notice.lead} {unmarked(notice.text)}", "! ", "  ")


def _heading(heading: Heading) -> Iterator[str]:
    lines = list(_wrapped(heading.text))
    yield from lines
    yield _UNDER.get(heading.level, "-") * min(max(map(len, lines)), _WIDTH)


def _paragraph(paragraph: Paragraph) -> Iterator[str]:
    yield from _wrapped(unmarked(paragraph.text))


def _bullets(bullets: Bullets) -> Iterator[str]:
    for item in bullets.items:
        yield from _wrapped(unmarked(item), "* ", "  ")


def _table(table: Table) -> Iterator[str]:
    if table.caption:
        yield from _wrapped(unmarked(table.caption))
    for row in table.rows:
        yield from _row(row, table.columns)


def _row(row: TableRow, columns: Sequence[TableColumn]) -> Iterator[str]:
    """What the row is of, then what each filled cell says; a number stays on one line with its uncertainty and unit."""
    texts = [on_one_line(cell.text) for cell in row.cells]
    said = [
        f"{column.label}: {text.replace(' ', _HELD) if column.is_number else text}"
        for column, text in zip(columns[1:], texts[1:], strict=True)
        if text
    ]
    line = f"{texts[0]}: {'; '.join(said)}" if said else texts[0]
    yield from _wrapped(line, "* ", "  ")


def _picture(picture: Picture) -> Iterator[str]:
    yield from _wrapped(f"[Picture: {picture.alternative}]")
    if picture.caption:
        yield from _wrapped(unmarked(picture.caption))


def _photographs(block: Photographs) -> Iterator[str]:
    for each in block.photographs:
        yield from _wrapped(f"[Photograph: {unmarked(each.caption)}]")


def _formula(formula: Formula) -> Iterator[str]:
    yield from _wrapped(formula.plain, "    ", "    ")


def _signatures(signatures: Signatures) -> Iterator[str]:
    for place, (role, name) in enumerate(signatures.lines):
        signed = signatures.signed if place == 0 else None
        said = "" if signed is None else f", {signed.on}. {signed.text}"
        yield from _wrapped(f"{role}: {name or '____________________'}{said}")


_FORMS: dict[type, Callable[[Any], Iterator[str]]] = {
    Letterhead: _letterhead,
    Title: _title,
    Strip: _strip,
    Notice: _notice,
    Heading: _heading,
    Paragraph: _paragraph,
    Bullets: _bullets,
    Table: _table,
    Picture: _picture,
    Photographs: _photographs,
    Formula: _formula,
    Signatures: _signatures,
}
