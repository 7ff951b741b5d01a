"""Which curve holds for what an impact review touched, as a person decided: the one place where decisions of reviews count.

    as before      the curve of the certificate that was relied on
    as found       the curve of the comparisons as found, for the whole time since the instrument was last in order
    as found from  the same from a time on, and the one before until then
    widened        the one before; the change found is an error that nobody corrects for, rectangular: u = |v' - v|/sqrt(3)

v is the value by the curve before, v' by that as found. What lies anywhere between them deviates from v by |v' - v|/sqrt(3) root
mean square (GUM, F.2.4.5: a known effect that is not corrected for). A calibration made in house against such an instrument is
decided the same way: its curve as found is that of reference values which the standard's other curve gives. Where that cannot be
worked out, nothing may rest on it.

Of several decisions on one review the latest counts. None is changed by it that nobody decided: then all is as before.

Decision (2026-11-29): the curve as found is fitted anew where the records are asked. Options: a stored curve beside that of the
certificate (which of them counts would stand at two places; a decision that is changed would leave it behind). Cost: 1 to 4 ms for
each decided review of the instruments asked for, a question where none is; a later edition of the rule may change such a flow.
"""

import math
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime

from sqlmodel import Session, col, select

from calib.confirmation.in_order import last_in_order
from calib.confirmation.interval import CalibrationOnRecord, HeldCurve, InstrumentOnRecord, calibration_in_force
from calib.curves.curve import Curve
from calib.curves.response import curve_from_text
from calib.errors import CalibError
from calib.procedures.certificate.fit_curve import FittedCurve, curve_record, fit_curve
from calib.procedures.certificate.moved_reference import MovedStandard, moved_calibration, wish_of
from calib.procedures.on_record.calibrations import as_found_cells, comparison_cells, correlation_cells
from calib.procedures.on_record.what_counts import that_count
from calib.records.record import key, moment, typed
from calib.records.tables.calibrations import AIR_OF_CALIBRATION, Calibration
from calib.records.tables.curves import StoredCurve
from calib.records.tables.instruments import Instrument
from calib.records.tables.reviews import ImpactReview, ReviewDecision
from calib.records.words import HOLDING_CURVES

AS_BEFORE, AS_FOUND_ALWAYS, AS_FOUND_FROM, WIDENED = HOLDING_CURVES


@dataclass
class Certificates:
    """Instruments with their calibrations and curves, by key, and where another curve holds in the place of its own."""

    register: dict[str, InstrumentOnRecord]
    instruments: Mapping[int, Instrument]
    calibrations: dict[int, Calibration]
    curves: dict[int, StoredCurve]
    widened: dict[int, Curve] = field(
        default_factory=dict
    )  # the curve as found, by the key that stands for the one before
    compared_in: dict[int, int] = field(
        default_factory=dict
    )  # the certificate that compared, by the key that stands for it


def with_decisions(session: Session, known: Certificates) -> Certificates:
    """The same with the curves that hold as reviews of these instruments were decided."""
    query = select(ReviewDecision, ImpactReview.calibration_id).join(ImpactReview).order_by(col(ReviewDecision.id))
    query = query.join(Calibration, col(Calibration.id) == ImpactReview.calibration_id)
    query = query.where(col(Calibration.instrument_id).in_(sorted(known.instruments)))
    counting = that_count(session.exec(query), lambda row: row[0].impact_review_id).values()
    decided = [(decision, key(failing)) for decision, failing in counting if decision.curve != AS_BEFORE]
    if decided:
        holding = _Holding(session, known)
        for decision, failing in sorted(decided, key=lambda row: key(row[0].id)):
            holding.decide(decision, known.calibrations[failing])
        holding.hand_on()
    return known


@dataclass(frozen=True)
class _Pair:
    """What holds in the place of a calibration's own curve."""

    held: HeldCurve
    before: Curve
    as_found: Curve | None  # None: it could not be worked out
    is_widened: bool


class _Holding:
    def __init__(self, session: Session, known: Certificates) -> None:
        self.session, self.known = session, known
        self.pairs: dict[int, list[_Pair]] = defaultdict(list)  # by the key of the calibration

    def decide(self, decision: ReviewDecision, failing: Calibration) -> None:
        """Put what was decided in the place of each curve that was relied on."""
        tag = self.known.instruments[failing.instrument_id].tag
        own = self.known.register[tag]
        since = last_in_order(own, key(failing.id))
        if since is None or own.calibration(key(failing.id)).withdrawn:
            return
        fitted, against = self._as_found(failing)
        from_at = None if decision.from_at is None else moment(decision.from_at)
        for relied, since_day in _relied_on(own, since):
            self._put(relied, failing, fitted, since_day, from_at, against, is_widened=decision.curve == WIDENED)

    def _as_found(self, failing: Calibration) -> tuple[FittedCurve | None, str | None]:
        stated = correlation_cells(self.session, failing)
        instrument = typed(self.known.instruments[failing.instrument_id])
        try:
            return fit_curve(instrument, as_found_cells(self.session, failing), correlations=stated), None
        except CalibError as error:
            return None, (
                f"the comparisons as found of certificate {failing.certificate}, which hold as its review was decided, make no "
                f"curve: {error}: decide otherwise, or measure with another instrument"
            )

    def hand_on(self) -> None:
        """Work out the calibrations made in house against what holds otherwise now, each after its standards."""
        waiting = {
            key(calibration.id): calibration
            for calibration in self.known.calibrations.values()
            if self._on_record(calibration).standards
        }
        while ready := [each for each in waiting.values() if not self._waits(each, waiting)] or [*waiting.values()][:1]:
            for calibration in ready:
                del waiting[key(calibration.id)]
                self._hand_on_to(calibration)

    def _waits(self, calibration: Calibration, waiting: Mapping[int, Calibration]) -> bool:
        return any(
            standard.on_file in waiting and standard.on_file != calibration.id
            for standard in self._standards(calibration)
        )

    def _on_record(self, calibration: Calibration) -> CalibrationOnRecord:
        return self.known.register[self.known.instruments[calibration.instrument_id].tag].calibration(
            key(calibration.id)
        )

    def _standards(self, calibration: Calibration) -> Iterator[CalibrationOnRecord]:
        """The calibrations that its reference standards had on its day, with the curves that hold."""
        own = self._on_record(calibration)
        for tag in own.standards:
            in_force = calibration_in_force(self.known.register[tag], own.calibrated_on)
            if in_force is not None:
                yield in_force.as_held(own.calibrated_on)

    def _hand_on_to(self, calibration: Calibration) -> None:
        holding = {
            pair.held.record_id: (standard, pair)
            for standard in self._standards(calibration)
            for pair in self.pairs[standard.on_file]
            if pair.held.record_id == standard.record_id
        }
        if not holding:
            return
        instrument = self.known.instruments[calibration.instrument_id]
        own = self.known.curves[key(calibration.id)]
        moved = [
            MovedStandard(self._owner(standard), pair.before, pair.as_found)
            for standard, pair in holding.values()
            if pair.as_found is not None
        ]
        fitted, against = None, None
        try:
            if len(moved) == len(holding):
                cells, stated = (
                    comparison_cells(self.session, calibration),
                    correlation_cells(self.session, calibration),
                )
                fitted, _ = moved_calibration(instrument, cells, moved, wish_of(own), stated)
        except CalibError as error:
            against = f": {error}"
        if fitted is None:
            tags = " and ".join(self._owner(standard).tag for standard, _ in holding.values())
            against = (
                f"certificate {calibration.certificate} rests on {tags}, for which a review decided on another curve, and cannot "
                f"be worked out anew{against or ''}: have {instrument.tag} calibrated again"
            )
        is_widened = all(pair.is_widened for _, pair in holding.values())
        relied = self._on_record(calibration)
        self._put(relied, calibration, fitted, None, None, against, is_widened=is_widened)

    def _owner(self, standard: CalibrationOnRecord) -> Instrument:
        return self.known.instruments[self.known.calibrations[standard.on_file].instrument_id]

    def _put(
        self,
        relied: CalibrationOnRecord,
        compared: Calibration,
        fitted: FittedCurve | None,
        since_day: date | None,
        since: datetime | None,
        against: str | None,
        *,
        is_widened: bool,
    ) -> None:
        """Let another curve, by a key of its own, hold for a calibration; `compared` is the certificate that it comes from."""
        known, own = self.known, self.known.curves[relied.record_id]
        record_id = -1 - sum(map(len, self.pairs.values()))
        first = known.calibrations[relied.record_id]
        holds_before = is_widened or fitted is None
        curve = own if holds_before or fitted is None else curve_record(relied.record_id, fitted)
        air = {name: getattr(first if holds_before else compared, name) for name in AIR_OF_CALIBRATION}
        known.calibrations[record_id] = Calibration(**typed(first) | air)
        known.curves[record_id] = curve
        known.compared_in[record_id] = relied.record_id if holds_before else key(compared.id)
        before = curve_from_text(own.parameters)
        as_found = None if fitted is None else fitted.choice.curve
        if is_widened and as_found is not None:
            known.widened[record_id] = as_found
        held = HeldCurve(record_id, since_day, since, curve.low, curve.high, curve.measuring_interval, against)
        self.pairs[relied.record_id].append(_Pair(held, before, as_found, is_widened))
        tag = known.instruments[first.instrument_id].tag
        register = known.register[tag]
        known.register[tag] = replace(
            register,
            calibrations=tuple(
                replace(each, held=(*each.held, held)) if each.record_id == relied.record_id else each
                for each in register.calibrations
            ),
        )


def _relied_on(
    own: InstrumentOnRecord, since: CalibrationOnRecord
) -> Iterator[tuple[CalibrationOnRecord, date | None]]:
    """The calibration that was last in order, and earlier ones while that waited to be accepted: from that day on."""
    yield since, None
    for each in own.calibrations:
        if each.accepted_on is not None and each.calibrated_on < since.calibrated_on:
            yield each, since.calibrated_on


def change_found(before: Curve, as_found: Curve, x: float) -> float:
    """|v' - v| at an indication [SI]; outside the comparisons as found the relative change at their nearer end."""
    inside = min(max(x, as_found.low), as_found.high)
    inside = min(max(inside, before.low), before.high)
    value, change = float(before.value(inside)), abs(float(as_found.value(inside)) - float(before.value(inside)))
    at = min(max(x, before.low), before.high)
    return change if inside == at or not value else change * math.fabs(float(before.value(at)) / value)
