"""Acceptances are held against the ledger and their certificate: what no act of the program could have accepted is found.

None holds before its certificate was issued or after the day of its ledger entry, and whoever is named may have accepted then. The
certificate has a curve, and where a decision rule is stated its comparisons pass by it, in a state of the instrument on record.

Decision (2026-11-29). An acceptance is judged anew by its own rule, in every state of the instrument and with every curve of the
certificate, and one that passes is enough: an amendment afterwards makes nothing wrong that was right. One that states no rule is
as the past told it, and is not judged. Entries that name no version of the program, and certificates withdrawn since, are not
asked: nothing rests on these any more, and those were written before this was refused. Cost: 1 ms a certificate.
"""

import json
from collections import defaultdict
from collections.abc import Iterator, Sequence
from datetime import date, datetime

from sqlmodel import Session, col, select

from calib.confirmation.interval import ZONES_DIFFER_BY
from calib.errors import CalibError
from calib.procedures.certificate.assess import assess, usual_object
from calib.procedures.certificate.permissible_error import has_limits
from calib.procedures.certificate.phase import phase_in_use
from calib.procedures.on_record.amended import Amended, amended_instruments
from calib.procedures.on_record.by_keys import WHOLE_AT_ONCE, by_keys, portions
from calib.procedures.on_record.in_force import curve_of
from calib.procedures.on_record.recorded import entry_of
from calib.procedures.people.authorise import People, people_on_record
from calib.procedures.people.four_eyes import against_acceptor
from calib.procedures.typed.sheets import Cells
from calib.records.record import key, typed
from calib.records.tables.calibrations import Acceptance, Calibration, Withdrawal
from calib.records.tables.comparisons import Comparison
from calib.records.tables.curves import StoredCurve
from calib.records.tables.instruments import Instrument
from calib.records.tables.ledger import LedgerEntry
from calib.records.verification import LedgerFinding


def acceptance_findings(session: Session) -> Iterator[LedgerFinding]:
    """What is wrong with the days, the name, the curve and the judgement of each acceptance."""
    known = people_on_record(session)
    asked = (
        select(Acceptance, Calibration, LedgerEntry)
        .join(Calibration)
        .join(LedgerEntry, entry_of(Acceptance))
        .outerjoin(Withdrawal, col(Withdrawal.calibration_id) == Calibration.id)
        .where(col(LedgerEntry.version).is_not(None), col(Withdrawal.id).is_(None))
        .order_by(col(Acceptance.id))
    )
    every = session.exec(select(Acceptance.id).order_by(col(Acceptance.id))).all()
    for some in portions(every, WHOLE_AT_ONCE):
        accepted = session.exec(asked.where(col(Acceptance.id).in_(some))).all()
        judged = _Judged(session, accepted)
        for acceptance, calibration, entry in accepted:
            problems = (*_of_days(acceptance, calibration, entry), *_of_name(acceptance, known, entry))
            for problem in problems or judged.problems(acceptance, calibration):
                yield LedgerFinding(f"acceptance {acceptance.id}", problem)


def _of_days(acceptance: Acceptance, calibration: Calibration, entry: LedgerEntry) -> Iterator[str]:
    issued = calibration.issued_on or calibration.calibrated_on
    # A reissued certificate counts from the day on which the one did whose place it takes.
    if acceptance.carried_from_id is None and acceptance.accepted_on < issued:
        yield f"holds from {acceptance.accepted_on}, before its certificate {calibration.certificate} of {issued}"
    recorded = datetime.fromisoformat(entry.time).date()
    if date.fromisoformat(acceptance.accepted_on) > recorded + ZONES_DIFFER_BY:
        yield f"holds from {acceptance.accepted_on}, after it was recorded on {recorded}"


def _of_name(acceptance: Acceptance, known: People, entry: LedgerEntry) -> Iterator[str]:
    if acceptance.accepted_by == entry.person:  # whom the entry's own proof judges
        return
    at = datetime.fromisoformat(entry.time)
    expected = against_acceptor(known, acceptance.accepted_by, date.fromisoformat(acceptance.accepted_on), at)
    if expected is not None:
        yield f"names {acceptance.accepted_by!r}; expected {expected}"


class _Judged:
    """What the acceptances of some certificates are judged by."""

    def __init__(self, session: Session, accepted: Sequence[tuple[Acceptance, Calibration, LedgerEntry]]) -> None:
        by_rule = {
            key(calibration.id): calibration.instrument_id
            for acceptance, calibration, _ in accepted
            if acceptance.decision_rule is not None
        }
        self._instruments = amended_instruments(session, set(by_rule.values()))
        self._comparisons: dict[int, list[Cells]] = defaultdict(list)
        self._curves: dict[int, list[StoredCurve]] = defaultdict(list)
        ordered = select(Comparison).order_by(col(Comparison.id))
        for comparison in by_keys(session, ordered, Comparison.calibration_id, by_rule):
            self._comparisons[comparison.calibration_id].append(typed(comparison))
        certificates = {key(calibration.id) for _, calibration, _ in accepted}
        for curve in by_keys(session, select(StoredCurve), StoredCurve.calibration_id, certificates):
            self._curves[curve.calibration_id].append(curve)

    def problems(self, acceptance: Acceptance, calibration: Calibration) -> Iterator[str]:
        """What is wrong with an acceptance by what its certificate says."""
        curves = self._curves[acceptance.calibration_id]
        if not curves:
            yield f"is of certificate {calibration.certificate}, which has no curve"
            return
        if acceptance.decision_rule is None:
            return
        comparisons = self._comparisons[acceptance.calibration_id]
        said = []
        for instrument in _states(self._instruments[calibration.instrument_id]):
            for curve in curves:
                why = _why_not(acceptance, instrument, comparisons, curve)
                if why is None:
                    return
                said.append(why)
        yield f"is of certificate {calibration.certificate}, which cannot be accepted by its rule: {said[-1]}"


def _states(instrument: Amended[Instrument]) -> Iterator[Cells]:
    """An instrument as first typed, and as it was known after each amendment."""
    for count in range(len(instrument.revisions) + 1):
        yield typed(Amended(instrument.first, instrument.revisions[:count]).now)


def _why_not(
    acceptance: Acceptance, instrument: Cells, comparisons: Sequence[Cells], stored: StoredCurve
) -> str | None:
    """Why an acceptance does not hold with an instrument as it was and a curve; None where it does."""
    if not has_limits(instrument):
        return None
    rule = str(acceptance.decision_rule)
    try:
        judged = (
            json.loads(acceptance.assessment or "{}").get("judged") or instrument["judged"] or usual_object(instrument)
        )
        phase = phase_in_use(comparison["phase"] for comparison in comparisons)
        assessment = assess(instrument, comparisons, phase, rule, judged, curve_of(stored.parameters))
    except (CalibError, ValueError, KeyError, TypeError, AttributeError, IndexError) as error:
        return str(error)
    failures = assessment.failures()
    return (
        f"{len(failures)} of {len(assessment.comparisons)} comparisons fail, first {failures[0]}" if failures else None
    )
