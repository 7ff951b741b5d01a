"""What a report is laid out as: blocks of text, tables and pictures, the same for every form that people read.

`layout` makes them from the report's content; the page, the PDF, the workbook and the mail are written from them, so no form has
a number or a word that another has not. Text in a block is text as somebody typed it: each form writes it so that nothing in it
is ever run, whatever signs it holds. A number stands in a cell twice: as it is shown, and unrounded for whoever computes with it.
"""

from dataclasses import dataclass, field
from enum import Enum
from typing import Any


class Mark(Enum):
    """How a run of text is set."""

    PLAIN = "plain"
    STRONG = "strong"
    SOFT = "soft"  # said beside: smaller, paler
    CODE = "code"  # a digest, a command
    STATEMENT = "statement"  # a statement of conformity: set with its sign, see `SIGNS`


@dataclass(frozen=True, slots=True)
class Run:
    """A run of text, as typed; `to` is the anchor of a place in this report that it leads to."""

    text: str
    mark: Mark = Mark.PLAIN
    to: str | None = None  # absent: it leads nowhere


Runs = tuple[Run, ...]


def runs(*parts: str | Run) -> Runs:
    """Text and runs, as runs."""
    return tuple(Run(part) if isinstance(part, str) else part for part in parts)


def unmarked(text: Runs) -> str:
    """Runs without their marks."""
    return "".join(run.text for run in text)


@dataclass(frozen=True)
class Title:
    """The report's title and what it is."""

    text: str
    below: str


def on_one_line(text: Runs) -> str:
    """Runs without their marks, their lines joined by commas."""
    return ", ".join(map(str.strip, unmarked(text).splitlines()))


@dataclass(frozen=True)
class Letterhead:
    """Whose report it is: name, address and contact, and a picture that stands for them."""

    name: str
    said: tuple[str, ...]  # address, contact
    mark: bytes | None = None  # PNG or JPEG
    media_type: str | None = None  # of the mark


@dataclass(frozen=True)
class Strip:
    """Short facts at the head of the report: label and what it says."""

    facts: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Notice:
    """What a reader must not miss; set apart, with its lead in strong letters."""

    lead: str
    text: Runs


@dataclass(frozen=True)
class Heading:
    """A heading; level 2 begins a section, 3 a part of it."""

    level: int
    text: str
    anchor: str | None = None  # unique in the report; absent: nothing leads here


@dataclass(frozen=True)
class Paragraph:
    """Running text."""

    text: Runs
    soft: bool = False
    anchor: str | None = None
    is_end: bool = False  # of the paper: it stands in no section


def paragraph(*parts: str | Run, soft: bool = False, anchor: str | None = None) -> Paragraph:
    """A paragraph of text and runs."""
    return Paragraph(runs(*parts), soft, anchor)


@dataclass(frozen=True)
class Bullets:
    """A list."""

    items: tuple[Runs, ...]


@dataclass(frozen=True)
class TableColumn:
    """A column of a table."""

    label: str
    is_number: bool = False  # set to the right, its figures below one another
    is_wordy: bool = False  # running text, so it takes the room that is left
    is_short: bool = False  # never broken across lines


def number_columns(*labels: str) -> tuple[TableColumn, ...]:
    """Columns of numbers."""
    return tuple(TableColumn(label, is_number=True) for label in labels)


@dataclass(frozen=True, slots=True)
class Cell:
    """A cell; an empty one has no runs."""

    text: Runs = ()
    value: float | None = None  # unrounded, where it is a number
    unit: str | None = None  # of the value
    expanded_uncertainty: float | None = None  # unrounded, in that unit, where the text gives it beside the value


@dataclass(frozen=True, slots=True)
class TableRow:
    """A row of a table."""

    cells: tuple[Cell, ...]
    is_total: bool = False
    anchor: str | None = None


@dataclass(frozen=True)
class Table:
    """A table; its head is repeated on each printed page. On a narrow screen each row is a card, labels beside its cells."""

    name: str  # what it holds, in a few words; also the name of its sheet in a workbook
    columns: tuple[TableColumn, ...]
    rows: tuple[TableRow, ...]
    caption: Runs = ()
    is_compact: bool = False  # no wider than its text needs
    is_to_fill: bool = False  # by hand: rows of a hand's height, and a line between columns


@dataclass(frozen=True)
class Picture:
    """A picture with the text that stands for it where it cannot be seen, and its caption."""

    name: str  # unique in the report
    figure: Any  # a matplotlib figure
    alternative: str
    caption: Runs = ()
    anchor: str | None = None


@dataclass(frozen=True)
class Photograph:
    """A photograph, made small, with the text that stands for it where it cannot be seen, and its caption."""

    jpeg: bytes
    alternative: str
    caption: Runs


@dataclass(frozen=True)
class Photographs:
    """Photographs beside and below one another."""

    photographs: tuple[Photograph, ...]


@dataclass(frozen=True)
class Formula:
    """A formula of this program's own, in the notation of the GUM: no typed text is ever in one."""

    typst: str  # mathematics of Typst, without the dollar signs
    mathml: str  # the same as the inside of a <math> element
    plain: str  # the same in one line of text


@dataclass(frozen=True)
class SignedInPdf:
    """What stands where a hand would sign, of a report whose PDF is signed."""

    text: str
    on: str  # the day
    place: str  # where a link in the PDF leads that becomes the field of the signature


@dataclass(frozen=True)
class Signatures:
    """Room for signatures: the role and the name of each, blank where it is not known."""

    lines: tuple[tuple[str, str], ...]
    signed: SignedInPdf | None = None  # on the first line; absent: by hand


Block = (
    Letterhead
    | Title
    | Strip
    | Notice
    | Heading
    | Paragraph
    | Bullets
    | Table
    | Picture
    | Photographs
    | Formula
    | Signatures
)


@dataclass(frozen=True)
class Layout:
    """A report laid out, or another paper that is made of the same blocks."""

    job: str  # what it is about
    title: str
    revision: int | None  # absent: the paper has none
    is_draft: bool  # not issued
    issued: str  # ISO 8601 with its zone
    ledger_digest: str
    language: str = "en"
    blocks: tuple[Block, ...] = field(default=())
    kind: str = "air flow report"
    running: str | None = None  # at the head of each page; absent: the job
    is_close: bool = False  # set closely: the paper is to be one page

    @property
    def parts(self) -> list[tuple[Block, ...]]:
        """Its first page, which ends where its second section begins; then section by section; then its end."""
        of_sections: list[list[Block]] = [[]]
        for block in self.blocks:
            if _begins_section(block) or (isinstance(block, Paragraph) and block.is_end):
                of_sections.append([])
            of_sections[-1].append(block)
        first = [block for part in of_sections[:2] for block in part]
        return [tuple(part) for part in (first, *of_sections[2:])]


def _begins_section(block: Block) -> bool:
    return isinstance(block, Heading) and block.level == 2 and block.anchor is not None
