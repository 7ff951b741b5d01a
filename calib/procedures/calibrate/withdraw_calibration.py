"""Withdraw a calibration that was recorded wrongly, with the reason: from then on it counts for nothing, at no time.

It stays on record with its comparisons, its curve and its acceptance. What was measured with it is evaluated with the calibration
that counts without it, or refused by the gate. The corrected certificate is recorded under a number of its own.
Source: ISO/IEC 17025:2017, 7.5.2 (amendments can be traced back to what was there before), from memory.

The withdrawal is one row. A calibration that has one has no day of acceptance where the register is loaded, so the gate and all
that go by it leave it out, for the past too; histories, baselines of checks and new impact reviews ask for withdrawals themselves.
An import keeps as readings what the gate lets stand before or after its withdrawals: they count again once the right certificate
is accepted. A withdrawal made by mistake is put right by recording the certificate again.

Where results were given that rest on it (a report, a factor, a calibration made with it) an impact review opens of what the
records answer otherwise without it. A review that it opened shakes nothing any more: a decision made there ends with it, and
factors that were found anew by that decision are found anew without it.

Decision (2026-11). A certificate that was recorded wrongly is taken out by a row with its reason. Options: an end of validity
(a wrong value was never right); a corrected one under the same number (typing it twice would no longer be refused). Cost:
factors found with it give no flow until they are found again, and in-house values worked out with it stay; the command names them.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from sqlmodel import Session

from calib.confirmation.in_order import later_calibrations
from calib.confirmation.interval import Decision, gate
from calib.confirmation.traceability import Record, downward, reached
from calib.counted import count_of
from calib.errors import BadInputError
from calib.procedures.impact.certificate_replaced import RestedOnCertificate
from calib.procedures.impact.decide_review import factors_found_again
from calib.procedures.impact.gather import RecordKind
from calib.procedures.impact.open_review import open_reviews
from calib.procedures.impact.rests_on import OF, Ground, ground_below
from calib.procedures.on_record.calibrations import CalibrationOnFile, against_withdrawn, calibration_on_file
from calib.procedures.on_record.held_curves import AS_BEFORE
from calib.procedures.on_record.register import load_register
from calib.procedures.on_record.reviews import Review, reviews_of_certificate
from calib.procedures.people.authorise import append, authorise
from calib.procedures.typed.reason import without_reason
from calib.records import ledger
from calib.records.record import key
from calib.records.tables.calibrations import Withdrawal


@dataclass(frozen=True)
class Hanging:
    """What rested on a calibration when it was withdrawn."""

    readings: int
    factors: tuple[str, ...]  # that rest on it: they give no flow until they are found again
    # Tag and certificate of those made in house with it: their reference values stay as recorded.
    calibrations: tuple[str, ...]
    reported_jobs: tuple[str, ...]  # with an issued report


@dataclass(frozen=True)
class Withdrawn:
    """A calibration that was withdrawn, what rested on it, and what counts now."""

    calibration: CalibrationOnFile  # as it is on file now
    hanging: Hanging
    decision: Decision  # of the gate on its instrument, now
    decided: tuple[str, ...] = ()  # what rested on a decision which curve holds, that ends with it
    remarks: tuple[str, ...] = ()  # of impact reviews


def withdraw_calibration(
    session: Session, tag: str, certificate: str, reason: str, signature: ledger.Signature
) -> Withdrawn:
    """Append the withdrawal, and bring the impact reviews up to date: a later certificate may be judged by another one now.

    A review that the withdrawn certificate opened stays open with its lines. Raises NotInRecordsError; BadInputError, nothing
    written, where there is no reason, it was withdrawn already, or the person may not.
    """
    signature = authorise(session, signature, "accept")
    on_file = calibration_on_file(session, tag, certificate)
    withdrawn = against_withdrawn(on_file)
    findings = without_reason(reason, "what was recorded wrongly, in a few words")
    if withdrawn is not None or findings:
        raise BadInputError([*filter(None, [withdrawn]), *findings])
    calibration = key(on_file.calibration.id)
    hanging = _hanging(ground_below(session, [(RecordKind.CALIBRATION, calibration)]), calibration)
    reviewed = reviews_of_certificate(session, calibration)
    decided = [each for each in reviewed if each.holds and each.holds.curve != AS_BEFORE]
    rested = RestedOnCertificate(session, on_file.calibration, signature.time)
    withdrawal = Withdrawal(calibration_id=calibration, reason=reason.strip())
    append(session, [withdrawal], signature)
    register = load_register(session, [key(on_file.instrument.id)])
    later = later_calibrations(register[tag], calibration)
    opened = open_reviews(session, signature, signature.time, later, [(RecordKind.CALIBRATION, calibration)]).remarks
    shaken = rested.withdrawn(key(withdrawal.id), signature).remarks
    ended = [told for review in decided for told in _ended(session, review, certificate, signature)]
    return Withdrawn(
        calibration_on_file(session, tag, certificate),
        hanging,
        gate(register, tag, signature.time, signature.time),
        tuple(ended),
        (*opened, *shaken, *_left_open(reviews_of_certificate(session, calibration))),
    )


def _hanging(ground: Ground, calibration: int) -> Hanging:
    start = (RecordKind.CALIBRATION, calibration)
    graph = downward(link for link in ground.links if link.role != OF)
    below = [record for record in reached(graph, [start]) if record != start]
    jobs = {ground.reports[report].job_id for report in _keys(below, RecordKind.REPORT)}
    return Hanging(
        len(_keys(below, RecordKind.READING)),
        tuple(sorted({ground.factors[factor].factor for factor in _keys(below, RecordKind.FACTOR)})),
        tuple(sorted(_named(ground, hanging) for hanging in _keys(below, RecordKind.CALIBRATION))),
        tuple(sorted({ground.jobs[job].job for job in jobs})),
    )


def _keys(records: list[Record], table: str) -> list[int]:
    return [record_id for name, record_id in records if name == table]


def _named(ground: Ground, calibration: int) -> str:
    record = ground.calibrations[calibration]
    return f"{ground.instruments[record.instrument_id].tag} {record.certificate}"


def _ended(session: Session, review: Review, certificate: str, signature: ledger.Signature) -> Iterator[str]:
    """That a decision which curve holds ends with its certificate, what rested on it, and the factors found anew without it."""
    assert review.holds is not None  # noqa: S101 (asked before)
    readings = sum(line.record_table == RecordKind.READING for line in review.lines)
    reports = [str(line.finding["report"]) for line in review.lines if line.record_table == RecordKind.REPORT]
    issued = f"; reports: {', '.join(reports)}" if reports else ""
    yield (
        f"review {review.review}: the decision {review.holds.words!r} ends with it, and the flows of "
        f"{count_of(readings, 'reading', 'readings')} are those of what counts without it{issued}"
    )
    yield from factors_found_again(session, review, f"certificate {certificate} was withdrawn", signature)


def _left_open(reviewed: list[Review]) -> list[str]:
    return [
        f"impact review of {review.about}, stays open with {review.open_lines} of its lines: dispose of each"
        for review in reviewed
        if review.is_open
    ]
