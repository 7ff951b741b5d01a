"""What is overdue or refused in the whole fleet, and what comes due."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from sqlmodel import Session

from calib.confirmation.due import DueEntry, due_list
from calib.confirmation.interval import InstrumentOnRecord
from calib.procedures.impact.reviews import Review, reviews
from calib.procedures.on_record.register import load_register


@dataclass(frozen=True)
class FleetDue:
    """The fleet on a day, and what of it is due within some days from then."""

    on: date
    within_days: int
    register: dict[str, InstrumentOnRecord]
    entries: Sequence[DueEntry]  # the most urgent first
    open_reviews: Sequence[Review]  # impact reviews with a line that nobody has disposed of

    @property
    def is_overdue(self) -> bool:
        """Whether anything is overdue; an open review alone is not."""
        return any(entry.overdue for entry in self.entries)


def due(session: Session, on: date, within_days: int) -> FleetDue:
    """Instruments that are overdue, refused or come due, and the open reviews."""
    register = load_register(session)
    return FleetDue(on, within_days, register, due_list(register, on, within_days), reviews(session, only_open=True))
