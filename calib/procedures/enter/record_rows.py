"""Typed rows as rows of tables: every cell in the type of its column, and the key of each record that the row names."""

import json
from collections.abc import Callable, Mapping, Sequence
from functools import cache
from typing import Any

from sqlalchemy import Float, Integer
from sqlmodel import SQLModel

from calib.procedures.enter.names_on_record import NamesOnRecord
from calib.procedures.typed.columns import DECLARED
from calib.procedures.typed.declaration import Declaration
from calib.procedures.typed.observations import observed_values, result_of
from calib.procedures.typed.sheets import TypedRow
from calib.records.tables.reviews import ReviewDecision


def rows_of_table(declaration: Declaration, rows: Sequence[TypedRow], names: NamesOnRecord) -> list[dict[str, Any]]:
    """A row of the table for each of a file; pairs with a refused reading make none, since no factor rests on that."""
    worked_out = _WORKED_OUT.get(declaration.file, _nothing)
    made = ((row, keys_of(declaration, row, names)) for row in rows)
    return [
        cells_of_table(declaration, row.cells) | keys | worked_out(row)
        for row, keys in made
        if declaration.file != "factor_pairs.csv" or None not in keys.values()
    ]


def decision_of_row(row: TypedRow, review: int) -> dict[str, Any]:
    """A row of review_decisions.csv as a decision on a review."""
    return cells_of_table(DECLARED[ReviewDecision], row.cells) | {"impact_review_id": review}


def cells_of_table(declaration: Declaration, cells: Mapping[str, str]) -> dict[str, Any]:
    """The cells that a declaration's table has columns for, each in the type of its column."""
    stored = _stored_as(declaration.table)
    return {name: stored[name](cell) for name, cell in cells.items() if name in stored}


@cache
def _stored_as(table: type[SQLModel]) -> dict[str, Callable[[str], str | int | float]]:
    """What a cell of each column of a table is stored as: text as it was typed, but where the table counts or computes."""
    kinds = {column.name: column.type for column in table.__table__.columns}  # type: ignore[attr-defined]
    return {
        name: int if isinstance(kind, Integer) else float if isinstance(kind, Float) else str
        for name, kind in kinds.items()
    }


def keys_of(declaration: Declaration, row: TypedRow, names: NamesOnRecord) -> dict[str, int | None]:
    """Keys of the records that a row names, by the columns that hold them; None where it names none."""
    return {each.stored: names.key(each, row.cells) for each in declaration.references if each.stored is not None}


def _nothing(_row: TypedRow) -> dict[str, str]:
    return {}


def _result(row: TypedRow) -> dict[str, str]:
    return {"result": result_of(*(row.cells[column] for column in ("low", "value", "high")))}


def _face_indications(row: TypedRow) -> dict[str, str]:
    return {"face_indications": json.dumps(observed_values(row.cells["face_indications"]))}


def _content(row: TypedRow) -> dict[str, bytes]:
    return {} if row.log is None else {"content": row.log.content}


# What is stored besides the cells as they were typed.
_WORKED_OUT: Mapping[str, Callable[[TypedRow], dict[str, Any]]] = {
    "checks.csv": _result,
    "factors.csv": _face_indications,
    "validations.csv": _content,
    "laboratory_certificates.csv": _content,
}
