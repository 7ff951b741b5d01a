"""The report as one HTML page that needs nothing beside it: for screens of any width, for paper, to paste into a letter.

Everything typed is escaped, and what may turn the direction of a line is set apart, so that it turns nothing but itself.
"""

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import partial
from html import escape
from typing import Any

from calib.faces.drawings import as_svg
from calib.faces.report.blocks import (
    Block,
    Bullets,
    Formula,
    Heading,
    Layout,
    Mark,
    Notice,
    Paragraph,
    Picture,
    Run,
    Runs,
    Signatures,
    Strip,
    Table,
    TableColumn,
    TableRow,
    Title,
)
from calib.faces.report.page_style import on_paper, style
from calib.faces.written import SIGNS

# Letters that are written from right to left, and the marks that turn a direction without being seen.
_TURNING = re.compile(
    "[\u0590-\u08ff\u200e\u200f\u202a-\u202e\u2066-\u2069\ufb1d-\ufdff\ufe70-\ufefc\U00010800-\U00010fff\U0001e800-\U0001efff]"
)
# Nothing is fetched and nothing runs, whatever a page may hold.
_POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"
# Parts of a drawing that other parts use; names of the others would be those of parts of the next drawing too.
_NAMED = re.compile(r"(?:href=\"#|url\(#)([^\")]+)")
_NAME = re.compile(r" id=\"([^\"]+)\"")


def drawn(one: Picture) -> str:
    """A picture within the page itself, in lines that stay sharp at every size."""
    drawing = as_svg(one.figure, one.name)
    named = set(_NAMED.findall(drawing))
    drawing = _NAME.sub(lambda found: found[0] if found[1] in named else "", drawing)
    return drawing.replace("<svg ", f'<svg role="img" aria-label="{attribute(one.alternative)}" ', 1)


def typeset(one: Formula) -> str:
    """A formula as the page's reader sets it."""
    return f'<math display="block">{one.mathml}</math>'


def as_html(
    layout: Layout, picture: Callable[[Picture], str] = drawn, formula: Callable[[Formula], str] = typeset
) -> str:
    """The page; `picture` and `formula` write those otherwise for a reader who cannot show them so."""
    forms: dict[type, Callable[[Any], Iterator[str]]] = {
        Picture: partial(_picture, drawn=picture),
        Formula: partial(_formula, typeset=formula),
    }
    title = attribute(f"{layout.job}: air flow report")
    return "".join(
        (
            f'<!DOCTYPE html>\n<html lang="{escape(layout.language)}">\n<head>\n<meta charset="utf-8">\n',
            f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">\n',
            '<meta name="viewport" content="width=device-width, initial-scale=1">\n',
            f"<title>{title}</title>\n<style>\n{style()}{on_paper(layout)}</style>\n</head>\n<body>\n<main>\n",
            *_written(layout.blocks, _FORMS | forms),
            "</main>\n</body>\n</html>\n",
        )
    )


def _written(blocks: Sequence[Block], forms: Mapping[type, Callable[[Any], Iterator[str]]]) -> Iterator[str]:
    contents = [one for one in blocks if isinstance(one, Heading) and one.level == 2 and one.anchor]
    for one in blocks:
        yield from forms[type(one)](one)
        if isinstance(one, Strip):
            yield from _contents(contents)


# --- text ------------------------------------------------------------------------------------------------------------------------


def _text(text: str) -> str:
    """Typed text within the page."""
    if not text.isascii() and _TURNING.search(text):
        return f"<bdi>{escape(text)}</bdi>"
    return escape(text)


def attribute(text: str) -> str:
    """Typed text within an attribute, or as the page's title: signs of isolation stand for the element."""
    if not text.isascii() and _TURNING.search(text):
        return f"\u2068{escape(text)}\u2069"
    return escape(text)


_MARKS = {
    Mark.STRONG: "<strong>{}</strong>",
    Mark.SOFT: '<span class="soft">{}</span>',
    Mark.CODE: "<code>{}</code>",
}


def _run(one: Run) -> str:
    if one.mark is Mark.PLAIN:
        text = _text(one.text)
    elif one.mark is Mark.STATEMENT:
        sign = SIGNS.get(one.text)
        text = f'<span class="word {one.text.replace(" ", "-")}">{sign} {one.text}</span>' if sign else _text(one.text)
    else:
        text = _MARKS[one.mark].format(_text(one.text))
    return text if one.to is None else f'<a href="#{one.to}">{text}</a>'


def _runs(runs: Runs) -> str:
    return _run(runs[0]) if len(runs) == 1 else "".join(map(_run, runs))


def _anchored(anchor: str | None) -> str:
    return f' id="{anchor}"' if anchor else ""


# --- blocks ----------------------------------------------------------------------------------------------------------------------


def _title(one: Title) -> Iterator[str]:
    yield f'<h1>{_text(one.text)}</h1>\n<p class="below">{_text(one.below)}</p>\n'


def _strip(one: Strip) -> Iterator[str]:
    facts = (f"<div><dt>{_text(label)}</dt><dd>{_text(said)}</dd></div>\n" for label, said in one.facts)
    yield f'<dl class="strip">\n{"".join(facts)}</dl>\n'


def _contents(headings: Sequence[Heading]) -> Iterator[str]:
    links = (f'<a href="#{one.anchor}">{_text(one.text)}</a>\n' for one in headings)
    yield f'<nav aria-label="Contents">\n{"".join(links)}</nav>\n'


def _notice(one: Notice) -> Iterator[str]:
    yield f'<p class="notice"><strong>{_text(one.lead)}</strong> {_runs(one.text)}</p>\n'


def _heading(one: Heading) -> Iterator[str]:
    kind = ' class="page"' if one.begins_page else ""
    yield f"<h{one.level}{_anchored(one.anchor)}{kind}>{_text(one.text)}</h{one.level}>\n"


def _paragraph(one: Paragraph) -> Iterator[str]:
    soft = ' class="soft"' if one.soft else ""
    yield f"<p{_anchored(one.anchor)}{soft}>{_runs(one.text)}</p>\n"


def _bullets(one: Bullets) -> Iterator[str]:
    yield "<ul>\n"
    yield from (f"<li>{_runs(item)}</li>\n" for item in one.items)
    yield "</ul>\n"


def _picture(one: Picture, drawn: Callable[[Picture], str]) -> Iterator[str]:
    caption = f"<figcaption>{_runs(one.caption)}</figcaption>\n" if one.caption else ""
    yield f"<figure{_anchored(one.anchor)}>\n{drawn(one)}\n{caption}</figure>\n"


def _formula(one: Formula, typeset: Callable[[Formula], str]) -> Iterator[str]:
    yield f'<p class="formula">{typeset(one)}</p>\n'


def _signatures(one: Signatures) -> Iterator[str]:
    yield '<table class="signatures"><thead><tr><th scope="col"></th><th scope="col">Name</th>'
    yield '<th scope="col">Signature</th><th scope="col">Date</th></tr></thead>\n<tbody>\n'
    for role, name in one.lines:
        yield f'<tr><th scope="row">{_text(role)}</th><td>{_text(name)}</td><td></td><td></td></tr>\n'
    yield "</tbody></table>\n"


# --- tables ----------------------------------------------------------------------------------------------------------------------


def _table(one: Table) -> Iterator[str]:
    kind = "cards compact" if one.is_compact else "cards"
    caption = f"<caption>{_runs(one.caption)}</caption>" if one.caption else ""
    heads = "".join(f'<th scope="col"{_class(each)}>{_text(each.label)}</th>' for each in one.columns)
    yield f'<table class="{kind}" aria-label="{attribute(one.name)}">{caption}<thead><tr>{heads}</tr></thead>\n<tbody>\n'
    opening = [_opening(each, is_first=place == 0) for place, each in enumerate(one.columns)]
    yield from (_row(each, opening) for each in one.rows)
    yield "</tbody></table>\n"


def _class(one: TableColumn) -> str:
    names = " ".join(name for name, holds in (("n", one.is_number), ("w", one.is_wordy), ("s", one.is_short)) if holds)
    return f' class="{names}"' if names else ""


def _opening(one: TableColumn, *, is_first: bool) -> str:
    """The tag of a column's cells; the first cell of a row says what the row is of."""
    return f'<th scope="row"{_class(one)}>' if is_first else f'<td{_class(one)} data-label="{attribute(one.label)}">'


def _row(one: TableRow, opening: Sequence[str]) -> str:
    kind = ' class="total"' if one.is_total else ""
    parts = [f"<tr{_anchored(one.anchor)}{kind}>"]
    closing = "</th>"
    for cell, tag in zip(one.cells, opening, strict=True):
        parts += (tag, _runs(cell.text) if cell.text else "", closing)
        closing = "</td>"
    parts.append("</tr>\n")
    return "".join(parts)


_FORMS: dict[type, Callable[[Any], Iterator[str]]] = {
    Title: _title,
    Strip: _strip,
    Notice: _notice,
    Heading: _heading,
    Paragraph: _paragraph,
    Bullets: _bullets,
    Table: _table,
    Signatures: _signatures,
}
