"""What waits for somebody: due gear, outlets not measured, certificates not accepted, open reviews, the last backup."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session

from calib.confirmation.interval import is_retired
from calib.procedures.fleet.due import FleetDue, due
from calib.procedures.on_record.left_open import (
    LastBackup,
    OpenJob,
    WaitingCertificate,
    last_backup,
    open_jobs,
    waiting_certificates,
)


@dataclass(frozen=True)
class Status:
    """Everything that waits at a time."""

    at: datetime
    fleet: FleetDue
    jobs: Sequence[OpenJob]
    waiting: Sequence[WaitingCertificate]
    backup: LastBackup | None

    @property
    def is_found(self) -> bool:
        """Whether anything waits; what only comes due, and a job that is measured and not issued, do not yet."""
        is_late = self.backup is None or self.backup.is_late(self.at)
        is_left = any(job.left for job in self.jobs)
        return bool(self.fleet.is_overdue or self.fleet.open_reviews or is_left or self.waiting or is_late)


def what_waits(session: Session, at: datetime, within_days: int) -> Status:
    """All of it at a time; what comes due within some days is told beside it."""
    fleet = due(session, at.date(), within_days)
    waiting = [each for each in waiting_certificates(session) if not is_retired(fleet.register[each.tag], at)]
    return Status(at, fleet, open_jobs(session), waiting, last_backup(session))
