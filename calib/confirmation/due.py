"""The due list: every calibration and intermediate check that is overdue, or comes due within some days.

Decision (2026-11-29): a check that is due has a line of its own, and gear that is put aside (suspended) is told apart and makes
nothing overdue: nobody uses it, and it is asked again when it is released. Options: one line for each instrument with the earlier
day, which hides the second; or put aside gear among the rest, where it is overdue for years and hides what is in use. Cost: an
instrument may have two lines.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from calib.confirmation.interval import Decision, InstrumentOnRecord, is_put_aside, is_retired

CALIBRATION, CHECK = "calibration", "intermediate check"


@dataclass(frozen=True)
class DueEntry:
    """One line of what is overdue and what comes due."""

    tag: str
    due_on: date | None  # absent: no calibration accepted
    days: int | None  # from the day asked about to the due date; negative: overdue
    certificate: str | None
    overdue: bool
    reasons: tuple[str, ...]  # the gate's reasons on that day
    what: str = CALIBRATION  # that is due
    put_aside: bool = False


def due_list(
    register: Mapping[str, InstrumentOnRecord], decisions: Mapping[str, Decision], on: date, within_days: int
) -> tuple[DueEntry, ...]:
    """What is overdue, refused or comes due within a number of days, the most urgent first and what is put aside last.

    `decisions` are the gate's on that day, of each instrument with what belongs to it; retired ones are left out.
    """
    entries = [
        entry
        for tag, instrument in register.items()
        if not is_retired(instrument, on)
        for entry in _entries(decisions[tag], on, within_days, is_put_aside(instrument, on))
    ]
    return tuple(sorted(entries, key=lambda entry: (entry.put_aside, entry.due_on or date.min, entry.tag)))


def _entries(decision: Decision, on: date, within_days: int, put_aside: bool) -> Iterable[DueEntry]:
    certificate = None if decision.calibration is None else decision.calibration.certificate
    days = None if decision.due_on is None else (decision.due_on - on).days
    reasons = tuple(reason for reason in decision.reasons if reason != decision.check_overdue)
    if reasons or days is None or days <= within_days:
        overdue = (days is None or days < 0) and not put_aside
        yield DueEntry(decision.tag, decision.due_on, days, certificate, overdue, reasons, CALIBRATION, put_aside)
    if decision.check_due_on is not None and (left := (decision.check_due_on - on).days) <= within_days:
        late = () if decision.check_overdue is None else (decision.check_overdue,)
        overdue = left < 0 and not put_aside
        yield DueEntry(decision.tag, decision.check_due_on, left, certificate, overdue, late, CHECK, put_aside)
