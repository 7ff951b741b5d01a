"""Curves are fitted anew by the edition of the rule that made them: those "by the rule", and those of a shape that a person chose.

A false one would move every flow with all digests right. Two fits of one certificate agree to rounding, which differs between
machines in the last digits. The tolerance is a millionth of the curve's standard uncertainty: nobody's digit, and far above
rounding (common practice, no source).

Decision (2026-11). Curves by the rule are fitted anew, by the edition of the rule that made them, and compared to a millionth of
their u. The option was a digest of the curve made at the time: whoever can write a false curve can write that too. Cost: 1 to 4
ms a certificate.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Sequence
from datetime import date

import numpy as np
from sqlmodel import Session, SQLModel, col, select

from calib.curves.curve import Curve
from calib.errors import CalibError
from calib.procedures.certificate.fit_curve import EDITIONS, CurveWish, curve_record, fit_by
from calib.procedures.on_record.amended import Amended, amended_instruments
from calib.procedures.on_record.by_keys import WHOLE_AT_ONCE, among, by_keys, portions
from calib.procedures.on_record.in_force import curve_of
from calib.procedures.on_record.recorded import sequences
from calib.procedures.typed.sheets import Cells
from calib.records.record import key, typed
from calib.records.tables.calibrations import Calibration
from calib.records.tables.comparisons import Comparison, ComparisonCorrelation
from calib.records.tables.curves import StoredCurve
from calib.records.tables.instruments import Instrument, InstrumentRevision
from calib.records.verification import LedgerFinding
from calib.records.words import BY_THE_RULE

TOLERANCE = 1e-6  # of the curve's standard uncertainty
_PLACES = 9  # of the measuring interval at which two curves are compared
_AS_TYPED = ("shape", "degree", "phase", "measuring_interval")


def curve_findings(session: Session, calibrations: Collection[int] | None = None) -> Iterator[LedgerFinding]:
    """Curves that the rule does not make, of its own or of the shape chosen; of some calibrations where named, else of all."""
    every = select(StoredCurve).order_by(col(StoredCurve.id))
    curves = list(session.exec(among(every, StoredCurve.calibration_id, calibrations)))
    for some in portions(curves, WHOLE_AT_ONCE):
        yield from _of_some(session, some)


def _of_some(session: Session, curves: Sequence[StoredCurve]) -> Iterator[LedgerFinding]:
    calibrations = {curve.calibration_id for curve in curves}
    certificates = {each.id: each for each in by_keys(session, select(Calibration), Calibration.id, calibrations)}
    instruments = amended_instruments(session, {each.instrument_id for each in certificates.values()})
    places = _places(session, curves, instruments.values())
    comparisons: dict[int, list[Cells]] = defaultdict(list)
    for comparison in by_keys(
        session, select(Comparison).order_by(col(Comparison.id)), Comparison.calibration_id, calibrations
    ):
        comparisons[comparison.calibration_id].append(typed(comparison))
    correlations: dict[int, list[Cells]] = defaultdict(list)
    stated = select(ComparisonCorrelation).order_by(col(ComparisonCorrelation.id))
    for correlation in by_keys(session, stated, ComparisonCorrelation.calibration_id, calibrations):
        correlations[correlation.calibration_id].append(typed(correlation))
    for curve in curves:
        calibration = curve.calibration_id
        own = instruments[certificates[calibration].instrument_id]
        made = places.get((StoredCurve, curve.id), 0)
        known = [each for each in own.revisions if places[InstrumentRevision, each.id] < made]
        # A person chooses for the instrument as it was when it was calibrated.
        of_day = None if curve.chosen_by == BY_THE_RULE else date.fromisoformat(certificates[calibration].calibrated_on)
        instrument = typed(Amended(own.first, known).at(of_day))
        problem = _problem(curve, instrument, comparisons[calibration], correlations[calibration])
        if problem is not None:
            yield LedgerFinding(f"correction_curve {key(curve.id)}", problem)


def _places(
    session: Session, curves: Sequence[StoredCurve], instruments: Iterable[Amended[Instrument]]
) -> dict[tuple[type[SQLModel], int | None], int]:
    """Places in the ledger of curves and of amendments: the rule made a curve by what was known of its instrument then."""
    revisions = [revision for each in instruments for revision in each.revisions]
    if not revisions:
        return {}
    places: dict[tuple[type[SQLModel], int | None], int] = {}
    for records in (curves, revisions):
        kind = type(records[0])
        rows = sequences(session, str(kind.__tablename__), {key(each.id) for each in records})
        places |= {(kind, record_id): sequence for record_id, sequence in rows.items()}
    return places


def _problem(
    stored: StoredCurve, instrument: Cells, comparisons: Sequence[Cells], correlations: Sequence[Cells]
) -> str | None:
    edition = stored.rule_edition or 1
    if edition not in EDITIONS:
        return f"was made by edition {edition} of the rule, which this version does not know"
    try:
        fitted = curve_record(
            stored.calibration_id, fit_by(EDITIONS[edition], instrument, comparisons, _wish(stored), correlations)
        )
        different = [name for name in _AS_TYPED if getattr(stored, name) != getattr(fitted, name)]
        if not different and _apart(curve_of(stored.parameters), curve_of(fitted.parameters)):
            different = ["values"]
    except (CalibError, ValueError, KeyError, TypeError, IndexError) as error:
        return f"is said to be made {_how(stored)}, which makes none of its certificate ({error})"
    if not different:
        return None
    makes = "that the rule makes" if stored.chosen_by == BY_THE_RULE else f"made {_how(stored)}"
    return f"is not the one {makes} of its certificate's comparisons: other {', '.join(different)}"


def _wish(stored: StoredCurve) -> CurveWish | None:
    """What a person asked for; None where nobody did."""
    if stored.chosen_by == BY_THE_RULE:
        return None
    return CurveWish(shape=stored.shape) if stored.degree is None else CurveWish(degree=stored.degree)


def _how(stored: StoredCurve) -> str:
    return "by the rule" if stored.chosen_by == BY_THE_RULE else f"in the shape that {stored.chosen_by} chose"


def _apart(stored: Curve, fitted: Curve) -> bool:
    """Whether two curves differ by more than the tolerance: in value, scatter, reference part, or in how well these are known."""
    if stored.parts != fitted.parts or not np.allclose(
        [stored.low, stored.high], [fitted.low, fitted.high], rtol=1e-12, atol=0
    ):
        return True
    known, made = ((curve.degrees_of_freedom, curve.reference_degrees_of_freedom) for curve in (stored, fitted))
    if not np.allclose(known, made, rtol=TOLERANCE, atol=0):
        return True
    places = np.linspace(max(stored.low, fitted.low), min(stored.high, fitted.high), _PLACES)
    scatter, reference = fitted.scatter_uncertainty(places), fitted.reference_uncertainty(places)
    allowed = TOLERANCE * np.hypot(scatter, reference)
    differences = (
        stored.value(places) - fitted.value(places),
        stored.scatter_uncertainty(places) - scatter,
        stored.reference_uncertainty(places) - reference,
    )
    return any(bool(np.any(~(np.abs(difference) <= allowed))) for difference in differences)
