"""Calibrations as the records hold them: certificate, comparisons, standards, acceptance, the curve that counts."""

import json
from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from sqlmodel import Session, col, select

from calib.errors import DamagedError, Finding, Step
from calib.procedures.certificate.fit_curve import CurveWish, FittedCurve, fit_curve
from calib.procedures.certificate.phase import AS_FOUND
from calib.procedures.on_record.amended import amended_instruments
from calib.procedures.on_record.attached_files import files_of
from calib.procedures.on_record.by_keys import by_keys
from calib.procedures.on_record.by_name import calibration_numbered, instrument_tagged
from calib.procedures.on_record.laboratory_certificates import verdicts_of_calibrations
from calib.procedures.on_record.recorded import recorded_by
from calib.procedures.on_record.supersessions import superseded_among
from calib.procedures.on_record.what_counts import counts_of_its_calibration, curve_may_count
from calib.procedures.typed.sheets import Cells
from calib.records import ledger
from calib.records.record import RecordCells, key, typed
from calib.records.tables.calibrations import Acceptance, Calibration, ReferenceStandard, Withdrawal
from calib.records.tables.comparisons import Comparison, ComparisonCorrelation
from calib.records.tables.curves import StoredCurve
from calib.records.tables.entries import Attempt
from calib.records.tables.files import Attached
from calib.records.tables.instruments import Instrument
from calib.records.tables.ledger import LedgerEntry


def calibrations_on_file(session: Session, tag: str | None = None) -> list[RecordCells]:
    """Calibrations of one instrument, or of all, with their acceptance, their withdrawal and the degree of their curve."""
    query = (
        select(Calibration, Instrument.tag, StoredCurve, Acceptance, Withdrawal)  # type: ignore[call-overload]
        .select_from(Calibration)
        .join(Instrument)
        .join(StoredCurve, counts_of_its_calibration())
        .outerjoin(Acceptance, col(Acceptance.calibration_id) == Calibration.id)
        .outerjoin(Withdrawal, col(Withdrawal.calibration_id) == Calibration.id)
        .order_by(col(Instrument.tag), col(Calibration.calibrated_on))
    )
    if tag is not None:
        query = query.where(Instrument.id == instrument_tagged(session, tag).id)
    of_tags = session.exec(query).all()
    superseded = superseded_among(session, [key(row[0].id) for row in of_tags])
    recorded = recorded_by(session, Acceptance, [key(row[3].id) for row in of_tags if row[3] is not None])
    return [
        {"tag": owner}
        | typed(calibration, "instrument_id")
        | _acceptance(acceptance, recorded)
        | {
            "withdrawn": _withdrawn(session, withdrawal),
            "superseded": superseded.get(key(calibration.id)),
            "shape": curve.shape,
            "degree": curve.degree,
            "measuring_interval": curve.measuring_interval,
        }
        for calibration, owner, curve, acceptance, withdrawal in of_tags
    ]


def _acceptance(acceptance: Acceptance | None, recorded: Mapping[int, Mapping[str, str]]) -> RecordCells:
    columns = ("accepted_on", "accepted_by", "criterion", "decision_rule")
    return {column: getattr(acceptance, column, None) for column in columns} | _two_days(acceptance, recorded)


def _two_days(acceptance: Acceptance | None, recorded: Mapping[int, Mapping[str, str]]) -> RecordCells:
    """When an acceptance was recorded, and why it holds from an earlier day."""
    entry = {} if acceptance is None else recorded.get(key(acceptance.id), {})
    return {
        "acceptance_recorded_at": entry.get("recorded_at"),
        "acceptance_reason": None if acceptance is None else acceptance.reason,
    }


def _withdrawn(session: Session, withdrawal: Withdrawal | None) -> RecordCells | None:
    """When, by whom and why a calibration was withdrawn; None where it was not."""
    if withdrawal is None:
        return None
    person, time = ledger.written(session, "withdrawal", key(withdrawal.id))
    return {"at": time, "by": person, "reason": withdrawal.reason}


def acceptances_recorded(session: Session, calibrations: Collection[int]) -> dict[int, RecordCells]:
    """When the acceptance of each of some calibrations was recorded, and why it holds from an earlier day; by calibration."""
    accepted = list(by_keys(session, select(Acceptance), Acceptance.calibration_id, calibrations))
    recorded = recorded_by(session, Acceptance, [key(each.id) for each in accepted])
    none = dict.fromkeys(calibrations, _two_days(None, {}))
    return none | {each.calibration_id: _two_days(each, recorded) for each in accepted}


@dataclass(frozen=True)
class CalibrationOnFile:
    """One calibration with everything its certificate says, and the curve that counts."""

    instrument: Instrument
    calibration: Calibration
    acceptance: Acceptance | None
    standards: tuple[str, ...]
    comparisons: tuple[Comparison, ...]
    curve: StoredCurve  # the one that counts
    earlier_curves: tuple[StoredCurve, ...] = ()  # that counted before it, the first one first
    files: tuple[RecordCells, ...] = ()  # kept with it, without their content
    typed_by: str | None = None
    withdrawn: RecordCells | None = None  # at, by, reason; None: it was not
    correlations: tuple[RecordCells, ...] = ()  # of reference values, as the certificate states them
    superseded: RecordCells | None = (
        None  # by_certificate, at, by, reason, same_values, counts; None: it was not reissued
    )
    # When its acceptance was recorded, and why it holds from an earlier day.
    two_days: RecordCells = field(default_factory=lambda: _two_days(None, {}))
    attempts: tuple[RecordCells, ...] = ()  # to accept it, that its criterion failed: at, by, asked, findings
    # Of each file that was read as a certificate: file, sha256, verdict, signer, laboratory that vouches.
    signatures: tuple[RecordCells, ...] = ()


ACCEPT = "accept"  # the act of an attempt


def attempts_to_accept(session: Session, keys: Collection[int]) -> dict[int, list[RecordCells]]:
    """Attempts to accept each calibration that its criterion failed, in the order in which they were made."""
    own = select(Attempt).where(Attempt.act == ACCEPT, Attempt.record_table == Calibration.__tablename__)
    tried = list(by_keys(session, own.order_by(col(Attempt.id)), Attempt.record_id, keys))
    entries = recorded_by(session, Attempt, [key(each.id) for each in tried])
    attempts: dict[int, list[RecordCells]] = defaultdict(list)
    for each in tried:
        entry = entries[key(each.id)]
        said = {"asked": json.loads(each.asked), "findings": json.loads(each.findings)}
        attempts[each.record_id].append({"at": entry["recorded_at"], "by": entry["person"], **said})
    return attempts


def calibration_on_file(session: Session, tag: str, certificate: str | None) -> CalibrationOnFile:
    """A calibration by its certificate number, or the instrument's latest; raises NotInRecordsError."""
    asked = key(calibration_numbered(session, instrument_tagged(session, tag), certificate).id)
    return calibrations_by_key(session, [asked])[asked]


def calibrations_by_key(session: Session, keys: Collection[int]) -> dict[int, CalibrationOnFile]:
    """Calibrations by their keys: a question for each kind of record, however many calibrations there are."""
    query = (
        select(Calibration, Acceptance, Withdrawal)
        .outerjoin(Acceptance, col(Acceptance.calibration_id) == Calibration.id)
        .outerjoin(Withdrawal, col(Withdrawal.calibration_id) == Calibration.id)
    )
    standards = _by_calibration(
        session,
        keys,
        ReferenceStandard,
        select(ReferenceStandard.calibration_id, Instrument.tag).join(Instrument),
    )
    comparisons = _by_calibration(session, keys, Comparison, select(Comparison.calibration_id, Comparison))
    stated = select(ComparisonCorrelation.calibration_id, ComparisonCorrelation)
    correlations = _by_calibration(session, keys, ComparisonCorrelation, stated)
    counting = select(StoredCurve.calibration_id, StoredCurve).where(curve_may_count())
    curves = _by_calibration(session, keys, StoredCurve, counting)
    files = files_of(session, Attached.calibration_id, keys)
    entries = select(LedgerEntry.record_id, LedgerEntry.person).where(LedgerEntry.record_table == "calibration")
    typed_by = dict(by_keys(session, entries, LedgerEntry.record_id, keys))
    on_file = {}
    rows = list(by_keys(session, query, Calibration.id, keys))
    owners = amended_instruments(session, {calibration.instrument_id for calibration, *_ in rows})
    superseded, attempts = superseded_among(session, keys), attempts_to_accept(session, keys)
    signatures = verdicts_of_calibrations(session, keys)
    recorded = recorded_by(session, Acceptance, [key(row[1].id) for row in rows if row[1] is not None])
    for calibration, acceptance, withdrawal in rows:
        calibration_id = key(calibration.id)
        instrument = owners[calibration.instrument_id].at(date.fromisoformat(calibration.calibrated_on))
        if not curves[calibration_id]:
            raise DamagedError(
                f"certificate {calibration.certificate} of {instrument.tag} has no curve on record, which no act of the program "
                f"leaves out; {Step.VERIFY} says what is wrong"
            )
        *earlier, curve = curves[calibration_id]
        on_file[calibration_id] = CalibrationOnFile(
            instrument,
            calibration,
            acceptance,
            tuple(standards[calibration_id]),
            tuple(comparisons[calibration_id]),
            curve,
            tuple(earlier),
            tuple(files[calibration_id]),
            typed_by[calibration_id],
            _withdrawn(session, withdrawal),
            tuple(typed(each, "calibration_id") for each in correlations[calibration_id]),
            superseded.get(calibration_id),
            _two_days(acceptance, recorded),
            tuple(attempts[calibration_id]),
            tuple(signatures.get(calibration_id, ())),
        )
    return on_file


def _by_calibration(session: Session, keys: Collection[int], table: Any, query: Any) -> dict[int, list[Any]]:
    """What belongs to each calibration, in the order in which it was recorded; `query` gives the calibration's key first."""
    gathered: dict[int, list[Any]] = defaultdict(list)
    for calibration_id, record in by_keys(session, query.order_by(col(table.id)), table.calibration_id, keys):
        gathered[calibration_id].append(record)
    return gathered


def against_withdrawn(on_file: CalibrationOnFile) -> Finding | None:
    """What would have been right where a calibration was withdrawn, or another counts in its place; None where it counts."""
    if on_file.withdrawn is not None:
        said = "one that was not withdrawn; it was {at} by {by}: {reason}".format_map(on_file.withdrawn)
    elif on_file.superseded is not None and on_file.superseded["counts"]:
        said = "one that counts; {by_certificate} took its place {at} by {by}: {reason}".format_map(on_file.superseded)
    else:
        return None
    return Finding.typed("certificate", on_file.calibration.certificate, said)


def refit(on_file: CalibrationOnFile, wish: CurveWish | None = None) -> FittedCurve:
    """The curve of a recorded calibration, fitted anew: for its candidates, or as a person asks for."""
    comparisons = [typed(comparison) for comparison in on_file.comparisons]
    return fit_curve(typed(on_file.instrument), comparisons, wish, on_file.correlations)


def as_found_cells(session: Session, calibration: Calibration) -> list[Cells]:
    """Comparisons as found of a calibration."""
    return [comparison for comparison in comparison_cells(session, calibration) if comparison["phase"] == AS_FOUND]


def correlation_cells(session: Session, calibration: Calibration) -> list[Cells]:
    """Correlations of the reference values of a calibration, as the certificate states them."""
    own = select(ComparisonCorrelation).where(ComparisonCorrelation.calibration_id == calibration.id)
    return [typed(each) for each in session.exec(own.order_by(col(ComparisonCorrelation.id)))]


def comparison_cells(session: Session, calibration: Calibration) -> list[Cells]:
    """Comparisons of a calibration as typed."""
    own = select(Comparison).where(Comparison.calibration_id == calibration.id)
    return [typed(comparison) for comparison in session.exec(own.order_by(Comparison.id))]  # type: ignore[arg-type]
