"""How a kind of record is declared: its file and columns, its table, what tells one from another, which others it names.

Import, export, what a command's options become and the pages about the files all read these declarations; what follows later for
each column (bounds, notices, units in headings, templates) has its place here too.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from functools import cached_property, partial
from typing import TYPE_CHECKING

if TYPE_CHECKING:  # the commands check their dates with the cells, which the tables need not be imported for
    from sqlmodel import SQLModel

Check = Callable[[str], str | None]  # a cell -> what was expected of it, or None where it is right
RecordNames = tuple[str, ...]  # cells that tell one record from the others of its kind


@dataclass(frozen=True)
class TypedColumn:
    """One column of a sheet."""

    name: str
    check: Check
    meaning: str  # what a cell holds, in a few words; the words or units it may be are the check's
    required: bool = False  # whether the cell must be filled
    compared: Callable[[str], str] = str  # a cell as it compares with others: a time whatever zone it was typed in
    happened: Callable[[str], date] | None = None  # reads the time or the day of what has happened: none to come
    odd: Check | None = None  # a sound cell -> what would be usual, or None where it is
    names_file: bool = False  # whether a cell names a file that stands beside the sheet
    # Whether a blank sheet fills it in: a row that has nothing else was not filled in.
    beforehand: bool = False
    # Whether a later act may fill it on record: a row that leaves it blank says nothing against that.
    later: bool = False
    # What other cells of a sheet's row say, where it is blank there or wrong as it stands; it need have no heading then.
    by_row: Callable[[Mapping[str, str]], str | None] | None = None

    @property
    def needs_heading(self) -> bool:
        """Whether a sheet must have it: neither may it be blank nor can other cells of a row say it."""
        return self.required and self.by_row is None

    @property
    def expected_of_blank(self) -> str | None:
        """What was expected of a cell that is blank; None where it may be."""
        return (self.check("") or "a value") if self.required else None


may, must = TypedColumn, partial(TypedColumn, required=True)  # whether the cell must be filled
TAKEN_BACK = "withdrawn"  # the column of a record that was taken back: why


@dataclass(frozen=True)
class Reference:
    """Columns of a row that together name another record."""

    columns: tuple[str, ...]
    table: "type[SQLModel]"  # of the record named; the columns stand for the first ones of its key
    expected: str  # what they should have named; in braces the row's own cells
    stored: str | None = (
        None  # column of the table that holds the key of the record named; absent: the name is stored as typed
    )
    here: bool = False  # whether the same import must bring it


@dataclass(frozen=True)
class Declaration:
    """What one kind of file holds; iterating gives its columns."""

    file: str
    meaning: str
    table: "type[SQLModel]"
    columns: tuple[TypedColumn, ...]
    key: tuple[
        str, ...
    ] = ()  # columns that tell one row from another; absent: nothing does, and nothing refers to them
    references: tuple[Reference, ...] = ()
    told_by: tuple[str, ...] = ()  # without a key: columns by which a row that is typed again is known

    def __iter__(self) -> Iterator[TypedColumn]:
        return iter(self.columns)

    @property
    def name(self) -> str:
        """The file without its ending: as a sheet of a workbook is called."""
        return self.file.removesuffix(".csv")

    @cached_property
    def by_name(self) -> dict[str, TypedColumn]:
        """Columns by their names."""
        return {column.name: column for column in self.columns}

    @cached_property
    def must_name(self) -> tuple[str, ...]:
        """Columns of the key that must be filled: one that may be blank compares as blank."""
        return tuple(column.name for column in self.columns if column.name in self.key and column.required)

    def reference(self, *columns: str) -> Reference:
        """What some columns name."""
        return self._by_columns[columns]

    @cached_property
    def _by_columns(self) -> dict[tuple[str, ...], Reference]:
        return {reference.columns: reference for reference in self.references}

    def compared(self, names: Iterable[str]) -> RecordNames:
        """Names of a record, the first ones or all of its key, as they compare with others."""
        if not self._not_as_typed:  # asked for every name of every row
            return tuple(names)
        cells = list(names)
        for place, compared in self._not_as_typed:
            cells[place : place + 1] = map(compared, cells[place : place + 1])
        return tuple(cells)

    @cached_property
    def _not_as_typed(self) -> tuple[tuple[int, Callable[[str], str]], ...]:
        """Places in the key whose cells compare otherwise than as they were typed."""
        compared = ((place, self.by_name[name].compared) for place, name in enumerate(self.key))
        return tuple(each for each in compared if each[1] is not str)
