"""Find records by the names that people type."""

from sqlmodel import Session, col, select

from calib.errors import NotInRecordsError
from calib.procedures.on_record.what_counts import not_withdrawn
from calib.records.tables import Calibration, Instrument, Job, Outlet


def instrument_tagged(session: Session, tag: str) -> Instrument:
    """The instrument of a tag; raises NotInRecordsError."""
    found = session.exec(select(Instrument).where(Instrument.tag == tag)).first()
    if found is None:
        known = ", ".join(session.exec(select(Instrument.tag).order_by(col(Instrument.tag)))) or "none"
        raise NotInRecordsError(f"no instrument {tag!r} in the records: there is {known}")
    return found


def calibration_numbered(session: Session, instrument: Instrument, certificate: str | None) -> Calibration:
    """The calibration of a certificate number, or the latest where none is given, before one that was withdrawn.

    Raises NotInRecordsError.
    """
    own = session.exec(
        select(Calibration)
        .where(Calibration.instrument_id == instrument.id)
        .order_by(col(Calibration.calibrated_on), col(Calibration.id))
    ).all()
    wanted = [one for one in own if certificate in (None, one.certificate)]
    if not wanted:
        known = ", ".join(one.certificate for one in own) or "none"
        raise NotInRecordsError(
            f"no certificate {certificate or ''!r} of {instrument.tag} in the records: there is {known}"
        )
    if certificate is None:
        counting = select(Calibration.id).where(Calibration.instrument_id == instrument.id, not_withdrawn())
        counts = set(session.exec(counting))
        wanted = [one for one in wanted if one.id in counts] or wanted
    return wanted[-1]


def job_named(session: Session, name: str) -> Job:
    """The job of a name; raises NotInRecordsError."""
    found = session.exec(select(Job).where(Job.job == name)).first()
    if found is None:
        known = ", ".join(session.exec(select(Job.job).order_by(col(Job.id)))) or "none"
        raise NotInRecordsError(f"no job {name!r} in the records: there is {known}")
    return found


def outlet_named(session: Session, job: str, name: str) -> Outlet:
    """An outlet of a job, as it was first typed; raises NotInRecordsError."""
    of_job = job_named(session, job)
    outlets = session.exec(select(Outlet).where(Outlet.job_id == of_job.id).order_by(col(Outlet.id))).all()
    found = next((one for one in outlets if one.outlet == name), None)
    if found is None:
        known = ", ".join(one.outlet for one in outlets) or "none"
        raise NotInRecordsError(f"no outlet {name!r} in job {job}: there is {known}")
    return found
