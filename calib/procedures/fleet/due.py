"""What is overdue or refused in the whole fleet, and what comes due."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from sqlmodel import Session

from calib.confirmation.due import DueEntry, due_list
from calib.confirmation.interval import Decision, InstrumentOnRecord
from calib.procedures.on_record.reviews import Review, reviews
from calib.procedures.on_record.used_with import decisions_on, gear_of


@dataclass(frozen=True)
class FleetDue:
    """The fleet on a day, and what of it is due within some days from then."""

    on: date
    within_days: int
    register: Mapping[str, InstrumentOnRecord]
    decisions: Mapping[str, Decision]
    entries: Sequence[DueEntry]  # the most urgent first
    open_reviews: Sequence[Review]  # impact reviews with a line that nobody has disposed of

    @property
    def is_overdue(self) -> bool:
        """Whether anything is overdue of what is in use; an open review alone is not."""
        return any(entry.overdue for entry in self.entries)


def due(session: Session, on: date, within_days: int) -> FleetDue:
    """Calibrations and checks that are overdue, refused or come due, and the open reviews."""
    gear = gear_of(session)
    decisions = decisions_on(gear, on)
    entries = due_list(gear.register, decisions, on, within_days)
    return FleetDue(on, within_days, gear.register, decisions, entries, reviews(session, only_open=True))
