"""What was typed into a form, and what is wrong with it, field by field."""

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any, TypeVar

from calib.errors import BadInputError, Doubt, Finding, NotInRecordsError
from calib.faces.written import unit_text, with_units
from calib.procedures.typed.answers import as_meant
from calib.procedures.typed.cells import day, whole
from calib.procedures.typed.declaration import TypedColumn
from calib.procedures.typed.headings import PERCENT, fixed_unit
from calib.procedures.typed.sheets import FileContent
from calib.records.words import LARGEST_KEY

_Read = TypeVar("_Read")


@dataclass(frozen=True)
class Upload:
    """A file that was sent."""

    name: str
    content: bytes


@dataclass(frozen=True)
class Form:
    """Fields as typed; a field that was not sent is blank. A field is called like its column."""

    typed: Mapping[str, str] = field(default_factory=dict)
    files: Mapping[str, Upload] = field(default_factory=dict)
    document: Any = None  # what a script sent as JSON
    findings: Sequence[Finding] = ()
    refused: str = ""  # one line on the whole

    def __getitem__(self, name: str) -> str:
        return self.typed.get(name, "")

    def file(self, name: str) -> Upload | None:
        """A file that was chosen; None where none was."""
        return self.files.get(name)

    def file_read(self, name: str, expected: str, read: Callable[[FileContent], _Read]) -> _Read:
        """A file that was chosen, read; raises BadInputError beside its field where none was, or it is not as `read` wants it."""
        upload = self.file(name)
        if upload is None:
            raise BadInputError([Finding.typed(name, None, expected)])
        try:
            return read(FileContent(upload.name, upload.content))
        except BadInputError as error:
            raise BadInputError([Finding.typed(name, upload.name, each.expected) for each in error.findings]) from error

    def cells(self, *names: str) -> dict[str, str | None]:
        """Fields as cells of a row: blank is absent."""
        return {name: self[name] or None for name in names}

    def meant(self, columns: Iterable[TypedColumn], behind: str = "") -> dict[str, str]:
        """The cells that were filled, as their columns mean them: 2,5 is 2.5. `behind` stands behind each field's name."""
        cells = {column.name: as_meant(column, self[f"{column.name}{behind}"])[0].strip() for column in columns}
        return {name: cell for name, cell in cells.items() if cell}

    @property
    def is_sure(self) -> bool:
        """Whether whoever typed it said that what is unusual is right."""
        return self["sure"] == "yes"

    @property
    def doubts(self) -> Sequence[Finding]:
        """What is unusual and may be right."""
        return [finding for finding in self.findings if isinstance(finding, Doubt)]

    def wrong(self, name: str) -> list[str]:
        """What is wrong with a field, in words."""
        return [told_beside(finding) for finding in self.findings if field_of(name) in fields_of(finding)]


@dataclass(frozen=True)
class FormField:
    """A field of a form, as a template shows it that knows no more of it."""

    name: str  # of its column
    label: str
    told: str = ""
    kind: str = "text"  # of the input: text, password, date, file
    choices: Sequence[tuple[str, str]] = ()  # value and words, where it is chosen
    required: bool = False


def choices(words: Sequence[str], *, may_be_blank: bool = False) -> list[tuple[str, str]]:
    """Words to choose from, each as it is sent and as it is shown; a blank one first where nothing need be chosen."""
    return [*([("", "\u2013")] if may_be_blank else []), *((word, with_units(word)) for word in words)]


def label_of(column: str) -> str:
    """What the field of a column is called: its words, and the unit that its name ends with: temperature [°C]."""
    unit = fixed_unit(column)
    words = column if unit is None else column.removesuffix(f"_{unit}")
    return words.replace("_", " ") + ("" if unit is None else f" [{'%' if unit == PERCENT else unit_text(unit)}]")


def number_of(typed: str, record: str = "reading") -> int:
    """The number of a record in an address; raises NotInRecordsError where it is none, or larger than any may be."""
    if not re.fullmatch("[1-9][0-9]{0,9}", typed) or int(typed) > LARGEST_KEY:
        raise NotInRecordsError(f"no {record} {typed!r}")
    return int(typed)


def day_typed(name: str, typed: str, usual: date) -> date:
    """A day as typed into a field, or the usual one where it is blank; raises BadInputError."""
    cell = typed.strip()
    if not cell:
        return usual
    if (expected := day(cell)) is not None:
        raise BadInputError([Finding.typed(name, cell, expected)])
    return date.fromisoformat(cell)


def days_typed(name: str, typed: str, usual: int) -> int:
    """A number of days as typed into a field, or the usual one where it is blank; raises BadInputError."""
    if findings := days_findings(name, typed):
        raise BadInputError(findings)
    return int(typed) if typed.strip() else usual


def days_findings(name: str, typed: str) -> list[Finding]:
    """What is wrong with a number of days as typed into a field; nothing where it is blank."""
    cell = typed.strip()
    expected = whole(cell) if cell else None
    return [] if expected is None else [Finding.typed(name, cell, f"a number of days: {expected}")]


def field_of(column: str) -> str:
    """The field of a column, however that is spelled."""
    return column.strip().casefold().replace("-", "_").replace(" ", "_")


def fields_of(finding: Finding) -> list[str]:
    """The fields that a finding is on; none where the whole is meant."""
    return [field_of(column) for column in (finding.column or "").split(",") if column.strip()]


def told_beside(finding: Finding) -> str:
    """A finding where its field is named already."""
    return f"{finding.expected}: is that right?" if isinstance(finding, Doubt) else f"expected {finding.expected}"
