"""What is taken along to measure a job: each outlet and duct with its design, and how often or at which points it is read."""

from collections.abc import Sequence
from dataclasses import dataclass

from sqlmodel import Session

from calib.airflow.traverse import Section, TraversePlace, traverse
from calib.errors import CalibError
from calib.procedures.measure.standing import section_of
from calib.procedures.on_record.in_force import outlets_in_force
from calib.procedures.on_record.jobs_by_name import job_named
from calib.procedures.on_record.outlets import last_traverses
from calib.procedures.plan.predicted_reading import usual_traverse
from calib.quantities import Unit, unit
from calib.records.record import key
from calib.records.tables.jobs import Job
from calib.records.tables.outlets import Outlet
from calib.records.tables.readings import Traverse
from calib.records.words import DUCT

PASSES_ON_SHEET = 3  # for which a field sheet has room; common practice, no source
PASSES_OF_TRAVERSE = 2  # likewise


@dataclass(frozen=True)
class FieldTraverse:
    """How a duct is to be traversed: as it was the last time, or as it is usual for its section."""

    rule: str
    lines: int
    points: int
    section: Section
    length_unit: Unit  # of the section's dimensions
    places: tuple[TraversePlace, ...]
    as_before: bool


@dataclass(frozen=True)
class FieldPlace:
    """A place to be read: with its traverse where it is a duct."""

    outlet: Outlet
    traverse: FieldTraverse | None = None

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
    last = last_traverses(session, outlets.keys())
    return job, [
        FieldPlace(outlet, _traverse(outlet, last.get(outlet_id)) if outlet.place == DUCT else None)
        for outlet_id, outlet in outlets.items()
    ]


def _traverse(outlet: Outlet, last: Traverse | None) -> FieldTraverse:
    """The traverse of a duct: the last one again, unless the section was amended since and has no such points."""
    section, length_unit = section_of(outlet), unit("length", str(outlet.dimension_unit))
    if last is not None:
        before = (last.rule, last.lines, last.points)
        try:
            return FieldTraverse(*before, section, length_unit, traverse(section, *before), as_before=True)
        except CalibError:
            pass
    planned = usual_traverse(outlet)
    return FieldTraverse(*planned, section, length_unit, traverse(section, *planned), as_before=False)
