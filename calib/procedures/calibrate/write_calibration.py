"""Write a calibration made in house as a digital calibration certificate."""

import re
from dataclasses import dataclass

from sqlmodel import Session, col, select

from calib import __version__
from calib.errors import BadInputError, CalibError, Finding
from calib.procedures.certificate.fit_curve import quantity_indicated
from calib.procedures.dcc.write_certificate import CertificateToWrite, certificate_xml, units_not_written
from calib.procedures.on_record.by_name import instrument_tagged
from calib.procedures.on_record.calibrations import CalibrationOnFile, against_withdrawn
from calib.quantities import coherent
from calib.records.record import typed
from calib.records.tables.company import Company


@dataclass(frozen=True)
class CalibrationWritten:
    """The file, and what there is to say of it."""

    content: bytes
    notices: tuple[str, ...]


def write_calibration(session: Session, on_file: CalibrationOnFile, country: str | None) -> CalibrationWritten:
    """A calibration against reference standards of the register as DCC 3.3; `country` is where it was made (ISO 3166-1).

    Raises CalibError for a certificate of another laboratory, which is the laboratory's to write, and BadInputError.
    """
    calibration, tag = on_file.calibration, on_file.instrument.tag
    if not on_file.standards:
        digest = next((file["sha256"][:16] for file in on_file.files), None)
        own = "" if digest is None else f"; the file that came with it is kept, SHA-256 {digest}"
        made = f"certificate {calibration.certificate} of {tag} is one of {calibration.laboratory}"
        raise CalibError(
            f"{made}: only a calibration made in house, against a standard of the register, is written as XML{own}"
        )
    wrong = against_withdrawn(on_file)
    findings = [] if wrong is None else [wrong]
    if country is None or re.fullmatch("[A-Z]{2}", country) is None:
        findings.append(
            Finding.typed("country", country, "the country where it was made, two letters as in ISO 3166-1: DE")
        )
    if findings or country is None:
        raise BadInputError(findings)
    company = session.exec(select(Company.name).order_by(col(Company.id).desc())).first()
    accepted = None if on_file.acceptance is None else on_file.acceptance.accepted_by
    standards = [instrument_tagged(session, each) for each in on_file.standards]
    writing = CertificateToWrite(
        typed(on_file.instrument),
        typed(calibration),
        [typed(each) for each in on_file.comparisons],
        quantity_indicated(typed(on_file.instrument)),
        [(each.kind, each.tag, each.serial) for each in standards],
        country,
        company or calibration.laboratory,
        [each for each in (accepted, on_file.typed_by) if each is not None],
        __version__,
    )
    others = units_not_written(writing)
    notices = [
        f"D-SI has no {own.symbol}: it stands beside {coherent(own.quantity).symbol}, declared" for own in others
    ]
    return CalibrationWritten(certificate_xml(writing), tuple(notices))
