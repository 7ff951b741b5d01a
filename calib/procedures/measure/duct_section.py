"""The section of a duct or outlet on record, and where its points are."""

from sqlmodel import Session

from calib.airflow.traverse import Section
from calib.errors import NotInRecordsError
from calib.procedures.measure.standing import section_of
from calib.procedures.on_record.in_force import outlets_in_force
from calib.procedures.on_record.jobs_by_name import outlet_named
from calib.quantities import Unit, unit
from calib.records.record import key


def section_on_record(session: Session, job: str, name: str) -> tuple[Section, Unit]:
    """Section of a duct as it counts now, and the unit of its dimensions; raises NotInRecordsError where it has no shape."""
    outlet = outlet_named(session, job, name)
    now = outlets_in_force(session, [outlet.job_id])[key(outlet.id)]
    if now.shape is None:
        raise NotInRecordsError(
            f"{name} in job {job} has no shape on record: amend it, or plan with a shape of its own"
        )
    return section_of(now), unit("length", str(now.dimension_unit))


def from_the_wall(along: float, in_unit: Unit) -> str:
    """Where a point of a traverse is, in words; `along` is its distance from the wall where the probe enters [m]."""
    return f"{in_unit.from_si(along):.4g} {in_unit.symbol} from the wall"
