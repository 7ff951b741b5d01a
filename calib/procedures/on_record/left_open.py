"""What is left open: outlets of jobs not issued yet that no reading stands of, certificates that wait, the last backup.

Asked are the jobs that were not issued and nothing else of what was ever observed, so the answer costs what is open.

Decision (2026-11-29). A job is open until its report is issued once, and an outlet is measured where a reading is on record that
nobody took back, whatever the gate says of it today. Options: each open job evaluated (numpy and a second for each, at the start of
every day). Cost: a reading that the gate would refuse today counts here; what made it so stands among the reviews and what is due,
and `measure/evaluate` says it of its job.

Nothing heavy is imported here.
"""

import json
from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy.orm import aliased
from sqlmodel import Session, col, func, select

from calib.procedures.on_record.by_keys import by_keys
from calib.procedures.on_record.recorded import recorded_by
from calib.procedures.on_record.what_counts import not_retracted, not_withdrawn
from calib.records.ledger import ledger_head, written
from calib.records.record import key, moment
from calib.records.tables.calibrations import Acceptance, Calibration, Withdrawal
from calib.records.tables.custody import BackupMade
from calib.records.tables.instruments import Instrument
from calib.records.tables.jobs import Job
from calib.records.tables.outlets import Outlet
from calib.records.tables.readings import Reading, Refusal
from calib.records.tables.reports import IssuedReport

BACKED_UP_WITHIN = 7  # days; common practice, no source


@dataclass(frozen=True)
class OutletLeft:
    """An outlet or duct that no reading stands of."""

    outlet: str
    refused: tuple[str, ...]  # the gate's reasons against the last reading that was tried there; none: nothing was


@dataclass(frozen=True)
class OpenJob:
    """A job that was not issued yet."""

    job: str
    outlets: int
    left: tuple[OutletLeft, ...]


@dataclass(frozen=True)
class WaitingCertificate:
    """A certificate that nobody has accepted, where none of a later day was."""

    tag: str
    certificate: str
    calibrated_on: str
    typed_by: str


@dataclass(frozen=True)
class LastBackup:
    """The backup recorded last."""

    name: str
    at: str
    by: str
    entries_since: int  # of the ledger, its own among them not

    def is_late(self, now: datetime) -> bool:
        """Whether something was recorded since, and it is too long ago."""
        days = (now - moment(self.at)).days
        return self.entries_since > 0 and days >= BACKED_UP_WITHIN


def open_jobs(session: Session) -> list[OpenJob]:
    """Jobs that were not issued, in the order in which they were recorded, each with what is left of it."""
    issued = select(IssuedReport.id).where(col(IssuedReport.job_id) == col(Job.id)).exists()
    jobs = {key(job_id): name for job_id, name in session.exec(select(Job.id, Job.job).where(~issued).order_by(Job.id))}  # type: ignore[arg-type]
    counted = select(Outlet.job_id, func.count()).group_by(col(Outlet.job_id))
    outlets = dict(by_keys(session, counted, Outlet.job_id, jobs))
    read = select(Reading.id).where(col(Reading.outlet_id) == col(Outlet.id), not_retracted(Reading)).exists()
    unread = select(Outlet.job_id, Outlet.id, Outlet.outlet).where(~read).order_by(col(Outlet.id))
    rows = list(by_keys(session, unread, Outlet.job_id, jobs))
    reasons = _refused(session, [key(outlet_id) for _, outlet_id, _ in rows])
    left: dict[int, list[OutletLeft]] = defaultdict(list)
    for job_id, outlet_id, outlet in rows:
        left[job_id].append(OutletLeft(outlet, reasons.get(key(outlet_id), ())))
    return [OpenJob(name, outlets.get(job_id, 0), tuple(left[job_id])) for job_id, name in jobs.items()]


def _refused(session: Session, outlets: Collection[int]) -> dict[int, tuple[str, ...]]:
    """The reasons of the refusal recorded last at each of some outlets."""
    own = select(Refusal.outlet_id, Refusal.reasons).where(not_retracted(Refusal)).order_by(col(Refusal.id))
    return {outlet: tuple(json.loads(reasons)) for outlet, reasons in by_keys(session, own, Refusal.outlet_id, outlets)}


def waiting_certificates(session: Session) -> list[WaitingCertificate]:
    """Certificates that nobody has accepted; a later one that was accepted ends the wait."""
    later, accepted = aliased(Calibration), aliased(Acceptance)
    is_accepted = select(Acceptance.id).where(col(Acceptance.calibration_id) == col(Calibration.id)).exists()
    is_past = (
        select(later.id)
        .join(accepted, col(accepted.calibration_id) == col(later.id))
        .where(
            col(later.instrument_id) == col(Calibration.instrument_id),
            col(later.calibrated_on) > col(Calibration.calibrated_on),
            col(later.id).not_in(select(Withdrawal.calibration_id)),
        )
        .exists()
    )
    query = (
        select(Calibration, Instrument.tag)
        .join(Instrument, col(Instrument.id) == col(Calibration.instrument_id))
        .where(~is_accepted, ~is_past, not_withdrawn())
        .order_by(col(Calibration.id))
    )
    waiting = session.exec(query).all()
    recorded = recorded_by(session, Calibration, [key(each.id) for each, _ in waiting])
    return [
        WaitingCertificate(tag, each.certificate, each.calibrated_on, recorded[key(each.id)]["person"])
        for each, tag in waiting
    ]


def last_backup(session: Session) -> LastBackup | None:
    """The backup recorded last; None where none is on record."""
    backup = session.exec(select(BackupMade).order_by(col(BackupMade.id).desc()).limit(1)).first()
    if backup is None:
        return None
    person, time = written(session, "backup", key(backup.id))
    return LastBackup(backup.name, time, person, ledger_head(session)[0] - backup.entries - 1)
