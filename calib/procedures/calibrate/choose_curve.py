"""Choose another correction curve for a calibration than the rule did, with the reason."""

from sqlmodel import Session

from calib.errors import BadInputError
from calib.procedures.certificate.fit_curve import CurveWish, curve_record
from calib.procedures.on_record.calibrations import against_withdrawn, calibration_on_file, refit
from calib.procedures.people.authorise import append, authorise
from calib.procedures.typed.reason import without_reason
from calib.records import ledger
from calib.records.record import key
from calib.records.tables.curves import StoredCurve


def choose_curve(
    session: Session, tag: str, certificate: str, wish: CurveWish, reason: str, signature: ledger.Signature
) -> StoredCurve:
    """Append the curve that a person asks for; the earlier one stays.

    Raises NotInRecordsError, CurveError, BadInputError.
    """
    findings = without_reason(reason, "why this curve, in a few words")
    if findings:
        raise BadInputError(findings)
    signature = authorise(session, signature, "choose")
    on_file = calibration_on_file(session, tag, certificate)
    withdrawn = against_withdrawn(on_file)
    if withdrawn is not None:
        raise BadInputError([withdrawn])
    record = curve_record(key(on_file.calibration.id), refit(on_file, wish), signature.person, reason.strip())
    append(session, [record], signature)
    return record
