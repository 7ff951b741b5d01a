"""Instruments, methods and jobs as they count: as first typed, with what was amended since.

An amendment is the whole of a record with its reason. Of an instrument it holds from a time on, or says that what was typed before
was always wrong; so what counts of it is asked for a time. Each amendment changes the cells in which it differs from the one before
it; of two that change one cell the later recorded counts.

Source: ISO/IEC 17025:2017, 7.5.2 (amendments can be tracked to previous versions), from memory. Nothing heavy is imported here:
`calib due` starts with it.
"""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, Generic, TypeVar

from sqlmodel import Session, SQLModel, col, select

from calib.confirmation.interval import has_happened
from calib.procedures.on_record.by_keys import among
from calib.records.record import RecordCells, key, moment
from calib.records.tables.instruments import Instrument, InstrumentRevision

_Amendable = TypeVar("_Amendable", bound=SQLModel)
_NO_CELLS = frozenset({"id", "revision", "reason", "holds_from", "instrument_id", "method_id", "job_id"})


@dataclass(frozen=True)
class Amended(Generic[_Amendable]):
    """A record as first typed, and its revisions in the order in which they were recorded."""

    first: _Amendable
    revisions: Sequence[Any] = ()
    _states: dict[tuple[bool, ...], _Amendable] = field(default_factory=dict, repr=False, compare=False)

    @property
    def now(self) -> _Amendable:
        """As it counts now: no amendment holds from a time to come."""
        return self.at(None)

    def at(self, at: datetime | date | None) -> _Amendable:
        """As it counts of a time, or of the end of a day; None: with every amendment. One object for each state."""
        if not self.revisions:
            return self.first
        holds = tuple(at is None or _holds(revision, at) for revision in self.revisions)
        if holds not in self._states:
            self._states[holds] = self._state(holds)
        return self._states[holds]

    def _state(self, holds: tuple[bool, ...]) -> _Amendable:
        cells, before = cells_of_amendable(self.first), cells_of_amendable(self.first)
        for revision, counts in zip(self.revisions, holds, strict=True):
            own = cells_of_amendable(revision)
            if counts:
                cells |= {name: cell for name, cell in own.items() if cell != before[name]}
            before = own
        return type(self.first)(**(self.first.model_dump() | cells))

    @property
    def turns(self) -> list[datetime]:
        """Times from which on it counts otherwise."""
        return [moment(each.holds_from) for each in self.revisions if getattr(each, "holds_from", None) is not None]


def _holds(revision: Any, at: datetime | date) -> bool:
    since = getattr(revision, "holds_from", None)
    return since is None or has_happened(moment(since), at)


def cells_of_amendable(record: SQLModel) -> RecordCells:
    """The cells that an amendment may change, of a record or of a revision of it."""
    return {name: getattr(record, name) for name in type(record).model_fields if name not in _NO_CELLS | _NAMES}


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
    from calib.records.ledger import written  # noqa: PLC0415 (tables that no gate asks)

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


_NAMES = frozenset({"tag", "method", "job"})  # that say which record it is


def revisions_by_owner(
    session: Session, revisions: Any, owner: Any, keys: Collection[int] | None = None
) -> Mapping[int, tuple[Any, ...]]:
    """Revisions of records by the key of their record, in the order in which they were recorded; of some records, or of all."""
    of_owners: dict[int, tuple[Any, ...]] = defaultdict(tuple)
    for each in session.exec(among(select(revisions), owner, keys).order_by(col(revisions.revision))):
        of_owners[getattr(each, owner.key)] += (each,)
    return of_owners


def amended_instruments(session: Session, keys: Collection[int] | None = None) -> dict[int, Amended[Instrument]]:
    """Instruments by their key, in the order of their tags: some of them, or all."""
    first = session.exec(among(select(Instrument), Instrument.id, keys).order_by(col(Instrument.tag))).all()
    revisions = revisions_by_owner(session, InstrumentRevision, InstrumentRevision.instrument_id, keys)
    return {key(each.id): Amended(each, revisions.get(key(each.id), ())) for each in first}


def instruments_in_force(session: Session, keys: Collection[int] | None = None) -> list[Instrument]:
    """Instruments as they count now, in the order of their tags: some of them, or all."""
    return [each.now for each in amended_instruments(session, keys).values()]


def instrument_of(session: Session, instrument: int) -> Instrument:
    """An instrument as it counts now, by its key; raises KeyError."""
    return amended_instruments(session, [instrument])[instrument].now
