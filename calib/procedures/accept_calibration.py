"""Accept a calibration for use."""

from datetime import date

from sqlmodel import Session, select

from calib.errors import BadInputError, Finding
from calib.procedures.find import calibration_numbered, instrument_tagged
from calib.procedures.register import key
from calib.records import ledger
from calib.records.tables import Acceptance


def accept_calibration(
    session: Session, tag: str, certificate: str, on: date, criterion: str | None, signature: ledger.Signature
) -> Acceptance:
    """Append the acceptance; raises NotInRecordsError, or BadInputError where it is accepted already or the date cannot be."""
    calibration = calibration_numbered(session, instrument_tagged(session, tag), certificate)
    before = session.exec(select(Acceptance).where(Acceptance.calibration_id == calibration.id)).first()
    finding = None
    if before is not None:
        finding = Finding(
            "command line", None, "certificate", certificate, f"one not accepted yet; it was on {before.accepted_on}"
        )
    elif on < date.fromisoformat(calibration.calibrated_on):
        finding = Finding(
            "command line", None, "on", str(on), f"a date on or after the calibration ({calibration.calibrated_on})"
        )
    elif on > signature.time.date():
        finding = Finding("command line", None, "on", str(on), "a date that is not in the future")
    if finding is not None:
        raise BadInputError([finding])
    acceptance = Acceptance(
        calibration_id=key(calibration.id), accepted_on=str(on), accepted_by=signature.person, criterion=criterion
    )
    ledger.append(session, [acceptance], signature)
    return acceptance
