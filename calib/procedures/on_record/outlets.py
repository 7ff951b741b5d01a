"""Look up outlets and ducts as they count now, with what was amended."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace

from sqlmodel import Session, SQLModel, col, select

from calib.procedures.on_record.attached_files import files_of
from calib.procedures.on_record.by_keys import by_keys
from calib.procedures.on_record.in_force import as_amended
from calib.procedures.on_record.jobs_by_name import job_named, outlet_named
from calib.procedures.on_record.what_counts import not_retracted
from calib.procedures.typed.columns import FILES
from calib.records.ledger import written
from calib.records.record import RecordCells, key, moment
from calib.records.tables.files import Attached
from calib.records.tables.outlets import Outlet, OutletRevision
from calib.records.tables.readings import Reading, Traverse

# Columns of outlets.csv that say which outlet it is.
_NAMES = ("job", "outlet")
_AMENDABLE = tuple(column for column in FILES["outlets.csv"] if column.name not in _NAMES)


@dataclass(frozen=True)
class Revision:
    """One amendment of an outlet."""

    revision: int
    changes: dict[str, tuple[str, str]]  # column -> value before, value after
    reason: str
    person: str
    time: str


@dataclass(frozen=True)
class OutletHistory:
    """An outlet as it counts now."""

    outlet: str
    cells: Mapping[str, str | None]
    revisions: tuple[Revision, ...]
    photographs: tuple[RecordCells, ...] = ()  # kept with it, where it alone is asked for

    @property
    def revision(self) -> int:
        """Number of the revision that counts; 1 as first typed."""
        return 1 + len(self.revisions)


def outlets(session: Session, job: str) -> list[OutletHistory]:
    """Every outlet of a job; raises NotInRecordsError."""
    of_job = select(Outlet).where(Outlet.job_id == job_named(session, job).id)
    return [history_of_outlet(session, outlet) for outlet in session.exec(of_job.order_by(col(Outlet.id)))]


def outlet_history(session: Session, job: str, name: str) -> OutletHistory:
    """One outlet of a job; raises NotInRecordsError."""
    outlet = outlet_named(session, job, name)
    photographs = files_of(session, Attached.outlet_id, [key(outlet.id)])[key(outlet.id)]
    return replace(history_of_outlet(session, outlet), photographs=tuple(photographs))


def last_traverses(session: Session, outlets: Collection[int]) -> dict[int, Traverse]:
    """How ducts were traversed last, by their keys; those that never were are absent."""
    counting = select(Reading.outlet_id, Traverse).join(Traverse, col(Reading.traverse_id) == Traverse.id)
    own = counting.where(not_retracted(Reading)).order_by(col(Reading.id))
    return dict(by_keys(session, own, Reading.outlet_id, outlets))  # the last of each outlet


def readings_at(session: Session, job: str, name: str) -> list[int]:
    """Numbers of an outlet's readings that count, in the order in which they were taken; raises NotInRecordsError."""
    own = Reading.outlet_id == outlet_named(session, job, name).id
    of_outlet = select(Reading).where(own, not_retracted(Reading))
    taken = session.exec(of_outlet).all()
    return [
        key(reading.id) for reading in sorted(taken, key=lambda reading: (moment(reading.observed_at), key(reading.id)))
    ]


def history_of_outlet(session: Session, outlet: Outlet) -> OutletHistory:
    """What was amended in an outlet, and how it counts now."""
    revisions = tuple(_revisions(session, outlet))
    return OutletHistory(outlet.outlet, outlet_cells(as_amended(outlet, latest_revision(session, outlet))), revisions)


def _revisions(session: Session, outlet: Outlet) -> Iterable[Revision]:
    before = outlet_cells(outlet)
    for revision in revisions_of(session, outlet):
        after = outlet_cells(as_amended(outlet, revision))
        person, time = written(session, "outlet_revision", key(revision.id))
        yield Revision(revision.revision, differences(before, after), revision.reason, person, time)
        before = after


def outlet_cells(outlet: SQLModel) -> dict[str, str | None]:
    """Cells of an outlet as typed, but those that say which it is."""
    return {column.name: getattr(outlet, column.name) for column in _AMENDABLE}


def differences(before: Mapping[str, str | None], after: Mapping[str, str | None]) -> dict[str, tuple[str, str]]:
    """Columns that differ: their value before and after, blank where there is none."""
    return {column: (before[column] or "", after[column] or "") for column in before if before[column] != after[column]}


def revisions_of(session: Session, outlet: Outlet) -> tuple[OutletRevision, ...]:
    """Every amendment of an outlet, the first one first: its cells count from the last one, else as first typed."""
    own = select(OutletRevision).where(OutletRevision.outlet_id == outlet.id)
    return tuple(session.exec(own.order_by(col(OutletRevision.revision))))


def latest_revision(session: Session, outlet: Outlet) -> OutletRevision | None:
    """The amendment of an outlet that counts, or None where it stands as first typed."""
    return next(reversed(revisions_of(session, outlet)), None)
