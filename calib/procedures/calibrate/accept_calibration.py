"""Accept a calibration for use: its comparisons are judged by the instrument's criterion, by another person than typed them.

Criterion, decision rule and what is judged stand in the register; where it is silent, simple acceptance of the indication is usual.
Whoever departs from them says why, and that is printed. Where a comparison fails, nothing is accepted, and the attempt stays on
record: another rule after it is a departure too.

Decision (2026-11-29). A criterion in words stands for limits that the program cannot judge, never beside those that it did. Option:
both (what was printed was not what was judged). Cost: words that only repeat the register's limits are refused.
"""

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from sqlmodel import Session

from calib.confirmation.in_order import later_calibrations, of_the_same_calibration
from calib.confirmation.words import DECISION_RULES, INDICATION, JUDGED, SIMPLE
from calib.errors import BadInputError, CalibError, Finding, RefusedError
from calib.procedures.certificate.assess import Assessment, assess, usual_object
from calib.procedures.certificate.departures import departures, of_criterion, of_reason
from calib.procedures.certificate.permissible_error import has_limits
from calib.procedures.certificate.phase import phase_in_use
from calib.procedures.impact.certificate_replaced import RestedOnCertificate
from calib.procedures.impact.gather import RecordKind
from calib.procedures.impact.open_review import open_reviews
from calib.procedures.on_record.calibrations import ACCEPT, CalibrationOnFile, against_withdrawn, calibration_on_file
from calib.procedures.on_record.in_force import curve_of
from calib.procedures.on_record.recorded import holds_from_earlier, why_from
from calib.procedures.on_record.register import load_register
from calib.procedures.on_record.supersessions import TakenPlace, in_place_of, place_of
from calib.procedures.people.authorise import append, authorise
from calib.procedures.people.four_eyes import against_one_person
from calib.procedures.typed.time_to_come import expected_of
from calib.procedures.verify.rests_on import must_be_whole, of_instruments
from calib.records import ledger
from calib.records.record import key, typed
from calib.records.tables.calibrations import Acceptance, Calibration
from calib.records.tables.entries import Attempt
from calib.records.tables.instruments import Instrument


@dataclass(frozen=True)
class AcceptanceWanted:
    """How a person wants a calibration judged."""

    rule: str | None = None  # one of conformity.DECISION_RULES; absent: that of the register, or simple
    judged: str | None = None  # one of acceptance.JUDGED; absent: as the register says, or as fits the instrument
    criterion: str | None = None  # in a person's words; needed where the register states no maximum permissible error
    reason: str | None = None  # why it holds from an earlier day
    departure_reason: str | None = None  # why it departs from the register


@dataclass(frozen=True)
class Accepted:
    """An acceptance as it was recorded, with the assessment it rests on."""

    acceptance: Acceptance
    recorded_at: str
    assessment: Assessment | None  # absent where the register states no maximum permissible error
    remarks: tuple[str, ...] = ()  # of impact reviews that it opens or adds to


@dataclass(frozen=True)
class NotAccepted:
    """A calibration that its criterion fails: the attempt is on record."""

    assessment: Assessment
    reasons: tuple[str, ...]  # the next step, and each comparison that fails


def accept_calibration(
    session: Session, tag: str, certificate: str, on: date, wanted: AcceptanceWanted, signature: ledger.Signature
) -> Accepted | NotAccepted:
    """Append the acceptance with its assessment, and bring the impact reviews up to date; or the attempt, where comparisons fail.

    A later certificate that was found beyond its limits opens its review now where no earlier one had been accepted before.

    Raises NotInRecordsError; BadInputError where it is accepted already or was withdrawn, or the date or the wish cannot be;
    RefusedError, nothing written, where the same person typed the certificate; DamagedError where what it rests on was changed past
    the program.
    """
    signature = authorise(session, signature, "accept")
    on_file = calibration_on_file(session, tag, certificate)
    place = place_of(session, key(on_file.calibration.id))
    old = None if place is None else place.acceptance
    if place is not None and old is not None and on in (signature.time.date(), date.fromisoformat(old.accepted_on)):
        on, wanted = _in_place(place, old, wanted)
    finding = _of_call(on_file, on, wanted, signature, place)
    if finding is not None:
        raise BadInputError([finding])
    why = against_one_person(session, on_file.calibration, signature.person)
    if why is not None:
        raise RefusedError(f"{tag}: {why}")
    must_be_whole(session, of_instruments(session, [key(on_file.instrument.id)]))
    assessment = assessed(on_file, wanted)
    if assessment is not None and not assessment.accepted:
        reasons = tuple(refusal(tag, certificate, assessment))
        append(session, [_attempt(on_file, on, wanted, assessment, reasons)], signature)
        return NotAccepted(assessment, reasons)
    acceptance = _record(on_file, on, wanted, assessment, signature)
    acceptance.carried_from_id = None if old is None else old.id
    rested = None if place is None else RestedOnCertificate(session, place.old, signature.time)
    append(session, [acceptance], signature)
    own = load_register(session, [key(on_file.instrument.id)])[tag]
    later = later_calibrations(own, key(on_file.calibration.id))
    if place is not None or of_the_same_calibration(own, key(on_file.calibration.id)) is not None:
        later = (*later, key(on_file.calibration.id))  # what it was found to be waited for this
    accepted = (RecordKind.CALIBRATION, key(on_file.calibration.id))
    remarks = open_reviews(session, signature, signature.time, later, [accepted]).remarks
    if rested is not None and place is not None:
        remarks += rested.superseded(key(place.supersession.id), certificate, signature).remarks
    return Accepted(acceptance, signature.time.isoformat(), assessment, remarks)


def _in_place(place: TakenPlace, old: Acceptance, wanted: AcceptanceWanted) -> tuple[date, AcceptanceWanted]:
    """A reissued certificate counts from the day on which the old one did, so that no time is without one."""
    reason = wanted.reason or in_place_of(place.old.certificate, place.supersession.reason)
    return date.fromisoformat(old.accepted_on), replace(wanted, reason=reason)


def assessed(on_file: CalibrationOnFile, wanted: AcceptanceWanted, phase: str | None = None) -> Assessment | None:
    """Assessment of a calibration on file; None where the register states no maximum permissible error.

    Of the comparisons that its curve was made from, or of the phase asked for. Raises BadInputError where it cannot be judged so.
    """
    instrument, comparisons = typed(on_file.instrument), [typed(comparison) for comparison in on_file.comparisons]
    if not has_limits(instrument):
        return None
    judged = _judged(on_file.instrument, wanted)
    curve = curve_of(on_file.curve.parameters)
    try:
        return assess(
            instrument,
            comparisons,
            phase or phase_in_use(comparison["phase"] for comparison in comparisons),
            _rule(on_file.instrument, wanted),
            judged,
            curve,
        )
    except CalibError as error:
        raise BadInputError([Finding.typed("judged", judged, f"what can be judged: {error}")]) from error


def refusal(tag: str, certificate: str, assessment: Assessment) -> list[str]:
    """Why a calibration cannot be accepted, with the next step."""
    failures = assessment.failures()
    told = f"{tag}: certificate {certificate} cannot be accepted: {len(failures)} of {len(assessment.comparisons)} comparisons fail"
    step = "have it adjusted and recalibrated"
    if assessment.object == INDICATION:
        step += ", or judge what flows are computed from, the corrected value"
    return [f"{told} ({assessment.criterion}): {step}", *failures]


def _record(
    on_file: CalibrationOnFile,
    on: date,
    wanted: AcceptanceWanted,
    assessment: Assessment | None,
    signature: ledger.Signature,
) -> Acceptance:
    return Acceptance(
        calibration_id=key(on_file.calibration.id),
        accepted_on=str(on),
        accepted_by=signature.person,
        criterion=_criterion(on_file.instrument, wanted, assessment),
        decision_rule=None if assessment is None else assessment.judged.rule,
        assessment=None if assessment is None else assessment.as_text(),
        reason=(wanted.reason or "").strip() or None,
        departure_reason=(wanted.departure_reason or "").strip() or None,
    )


def _attempt(
    on_file: CalibrationOnFile, on: date, wanted: AcceptanceWanted, assessment: Assessment, reasons: Sequence[str]
) -> Attempt:
    asked = {
        "on": str(on),
        "rule": assessment.judged.rule,
        "judged": assessment.object,
        "criterion": assessment.criterion,
        "departure_reason": wanted.departure_reason,
    }
    return Attempt(
        act=ACCEPT,
        record_table=str(Calibration.__tablename__),
        record_id=key(on_file.calibration.id),
        asked=json.dumps(asked, ensure_ascii=False),
        findings=json.dumps(list(reasons), ensure_ascii=False),
    )


# --- what the register says of it ------------------------------------------------------------------------------------------------


def _rule(instrument: Instrument, wanted: AcceptanceWanted) -> str:
    return wanted.rule or instrument.decision_rule or SIMPLE


def _judged(instrument: Instrument, wanted: AcceptanceWanted) -> str:
    return wanted.judged or instrument.judged or usual_object(typed(instrument))


def _criterion(instrument: Instrument, wanted: AcceptanceWanted, assessment: Assessment | None) -> str | None:
    """What it was held against, in words: what was judged, with the words of the register for it."""
    if assessment is None:
        return (wanted.criterion or "").strip() or instrument.criterion
    return assessment.criterion if instrument.criterion is None else f"{instrument.criterion}: {assessment.criterion}"


def _of_departures(on_file: CalibrationOnFile, wanted: AcceptanceWanted) -> Finding | None:
    """What is wrong with the reason of a departure from the register, or from what was attempted before."""
    instrument = on_file.instrument
    differ = departures(typed(instrument), wanted.rule, wanted.judged, wanted.criterion)
    tried = {each["asked"]["rule"] for each in on_file.attempts}
    if instrument.decision_rule is None and tried and _rule(instrument, wanted) not in tried:
        differ.append(f"it failed under the rule {', '.join(sorted(tried))}")
    return of_reason(differ, wanted.departure_reason)


def _of_call(
    on_file: CalibrationOnFile,
    on: date,
    wanted: AcceptanceWanted,
    signature: ledger.Signature,
    place: TakenPlace | None,
) -> Finding | None:
    calibration, before, withdrawn = on_file.calibration, on_file.acceptance, against_withdrawn(on_file)
    if withdrawn is not None:
        return withdrawn
    if before is not None:
        expected = f"one not accepted yet; it was on {before.accepted_on}"
        return Finding.typed("certificate", calibration.certificate, expected)
    if place is not None and place.acceptance is not None:
        return _of_place(place.old, place.acceptance, on) or _of_wish(on_file, wanted)
    return _of_days(calibration, on, wanted, signature.time) or _of_wish(on_file, wanted)


def _of_place(old: Calibration, acceptance: Acceptance, on: date) -> Finding | None:
    if str(on) == acceptance.accepted_on:
        return None
    expected = f"{acceptance.accepted_on}, or nothing: it takes the place of {old.certificate} from then on"
    return Finding.typed("on", str(on), expected)


def _of_days(calibration: Calibration, on: date, wanted: AcceptanceWanted, now: datetime) -> Finding | None:
    if on < date.fromisoformat(calibration.calibrated_on):
        expected = f"a date on or after the calibration ({calibration.calibrated_on})"
        return Finding.typed("on", str(on), expected)
    if on < date.fromisoformat(calibration.issued_on or calibration.calibrated_on):
        expected = f"a date on or after the day on which the certificate was issued ({calibration.issued_on})"
        return Finding.typed("on", str(on), expected)
    to_come = expected_of(on, now)
    if to_come is not None:
        return Finding.typed("on", str(on), to_come)
    if holds_from_earlier(on, now.date(), wanted.reason):
        return Finding.typed("reason", wanted.reason or "", why_from(on))
    return None


def _of_wish(on_file: CalibrationOnFile, wanted: AcceptanceWanted) -> Finding | None:
    if wanted.rule is not None and wanted.rule not in DECISION_RULES:
        return Finding.typed("rule", wanted.rule, f"one of {', '.join(DECISION_RULES)}")
    if wanted.judged is not None and wanted.judged not in JUDGED:
        return Finding.typed("judged", wanted.judged, f"one of {', '.join(JUDGED)}")
    return of_criterion(typed(on_file.instrument), wanted.criterion) or _of_departures(on_file, wanted)
