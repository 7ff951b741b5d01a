"""What flows, factors and curves would be, had an instrument been as it was found: worked out on the records, and taken back.

The curve as found is put on trial for the calibration that was in force, with the air in which it was found, and what rests on it
is worked out anew; every procedure then answers as it always does. Factors are found anew within a savepoint that is rolled back.
So a flow worked out here is that of records which hold the as-found curve.

Decision (2026-11). As found is worked out on the records rather than by a second evaluation: whatever is added to the model later
holds there too. Cost: two evaluations of each affected job; key numbers of a server are used up.

Decision (2026-11-29). A curve on trial is held in memory. Options: a row within the savepoint (a server refuses it to everybody who
may write no curve of an accepted certificate: that is everybody but the owner of its tables), a looser guard (then a false curve
may be written past the program too). Cost: three readers of curves ask for those on trial.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property

from sqlalchemy.orm.attributes import set_committed_value
from sqlmodel import Session

from calib.confirmation.interval import CalibrationOnRecord
from calib.confirmation.traceability import Graph, Record, upward
from calib.curves.curve import Curve
from calib.errors import CalibError
from calib.procedures.certificate.fit_curve import FittedCurve, curve_record, fit_curve
from calib.procedures.certificate.moved_reference import MovedStandard, moved_calibration, wish_of
from calib.procedures.impact.gather import RecordKind
from calib.procedures.impact.rests_on import STANDARD, Ground
from calib.procedures.impact.stated_values import Values, jobs_of, values_of
from calib.procedures.on_record.calibrations import as_found_cells, comparison_cells, correlation_cells
from calib.procedures.on_record.in_force import curve_of
from calib.procedures.on_record.what_counts import curve_that_counts, trials
from calib.procedures.pairs.factor_from_pairs import found_again
from calib.records import ledger
from calib.records.record import key, typed
from calib.records.tables.calibrations import AIR_OF_CALIBRATION, Calibration
from calib.records.tables.curves import StoredCurve
from calib.records.tables.factors import FoundFactor
from calib.records.tables.instruments import Instrument


@dataclass(frozen=True)
class Cause:
    """An instrument that was not found in order."""

    instrument: Instrument
    failing: Calibration  # whose comparisons as found failed
    since: CalibrationOnRecord  # when it was last in order
    waiting: tuple[CalibrationOnRecord, ...] = ()  # earlier ones relied on while that one waited to be accepted


@dataclass(frozen=True)
class Recalculated:
    """Before, and as if the instrument had been as found."""

    before: Values
    after: Values
    curves: Mapping[int, tuple[Curve, Curve]]  # of a calibration: as recorded, and as found
    notes: Mapping[Record, tuple[str, ...]]  # how what is assumed enters
    stuck: Mapping[Record, str]  # why a record could not be worked out anew


def recalculate(
    session: Session,
    ground: Ground,
    cause: Cause,
    affected: Sequence[Record],
    shown: Collection[Record],
    signature: ledger.Signature,
    now: datetime,
) -> Recalculated:
    """Work out what is affected, each record after what it rests on; the records are left as they were.

    Jobs are evaluated for those records among them that are shown.
    """
    jobs = jobs_of(ground, shown)
    names = [ground.factors[record_id].factor for table, record_id in affected if table == RecordKind.FACTOR]
    before = values_of(session, jobs, names, now)
    replacing = _Replacing(session, ground, cause, signature)
    relied = [ground.calibrations[calibration.record_id] for calibration in (cause.since, *cause.waiting)]
    with _taken_back(session, relied), trials(session) as replacing.trials:
        replacing.cause_itself()
        for record in affected:
            replacing.replace(record)
        # A face reading stands before the factor that was found from it and after the factor that it is evaluated with.
        for record in affected:
            replacing.mark(record)
        after = values_of(session, jobs, names, now)
    return Recalculated(before, after, replacing.curves, replacing.notes, replacing.stuck)


@contextmanager
def _taken_back(session: Session, relied: Sequence[Calibration]) -> Iterator[None]:
    savepoint = session.begin_nested()
    try:
        yield
    finally:
        savepoint.rollback()
        for calibration in relied:
            session.refresh(calibration)


# --- what takes the place of what ------------------------------------------------------------------------------------------------


@dataclass
class _Replacing:
    session: Session
    ground: Ground
    cause: Cause
    signature: ledger.Signature
    curves: dict[int, tuple[Curve, Curve]] = field(default_factory=dict)
    notes: dict[Record, tuple[str, ...]] = field(default_factory=dict)
    stuck: dict[Record, str] = field(default_factory=dict)
    trials: dict[int, StoredCurve] = field(default_factory=dict)  # curves that count in the place of those on record

    def cause_itself(self) -> None:
        """The curve as found in the place of each calibration that was relied on."""
        relied = (self.cause.since, *self.cause.waiting)
        failing = self.cause.failing
        try:
            stated = correlation_cells(self.session, failing)
            as_found = as_found_cells(self.session, failing)
            fitted = fit_curve(typed(self.cause.instrument), as_found, correlations=stated)
        except CalibError as error:
            why = f"the comparisons as found of certificate {failing.certificate} make no curve: {error}"
            self.stuck |= {(RecordKind.CALIBRATION, calibration.record_id): why for calibration in relied}
            return
        for calibration in relied:
            self._put(calibration.record_id, fitted)
            for column in AIR_OF_CALIBRATION:
                # As if it were read so: nothing that would be written.
                set_committed_value(self.ground.calibrations[calibration.record_id], column, getattr(failing, column))

    def replace(self, record: Record) -> None:
        """Work out a calibration or a factor anew where it rests on what was replaced."""
        table, record_id = record
        self.mark(record)
        if record in self.stuck:
            return
        if table == RecordKind.CALIBRATION:
            self._calibration(record_id)
        elif table == RecordKind.FACTOR:
            self._factor(self.ground.factors[record_id])

    def mark(self, record: Record) -> None:
        """What rests on something that could not be worked out cannot be either."""
        why = next((self.stuck[link.on] for link in self._up.get(record, ()) if link.on in self.stuck), None)
        if why is not None:
            self.stuck.setdefault(record, why)

    @cached_property
    def _up(self) -> Graph:
        return upward(self.ground.links)

    def _put(self, calibration: int, fitted: FittedCurve) -> None:
        """Another curve of a calibration on trial: the latest counts."""
        before = self._recorded(calibration)
        self.trials[calibration] = curve_record(calibration, fitted)
        self.curves[calibration] = (before, fitted.choice.curve)

    def _recorded(self, calibration: int) -> Curve:
        return curve_of(curve_that_counts(self.session, calibration).parameters)

    def _calibration(self, calibration: int) -> None:
        """A calibration against a standard that was as found: its reference values are those that the standard's curve gives."""
        record, own = (RecordKind.CALIBRATION, calibration), self.ground.calibrations[calibration]
        instrument = self.ground.instruments[own.instrument_id]
        changed = [each for each in self._up.get(record, ()) if each.role == STANDARD and each.on[1] in self.curves]
        changed = [each for each in changed if each.on[0] == RecordKind.CALIBRATION]
        moved = [
            MovedStandard(
                self.ground.instruments[self.ground.calibrations[each.on[1]].instrument_id], *self.curves[each.on[1]]
            )
            for each in changed
        ]
        counting = curve_that_counts(self.session, calibration)
        cells, stated = comparison_cells(self.session, own), correlation_cells(self.session, own)
        try:
            fitted, notes = moved_calibration(instrument, cells, moved, wish_of(counting), stated)
        except CalibError as error:
            self.stuck[record] = f"certificate {own.certificate} cannot be worked out anew: {error}"
            return
        if notes:
            self.notes[record] = (*self.notes.get(record, ()), *notes)
        self._put(calibration, fitted)

    def _factor(self, factor: FoundFactor) -> None:
        """A factor found again from the same pairs; what was superseded is evaluated with no more."""
        record = (RecordKind.FACTOR, key(factor.id))
        if self.ground.latest_factors[factor.factor] is not factor:
            self.notes[record] = ("superseded by a later revision, and not worked out anew",)
            return
        try:
            found_again(self.session, factor, factor.reason, self.signature)
        except CalibError as error:
            why = "; ".join(str(error).splitlines())
            self.stuck[record] = f"factor {factor.factor} cannot be found anew: {why}"
