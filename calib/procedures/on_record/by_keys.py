"""Ask for the rows of some records: by their keys, or of many their cells alone."""

from collections import namedtuple
from collections.abc import Callable, Collection, Iterator, Sequence
from functools import lru_cache, partial
from typing import Any, TypeVar

from sqlalchemy import inspect
from sqlmodel import Session, SQLModel, col, select

from calib.records.on_file import rows_of
from calib.records.words import LARGEST_KEY

MOST_AT_ONCE = 10_000  # values in one question: databases limit the parameters of a statement
WHOLE_AT_ONCE = MOST_AT_ONCE // 10  # certificates that are in memory together with their comparisons

_Record = TypeVar("_Record", bound=SQLModel)
_Thing = TypeVar("_Thing")


def numbered(session: Session, table: type[_Record], record_id: int) -> _Record | None:
    """The record of a number that a person typed; None where there is none, or it is too large for a database."""
    return session.get(table, record_id) if 0 < record_id <= LARGEST_KEY else None


def among(query: Any, column: Any, keys: Collection[int] | None) -> Any:
    """A query confined to rows whose column holds one of the keys; not confined where there are none to ask for."""
    return query if keys is None else query.where(col(column).in_(sorted(keys)))


def cells_of(session: Session, table: type[SQLModel], confined: Callable[[Any], Any]) -> list[Any]:
    """Rows of a confined query for a table as named tuples of its cells: of thousands no mapped object is made."""
    # Past the session, which would look for mapped objects; whatever was added to it is flushed already.
    rows = rows_of(session.connection(), confined(select(*inspect(table).local_table.columns)))
    return list(map(partial(tuple.__new__, _named_cells(table)), rows))


@lru_cache(maxsize=16)
def _named_cells(table: type[SQLModel]) -> Any:
    return namedtuple(table.__name__, inspect(table).local_table.columns.keys())  # noqa: PYI024 (the table has the types)


def by_keys(session: Session, query: Any, column: Any, keys: Collection[int]) -> Iterator[Any]:
    """Rows of a query whose column holds one of the keys, however many keys there are."""
    for some in portions(sorted(keys)):
        yield from session.exec(among(query, column, some))


def portions(things: Sequence[_Thing], most: int = MOST_AT_ONCE) -> Iterator[Sequence[_Thing]]:
    """Things in their order, so many at once."""
    return (things[first : first + most] for first in range(0, len(things), most))
