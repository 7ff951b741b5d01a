"""Blocks of a report as the template that typesets them reads them: JSON, in which every typed text is a string.

A text is told as a string where nothing is to be said of it, or else as an object: the pieces between which its lines may be
broken, how it is set, where it leads, whether a sign of it is shown by its number. Formulas alone are told as mathematics of the
typesetter.

Decision (2026-11-29): of more than a thousand links in tables only those that lead on are set, of several in one table to one place
the first. Options: every link (70 kB each and a third of the time, since the typesetter lays each out again once places are known:
620 MB for 1,000 readings); none. Cost: from a budget of a large job no link leads back to its flow in the PDF; the page has it.
"""

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

from calib.faces.drawings import as_svg
from calib.faces.report import column_widths as widths
from calib.faces.report.blocks import (
    Block,
    Bullets,
    Cell,
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
    SignedInPdf,
    Strip,
    Table,
    TableColumn,
    TableRow,
    Title,
    unmarked,
)
from calib.faces.report.typeset_signs import LONGEST_UNSEEN, NUMBERED, showable, shown_in_svg, unseen
from calib.faces.written import SIGNS

_LONGEST_WORD = 28  # signs in running text
_LONGEST_WORD_OF_FACT = 16
_MOST_BETWEEN = 3  # blocks between a heading and the wide table that it goes with
_MOST_ROWS_BESIDE = 25  # of tables, for a picture to be on their page
_MOST_ROWS_WHOLE = 12  # of a table that is not parted by the end of a page
# Signs of a cell: a row with one of fewer is a line or two, one with more may not find room on a page, and is parted by its end.
_SHORT_CELL, _LONG_CELL = 60, 1_200
_MOST_LINKS = 1_000  # in tables, of which every one is set
_TALLEST = 0.88  # of a page's text, for a picture

Told = dict[str, Any]


class Typesetting:
    """The blocks of one report, told one after the other for pages of one size."""

    def __init__(self, layout: Layout, upright: float, on_side: float) -> None:
        """Room for text [pt] in the width of an upright page and of one on its side."""
        self._blocks, self._upright, self._on_side = layout.blocks, upright, on_side
        self._labels: dict[str, str] = {}
        for block in layout.blocks:
            for anchor in _anchors(block):
                self._labels.setdefault(anchor, f"place-{len(self._labels)}")
        self._placed: set[str] = set()
        links = (run.to for block in layout.blocks for run in _runs_of_cells(block) if run.to)
        self._has_many_links = sum(to in self._labels for to in links) > _MOST_LINKS
        self._linked: set[str] = set()  # from the table that is told
        self._level = 0
        self.pictures: dict[str, bytes] = {}

    def blocks(self) -> list[Told]:
        """Every block; `on_side`: on a page that lies on its side, `sticks`: on one page with the next, where there is room."""
        columns = self._columns()
        on_side = _on_side(self._blocks, {place for place, each in columns.items() if each.setting.on_side})
        with_picture = _with_picture(self._blocks)
        return [
            {**self._told(block, columns.get(place)), "on_side": place in on_side, "sticks": place in with_picture}
            for place, block in enumerate(self._blocks)
        ]

    def _columns(self) -> dict[int, widths.Columns]:
        """Columns of each table by its place; tables with one head have one set of columns."""
        alike: dict[tuple[TableColumn, ...], list[int]] = {}
        for place, block in enumerate(self._blocks):
            if isinstance(block, Table):
                alike.setdefault(block.columns, []).append(place)
        out = {}
        for places in alike.values():
            tables = [block for block in (self._blocks[place] for place in places) if isinstance(block, Table)]
            whole = replace(tables[0], rows=tuple(row for table in tables for row in table.rows))
            out.update(dict.fromkeys(places, widths.columns_of(whole, self._upright, self._on_side)))
        return out

    def _told(self, block: Block, columns: widths.Columns | None) -> Told:
        if isinstance(block, Table) and columns is not None:
            return self._table(block, columns)
        telling: dict[type, Callable[[Any], Told]] = {
            Letterhead: self._letterhead,
            Title: _title,
            Strip: _strip,
            Notice: self._notice,
            Heading: self._heading,
            Paragraph: self._paragraph,
            Bullets: self._bullets,
            Picture: self._picture,
            Photographs: self._photographs,
            Formula: _formula,
            Signatures: _signatures,
        }
        return telling[type(block)](block)

    def _letterhead(self, head: Letterhead) -> Told:
        file: str | None = None
        if head.mark is not None:
            file = "mark.json"
            self.pictures[file] = json.dumps(list(head.mark)).encode()  # the wheel takes text alone
        return {
            "kind": "letterhead",
            "name": typeset_text(head.name),
            "said": [typeset_text(line) for line in head.said],
            "mark": file,
            "alternative": unseen(f"Mark of {head.name}"),
        }

    def _notice(self, notice: Notice) -> Told:
        return {"kind": "notice", "lead": typeset_text(notice.lead), "text": self._runs(notice.text)}

    def _paragraph(self, paragraph: Paragraph) -> Told:
        return {
            "kind": "paragraph",
            "text": self._runs(paragraph.text),
            "soft": paragraph.soft,
            **self._place(paragraph.anchor),
        }

    def _bullets(self, bullets: Bullets) -> Told:
        return {"kind": "bullets", "items": [self._runs(item) for item in bullets.items]}

    def _heading(self, heading: Heading) -> Told:
        self._level = min(heading.level - 1, self._level + 1)  # no level is left out: PDF/UA-1, 7.4.2
        return {
            "kind": "heading",
            "level": self._level,
            "text": typeset_text(heading.text.strip() or "–"),
            "bookmark": len(heading.text) <= LONGEST_UNSEEN,
            **self._place(heading.anchor),
        }

    def _table(self, table: Table, columns: widths.Columns) -> Told:
        longest = columns.setting.longest_word
        self._linked.clear()
        return {
            "kind": "table",
            "name": showable(table.name),
            # Of each label its words, and of each word the pieces between which it may be broken.
            "labels": [
                [widths.pieces(word, longest) for word in showable(each.label).split(" ")] for each in table.columns
            ],
            "widths": columns.widths,
            "insets": [{"left": left, "right": columns.right} for left in columns.left],
            "right": [column.is_number for column in table.columns],
            "size": columns.setting.size,
            "caption": self._runs(table.caption),
            "rows": [self._row(row, table.columns, longest) for row in table.rows],
            "all_total": all(row.is_total for row in table.rows),
            "to_fill": table.is_to_fill,
            "whole": (table.is_compact or table.is_to_fill) and len(table.rows) <= _MOST_ROWS_WHOLE,
        }

    def _row(self, row: TableRow, columns: Sequence[TableColumn], longest: int) -> Told:
        cells = [self._cell(cell, longest) for cell in row.cells[: len(columns)]]
        cells += [""] * (len(columns) - len(cells))
        signs = max((len(unmarked(cell.text)) for cell in row.cells), default=0)
        whole = {"whole": True} if _SHORT_CELL < signs < _LONG_CELL else {}
        return {"cells": cells, "total": row.is_total, **whole, **self._place(row.anchor)}

    def _cell(self, cell: Cell, longest: int) -> Any:
        if not cell.text:
            return ""
        told = self._runs(tuple(self._without_spare_link(run) for run in cell.text), longest)
        return told[0] if len(told) == 1 else {"runs": told}

    def _without_spare_link(self, run: Run) -> Run:
        """A run of a table: where there are many links, without one that leads back, or where the table leads already."""
        if not (run.to and self._has_many_links):
            return run
        if run.to in self._placed or run.to in self._linked:
            return replace(run, to=None)
        self._linked.add(run.to)
        return run

    def _runs(self, runs: Runs, longest: int = _LONGEST_WORD) -> list[Any]:
        return [self._run(run, longest) for run in runs]

    def _run(self, run: Run, longest: int) -> Any:
        label = self._labels.get(run.to) if run.to else None
        said = typeset_text(run.text, longest)
        if run.mark is Mark.PLAIN and label is None:
            return said
        told: Told = said if isinstance(said, dict) else {"pieces": [said]}
        told["mark"] = run.mark.value
        if run.mark is Mark.STATEMENT:
            told["sign"] = SIGNS.get(run.text, "")
        if label is not None:
            told["to"] = label
        return told

    def _picture(self, picture: Picture) -> Told:
        file = f"picture-{len(self.pictures)}.svg"
        self.pictures[file] = shown_in_svg(as_svg(picture.figure, picture.name)).encode()
        wide, high = (72 * float(side) for side in picture.figure.get_size_inches())
        return {
            "kind": "picture",
            "file": file,
            "width": min(wide, self._upright, _TALLEST * self._on_side * wide / high),
            "alternative": unseen(picture.alternative or picture.name) or "picture",
            "caption": self._runs(picture.caption),
            **self._place(picture.anchor),
        }

    def _photographs(self, block: Photographs) -> Told:
        told = []
        for each in block.photographs:
            file = f"photograph-{len(self.pictures)}.json"
            self.pictures[file] = json.dumps(list(each.jpeg)).encode()  # as the mark is
            caption = self._runs(each.caption, _LONGEST_WORD_OF_FACT)
            told.append({"file": file, "alternative": unseen(each.alternative), "caption": caption})
        return {"kind": "photographs", "photographs": told}

    def _place(self, anchor: str | None) -> Mapping[str, str]:
        """The label of a place; of two places with one anchor, the first one's."""
        if anchor is None or anchor in self._placed:
            return {}
        self._placed.add(anchor)
        return {"label": self._labels[anchor]}


def typeset_text(typed: str, longest_word: int = _LONGEST_WORD) -> Any:
    """A typed text: a string, or an object where lines may be broken within words, or a sign is shown by its number."""
    said = showable(typed)
    if len(said) <= longest_word and said.isascii() and "\n" not in said:
        return said
    parts: list[str] = []
    for place, line in enumerate(said.split("\n")):
        parts += ["\n"] if place else []
        parts += widths.pieces(line, longest_word)
    is_numbered = said != typed and NUMBERED.search(said) is not None
    if len(parts) == 1 and not is_numbered:
        return said
    return {"pieces": parts, **({"numbered": True} if is_numbered else {})}


def _title(title: Title) -> Told:
    return {"kind": "title", "text": typeset_text(title.text), "below": typeset_text(title.below)}


def _strip(strip: Strip) -> Told:
    return {
        "kind": "strip",
        "facts": [[typeset_text(part, _LONGEST_WORD_OF_FACT) for part in fact] for fact in strip.facts],
    }


def _formula(formula: Formula) -> Told:
    return {"kind": "formula", "mathematics": formula.typst, "plain": unseen(formula.plain)}


def _signatures(signatures: Signatures) -> Told:
    return {
        "kind": "signatures",
        "lines": [[typeset_text(role), typeset_text(name)] for role, name in signatures.lines],
        **({} if signatures.signed is None else {"signed": _signed(signatures.signed)}),
    }


def _signed(signed: SignedInPdf) -> Told:
    return {"text": typeset_text(signed.text), "on": typeset_text(signed.on), "place": signed.place}


def _runs_of_cells(block: Block) -> Iterator[Run]:
    if isinstance(block, Table):
        yield from (run for row in block.rows for cell in row.cells for run in cell.text)


def _anchors(block: Block) -> Iterator[str]:
    if isinstance(block, Heading | Paragraph | Picture) and block.anchor is not None:
        yield block.anchor
    elif isinstance(block, Table):
        yield from (row.anchor for row in block.rows if row.anchor is not None)


def _on_side(blocks: Sequence[Block], wide: set[int]) -> set[int]:
    """Blocks on pages that lie on their side: the wide tables, each with what stands between it and its heading."""
    turned = set(wide)
    for table in wide:
        above = range(table - 1, max(-1, table - 2 - _MOST_BETWEEN), -1)
        heading = next((place for place in above if isinstance(blocks[place], Heading)), None)
        if heading is None or any(isinstance(blocks[place], Table | Picture) for place in range(heading, table)):
            continue
        while heading and isinstance(blocks[heading - 1], Heading):
            heading -= 1
        turned.update(range(heading, table))
    return turned


def _with_picture(blocks: Sequence[Block]) -> set[int]:
    """Blocks to be read beside what follows: a short part of the report that a picture ends, and what stands before a formula."""
    beside = {place for place, block in enumerate(blocks[1:]) if isinstance(block, Formula)}  # what a formula is of
    for end, block in enumerate(blocks):
        if not isinstance(block, Picture):
            continue
        start = next((place for place in range(end, -1, -1) if isinstance(blocks[place], Heading)), end)
        rows = sum(len(block.rows) for block in blocks[start:end] if isinstance(block, Table))
        if rows <= _MOST_ROWS_BESIDE and not any(isinstance(block, Picture) for block in blocks[start:end]):
            beside.update(range(start, end))
    return beside
