"""The report as one HTML page that needs nothing beside it: for screens of any width, for paper, to paste into a letter.

Everything typed is escaped, and what may turn the direction of a line is set apart, so that it turns nothing but itself.
"""

import re
from base64 import b64encode
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial
from html import escape
from typing import Any

from calib.faces.drawings import as_svg
from calib.faces.drawings.style import COLUMN_WIDTH
from calib.faces.report.blocks import (
    Bar,
    Block,
    Bullets,
    Formula,
    Heading,
    Layout,
    Letterhead,
    Mark,
    Notice,
    Paragraph,
    Photographs,
    Picture,
    Run,
    Runs,
    Signatures,
    Strip,
    Table,
    TableColumn,
    TableRow,
    Title,
    unmarked,
)
from calib.faces.report.column_widths import LONGEST_UNBROKEN, syllables
from calib.faces.report.page_style import on_paper, style
from calib.faces.report.symbols import letter_and_subscript, with_symbols
from calib.faces.written import QUANTITY, SIGNS

# Letters that are written from right to left, and the marks that turn a direction without being seen.
_TURNING = re.compile(
    "[\u0590-\u08ff\u200e\u200f\u202a-\u202e\u2066-\u2069\ufb1d-\ufdff\ufe70-\ufefc\U00010800-\U00010fff\U0001e800-\U0001efff]"
)
# On one line: a date, and a time with its difference from UTC (within a longer number or word none is one); a value and its unit.
_ON_ONE_LINE = re.compile(
    rf"(?<![\w.:-])(?:\d{{4}}-\d\d-\d\d|\d\d:\d\d(?::\d\d)?(?:[+-]\d\d:\d\d|Z)?)(?![\w:-])|(?<![\w.])\(?{QUANTITY}"
)
# Nothing is fetched and nothing runs, whatever a page may hold.
_POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"
_Forms = Mapping[type, Callable[[Any], Iterator[str]]]
_MOST_ROWS_OPEN = 8  # of a table on the first page: some screens of a telephone
# Parts of a drawing that other parts use; names of the others would be those of parts of the next drawing too.
_NAMED = re.compile(r"(?:href=\"#|url\(#)([^\")]+)")
_NAME = re.compile(r" id=\"([^\"]+)\"")


def drawn(picture: Picture) -> str:
    """A picture within the page itself, in lines that stay sharp at every size."""
    drawing = as_svg(picture.figure, picture.name)
    named = set(_NAMED.findall(drawing))
    drawing = _NAME.sub(lambda named_part: named_part[0] if named_part[1] in named else "", drawing)
    return drawing.replace("<svg ", f'<svg role="img" aria-label="{attribute(picture.alternative)}" ', 1)


def mark_within(head: Letterhead) -> str:
    """The picture that stands for the company, within the page itself."""
    return f"data:{head.media_type};base64,{b64encode(head.mark or b'').decode()}"


def as_html(
    layout: Layout,
    picture: Callable[[Picture], str] = drawn,
    mark: Callable[[Letterhead], str] = mark_within,
    *,
    is_folded: bool = True,
) -> str:
    """The page; `picture` and `mark`, the address of the company's, say otherwise where those stand that it cannot hold itself.

    What follows its first page is folded, section by section, and so are all but the first rows of a long table there.
    """
    forms: _Forms = {**_FORMS, Picture: partial(_picture, drawn=picture), Letterhead: partial(_letterhead, mark=mark)}
    title = attribute(f"{layout.job}: {layout.kind}")
    return "".join(
        (
            f'<!DOCTYPE html>\n<html lang="{escape(layout.language)}">\n<head>\n<meta charset="utf-8">\n',
            f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">\n',
            '<meta name="viewport" content="width=device-width, initial-scale=1">\n',
            f"<title>{title}</title>\n<style>\n{style()}{on_paper(layout)}</style>\n</head>\n<body>\n",
            '<main class="close">\n' if layout.is_close else "<main>\n",
            *(_folded(layout, forms) if is_folded else _written(layout.blocks, forms)),
            "</main>\n</body>\n</html>\n",
        )
    )


def within_a_page(layout: Layout, *, is_folded: bool = True) -> str:
    """The sections of a report to stand within another page that has its `style`: words stand for its pictures, none signs it."""
    letterhead, picture = partial(_letterhead, mark=mark_within), partial(_picture, drawn=_in_words)
    forms: _Forms = {**_FORMS, Picture: picture, Letterhead: letterhead, Signatures: lambda _: iter(())}
    return "".join(_folded(layout, forms) if is_folded else _written(layout.blocks, forms))


def _in_words(picture: Picture) -> str:
    return f'<p class="soft">{_text(picture.alternative)}</p>'


def _written(blocks: Sequence[Block], forms: _Forms) -> Iterator[str]:
    for block in blocks:
        yield from forms[type(block)](block)


def _folded(layout: Layout, forms: _Forms) -> Iterator[str]:
    first, *rest = layout.parts
    yield from _written(first, {**forms, Table: _table_begun})
    for part in rest:
        heading = part[0]
        if isinstance(heading, Heading):
            yield _unfolding(
                f"<h{heading.level}>{_text(heading.text)}</h{heading.level}>", begins_page=heading.begins_page
            )
            # A link opens what it leads into, and not what it leads to: the place is within what is folded.
            columns = ' class="columns"' if heading.is_in_columns else ""
            yield f"<div{_anchored(heading.anchor)}{columns}>\n"
            yield from _written(part[1:], forms)
            yield "</div>\n</details>\n"
        else:
            yield from _written(part, forms)


def _unfolding(said: str, *, begins_page: bool = False) -> str:
    kind = ' class="begins"' if begins_page else ""
    return f"<details{kind}>\n<summary>{said}</summary>\n"


# --- text ------------------------------------------------------------------------------------------------------------------------


def _text(text: str) -> str:
    """Typed text within the page; a date, a time and a value with its unit stand on one line each."""
    said = _ON_ONE_LINE.sub(r'<span class="at">\g<0></span>', escape(text))
    return f"<bdi>{said}</bdi>" if not text.isascii() and _TURNING.search(text) else said


def attribute(text: str) -> str:
    """Typed text within an attribute, or as the page's title: signs of isolation stand for the element."""
    if not text.isascii() and _TURNING.search(text):
        return f"\u2068{escape(text)}\u2069"
    return escape(text)


_MARKS = {Mark.STRONG: "<strong>{}</strong>", Mark.SOFT: '<span class="soft">{}</span>', Mark.CODE: "<code>{}</code>"}


def _run(run: Run) -> str:
    if run.mark is Mark.PLAIN:
        text = _text(run.text)
    elif run.mark is Mark.STATEMENT:
        sign = SIGNS.get(run.text)
        text = f'<span class="word {run.text.replace(" ", "-")}">{sign} {run.text}</span>' if sign else _text(run.text)
    elif run.mark is Mark.SYMBOL:
        parts = letter_and_subscript(run.text)
        text = _text(run.text) if parts is None else "<i>{}</i><sub>{}</sub>".format(*parts)
    else:
        text = _MARKS[run.mark].format(_text(run.text))
    return text if run.to is None else f'<a href="#{run.to}">{text}</a>'


def _runs(runs: Runs) -> str:
    return _run(runs[0]) if len(runs) == 1 else "".join(map(_run, runs))


def _anchored(anchor: str | None) -> str:
    return f' id="{anchor}"' if anchor else ""


# --- blocks ----------------------------------------------------------------------------------------------------------------------


def _letterhead(head: Letterhead, mark: Callable[[Letterhead], str]) -> Iterator[str]:
    yield '<p class="letterhead">'
    if head.mark is not None:
        yield f'<img class="mark" alt="" src="{mark(head)}">'
    yield f"<strong>{_text(head.name)}</strong>"
    yield "".join(f"<br>{_text(line)}" for line in head.said)
    yield "</p>\n"


def _title(title: Title) -> Iterator[str]:
    yield f'<h1>{_text(title.text)}</h1>\n<p class="below">{_text(title.below)}</p>\n'


def _strip(strip: Strip) -> Iterator[str]:
    facts = (f"<div><dt>{_text(label)}</dt><dd>{_text(said)}</dd></div>\n" for label, said in strip.facts)
    yield f'<dl class="strip">\n{"".join(facts)}</dl>\n'


def _notice(notice: Notice) -> Iterator[str]:
    yield f'<p class="notice"><strong>{_text(notice.lead)}</strong> {_runs(notice.text)}</p>\n'


def _heading(heading: Heading) -> Iterator[str]:
    kind = ' class="begins"' if heading.begins_page else ""
    yield f"<h{heading.level}{_anchored(heading.anchor)}{kind}>{_text(heading.text)}</h{heading.level}>\n"


def _paragraph(paragraph: Paragraph) -> Iterator[str]:
    soft = ' class="soft"' if paragraph.soft else ""
    yield f"<p{_anchored(paragraph.anchor)}{soft}>{_runs(paragraph.text)}</p>\n"


def _bullets(bullets: Bullets) -> Iterator[str]:
    yield "<ul>\n"
    yield from (f"<li>{_runs(item)}</li>\n" for item in bullets.items)
    yield "</ul>\n"


def _picture(picture: Picture, drawn: Callable[[Picture], str]) -> Iterator[str]:
    caption = f"<figcaption>{_runs(picture.caption)}</figcaption>\n" if picture.caption else ""
    kind = "" if picture.figure.get_figwidth() > COLUMN_WIDTH else ' class="small"'
    yield f'<figure{_anchored(picture.anchor)}{kind} tabindex="0">\n{drawn(picture)}\n{caption}</figure>\n'


def _photographs(block: Photographs) -> Iterator[str]:
    yield '<div class="photographs">\n'
    for each in block.photographs:
        picture = f"data:image/jpeg;base64,{b64encode(each.jpeg).decode()}"
        yield f'<figure><img alt="{attribute(each.alternative)}" src="{picture}">\n'
        yield f"<figcaption>{_runs(each.caption)}</figcaption></figure>\n"
    yield "</div>\n"


def _formula(formula: Formula) -> Iterator[str]:
    yield f'<p class="formula" tabindex="0"><math display="block">{formula.mathml}</math></p>\n'


def _signatures(signatures: Signatures) -> Iterator[str]:
    yield '<table class="signatures"><thead><tr><th scope="col">Role</th><th scope="col">Name</th>'
    yield '<th scope="col">Signature</th><th scope="col">Date</th></tr></thead>\n<tbody>\n'
    for place, (role, name) in enumerate(signatures.lines):
        signed = signatures.signed if place == 0 else None
        by_hand = (
            "<td></td><td></td>" if signed is None else f"<td>{_text(signed.text)}</td><td>{_text(signed.on)}</td>"
        )
        yield f'<tr><th scope="row">{_text(role)}</th><td>{_text(name)}</td>{by_hand}</tr>\n'
    yield "</tbody></table>\n"


# --- tables ----------------------------------------------------------------------------------------------------------------------


def _table(table: Table) -> Iterator[str]:
    kind = "cards compact" if table.is_compact else "cards"
    caption = f"<caption>{_runs(table.caption)}</caption>" if table.caption else ""
    columns = [_breaking(each, table.rows, place) for place, each in enumerate(table.columns)]
    heads = "".join(f'<th scope="col"{_class(each)}>{_head(each.label)}</th>' for each in columns)
    yield f'<table class="{kind}" aria-label="{attribute(table.name)}">{caption}<thead><tr>{heads}</tr></thead>\n<tbody>\n'
    opening = [_opening(each, is_first=place == 0) for place, each in enumerate(columns)]
    yield from (_row(each, opening) for each in table.rows)
    yield "</tbody></table>\n"


def _breaking(column: TableColumn, rows: Sequence[TableRow], place: int) -> TableColumn:
    """A column as it is set: one that asks for one line, and has a longer text, is broken."""
    if column.is_short and any(len(unmarked(row.cells[place].text)) > LONGEST_UNBROKEN for row in rows):
        return replace(column, is_short=False)
    return column


def _head(label: str) -> str:
    """The words at the head of a column: a long one may be parted, and says so."""
    return "&shy;".join(syllables(_runs(with_symbols(label))))


def _table_begun(table: Table) -> Iterator[str]:
    """A table of the first page: the rows that are read first, and the others folded."""
    rows = table.rows
    if len(rows) <= _MOST_ROWS_OPEN:
        yield from _table(table)
        return
    yield from _table(replace(table, rows=rows[:_MOST_ROWS_OPEN]))
    yield _unfolding(f"{len(rows) - _MOST_ROWS_OPEN} more: {_text(table.name)}")
    yield from _table(replace(table, name=f"{table.name}, continued", rows=rows[_MOST_ROWS_OPEN:], caption=()))
    yield "</details>\n"


def _class(column: TableColumn) -> str:
    names = " ".join(
        name for name, holds in (("n", column.is_number), ("w", column.is_wordy), ("s", column.is_short)) if holds
    )
    return f' class="{names}"' if names else ""


def _opening(column: TableColumn, *, is_first: bool) -> str:
    """The tag of a column's cells; the first cell of a row says what the row is of."""
    return (
        f'<th scope="row"{_class(column)}>'
        if is_first
        else f'<td{_class(column)} data-label="{attribute(column.label)}">'
    )


def _row(row: TableRow, opening: Sequence[str]) -> str:
    kind = ' class="total"' if row.is_total else ""
    parts = [f"<tr{_anchored(row.anchor)}{kind}>"]
    closing = "</th>"
    for cell, tag in zip(row.cells, opening, strict=True):
        parts += (tag, _runs(cell.text) if cell.text else "", "" if cell.bar is None else _bar(cell.bar), closing)
        closing = "</td>"
    parts.append("</tr>\n")
    return "".join(parts)


def _bar(bar: Bar) -> str:
    """The small picture of a cell: the row says the same in words."""
    low, value, high = (f"{_BAR_WIDTH * at:.3g}" for at in (bar.low, bar.value, bar.high))
    limits = (
        "" if bar.band is None else _BAND.format(_BAR_WIDTH * bar.band[0], _BAR_WIDTH * (bar.band[1] - bar.band[0]))
    )
    kind = "bar outside" if bar.is_outside else "bar"
    return (
        f'<svg class="{kind}" viewBox="0 0 {_BAR_WIDTH} 9" aria-hidden="true">{limits}<path d="M{_BAR_WIDTH // 2} 1v7"/>'
        f'<path class="u" d="M{low} 4.5H{high}"/><circle cx="{value}" cy="4.5" r="2"/></svg>'
    )


_BAR_WIDTH = 60
_BAND = '<rect x="{:.3g}" y="1" width="{:.3g}" height="7"/>'
_FORMS: dict[type, Callable[[Any], Iterator[str]]] = {
    Title: _title,
    Strip: _strip,
    Notice: _notice,
    Heading: _heading,
    Paragraph: _paragraph,
    Bullets: _bullets,
    Table: _table,
    Formula: _formula,
    Photographs: _photographs,
    Signatures: _signatures,
}
