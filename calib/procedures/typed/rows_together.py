"""Checks of rows together that every kind of row needs: repeated names, names that must be known, units of a quantity."""

from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime

from calib.errors import Finding
from calib.procedures.typed.sheets import Cells, Row, Sheets
from calib.quantities import UNITS, known_units


@dataclass
class Known:
    """What the records hold already, by the names that people type."""

    instruments: dict[str, Cells] = field(default_factory=dict)
    calibrations: set[tuple[str, str]] = field(default_factory=set)  # (tag, certificate)
    certificates: set[tuple[str, str]] = field(default_factory=set)  # (laboratory, certificate)
    methods: dict[str, Cells] = field(default_factory=dict)
    jobs: set[str] = field(default_factory=set)
    outlets: dict[tuple[str, str], Cells] = field(default_factory=dict)  # (job, outlet), as they count now
    systems: set[tuple[str, str, str]] = field(default_factory=set)  # (job, system, service) whose design is declared
    rooms: set[tuple[str, str]] = field(default_factory=set)  # (job, room)
    conditions: set[tuple[str, str]] = field(default_factory=set)  # (job, conditions)
    factors: dict[str, Cells] = field(default_factory=dict)  # found in the field, by name
    readings: set[tuple[str, str, str, str]] = field(default_factory=set)  # (job, outlet, instrument, time in UTC)


class Typed(dict[str, str | None]):
    """Cells of a row, where what is absent reads None; `bad` names those that were found wrong."""

    def __init__(self, cells: Mapping[str, str], bad: Iterable[str] = ()) -> None:
        super().__init__(cells)
        self.bad = frozenset(bad)

    def __missing__(self, _column: str) -> None:
        return None


# The column of a file whose cells other files refer to.
_NAMED_BY = {
    "instruments.csv": "tag",
    "calibrations.csv": "certificate",
    "methods.csv": "method",
    "jobs.csv": "job",
    "outlets.csv": "outlet",
    "conditions.csv": "conditions",
}


def open_names(sheets: Sheets, unread: frozenset[str]) -> frozenset[str]:
    """Files in which a name may stand that was not read: one mistake is named once, not in each row that rests on it."""
    wrong = {file for file, column in _NAMED_BY.items() if any(column in row.bad for row in sheets[file])}
    return frozenset(unread | wrong)


def _as_typed(row: Row, columns: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(row.cells[column] for column in columns)


def repeated(
    rows: Iterable[Row],
    columns: tuple[str, ...],
    recorded: Callable[[tuple[str, ...]], bool],
    key_of: Callable[[Row, tuple[str, ...]], tuple[str, ...]] = _as_typed,
    step: str = "leave the row out",
) -> Iterable[Finding]:
    """Rows whose key stands in an earlier row, or in the records."""
    first: dict[tuple[str, ...], Row] = {}
    for row in rows:
        if not row.sound(*columns):
            continue
        key = key_of(row, columns)
        if key in first:
            place = f"{first[key].source} row {first[key].number}"
            yield duplicate(row, columns, f"each {' and '.join(columns)} once; it stands in {place} already")
        elif recorded(key):
            yield duplicate(row, columns, f"a new one; the records hold it already ({step})")
        else:
            first[key] = row


def same_time(typed: str) -> str:
    """A time as it compares with others, whatever zone it was typed in."""
    return datetime.fromisoformat(typed).astimezone(UTC).isoformat()


def duplicate(row: Row, columns: tuple[str, ...], expected: str) -> Finding:
    """A finding on a cell that stays: other rows refer to it, and one mistake is named once."""
    return Finding(row.source, row.number, columns[-1], row.get(columns[-1]), expected)


def unit_known(row: Row, column: str, quantity: str | None) -> Iterable[Finding]:
    """A typed unit must be one of its quantity."""
    typed = row.get(column)
    if quantity is not None and typed is not None and typed not in UNITS[quantity]:
        yield row.finding(column, f"a unit of {quantity}: one of {', '.join(known_units(quantity))}")


def names_job(row: Row, jobs: Collection[str], undecided: frozenset[str]) -> Iterable[Finding]:
    """The job that a row names must be known."""
    if row.sound("job") and row.cells["job"] not in jobs and "jobs.csv" not in undecided:
        yield row.finding("job", "a job in jobs.csv or in the records")


def names_instrument(
    row: Row, column: str, instruments: Mapping[str, Cells], undecided: frozenset[str]
) -> Iterable[Finding]:
    """The instrument that a row names must be known."""
    tag = row.get(column)
    if tag is not None and tag not in instruments and "instruments.csv" not in undecided:
        yield row.finding(column, "the tag of an instrument in instruments.csv or in the records")
