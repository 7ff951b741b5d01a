"""Heads of a table that is sorted as the address says: each leads to an order, and keeps what else is asked for."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from urllib.parse import urlencode


@dataclass(frozen=True)
class Head:
    """The head of a column."""

    heading: str
    direction: str | None  # in which the table is sorted by it; absent: it is sorted by another
    link: str | None  # absent: nothing is sorted by it


def heads(
    place: str,
    columns: Iterable[tuple[str, str | None]],
    asked: Mapping[str, str],
    sort: str,
    descending: Collection[str] = (),
) -> list[Head]:
    """Heads of columns, each a heading and the order that it leads to; `descending` are the orders from the last to the first."""
    others = {name: typed for name, typed in asked.items() if name != "sort"}
    return [
        Head(
            heading,
            ("descending" if order in descending else "ascending") if order == sort else None,
            order and f"{place}?{urlencode(others | {'sort': order})}",
        )
        for heading, order in columns
    ]
