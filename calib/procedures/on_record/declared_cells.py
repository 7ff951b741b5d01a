"""Cells on record that their column's declaration does not allow: no act of the program could have written them.

A row with right digests may still hold a reading in 'parsec' or an outlet factor '0.8x', put in by somebody who has the program's
library. Each different value of a column is checked once a batch, by the check that a typed cell passes, and a unit against the
quantity that it is of.

Decision (2026-11-29). Rows are read in batches, and of each column the different values are checked. Option: asking the database
for the different values, which sorts a column for longer than reading it takes. Cost: every table is read once more.
"""

import json
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

from sqlalchemy import inspect
from sqlmodel import Session, SQLModel, col, select

from calib.errors import told_of_cell
from calib.procedures.typed.cells import any_text, unit_check
from calib.procedures.typed.columns import DECLARED, FILES
from calib.procedures.typed.declaration import Check, Declaration, TypedColumn
from calib.records.tables.calibrations import Acceptance, Calibration
from calib.records.tables.comparisons import Comparison
from calib.records.tables.conditions import Condition
from calib.records.tables.events import IntermediateCheck
from calib.records.tables.factors import FoundFactor
from calib.records.tables.instruments import Instrument, InstrumentRevision
from calib.records.tables.readings import Reading, Refusal, Traverse
from calib.records.words import MEASURED_AS

_AT_ONCE = 10_000  # rows in memory together

# Tables without a file of their own: the file whose columns they hold, and columns that are called otherwise there.
_WITHIN: Mapping[type[SQLModel], tuple[Declaration, Mapping[str, str]]] = {
    Refusal: (FILES["readings.csv"], {}),
    Traverse: (
        FILES["readings.csv"],
        {"rule": "traverse_rule", "lines": "traverse_lines", "points": "traverse_points"},
    ),
    Acceptance: (FILES["calibrations.csv"], {}),
}


def wrong_cells(session: Session) -> Mapping[type[SQLModel], Mapping[int, list[str]]]:
    """By table and key of the record, a line for each of its cells that is wrong: column, value, what was expected."""
    wrong = {table: _of_columns(session, table) for table in (*DECLARED, *_WITHIN)}
    for table, record_id, problem in _of_units(session):
        wrong[table][record_id].append(problem)
    return {table: records for table, records in wrong.items() if records}


def wrong_cells_told(session: Session) -> list[str]:
    """The same in lines that name the record."""
    return [
        f"{table.__tablename__} {record_id}: {problem}"
        for table, records in wrong_cells(session).items()
        for record_id in sorted(records)
        for problem in records[record_id]
    ]


def checked_columns(table: type[SQLModel]) -> dict[str, TypedColumn]:
    """Columns of a table whose declaration says what their cells may hold, by their names there."""
    declaration, otherwise = _WITHIN[table] if table in _WITHIN else (DECLARED[table], {})
    stored = inspect(table).local_table.columns.keys()
    held = {name: declaration.by_name.get(otherwise.get(name, name)) for name in stored}
    return {
        name: replace(each, check=_STORED.get((table, name), each.check))
        for name, each in held.items()
        if each is not None and (each.required or each.check is not any_text)
    }


def _of_columns(session: Session, table: type[SQLModel]) -> dict[int, list[str]]:
    """What is wrong of the rows of a table by the checks of its columns, by key."""
    stored, checked = inspect(table).local_table.columns, checked_columns(table)
    wrong: dict[int, list[str]] = defaultdict(list)
    if not checked:
        return wrong
    asked = select(stored.id, *(stored[name] for name in checked)).execution_options(yield_per=_AT_ONCE)
    for rows in session.execute(asked).partitions(_AT_ONCE):
        keys, *columns = zip(*rows, strict=True)
        for (name, column), cells in zip(checked.items(), columns, strict=True):
            expected = {cell: said for cell in set(cells) if (said := _expected(column, cell)) is not None}
            if expected:
                for record_id, cell in zip(keys, cells, strict=True):
                    if cell in expected:
                        wrong[record_id].append(_told(name, cell, expected[cell]))
    return wrong


def _list_of_numbers(cell: str) -> str | None:
    try:
        wrong = [each for each in json.loads(cell) if not isinstance(each, float | int)]
    except (ValueError, TypeError, RecursionError):
        wrong = [cell]
    return "a list of numbers in JSON" if wrong else None


# Cells that are stored otherwise than they are typed.
_STORED: Mapping[tuple[type[SQLModel], str], Check] = {(FoundFactor, "face_indications"): _list_of_numbers}


def _expected(column: TypedColumn, cell: Any) -> str | None:
    """What was expected of a cell on record, None where it is right."""
    if cell is None or cell == "":
        return column.meaning if column.required else None
    return column.check(str(cell))


def _told(column: str, cell: Any, expected: str) -> str:
    return told_of_cell(None, None, column, "" if cell is None else str(cell), f"expected {expected}")


# --- units, by the quantity that they are of -------------------------------------------------------------------------------------

_MEASURED, _INDICATED, _OBSERVED = range(3)  # what a unit is of
# Columns with a unit, the column that says of what, and how that says it.
_UNITS: tuple[tuple[type[SQLModel], Any, Any, int], ...] = (
    (Instrument, Instrument.unit, Instrument.id, _INDICATED),
    (InstrumentRevision, InstrumentRevision.unit, InstrumentRevision.instrument_id, _INDICATED),
    (Comparison, Comparison.unit, Calibration.instrument_id, _MEASURED),
    (Comparison, Comparison.indication_unit, Calibration.instrument_id, _INDICATED),
    (IntermediateCheck, IntermediateCheck.unit, IntermediateCheck.instrument_id, _MEASURED),
    (Reading, Reading.unit, Reading.instrument_id, _INDICATED),
    (Condition, Condition.unit, Condition.quantity, _OBSERVED),
)


def _of_units(session: Session) -> Iterator[tuple[type[SQLModel], int, str]]:
    """Units that are none of their quantity: table and key of the row, and what is wrong."""
    of = _quantities(session)
    for table, column, owner, kind in _UNITS:
        for symbol, named in session.execute(_joined(select(column, owner).distinct(), table)).all():
            expected = [unit_check(quantity)(symbol) for quantity in sorted(of[kind].get(named, ()))]
            if symbol and expected and all(expected):
                own: Any = table
                asked = _joined(select(own.id).where(column == symbol, owner == named), table)
                for record_id in session.exec(asked):
                    yield table, record_id, _told(column.key, symbol, str(expected[0]))


def _joined(query: Any, table: type[SQLModel]) -> Any:
    return query.join(Calibration) if table is Comparison else query


def _quantities(session: Session) -> tuple[Mapping[Any, set[str]], ...]:
    """What instruments measure and indicate, as first typed or as amended, by their keys; what observes the air, by quantity."""
    measured: dict[int, set[str]] = defaultdict(set)
    indicated: dict[int, set[str]] = defaultdict(set)
    for table, own in ((Instrument, Instrument.id), (InstrumentRevision, InstrumentRevision.instrument_id)):
        asked = select(col(own), col(table.quantity), col(table.indication_quantity))
        for instrument, quantity, indication in session.execute(asked):
            measured[instrument].add(quantity)
            indicated[instrument].add(indication or quantity)
    return measured, indicated, {quantity: {kind} for quantity, kind in MEASURED_AS.items()}
