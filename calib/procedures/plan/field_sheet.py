"""What is taken along to measure a job: each outlet and duct with its design, and how often or at which points it is read."""

from collections.abc import Sequence
from dataclasses import dataclass

from sqlmodel import Session

from calib.procedures.on_record.in_force import outlets_in_force
from calib.procedures.on_record.jobs_by_name import job_named
from calib.procedures.plan.predicted_reading import usual_traverse
from calib.records.record import key
from calib.records.tables.jobs import Job
from calib.records.tables.outlets import Outlet
from calib.records.words import DUCT

PASSES_ON_SHEET = 3  # for which a field sheet has room; common practice, no source


@dataclass(frozen=True)
class FieldPlace:
    """A place to be read: with the rule, lines and points of its traverse where it is a duct."""

    outlet: Outlet
    traverse: tuple[str, int, int] | None = None

    @property
    def design(self) -> str:
        """The design flow as typed; blank where there is none."""
        outlet = self.outlet
        return "" if outlet.design_flow is None else f"{outlet.design_flow} {outlet.flow_unit}"

    @property
    def system(self) -> str:
        """The system and the service of the air."""
        return f"{self.outlet.system} {self.outlet.service}"


def field_places(session: Session, name: str) -> tuple[Job, Sequence[FieldPlace]]:
    """A job and its places in the order in which they were recorded; raises NotInRecordsError."""
    job = job_named(session, name)
    outlets = outlets_in_force(session, {key(job.id)})
    return job, [
        FieldPlace(outlet, usual_traverse(outlet) if outlet.place == DUCT else None)
        for _, outlet in sorted(outlets.items())
    ]
