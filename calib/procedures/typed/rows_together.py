"""Checks of rows together that every kind of row needs: repeated names, names that must be known, units of a quantity."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import cache, cached_property

from calib.errors import Finding
from calib.procedures.typed.columns import DECLARED, FILES
from calib.procedures.typed.declaration import RecordNames, Reference
from calib.procedures.typed.sheets import Cells, Sheets, TypedRow
from calib.procedures.typed.spelling import did_you_mean
from calib.quantities import UNITS, known_units

# What the records hold: file -> names, as they compare with others -> cells, where somebody asks for them.
Known = Mapping[str, Mapping[RecordNames, Cells]]
EveryName = Callable[[str], Iterable[RecordNames]]  # file -> the names of all its records


LEAVE_OUT = "leave the row out"


class TypedCells(dict[str, str | None]):
    """Cells of a row, where what is absent reads None; `bad` names those that were found wrong."""

    def __init__(self, cells: Mapping[str, str], bad: Iterable[str] = ()) -> None:
        super().__init__(cells)
        self.bad = frozenset(bad)

    def __missing__(self, _column: str) -> None:
        return None


class KnownNames:
    """Sheets, and what their rows may name: what the same sheets bring, and what the records hold.

    The rows of a file are looked at when they are first asked for: after their own check, so that no cell that it finds wrong is
    taken for right. `unread` are files of which something could not be read: what other rows name may stand there.
    `every` gives all names of a file on record, asked for where one is wrong: which is meant?
    """

    def __init__(
        self, sheets: Sheets, known: Known, unread: frozenset[str] = frozenset(), every: EveryName = lambda _: ()
    ) -> None:
        self.sheets, self.known, self.unread, self.every = sheets, known, unread, every
        self.brought = cache(self._brought)
        self.on_record = cache(self._on_record)
        self.cells = cache(self._cells)
        self._near = cache(self._name_near)
        self._answered: set[tuple[str, tuple[str, ...], tuple[str, ...]]] = set()  # file, columns, names that are known

    def _brought(self, file: str, width: int | None = None) -> Mapping[RecordNames, Cells]:
        """Rows of a file by the first `width` columns of its key, or by all of it."""
        declaration = FILES[file]
        columns = declaration.key[:width]
        return {
            declaration.compared(row.cells.get(column, "") for column in columns): TypedCells(row.cells, row.bad)
            for row in self.sheets[file]
            if row.names(columns, declaration.must_name)
        }

    def _on_record(self, file: str, width: int | None = None) -> Mapping[RecordNames, Cells]:
        """Records of a file by the first names of their key, or by all of it."""
        return {names[:width]: cells for names, cells in self.known[file].items()}

    def _cells(self, file: str, width: int | None = None) -> Mapping[RecordNames, Cells]:
        """Both; what is on record counts."""
        return {**self.brought(file, width), **self.on_record(file, width)}

    @cached_property
    def instruments(self) -> Mapping[str, Cells]:
        """Instruments by their tags."""
        return {tag: cells for (tag,), cells in self.cells("instruments.csv").items()}

    def undecided(self, file: str, width: int | None = None) -> bool:
        """Whether a name may stand in a file that could not be read: one mistake is named once, not in each row resting on it."""
        return file in self.unread or any(row.bad.intersection(FILES[file].key[:width]) for row in self.sheets[file])

    def unknown(self, row: TypedRow, file: str, *columns: str) -> Iterable[Finding]:
        """The record that some columns of a row name must be known."""
        names = tuple([row.cells[column] for column in columns if column in row.cells])
        asked = (file, columns, names)
        if len(names) < len(columns) or asked in self._answered:
            return
        reference = FILES[file].reference(*columns)
        if self._missing(names, reference):
            near = self._near(names, reference)
            yield row.finding(columns[-1], f"{reference.expected.format_map(row.cells)}{near}")
        else:
            self._answered.add(asked)

    def _name_near(self, names: RecordNames, reference: Reference) -> str:
        """The last name that may be meant, of the records that are known under the same first names."""
        declaration = DECLARED[reference.table]
        own, width = declaration.compared(names), len(names)
        on_record = () if reference.here else (known[:width] for known in self.every(declaration.file))
        there = [*self.brought(declaration.file, width), *on_record]
        return did_you_mean(names[-1], (known[-1] for known in there if known[:-1] == own[:-1]))

    def _missing(self, names: Sequence[str], reference: Reference) -> bool:
        declaration = DECLARED[reference.table]
        there = self.brought if reference.here else self.cells
        known = there(declaration.file, len(names))
        return declaration.compared(names) not in known and not self.undecided(declaration.file, len(names))


def repeated(
    named: KnownNames,
    file: str,
    recorded: Mapping[RecordNames, Cells] | None = None,
    step: str | Callable[[TypedRow, Cells], str] = LEAVE_OUT,
) -> Iterable[Finding]:
    """Rows whose key stands in an earlier row, or in the records; `recorded` are other names than those of the whole key.

    `step` is what to do about a row that the records hold, which may hang on what they hold of it.
    """
    on_record = named.known[file] if recorded is None else recorded
    declaration = FILES[file]
    columns = declaration.key
    first: dict[RecordNames, TypedRow] = {}
    for row in named.sheets[file]:
        if not row.names(columns, declaration.must_name):
            continue
        key = declaration.compared(row.cells.get(column, "") for column in columns)
        named_by = tuple(column for column in columns if column in declaration.must_name or row.get(column) is not None)
        if key in first:
            place = f"{first[key].source} row {first[key].row_number}"
            yield duplicate(row, named_by, f"each {' and '.join(named_by)} once; it stands in {place} already")
        elif key in on_record:
            told = step if isinstance(step, str) else step(row, on_record[key])
            yield duplicate(row, named_by, f"a new one; the records hold it already ({told})")
        else:
            first[key] = row


def duplicate(row: TypedRow, columns: tuple[str, ...], expected: str) -> Finding:
    """A finding on a cell that stays: other rows refer to it, and one mistake is named once."""
    return Finding(row.source, row.row_number, columns[-1], row.get(columns[-1]), expected)


def unit_known(row: TypedRow, column: str, quantity: str | None) -> Iterable[Finding]:
    """A typed unit must be one of its quantity."""
    typed = row.get(column)
    if quantity is not None and typed is not None and typed not in UNITS[quantity]:
        known = known_units(quantity)
        yield row.finding(column, f"a unit of {quantity}: one of {', '.join(known)}{did_you_mean(typed, known)}")
