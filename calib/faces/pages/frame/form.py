"""What was typed into a form, and what is wrong with it, field by field."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, TypeVar

from calib.errors import BadInputError, Doubt, Finding, NotInRecordsError
from calib.faces.written import unit_text, with_units
from calib.procedures.typed.answers import as_meant
from calib.procedures.typed.cells import whole
from calib.procedures.typed.declaration import TypedColumn
from calib.procedures.typed.headings import PERCENT, fixed_unit
from calib.procedures.typed.sheets import FileContent

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


def choices(words: Sequence[str], *, may_be_blank: bool = False) -> list[tuple[str, str]]:
    """Words to choose from, each as it is sent and as it is shown; a blank one first where nothing need be chosen."""
    return [*([("", "\u2013")] if may_be_blank else []), *((word, with_units(word)) for word in words)]


def label_of(column: str) -> str:
    """What the field of a column is called: its words, and the unit that its name ends with: temperature [°C]."""
    unit = fixed_unit(column)
    words = column if unit is None else column.removesuffix(f"_{unit}")
    return words.replace("_", " ") + ("" if unit is None else f" [{'%' if unit == PERCENT else unit_text(unit)}]")


def number_of(typed: str, record: str = "reading") -> int:
    """The number of a record in an address; raises NotInRecordsError where it is none."""
    if whole(typed) is not None:
        raise NotInRecordsError(f"no {record} {typed!r}")
    return int(typed)


def field_of(column: str) -> str:
    """The field of a column, however that is spelled."""
    return column.strip().casefold().replace("-", "_").replace(" ", "_")


def fields_of(finding: Finding) -> list[str]:
    """The fields that a finding is on; none where the whole is meant."""
    return [field_of(column) for column in (finding.column or "").split(",") if column.strip()]


def told_beside(finding: Finding) -> str:
    """A finding where its field is named already."""
    return f"{finding.expected}: is that right?" if isinstance(finding, Doubt) else f"expected {finding.expected}"
