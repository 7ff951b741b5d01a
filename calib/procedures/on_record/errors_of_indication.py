"""History of an instrument's errors of indication, from the certificates on record.

Accepted calibrations up to the one in force count, so a later certificate does not move a reported flow; intervals with a repair,
or ending without comparisons as found, do not. Comparisons are read only for instruments with more than three accepted
calibrations: a plain job asks the database nothing more.
"""

from collections import defaultdict
from collections.abc import Sequence
from datetime import date

import numpy as np
from sqlmodel import Session, col, select

from calib.confirmation.history import CalibrationErrors, ErrorPoints, error_points
from calib.confirmation.interval import CHANGED
from calib.procedures.certificate.fit_curve import comparisons_in_si
from calib.procedures.certificate.phase import AS_FOUND, phase_in_use
from calib.procedures.on_record.what_counts import not_retracted, not_withdrawn
from calib.records.record import key, moment
from calib.records.tables.calibrations import Acceptance, Calibration
from calib.records.tables.comparisons import Comparison
from calib.records.tables.events import Event
from calib.records.tables.instruments import Instrument


def history_of(session: Session, instrument: Instrument) -> tuple[CalibrationErrors, ...]:
    """Every calibration on record with its errors [SI], accepted or not, in the order of their days; none that was withdrawn.

    Of several of one day the one that counts for the gate stands last.
    Empty for an instrument that indicates another quantity than it measures: its response has no error of indication.
    """
    if instrument.indicated != instrument.quantity:
        return ()
    of_instrument = Calibration.instrument_id == instrument.id
    acceptances = select(Acceptance).join(Calibration).where(of_instrument)
    accepted = {acceptance.calibration_id: acceptance.accepted_on for acceptance in session.exec(acceptances)}
    that_count = select(Calibration).where(of_instrument, not_withdrawn()).order_by(col(Calibration.id))
    own = sorted(
        session.exec(that_count),
        key=lambda calibration: (calibration.calibrated_on, accepted.get(key(calibration.id), "")),
    )
    comparisons = _comparisons(session, instrument)
    days = [date.fromisoformat(calibration.calibrated_on) for calibration in own]
    repaired = _repaired_between(session, instrument, days)
    return tuple(
        _errors_of(instrument, calibration, comparisons[calibration.id], was_repaired, calibration.id in accepted)
        for calibration, was_repaired in zip(own, repaired, strict=True)
    )


def _comparisons(session: Session, instrument: Instrument) -> dict[int | None, list[Comparison]]:
    by_calibration: dict[int | None, list[Comparison]] = defaultdict(list)
    query = select(Comparison).join(Calibration)
    for comparison in session.exec(
        query.where(Calibration.instrument_id == instrument.id).order_by(col(Comparison.id))
    ):
        by_calibration[comparison.calibration_id].append(comparison)
    return by_calibration


def _repaired_between(session: Session, instrument: Instrument, days: Sequence[date]) -> list[bool]:
    """For each calibration whether a repair lies between the one before and it; one on the very day counts as part of it."""
    changed = (Event.instrument_id == instrument.id, col(Event.kind).in_(CHANGED))
    events = select(Event.at).where(*changed, not_retracted(Event))
    repairs = [moment(at).date() for at in session.exec(events)]
    before = [date.min, *days]
    return [any(start < each < end for each in repairs) for start, end in zip(before, days, strict=False)]


def _errors_of(
    instrument: Instrument,
    calibration: Calibration,
    comparisons: Sequence[Comparison],
    repaired: bool,
    accepted: bool,
) -> CalibrationErrors:
    by_phase = {
        phase: _points(instrument, [each for each in comparisons if each.phase == phase])
        for phase in {each.phase for each in comparisons}
    }
    return CalibrationErrors(
        date.fromisoformat(calibration.calibrated_on),
        calibration.certificate,
        calibration.laboratory,
        by_phase.get(AS_FOUND),
        by_phase[phase_in_use(by_phase)],
        repaired,
        accepted,
    )


def _points(instrument: Instrument, comparisons: Sequence[Comparison]) -> ErrorPoints:
    cells = [comparison.model_dump() for comparison in comparisons]
    if any(comparison["repeatability"] is None for comparison in cells):
        cells = [comparison | {"repeatability": None} for comparison in cells]  # stated for some only: then for none
    points = comparisons_in_si(instrument.model_dump(), cells)
    own = points.independent_uncertainty
    independent = np.zeros_like(points.reference) if own is None else own
    return error_points(points.reference, points.indication, independent, points.reference_uncertainty)
