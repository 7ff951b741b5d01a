"""Trace a record up to the certificates that it rests on, or down to everything that hangs on it."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from sqlmodel import Session

from calib.confirmation.traceability import (
    Branch,
    Graph,
    Record,
    TraceLink,
    downward,
    is_accredited,
    reached,
    tree,
    upward,
)
from calib.procedures.impact.chain_gaps import Gaps
from calib.procedures.impact.gather import RecordKind
from calib.procedures.impact.knots import Knot, knots_of
from calib.procedures.impact.record_named import record_named
from calib.procedures.impact.rests_on import OF, STANDARD, Ground, ground_above, ground_below, link_to
from calib.procedures.on_record.evidence_taken_over import evidence_taken_over

UP, DOWN = "up", "down"
IN_FORCE = "calibration in force"


@dataclass(frozen=True)
class Trace:
    """A chain of traceability, or all that hangs on a record. A link says that one record rests on another, both ways round."""

    start: Record
    direction: str
    knots: Mapping[Record, Knot]
    links: tuple[TraceLink, ...]
    tree: Branch
    taken_over: tuple[str, ...] = ()  # where evidence comes from that another site handed over; of a chain upward

    @property
    def gaps(self) -> tuple[str, ...]:
        """Everything that the chain lacks; none: each of its ends is an accredited certificate that was valid that day."""
        return tuple(dict.fromkeys(gap for knot in self.knots.values() for gap in knot.gaps))


def trace_up(session: Session, words: Sequence[str], on: date) -> Trace:
    """What a record rests on; an instrument on the calibration that it has on a day. Raises NotInRecordsError, BadInputError."""
    start = record_named(session, words)
    ground = ground_above(session, [start])
    links = [link for link in ground.links if link.role != OF and not _beyond_accreditation(ground, link)]
    if start[0] == RecordKind.INSTRUMENT:
        links.append(link_to(ground, start, start[1], IN_FORCE, on))
    graph = upward(link for link in links if link.record != link.on)
    records = [start, *(record for record in reached(graph, [start]) if record != start)]
    gaps = Gaps(ground, graph, start, on)
    knots = knots_of(session, ground, records, on, gaps)
    among = {record for record in knots if record[0] == RecordKind.CALIBRATION}
    of = [link for link in ground.links if link.role == OF and link.record in among]
    known = knots | knots_of(session, ground, [link.on for link in of if link.on not in knots], on)
    tags = {str(knot.says["tag"]) for knot in known.values() if "tag" in knot.says}
    taken_over = [str(each) for own in evidence_taken_over(session, tags).values() for each in own]
    return Trace(start, UP, known, (*_between(graph, records), *of), tree(graph, start), tuple(taken_over))


def trace_down(session: Session, words: Sequence[str], on: date) -> Trace:
    """What hangs on a record, with due dates as they are on a day. Raises NotInRecordsError, BadInputError."""
    start = record_named(session, words)
    ground = ground_below(session, [start])
    graph = downward(ground.links)
    records = [start, *(record for record in reached(graph, [start]) if record != start)]
    turned = (TraceLink(link.on, link.record, link.role, link.day) for link in _between(graph, records))
    return Trace(start, DOWN, knots_of(session, ground, records, on), tuple(turned), tree(graph, start))


def _beyond_accreditation(ground: Ground, link: TraceLink) -> bool:
    """A chain ends at an accredited certificate: what its laboratory compared with is the accreditation's business."""
    return link.role == STANDARD and is_accredited(ground.calibrations[link.record[1]].accreditation)


def _between(graph: Graph, records: Sequence[Record]) -> Iterator[TraceLink]:
    for record in records:
        yield from graph.get(record, ())
