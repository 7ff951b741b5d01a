"""Readings of a job that were withdrawn or corrected, and refusals that were dismissed."""

from dataclasses import dataclass
from typing import Any

from sqlmodel import Session, col, not_, select

from calib.procedures.on_record.taken_back import TakenBack, taken_back
from calib.procedures.on_record.what_counts import not_retracted
from calib.records.record import key
from calib.records.tables.outlets import Outlet
from calib.records.tables.readings import Reading, Refusal


@dataclass(frozen=True)
class WithdrawnTyped:
    """A reading that was withdrawn or corrected, or a refusal that was dismissed."""

    typed: Reading | Refusal
    outlet: str
    taken_back: TakenBack

    @property
    def was_refused(self) -> bool:
        """Whether it was a refusal."""
        return isinstance(self.typed, Refusal)

    @property
    def named(self) -> str:
        """What it is called, with its place and time."""
        what = "refused reading" if self.was_refused else "reading"
        return f"{what} {self.typed.id} at {self.outlet}, {self.typed.observed_at}"


def withdrawn_readings(session: Session, job: int) -> tuple[WithdrawnTyped, ...]:
    """All of them of a job, readings first, in the order in which they were typed."""
    withdrawn = []
    tables: tuple[Any, ...] = (Reading, Refusal)
    for table in tables:
        query = select(table, Outlet.outlet).join(Outlet).where(Outlet.job_id == job, not_(not_retracted(table)))
        rows = session.exec(query.order_by(col(table.id))).all()
        reasons = taken_back(session, table, [key(row.id) for row, _ in rows])
        withdrawn += [WithdrawnTyped(row, outlet, reasons[key(row.id)]) for row, outlet in rows]
    return tuple(withdrawn)
