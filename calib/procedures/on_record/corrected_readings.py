"""What was changed by a correction of a reading: cell by cell, what it was and what it became, by whom and why."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from sqlmodel import Session, col, select

from calib.procedures.on_record.taken_back import TakenBack, taken_back
from calib.records.record import key
from calib.records.tables.entries import Retraction
from calib.records.tables.instruments import Instrument
from calib.records.tables.methods import Method
from calib.records.tables.readings import Reading, Refusal, TraversePoint

_TYPED = (
    "indication",
    "unit",
    "observations",
    "throttled_observations",
    "remarks",
    "stage",
    "averaging_s",
    "conditions",
)


@dataclass(frozen=True)
class Correction:
    """A reading that took the place of another."""

    before: int  # its number
    after: int
    changes: Mapping[str, tuple[str, str]]  # column -> value before, value after; blank: there was none
    taken_back: TakenBack  # the one before


def corrections_of(session: Session, reading: Reading) -> list[Correction]:
    """The corrections that a reading came from and went into: none, one or both, the earlier first."""
    own = key(reading.id)
    came = select(Retraction.record_id).where(
        Retraction.record_table == Reading.__tablename__, Retraction.replaced_by_id == own
    )
    back = taken_back(session, Reading, [*session.exec(came), own])
    corrections = []
    for each in sorted(back.values(), key=lambda each: each.record_id):
        if each.replaced_by is not None:
            before, after = (session.get_one(Reading, own_key) for own_key in (each.record_id, each.replaced_by))
            changes = dict(corrected_cells(session, before, after))
            corrections.append(Correction(each.record_id, each.replaced_by, changes, each))
    return corrections


def corrected_cells(
    session: Session, before: Reading | Refusal, after: Reading | Refusal
) -> Iterator[tuple[str, tuple[str, str]]]:
    """Cells in which a corrected reading differs."""
    for column in _TYPED:
        values = (getattr(before, column) or "", getattr(after, column) or "")
        if values[0] != values[1]:
            yield column, values
    methods = [session.get_one(Method, each.method_id).method for each in (before, after)]
    probes = [
        "" if each.probe_id is None else session.get_one(Instrument, each.probe_id).tag for each in (before, after)
    ]
    for column, (first, second) in (("method", methods), ("probe", probes)):
        if first != second:
            yield column, (first, second)
    if before.traverse_id != after.traverse_id:
        points = [indications_at_points(session, each) for each in (before, after)]
        for place in sorted(points[0].keys() | points[1].keys()):
            both = points[0].get(place, ""), points[1].get(place, "")
            if both[0] != both[1]:
                yield f"line {place[0]}, point {place[1]}", both


def indications_at_points(session: Session, reading: Reading | Refusal) -> dict[tuple[int, int], str]:
    """Indications at each line and point of the traverse that a reading is; nothing where it is none."""
    of_traverse = select(TraversePoint).where(TraversePoint.traverse_id == reading.traverse_id)
    points = () if reading.traverse_id is None else session.exec(of_traverse.order_by(col(TraversePoint.id)))
    return {(point.line, point.point): point.indications for point in points}
