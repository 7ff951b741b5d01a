"""Names of places in a report, made of what stands there: plain ASCII whatever a tag holds, and each once."""

import re
from collections.abc import Hashable

_LONGEST = 40


class Anchors:
    """Anchors given so far: the same place always has the same one, another place another one."""

    def __init__(self) -> None:
        """None was given yet."""
        self._given: dict[tuple[Hashable, ...], str] = {}
        self._taken: set[str] = set()

    def of(self, what: str, *place: Hashable) -> str:
        """Anchor of a place: `what` it is, of plain letters, and what tells it from its like, the first of which names it."""
        given = self._given.get((what, *place))
        if given is not None:
            return given
        name = re.sub(r"[^A-Za-z0-9]+", "-", str(place[0]))[:_LONGEST].strip("-")
        plain = f"{what}-{name}" if name else what
        anchor, count = plain, 2
        while anchor in self._taken:
            anchor, count = f"{plain}-no{count}", count + 1
        self._taken.add(anchor)
        self._given[what, *place] = anchor
        return anchor
