"""What was amended in instruments, methods and jobs: each amendment with what it changed, by whom and why."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sqlmodel import Session

from calib.procedures.on_record.amended import Amended, cells_of_amendable
from calib.records.ledger import written
from calib.records.record import key


@dataclass(frozen=True)
class RevisionOnFile:
    """One amendment of a record."""

    revision: int
    changes: Mapping[str, tuple[str, str]]  # column -> value before, value after
    holds_from: str | None
    reason: str
    person: str
    time: str


def amendments_on_file(session: Session, amended: Amended[Any]) -> list[RevisionOnFile]:
    """Every amendment of a record, with what it changed, the first one first."""
    before, told = cells_of_amendable(amended.first), []
    for each in amended.revisions:
        own = cells_of_amendable(each)
        changes = {name: (_text(before[name]), _text(cell)) for name, cell in own.items() if cell != before[name]}
        person, time = written(session, str(each.__tablename__), key(each.id))
        since = getattr(each, "holds_from", None)
        told.append(RevisionOnFile(each.revision, changes, since, each.reason, person, time))
        before = own
    return told


def _text(cell: object) -> str:
    return "" if cell is None else str(cell)
