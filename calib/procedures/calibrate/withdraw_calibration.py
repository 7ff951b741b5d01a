"""Withdraw a calibration that was recorded wrongly, with the reason: from then on it counts for nothing, at no time.

It stays on record with its comparisons, its curve and its acceptance. What was measured with it is evaluated with the calibration
that counts without it, or refused by the gate. The corrected certificate is recorded under a number of its own.
Source: ISO/IEC 17025:2017, 7.5.2 (amendments can be traced back to what was there before), from memory.

The withdrawal is one row. A calibration that has one has no day of acceptance where the register is loaded, so the gate and all
that go by it leave it out, for the past too; histories, baselines of checks and new impact reviews ask for withdrawals themselves.
An import keeps as readings what the gate lets stand before or after its withdrawals: they count again once the right certificate
is accepted. A withdrawal made by mistake is put right by recording the certificate again.
"""

from dataclasses import dataclass

from sqlmodel import Session

from calib.confirmation.as_found import later_calibrations
from calib.confirmation.interval import Decision, gate
from calib.confirmation.traceability import Record, downward, reached
from calib.errors import BadInputError, Finding
from calib.procedures.impact.gather import RecordKind
from calib.procedures.impact.open_review import open_reviews
from calib.procedures.impact.rests_on import OF, Ground, ground_below
from calib.procedures.impact.reviews import reviews
from calib.procedures.on_record.calibrations import CalibrationOnFile, against_withdrawn, calibration_on_file
from calib.procedures.on_record.register import load_register
from calib.procedures.people.authorise import append, authorise
from calib.records import ledger
from calib.records.record import key
from calib.records.tables import Withdrawal


@dataclass(frozen=True)
class Hanging:
    """What rested on a calibration when it was withdrawn."""

    readings: int
    factors: tuple[str, ...]  # that rest on it: they keep their value until they are found again
    # Tag and certificate of those made in house with it: their reference values stay as recorded.
    calibrations: tuple[str, ...]
    reported_jobs: tuple[str, ...]  # with an issued report


@dataclass(frozen=True)
class Withdrawn:
    """A calibration that was withdrawn, what rested on it, and what counts now."""

    kept: CalibrationOnFile  # as it is on file now
    hanging: Hanging
    decision: Decision  # of the gate on its instrument, now
    remarks: tuple[str, ...] = ()  # of impact reviews


def withdraw_calibration(
    session: Session, tag: str, certificate: str, reason: str, signature: ledger.Signature
) -> Withdrawn:
    """Append the withdrawal, and bring the impact reviews up to date: a later certificate may be judged by another one now.

    A review that the withdrawn certificate opened stays open with its lines. Raises NotInRecordsError; BadInputError, nothing
    written, where there is no reason, it was withdrawn already, or the person may not.
    """
    signature = authorise(session, signature, "accept")
    kept = calibration_on_file(session, tag, certificate)
    findings = [one for one in (against_withdrawn(kept), _of_reason(reason)) if one is not None]
    if findings:
        raise BadInputError(findings)
    calibration = key(kept.calibration.id)
    hanging = _hanging(ground_below(session, [(RecordKind.CALIBRATION, calibration)]), calibration)
    append(session, [Withdrawal(calibration_id=calibration, reason=reason.strip())], signature)
    register = load_register(session, [key(kept.instrument.id)])
    later = later_calibrations(register[tag], calibration)
    opened = open_reviews(session, signature, signature.time, later, [(RecordKind.CALIBRATION, calibration)]).remarks
    return Withdrawn(
        calibration_on_file(session, tag, certificate),
        hanging,
        gate(register, tag, signature.time, signature.time),
        (*opened, *_left_open(session, tag, certificate)),
    )


def _of_reason(reason: str) -> Finding | None:
    if reason.strip():
        return None
    return Finding.typed("reason", reason, "what was recorded wrongly, in a few words")


def _hanging(ground: Ground, calibration: int) -> Hanging:
    start = (RecordKind.CALIBRATION, calibration)
    graph = downward(one for one in ground.links if one.role != OF)
    found = [one for one in reached(graph, [start]) if one != start]
    return Hanging(
        len(_numbers(found, RecordKind.READING)),
        tuple(sorted({ground.factors[one].factor for one in _numbers(found, RecordKind.FACTOR)})),
        tuple(sorted(_named(ground, one) for one in _numbers(found, RecordKind.CALIBRATION))),
        tuple(sorted({ground.jobs[ground.reports[one].job_id].job for one in _numbers(found, RecordKind.REPORT)})),
    )


def _numbers(records: list[Record], table: str) -> list[int]:
    return [number for name, number in records if name == table]


def _named(ground: Ground, calibration: int) -> str:
    one = ground.calibrations[calibration]
    return f"{ground.instruments[one.instrument_id].tag} {one.certificate}"


def _left_open(session: Session, tag: str, certificate: str) -> list[str]:
    return [
        f"impact review of {tag}, certificate {certificate}, stays open with {one.open_lines} of its lines: dispose of each"
        for one in reviews(session, only_open=True)
        if (one.tag, one.certificate) == (tag, certificate)
    ]
