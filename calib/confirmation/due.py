"""The due list: every instrument that is overdue, or comes due within some days."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from calib.confirmation.interval import InstrumentOnRecord, gate, is_retired


@dataclass(frozen=True)
class DueEntry:
    """One line of what is overdue and what comes due."""

    tag: str
    due_on: date | None  # absent: no calibration accepted
    days: int | None  # from the day asked about to the due date; negative: overdue
    certificate: str | None
    overdue: bool
    reasons: tuple[str, ...]  # the gate's reasons on that day


def due_list(register: Mapping[str, InstrumentOnRecord], on: date, within_days: int) -> tuple[DueEntry, ...]:
    """Instruments that are overdue, refused or come due within a number of days, the most urgent first; retired ones left out."""
    entries = []
    for tag, instrument in register.items():
        if is_retired(instrument, on):
            continue
        decision = gate(register, tag, on, on)
        days = None if decision.due_on is None else (decision.due_on - on).days
        if decision.reasons or days is None or days <= within_days:
            certificate = None if decision.calibration is None else decision.calibration.certificate
            overdue = days is None or days < 0
            entries.append(DueEntry(tag, decision.due_on, days, certificate, overdue, decision.reasons))
    return tuple(sorted(entries, key=lambda entry: (entry.days is not None, entry.days or 0, entry.tag)))
