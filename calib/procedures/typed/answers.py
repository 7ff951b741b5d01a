"""One cell as it is answered to a question: read as people write it, and checked at once by the column's own declaration."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from calib.procedures.typed.as_people_write import habits_of, is_as_wanted, meaning_expected, meant
from calib.procedures.typed.declaration import TypedColumn
from calib.procedures.typed.time_to_come import expected_of


@dataclass(frozen=True)
class Answered:
    """What an answer means, or why it is none."""

    cell: str | None  # None: blank, or wrong
    expected: str | None = None  # instead of what was typed; None: it is right
    said: tuple[str, ...] = ()  # what it was taken as, and what is unusual about it


def as_meant(column: TypedColumn, typed: str) -> tuple[str, str | None]:
    """A cell as it is meant, and as what it was taken; as it was typed where it is right, blank, or wrong however it is written."""
    cell = typed.strip()
    if not cell or is_as_wanted(cell, column):
        return typed, None
    habits = habits_of([cell])
    written = meant(cell, column, 1, habits)
    return (typed, None) if written is None else (written, f"taken as {written}")


def answered(column: TypedColumn, typed: str, now: datetime) -> Answered:
    """What was typed for a column."""
    cell = typed.strip()
    if not cell:
        return Answered(None, column.expected_of_blank)
    cell, taken = as_meant(column, cell)
    expected = meaning_expected(cell, column, habits_of([cell])) or column.check(cell)
    if expected is None and column.happened is not None:
        expected = expected_of(column.happened(cell), now)
    if expected is not None:
        return Answered(None, expected)
    odd = None if column.odd is None else column.odd(cell)
    return Answered(cell, None, (*([] if taken is None else [taken]), *([] if odd is None else [odd])))


_APART = re.compile(r"\s*;\s*|\s*\t\s*|\s+")


def answered_line(
    columns: Sequence[TypedColumn], typed: str, before: Mapping[str, str], now: datetime
) -> tuple[dict[str, str], list[tuple[str, str, str]], list[str]]:
    """Several cells on one line, parted by blanks or semicolons: those that are right, what is wrong, and what is to be said.

    What is wrong is a column, its value and what was expected. A cell that is left out at the end is as in `before`.
    """
    parts = [part for part in _APART.split(typed.strip()) if part]
    cells: dict[str, str] = {}
    said: list[str] = []
    wrong = [("", part, "nothing more on the line") for part in parts[len(columns) :]]
    for place, column in enumerate(columns):
        part = parts[place] if place < len(parts) else before.get(column.name, "")
        answer = answered(column, part, now)
        if answer.expected is not None:
            wrong.append((column.name, part, answer.expected))
        elif answer.cell is not None:
            cells[column.name] = answer.cell
        said += answer.said
    return cells, wrong, said
