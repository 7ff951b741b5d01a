"""What a chain of traceability lacks at each of its records."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import date, datetime

from calib.confirmation.interval import InstrumentOnRecord, ReviewOnRecord, gate, not_put_right_since
from calib.confirmation.traceability import Graph, Record, circles, is_accredited
from calib.procedures.impact.gather import RecordKind
from calib.procedures.impact.rests_on import STANDARD, Ground
from calib.procedures.on_record.in_force import against_factor
from calib.records.record import moment
from calib.records.tables.calibrations import Calibration
from calib.records.tables.factors import FoundFactor


class Gaps:
    """What a chain lacks at each of its records."""

    def __init__(self, ground: Ground, graph: Graph, start: Record, on: date) -> None:
        self.ground, self.graph, self.start, self.on = ground, graph, start, on
        # Each record answers for itself: what its standards lack is said there.
        self.register = {tag: _alone(instrument) for tag, instrument in ground.register.items()}
        self.in_circles = {record for circle in circles(graph) for record in circle}

    def of(self, record: Record) -> tuple[str, ...]:
        """What one record lacks."""
        table, record_id = record
        if table == RecordKind.CALIBRATION:
            return tuple(self._of_calibration(record, self.ground.calibrations[record_id]))
        if table in (RecordKind.READING, RecordKind.CONDITIONS):
            return tuple(self._of_instruments(record))
        if table == RecordKind.FACTOR:
            return tuple(self._of_factor(self.ground.factors[record_id]))
        if record == self.start and table == RecordKind.INSTRUMENT:
            decision = gate(self.register, self._tag(record), self.on, self.on)
            own = (f"{self._tag(record)}: {review.said}" for review in self.reviews_of(record) if review.is_open)
            return tuple(dict.fromkeys((*decision.reasons, *own)))
        return ()

    def reviews_of(self, record: Record) -> tuple[ReviewOnRecord, ...]:
        """Impact reviews, open and closed, that shake a calibration; of an instrument those that are about itself."""
        table, record_id = record
        if table not in (RecordKind.CALIBRATION, RecordKind.INSTRUMENT):
            return ()
        own = self.register[self._tag(record)].reviews
        if table == RecordKind.INSTRUMENT:
            return tuple(review for review in own if review.is_own)
        return tuple(review for review in own if record_id in review.calibrations)

    def _of_calibration(self, record: Record, calibration: Calibration) -> Iterator[str]:
        tag = self.ground.instruments[calibration.instrument_id].tag
        on_record = self.ground.on_record(calibration)
        if on_record.wrong_values is not None:
            yield f"{tag}: certificate {calibration.certificate} {on_record.wrong_values}: it counts for nothing"
        if on_record.in_doubt is not None:
            yield f"{tag}: {on_record.in_doubt}"
        if record in self.in_circles:
            certificate = calibration.certificate
            yield f"{tag}: certificate {certificate} rests on itself by way of its reference standards: correct the standards"
        yield from (f"{tag}: {review.said}" for review in self.reviews_of(record) if review.is_open)
        standards = [link for link in self.graph.get(record, ()) if link.role == STANDARD]
        if not standards and not is_accredited(calibration.accreditation):
            yield (
                f"{tag}: certificate {calibration.certificate} states no accreditation and no reference standard of the register: "
                "the chain ends there short of an accredited certificate"
            )
        for link in standards:
            standard = self._tag(link.on)
            day = date.fromisoformat(calibration.calibrated_on)
            for reason in gate(self.register, standard, day, day).reasons:
                why = not_put_right_since(reason, tag)
                yield f"{tag}: reference standard of certificate {calibration.certificate} on {calibration.calibrated_on}: {why}"

    def _of_factor(self, factor: FoundFactor) -> Iterator[str]:
        used = self.ground.calibrations[factor.calibration_id]
        tag = self._tag((RecordKind.CALIBRATION, factor.calibration_id))
        wrong = against_factor(factor.factor, tag, self.ground.on_record(used))
        if wrong is not None and self.ground.latest_factors[factor.factor] is factor:
            yield wrong

    def _of_instruments(self, record: Record) -> Iterator[str]:
        for link in self.graph.get(record, ()):
            if link.on[0] in (RecordKind.CALIBRATION, RecordKind.INSTRUMENT) and link.day is not None:
                at = self._moment(record, link.day)
                yield from gate(self.register, self._tag(link.on), at, at).reasons

    def _moment(self, record: Record, day: date) -> datetime | date:
        table, record_id = record
        if table == RecordKind.READING:
            return moment(self.ground.readings[record_id].observed_at)
        return day

    def _tag(self, on: Record) -> str:
        owner = on[1] if on[0] == RecordKind.INSTRUMENT else self.ground.calibrations[on[1]].instrument_id
        return self.ground.instruments[owner].tag


def _alone(instrument: InstrumentOnRecord) -> InstrumentOnRecord:
    return replace(instrument, calibrations=tuple(replace(each, standards=()) for each in instrument.calibrations))
