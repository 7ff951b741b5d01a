"""What flows, factors and curves would be, had an instrument been as it was found: worked out on the records, and taken back.

Within a savepoint the curve as found counts for the calibration that was in force, with the air in which it was found, and what
rests on it is worked out anew; every procedure then answers from the records as it always does, and the savepoint is rolled back.
So a flow worked out here is that of records which hold the as-found curve.
"""

import json
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from typing import Any

from sqlalchemy.orm.attributes import set_committed_value
from sqlmodel import Session, select

from calib.confirmation.interval import CalibrationOnRecord
from calib.confirmation.traceability import Graph, Record, upward
from calib.curves.curve import Curve
from calib.errors import CalibError, CurveError
from calib.procedures.certificate.fit_curve import CurveWish, FittedCurve, curve_record, fit_curve
from calib.procedures.certificate.phase import AS_FOUND
from calib.procedures.impact.rests_on import STANDARD, Ground, RecordKind
from calib.procedures.measure.evaluate import Evaluation, evaluate
from calib.procedures.measure.results import Judgement, Results
from calib.procedures.on_record.in_force import curve_of
from calib.procedures.on_record.what_counts import curve_that_counts, factor_that_counts
from calib.procedures.pairs.factor_from_pairs import SCOPES, FactorWanted, found_from_pairs
from calib.procedures.pairs.factor_uncertainty import SAME, factor_results
from calib.procedures.typed.sheets import Cells
from calib.quantities import Unit, unit
from calib.records import ledger, tables
from calib.records.record import key, typed
from calib.records.tables import BY_THE_RULE

# What a certificate says of the air in which it compared.
_AIR = ("temperature_degC", "pressure_kPa", "humidity_percent")


@dataclass(frozen=True)
class Cause:
    """An instrument that was not found in order."""

    instrument: tables.Instrument
    failing: tables.Calibration  # whose comparisons as found failed
    since: CalibrationOnRecord  # when it was last in order
    waiting: tuple[CalibrationOnRecord, ...] = ()  # earlier ones relied on while that one waited to be accepted


@dataclass(frozen=True)
class Stated:
    """A value as it is stated, in the unit in which it is."""

    value: float
    expanded_uncertainty: float
    coverage_factor: float
    unit: str
    statement: str | None = None  # of conformity; absent where there is nothing to judge by


@dataclass(frozen=True)
class Values:
    """What the records answer."""

    flows: Mapping[int, Stated]  # by reading
    reasons: Mapping[int, tuple[str, ...]]  # why a reading yields no flow
    totals: Mapping[tuple[int, str], Stated]  # by job and name of the total
    factors: Mapping[str, Stated]  # found in the field, by name


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
    jobs = _jobs(ground, shown)
    names = [ground.factors[number].factor for table, number in affected if table == RecordKind.FACTOR]
    before = _values(session, jobs, names, now)
    replacing = _Replacing(session, ground, cause, signature)
    relied = [ground.calibrations[one.record_id] for one in (cause.since, *cause.waiting)]
    with _taken_back(session, relied):
        replacing.cause_itself()
        for record in affected:
            replacing.replace(record)
        # A face reading stands before the factor that was found from it and after the factor that it is evaluated with.
        for record in affected:
            replacing.mark(record)
        after = _values(session, jobs, names, now)
    return Recalculated(before, after, replacing.curves, replacing.notes, replacing.stuck)


@contextmanager
def _taken_back(session: Session, relied: Sequence[tables.Calibration]) -> Iterator[None]:
    savepoint = session.begin_nested()
    try:
        yield
    finally:
        savepoint.rollback()
        for one in relied:
            session.refresh(one)


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

    def cause_itself(self) -> None:
        """The curve as found in the place of each calibration that was relied on."""
        relied = (self.cause.since, *self.cause.waiting)
        failing = self.cause.failing
        try:
            fitted = fit_curve(typed(self.cause.instrument), as_found_cells(self.session, failing))
        except CalibError as error:
            why = f"the comparisons as found of certificate {failing.certificate} make no curve: {error}"
            self.stuck |= {(RecordKind.CALIBRATION, one.record_id): why for one in relied}
            return
        for one in relied:
            self._put(one.record_id, fitted)
            for column in _AIR:
                # As if it were read so: nothing that would be written.
                set_committed_value(self.ground.calibrations[one.record_id], column, getattr(failing, column))

    def replace(self, record: Record) -> None:
        """Work out a calibration or a factor anew where it rests on what was replaced."""
        table, number = record
        self.mark(record)
        if record in self.stuck:
            return
        if table == RecordKind.CALIBRATION:
            self._calibration(number)
        elif table == RecordKind.FACTOR:
            self._factor(self.ground.factors[number])

    def mark(self, record: Record) -> None:
        """What rests on something that could not be worked out cannot be either."""
        why = next((self.stuck[one.on] for one in self._up.get(record, ()) if one.on in self.stuck), None)
        if why is not None:
            self.stuck.setdefault(record, why)

    @cached_property
    def _up(self) -> Graph:
        return upward(self.ground.links)

    def _put(self, calibration: int, fitted: FittedCurve) -> None:
        """Another curve of a calibration: the latest counts."""
        before = self._recorded(calibration)
        self.session.add(curve_record(calibration, fitted))
        self.session.flush()
        self.curves[calibration] = (before, fitted.choice.curve)

    def _recorded(self, calibration: int) -> Curve:
        return curve_of(curve_that_counts(self.session, calibration).parameters)

    def _calibration(self, calibration: int) -> None:
        """A calibration against a standard that was as found: its reference values are those that the standard's curve gives."""
        record, one = (RecordKind.CALIBRATION, calibration), self.ground.calibrations[calibration]
        instrument = self.ground.instruments[one.instrument_id]
        changed = [each for each in self._up.get(record, ()) if each.role == STANDARD and each.on[1] in self.curves]
        changed = [each for each in changed if each.on[0] == RecordKind.CALIBRATION]
        for each in changed:
            standard = self.ground.instruments[self.ground.calibrations[each.on[1]].instrument_id]
            if standard.quantity != instrument.quantity:
                self.stuck[record] = (
                    f"certificate {one.certificate}: what {standard.tag} ({standard.quantity}) did to its reference values "
                    f"({instrument.quantity}) is not on record: judge it by hand"
                )
                return
        try:
            cells = comparison_cells(self.session, one)
            for each in changed:
                cells = self._with_standard(record, instrument, cells, each.on[1])
            fitted = fit_curve(typed(instrument), cells, self._wish(calibration))
        except CalibError as error:
            self.stuck[record] = f"certificate {one.certificate} cannot be worked out anew: {error}"
            return
        self._put(calibration, fitted)

    def _with_standard(
        self, record: Record, instrument: tables.Instrument, cells: Sequence[Cells], of_standard: int
    ) -> list[Cells]:
        standard = self.ground.instruments[self.ground.calibrations[of_standard].instrument_id]
        moved = [moved_reference(instrument, standard, one, *self.curves[of_standard]) for one in cells]
        if any(extrapolated for _, extrapolated in moved):
            note = f"reference values outside the comparisons of {standard.tag} were moved by its relative shift at the nearer end"
            self.notes[record] = (*self.notes.get(record, ()), note)
        return [one for one, _ in moved]

    def _wish(self, calibration: int) -> CurveWish | None:
        """The shape that a person chose is kept; the rule chooses again where it chose."""
        record = curve_that_counts(self.session, calibration)
        if record.chosen_by == BY_THE_RULE:
            return None
        return CurveWish(degree=record.degree) if record.shape == "polynomial" else CurveWish(shape=record.shape)

    def _factor(self, factor: tables.FoundFactor) -> None:
        """A factor found again from the same pairs; what was superseded is evaluated with no more."""
        record = (RecordKind.FACTOR, key(factor.id))
        if self.ground.latest_factors[factor.factor] is not factor:
            self.notes[record] = ("superseded by a later revision, and not worked out anew",)
            return
        pairs = self.session.exec(
            select(tables.FactorPair)
            .where(tables.FactorPair.found_factor_id == factor.id)
            .order_by(tables.FactorPair.id)  # type: ignore[arg-type]
        ).all()
        words = {scope: word for word, scope in SCOPES.items()}
        wanted = FactorWanted(
            factor.factor,
            [f"{pair.traverse_reading_id}:{pair.face_reading_id}" for pair in pairs],
            words[factor.scope],
            factor.outlet_type,
            factor.reason,
        )
        try:
            found_from_pairs(self.session, wanted, self.signature)
        except CalibError as error:
            why = "; ".join(str(error).splitlines())
            self.stuck[record] = f"factor {factor.factor} cannot be found anew: {why}"


def as_found_cells(session: Session, calibration: tables.Calibration) -> list[Cells]:
    """Comparisons as found of a calibration."""
    return [one for one in comparison_cells(session, calibration) if one["phase"] == AS_FOUND]


def comparison_cells(session: Session, calibration: tables.Calibration) -> list[Cells]:
    """Comparisons of a calibration as typed."""
    own = select(tables.Comparison).where(tables.Comparison.calibration_id == calibration.id)
    return [typed(one) for one in session.exec(own.order_by(tables.Comparison.id))]  # type: ignore[arg-type]


def moved_reference(
    instrument: tables.Instrument, standard: tables.Instrument, cells: Cells, before: Curve, after: Curve
) -> tuple[Cells, bool]:
    """A comparison with the reference value that the standard's other curve gives, and whether that was extrapolated.

        r' = r + f'(x) - f(x)      with the standard's indication x: as it was typed, else where f(x) = r

    Outside the indications that both curves cover, r' = r f'(x)/f(x) at the nearer end. A comparison that names another standard
    stays. Raises CurveError where the curves cover nothing in common.
    """
    basis = json.loads(cells.get("basis") or "{}")
    if basis.get("standard", standard.tag) != standard.tag:
        return cells, False
    low, high = max(before.low, after.low), min(before.high, after.high)
    if not low < high:
        raise CurveError(
            f"the comparisons as found of {standard.tag} cover none of the indications that were covered before"
        )
    in_unit = unit(instrument.quantity, str(cells["unit"]))
    reference = in_unit.to_si(float(str(cells["reference"])))
    shown = _shown(standard, basis, cells)
    if shown is None:
        lowest, highest = sorted(float(before.value(end)) for end in (low, high))
        extrapolated = not lowest <= reference <= highest
        x = before.indication(min(max(reference, lowest), highest))
    else:
        extrapolated, x = not low <= shown <= high, shown
    x = min(max(x, low), high)
    value, shift = float(before.value(x)), float(after.value(x)) - float(before.value(x))
    other = reference * (1.0 + shift / value) if extrapolated and value else reference + shift
    return dict(cells) | {"reference": repr(float(in_unit.from_si(other)))}, extrapolated


def _shown(standard: tables.Instrument, basis: Mapping[str, Any], cells: Cells) -> float | None:
    """What the standard showed [SI]; None where it was not typed."""
    typed_indication, symbol = cells.get("standard_indication"), basis.get("indication_unit")
    if typed_indication is None or symbol is None:
        return None
    return unit(standard.indicated, str(symbol)).to_si(float(typed_indication))


# --- what the records answer -----------------------------------------------------------------------------------------------------


def _jobs(ground: Ground, shown: Collection[Record]) -> list[str]:
    outlets = [
        ground.outlets[ground.readings[number].outlet_id] for table, number in shown if table == RecordKind.READING
    ]
    jobs = {one.job_id for one in outlets} | {
        ground.reports[number].job_id for table, number in shown if table == RecordKind.REPORT
    }
    return sorted(ground.jobs[one].job for one in jobs)


def _values(session: Session, jobs: Sequence[str], factors: Sequence[str], now: datetime) -> Values:
    found = [evaluate(session, job, now) for job in jobs]
    return Values(
        {number: stated for one in found for number, stated in _flows(one)},
        {
            key(refused.typed.id): refused.reasons
            for one in found
            for refused in one.refused
            if isinstance(refused.typed, tables.Reading)
        },
        {(key(one.job.id), name): stated for one in found for name, stated in _totals(one)},
        dict(_factors(session, factors)),
    )


def _flows(evaluation: Evaluation) -> Iterable[tuple[int, Stated]]:
    for row, one in enumerate(evaluation.measured):
        assert evaluation.flow is not None  # noqa: S101 (what is measured has a flow)
        in_unit = unit("volume flow", one.outlet.flow_unit or "L/s")
        yield key(one.reading.id), _stated(evaluation.flow, evaluation.judgement, row, in_unit)


def _stated(results: Results, judgement: Judgement | None, row: int, in_unit: Unit) -> Stated:
    return Stated(
        float(in_unit.from_si(results.value[row])),
        float(in_unit.difference_from_si(results.expanded_uncertainty[row])),
        float(results.coverage_factor[row]),
        in_unit.symbol,
        None if judgement is None else str(judgement.statement[row]) or None,
    )


def _totals(evaluation: Evaluation) -> Iterable[tuple[str, Stated]]:
    for totals in (evaluation.of_systems, evaluation.of_job):
        for row, one in enumerate(totals.totals):
            if totals.flow is None or not one.measured:
                continue
            units = {each.outlet.flow_unit or "L/s" for each in evaluation.measured if each.outlet.id in one.sign}
            in_unit = unit("volume flow", units.pop() if len(units) == 1 else "L/s")
            yield f"{one.system or 'whole job'} {one.service}", _stated(totals.flow, totals.judgement, row, in_unit)


def _factors(session: Session, names: Sequence[str]) -> Iterable[tuple[str, Stated]]:
    for name in dict.fromkeys(names):
        last = factor_that_counts(session, name)
        if last is not None:
            results = factor_results(last)
            yield (
                name,
                Stated(
                    last.value,
                    float(results.expanded_uncertainty[SAME]),
                    float(results.coverage_factor[SAME]),
                    "1",
                ),
            )
