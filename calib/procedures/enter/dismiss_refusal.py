"""Dismiss a refused reading that was a slip of whoever typed it: kept with its reason, and no longer told on the report's face."""

from dataclasses import dataclass

from sqlmodel import Session

from calib.procedures.impact.take_back import take_back
from calib.procedures.on_record.jobs_by_name import typed_in_job
from calib.records import ledger
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
    refusal, outlet = typed_in_job(session, job, Refusal, refusal_id)
    take_back(session, refusal, reason, signature)
    return DismissedRefusal(refusal_id, outlet.outlet, refusal.observed_at)
