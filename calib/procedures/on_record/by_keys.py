"""Ask for the rows of some records: by their keys, or of many their cells alone."""

from collections.abc import Collection, Iterator
from typing import Any

from sqlalchemy import inspect
from sqlmodel import Session, SQLModel, col, select

MOST_AT_ONCE = 10_000  # values in one question: databases limit the parameters of a statement


def among(query: Any, column: Any, keys: Collection[int] | None) -> Any:
    """A query confined to rows whose column holds one of the keys; not confined where there are none to ask for."""
    return query if keys is None else query.where(col(column).in_(sorted(keys)))


def cells_of(table: type[SQLModel]) -> Any:
    """A query for the cells of a table's rows, by the names of its columns: of thousands of them no mapped object is made."""
    return select(*inspect(table).local_table.columns)


def by_keys(session: Session, query: Any, column: Any, keys: Collection[int]) -> Iterator[Any]:
    """Rows of a query whose column holds one of the keys, however many keys there are."""
    ordered = sorted(keys)
    for first in range(0, len(ordered), MOST_AT_ONCE):
        yield from session.exec(among(query, column, ordered[first : first + MOST_AT_ONCE]))
