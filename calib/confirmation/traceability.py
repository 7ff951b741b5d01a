"""Metrological traceability (VIM 2.41, 2.42): what a record rests on, up to an accredited certificate, and all that hangs on it.

Records are the knots of a graph; a link says that one record rests on another: a reading on the calibration of its meter, a
calibration on that of its reference standard. Nothing here knows what a record holds. Source for what the chain has to reach:
ISO/IEC 17025:2017, 6.5 and Annex A (from memory).
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

Record = tuple[str, int]  # table and key

# What people type into the cell for the accreditation where there is none.
_NO_ACCREDITATION = frozenset({"", "-", "no", "none", "n/a", "not accredited"})


@dataclass(frozen=True)
class TraceLink:
    """One record rests on another."""

    record: Record
    on: Record
    role: str  # of what it rests on: "meter", "probe", "reference standard"
    day: date | None = None  # on which it was relied on; absent where no day matters


@dataclass(frozen=True)
class Branch:
    """A record with what was reached from it, as it is drawn."""

    record: Record
    role: str  # in which it was reached; "" at the start
    branches: tuple["Branch", ...]
    again: bool = False  # drawn before: what is beyond stands there
    on_itself: bool = False  # it was reached from itself: the chain is a circle


Graph = Mapping[Record, Sequence[TraceLink]]


def is_accredited(accreditation: str | None) -> bool:
    """Whether the cell names an accreditation; words for none do not. Whether the accreditation holds is not known here."""
    return (accreditation or "").strip().casefold() not in _NO_ACCREDITATION


def upward(links: Iterable[TraceLink]) -> Graph:
    """Links by the record that rests on something."""
    return _by(links, lambda link: link.record)


def downward(links: Iterable[TraceLink]) -> Graph:
    """The same turned round: by the record that something rests on."""
    turned = (TraceLink(link.on, link.record, link.role, link.day) for link in links)
    return _by(turned, lambda link: link.record)


def _by(links: Iterable[TraceLink], knot: Callable[[TraceLink], Record]) -> Graph:
    by_knot: dict[Record, list[TraceLink]] = defaultdict(list)
    for link in links:
        by_knot[knot(link)].append(link)
    return dict(by_knot)


def tree(graph: Graph, start: Record) -> Branch:
    """Everything reached from a record as a tree, each record's own branches drawn once; circles are closed where they meet."""
    return _branch(graph, start, "", (), set())


def _branch(graph: Graph, record: Record, role: str, above: tuple[Record, ...], drawn: set[Record]) -> Branch:
    if record in above:
        return Branch(record, role, (), on_itself=True)
    if record in drawn:
        return Branch(record, role, (), again=bool(graph.get(record)))
    drawn.add(record)
    beyond = tuple(_branch(graph, link.on, link.role, (*above, record), drawn) for link in graph.get(record, ()))
    return Branch(record, role, beyond)


def reached(graph: Graph, starts: Iterable[Record]) -> tuple[Record, ...]:
    """Everything reached from records, they themselves left out unless a circle leads back to one.

    Upward: all that they rest on. Downward: all that hangs on them, each after whatever of it is reached before, so that what is
    worked out in this order finds the ground it stands on worked out already; within a circle there is no such order.
    """
    done: dict[Record, None] = {}
    beyond = {link.on for start in starts for link in graph.get(start, ())}
    for first in sorted(beyond, reverse=True):
        _finish(graph, first, done)
    return tuple(reversed(done))


def _finish(graph: Graph, first: Record, done: dict[Record, None]) -> None:
    """Records in the order in which all that is beyond them is finished, by steps and no recursion: jobs have many readings."""
    entered: set[Record] = set(done)
    path = [(first, _beyond(graph, first))] if first not in entered else []
    entered.add(first)
    while path:
        record, rest = path[-1]
        following = next((neighbour for neighbour in rest if neighbour not in entered), None)
        if following is None:
            done[record] = None
            path.pop()
        else:
            entered.add(following)
            path.append((following, _beyond(graph, following)))


def _beyond(graph: Graph, record: Record) -> Iterator[Record]:
    return iter(sorted({link.on for link in graph.get(record, ())}, reverse=True))


def circles(graph: Graph) -> tuple[tuple[Record, ...], ...]:
    """Records that rest on themselves, each circle once, from its smallest record on; none in a sound register."""
    between = _between_circles(graph)
    each_once = dict.fromkeys(
        circle
        for start in sorted(between)
        if start in set(reached(between, [start]))
        for circle in _shortest(between, start)
    )
    return tuple(each_once)


def _between_circles(graph: Graph) -> Graph:
    """What is left where records that nothing is beyond are taken away, again and again: circles, and what leads to them."""
    waiting = {record: {link.on for link in links} for record, links in graph.items()}
    before: dict[Record, list[Record]] = defaultdict(list)
    for record, beyond in waiting.items():
        for each in beyond:
            before[each].append(record)
    ended = [each for each in before if not waiting.get(each)]
    while ended:
        end = ended.pop()
        for record in before.pop(end, ()):
            waiting[record].discard(end)
            if not waiting[record]:
                ended.append(record)
    return {
        record: [link for link in graph[record] if link.on in beyond] for record, beyond in waiting.items() if beyond
    }


def _shortest(graph: Graph, start: Record) -> Iterator[tuple[Record, ...]]:
    """The shortest way from a record back to itself."""
    before: dict[Record, Record] = {}
    edge = [start]
    while edge:
        following = []
        for record in edge:
            for neighbour in _beyond(graph, record):
                if neighbour == start:
                    yield _turned([record, *_back(before, record)])
                    return
                if neighbour not in before:
                    before[neighbour] = record
                    following.append(neighbour)
        edge = following


def _back(before: Mapping[Record, Record], record: Record) -> Iterator[Record]:
    while record in before:
        record = before[record]
        yield record


def _turned(backward: Sequence[Record]) -> tuple[Record, ...]:
    forward = list(reversed(backward))
    first = forward.index(min(forward))
    return tuple(forward[first:] + forward[:first])
