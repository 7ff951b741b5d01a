"""The reference standards that the calibrations of a job rest on, up to certificates that name none of the register."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from sqlmodel import Session

from calib.confirmation.interval import calibration_in_force, due_date, interval_of
from calib.procedures.on_record.calibrations import CalibrationOnFile, calibration_on_file
from calib.procedures.on_record.register import load_register
from calib.records.record import key

TagAndCertificate = tuple[str, str]  # tag and certificate number


@dataclass(frozen=True)
class StandardUsed:
    """A reference standard with the calibration that it had on the day it was used."""

    calibration: CalibrationOnFile
    due_on: date


@dataclass(frozen=True)
class StandardsUsed:
    """Standards by tag and certificate number, and which of them each calibration was made with."""

    standards: Mapping[TagAndCertificate, StandardUsed]
    of: Mapping[TagAndCertificate, tuple[TagAndCertificate, ...]]


def standards_used(session: Session, calibrations: Mapping[TagAndCertificate, CalibrationOnFile]) -> StandardsUsed:
    """Standards of these calibrations and, in turn, of theirs; one that had no calibration on that day is left out."""
    standards: dict[TagAndCertificate, StandardUsed] = {}
    of: dict[TagAndCertificate, tuple[TagAndCertificate, ...]] = {}
    waiting = {names: calibration for names, calibration in calibrations.items() if calibration.standards}
    register = (
        load_register(session, {key(calibration.instrument.id) for calibration in waiting.values()}) if waiting else {}
    )
    while waiting:
        names, calibration = waiting.popitem()
        day = date.fromisoformat(calibration.calibration.calibrated_on)
        own = []
        for tag in calibration.standards:
            in_force = calibration_in_force(register[tag], day)
            if in_force is None:
                continue
            standard = (tag, in_force.certificate)
            own.append(standard)
            if standard not in standards:
                months = interval_of(register[tag], in_force, day)
                due = due_date(in_force.calibrated_on, months, in_force.due_on)
                standards[standard] = StandardUsed(calibration_on_file(session, *standard), due)
            if standard not in of and standard not in waiting and standards[standard].calibration.standards:
                waiting[standard] = standards[standard].calibration
        of[names] = tuple(own)
    return StandardsUsed(dict(sorted(standards.items())), of)
