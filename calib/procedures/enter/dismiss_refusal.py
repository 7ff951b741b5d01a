"""Dismiss a refused reading that was a slip of whoever typed it: kept with its reason, and no longer told on the report's face."""

from dataclasses import dataclass

from sqlmodel import Session

from calib.errors import NotInRecordsError, Step
from calib.procedures.impact.take_back import take_back
from calib.procedures.on_record.by_keys import LARGEST_KEY
from calib.procedures.on_record.jobs_by_name import job_named
from calib.records import ledger
from calib.records.record import key
from calib.records.tables.outlets import Outlet
from calib.records.tables.readings import Refusal


@dataclass(frozen=True)
class DismissedRefusal:
    """A refusal that was dismissed."""

    refusal: int
    outlet: str
    observed_at: str


def dismiss_refusal(
    session: Session, job: str, refusal_id: int, reason: str, signature: ledger.Signature
) -> DismissedRefusal:
    """Append the retraction of a refusal; raises NotInRecordsError, or BadInputError where it is dismissed or has no reason."""
    of_job = job_named(session, job)
    refusal = session.get(Refusal, refusal_id) if 0 < refusal_id < LARGEST_KEY else None
    outlet = None if refusal is None else session.get(Outlet, refusal.outlet_id)
    if refusal is None or outlet is None or outlet.job_id != key(of_job.id):
        raise NotInRecordsError(f"no refused reading {refusal_id} in job {job}: {Step.LIST_READINGS} shows the numbers")
    take_back(session, refusal, reason, signature)
    return DismissedRefusal(refusal_id, outlet.outlet, refusal.observed_at)
