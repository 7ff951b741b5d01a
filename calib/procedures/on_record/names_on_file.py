"""Names that stand in the records, to choose from."""

from sqlmodel import Session, col, select

from calib.records.tables.calibrations import Calibration
from calib.records.tables.instruments import Instrument
from calib.records.tables.jobs import Job
from calib.records.tables.methods import Method
from calib.records.tables.outlets import Outlet


def tags_on_file(session: Session) -> list[str]:
    """Tags of the instruments, sorted."""
    return list(session.exec(select(Instrument.tag).order_by(Instrument.tag)))


def jobs_by_name(session: Session) -> list[str]:
    """Names of the jobs, sorted."""
    return list(session.exec(select(Job.job).order_by(Job.job)))


def methods_by_name(session: Session) -> list[str]:
    """Names of the methods, sorted."""
    return list(session.exec(select(Method.method).order_by(Method.method)))


def outlets_by_name(session: Session, job: str) -> list[str]:
    """Names of a job's outlets and ducts, sorted; none where there is no such job."""
    of_job = select(Outlet.outlet).join(Job, col(Outlet.job_id) == col(Job.id)).where(Job.job == job)
    return sorted(session.exec(of_job))


def certificates_by_number(session: Session, tag: str) -> list[str]:
    """Numbers of an instrument's certificates, sorted; none where there is no such instrument."""
    of_instrument = select(Calibration.certificate).join(
        Instrument, col(Calibration.instrument_id) == col(Instrument.id)
    )
    return sorted(session.exec(of_instrument.where(Instrument.tag == tag)))
