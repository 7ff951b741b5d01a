"""What the rows of certificates make besides calibrations and comparisons: curves, reference standards, acceptances."""

from collections.abc import Mapping, Sequence

from sqlmodel import Session

from calib.errors import CurveError
from calib.procedures.certificate.assess import Assessment
from calib.procedures.certificate.fit_curve import CurveWish, FittedCurve, curve_record
from calib.procedures.enter.check_certificates import standard_tags
from calib.procedures.enter.names_on_record import NamesOnRecord
from calib.procedures.on_record.calibrations import calibration_on_file, refit
from calib.procedures.typed.columns import FILES
from calib.procedures.typed.declaration import RecordNames
from calib.procedures.typed.sheets import TypedRow
from calib.records.ledger import Signature
from calib.records.record import RecordCells, key, typed

_CALIBRATION = FILES["comparisons.csv"].reference("tag", "certificate")
_INSTRUMENT = FILES["calibrations.csv"].reference("tag")


def curves_by_rule(
    rows: Sequence[TypedRow], names: NamesOnRecord, curves: Mapping[RecordNames, FittedCurve]
) -> list[RecordCells]:
    """The curve of each calibration, as the rule chose it."""
    return [typed(curve_record(_calibration(row, names), curves[_named(row)])) for row in rows]


def standards_of_rows(rows: Sequence[TypedRow], names: NamesOnRecord) -> list[RecordCells]:
    """The instruments that served as reference standards."""
    return [
        {"calibration_id": _calibration(row, names), "instrument_id": names.key(_INSTRUMENT, {"tag": tag})}
        for row in rows
        for tag in standard_tags(row.cells.get("standards", ""))
    ]


def acceptances(
    rows: Sequence[TypedRow],
    names: NamesOnRecord,
    assessments: Mapping[RecordNames, Assessment],
    signature: Signature,
    reason: str | None,
) -> list[RecordCells]:
    """The acceptances that are stated, by who writes where nobody is named, with what they were judged by.

    `reason` is why those hold from before they are recorded that do not say so themselves.
    """
    return [
        _acceptance(row, _calibration(row, names), assessments.get(_named(row)), signature)
        | {"reason": _why_from_earlier(row, signature, reason)}
        for row in rows
        if row.sound("accepted_on")
    ]


def _why_from_earlier(row: TypedRow, signature: Signature, reason: str | None) -> str | None:
    return row.get("reason") or (reason if row.cells["accepted_on"] < str(signature.time.date()) else None)


def _acceptance(row: TypedRow, calibration: int, assessment: Assessment | None, signature: Signature) -> RecordCells:
    return {
        "calibration_id": calibration,
        "accepted_on": row.cells["accepted_on"],
        "accepted_by": row.get("accepted_by") or signature.person,
        "criterion": row.get("criterion") or (None if assessment is None else assessment.criterion),
        "decision_rule": row.get("decision_rule"),
        "departure_reason": row.get("departure_reason"),
        "assessment": None if assessment is None else assessment.as_text(),
    }


def _named(row: TypedRow) -> RecordNames:
    return row.cells["tag"], row.cells["certificate"]


def _calibration(row: TypedRow, names: NamesOnRecord) -> int:
    return key(names.key(_CALIBRATION, row.cells))


def chosen_curves(session: Session, rows: Sequence[TypedRow]) -> list[RecordCells]:
    """Curves that a person chose, fitted anew; raises CurveError where the comparisons make no such curve."""
    return [_chosen(session, row) for row in rows]


def _chosen(session: Session, row: TypedRow) -> RecordCells:
    calibration = calibration_on_file(session, row.cells["tag"], row.cells["certificate"])
    degree = row.get("degree")
    wish = CurveWish(None if degree is None else int(degree), None if degree is not None else row.get("shape"))
    try:
        fitted = refit(calibration, wish)
    except CurveError as error:
        raise CurveError(f"{row.source} row {row.row_number}: {error}") from error
    return typed(curve_record(key(calibration.calibration.id), fitted, row.cells["chosen_by"], row.cells["reason"]))
