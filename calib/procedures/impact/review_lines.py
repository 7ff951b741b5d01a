"""What a line of an impact review says of its record: before, and as if the instrument had been as it was found."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from sqlmodel import Session

from calib.confirmation.traceability import Graph, Record, upward
from calib.procedures.impact.gather import RecordKind
from calib.procedures.impact.recalculate import Cause, Recalculated
from calib.procedures.impact.rests_on import Ground
from calib.procedures.impact.stated_values import StatedValue
from calib.procedures.impact.touched import Touched
from calib.procedures.on_record.calibrations import comparison_cells
from calib.quantities import unit
from calib.records.tables.instruments import Instrument

_NOTHING = StatedValue(0.0, 0.0, 0.0, "")


@dataclass(frozen=True)
class LineFinding:
    """What a review finds of the records that an instrument touched."""

    session: Session
    ground: Ground
    cause: Cause | None  # absent: how it was wrong, or since when, is not known from a calibration
    touched: Touched
    recalculated: Recalculated

    def of(self, record: Record) -> dict[str, Any]:
        """What the review says of one record."""
        table, record_id = record
        of_table = {
            RecordKind.READING: self._reading,
            RecordKind.FACTOR: self._factor,
            RecordKind.CALIBRATION: self._calibration,
            RecordKind.REPORT: self._report,
            RecordKind.CHECK: self._check,
        }
        return of_table[table](record_id) | {"notes": [*self._notes(record)]}

    def _notes(self, record: Record) -> Iterator[str]:
        yield from self.recalculated.notes.get(record, ())
        if self.cause is not None:
            yield from self._used_since(self.cause, record)
        if record in self.recalculated.stuck:
            yield self.recalculated.stuck[record]

    def _used_since(self, cause: Cause, record: Record) -> Iterator[str]:
        for link in self.touched.direct:
            if link.record == record and link.day is not None and str(link.day) >= cause.failing.calibrated_on:
                yield (
                    f"{cause.instrument.tag} was used on {link.day}, not before its calibration of "
                    f"{cause.failing.calibrated_on}: if it was adjusted there first, the curve as found does not hold for it"
                )

    def _as(self, record: Record) -> list[str]:
        """In which roles the record rests on the instrument, or on what was touched by it."""
        direct = [link.role for link in self.touched.direct if link.record == record]
        by_way = [link.role for link in self._up.get(record, ()) if link.on in self._listed]
        return list(dict.fromkeys((*direct, *by_way)))

    @cached_property
    def _up(self) -> Graph:
        return upward(self.ground.links)

    @cached_property
    def _listed(self) -> frozenset[Record]:
        return frozenset(self.touched.records)

    def _reading(self, record_id: int) -> dict[str, Any]:
        reading = self.ground.readings[record_id]
        outlet = self.ground.outlets[reading.outlet_id]
        stuck = (RecordKind.READING, record_id) in self.recalculated.stuck
        before, after = self.recalculated.before, self.recalculated.after
        return {
            "job": self.ground.jobs[outlet.job_id].job,
            "outlet": outlet.outlet,
            "observed_at": reading.observed_at,
            "relied_on_as": self._as((RecordKind.READING, record_id)),
            **before_and_after(before.flows.get(record_id), None if stuck else after.flows.get(record_id)),
            "reasons_before": list(before.reasons.get(record_id, ())),
            "reasons_after": [] if stuck else list(after.reasons.get(record_id, ())),
        }

    def _factor(self, record_id: int) -> dict[str, Any]:
        factor, record = self.ground.factors[record_id], (RecordKind.FACTOR, record_id)
        counts = self.ground.latest_factors[factor.factor] is factor
        recalculated = counts and record not in self.recalculated.stuck
        before, after = (
            self.recalculated.before.factors.get(factor.factor),
            self.recalculated.after.factors.get(factor.factor),
        )
        return {
            "factor": factor.factor,
            "revision": factor.revision,
            "counts": counts,
            "relied_on_as": self._as(record),
            **before_and_after(before if counts else None, after if recalculated else None),
        }

    def _calibration(self, record_id: int) -> dict[str, Any]:
        calibration, record = self.ground.calibrations[record_id], (RecordKind.CALIBRATION, record_id)
        instrument = self.ground.instruments[calibration.instrument_id]
        return {
            "instrument": instrument.tag,
            "certificate": calibration.certificate,
            "calibrated_on": calibration.calibrated_on,
            "relied_on_as": self._as(record),
            **self._of_curves(instrument, record_id),
        }

    def _of_curves(self, instrument: Instrument, record_id: int) -> dict[str, Any]:
        """The largest shift over U among the indications that were compared."""
        if record_id not in self.recalculated.curves:
            return before_and_after(None, None)
        before, after = self.recalculated.curves[record_id]
        x = before.reference_indications[after.covers(before.reference_indications)]
        if not x.size:
            return before_and_after(None, None)
        u = 2.0 * np.hypot(before.reference_uncertainty(x), before.scatter_uncertainty(x))
        v, w = before.value(x), after.value(x)
        u_after = 2.0 * np.hypot(after.reference_uncertainty(x), after.scatter_uncertainty(x))
        worst = int(np.argmax(np.abs(w - v) / u))
        in_unit = unit(
            instrument.quantity, str(comparison_cells(self.session, self.ground.calibrations[record_id])[0]["unit"])
        )
        at = unit(instrument.indicated, instrument.unit)
        both = [
            StatedValue(
                float(in_unit.from_si(value[worst])), float(in_unit.difference_from_si(of[worst])), 2.0, in_unit.symbol
            )
            for value, of in ((v, u), (w, u_after))
        ]
        return {"at_indication": f"{float(at.from_si(x[worst])):.6g} {at.symbol}", **before_and_after(*both)}

    def _check(self, record_id: int) -> dict[str, Any]:
        check = self.ground.checks[record_id]
        return {
            "instrument": self.ground.instruments[check.instrument_id].tag,
            "kind": check.kind,
            "at": check.at,
            "result": check.result,
            "relied_on_as": self._as((RecordKind.CHECK, record_id)),
            **before_and_after(None, None),
        }

    def _report(self, record_id: int) -> dict[str, Any]:
        report = self.ground.reports[record_id]
        job = self.ground.jobs[report.job_id].job
        listed = [link.on[1] for link in self._up[RecordKind.REPORT, record_id] if link.on in self._listed]
        of_readings = {f"reading {reading_id}": self._reading(reading_id) for reading_id in listed}
        of_totals = {
            name: before_and_after(stated, self.recalculated.after.totals.get((owner, name)))
            for (owner, name), stated in self.recalculated.before.totals.items()
            if owner == report.job_id
        }
        changed = [name for name, each in (of_readings | of_totals).items() if each["statement_changed"]]
        shifts = [abs(each["shift_over_U"]) for each in of_readings.values() if each["shift_over_U"] is not None]
        unknown = [name for name, each in of_readings.items() if each["before"] and not each["after"]]
        return {
            "job": job,
            "report": f"{job} revision {report.revision}",
            "issued_at": report.issued_at,
            "relied_on_as": [],
            **before_and_after(None, None),
            "readings": listed,
            "totals": {name: each for name, each in of_totals.items() if each["shift"]},
            "statements_changed": changed,
            "largest_shift_over_U": max(shifts, default=None),
            "reissue": bool(changed or unknown or any(each > 1.0 for each in shifts)),
        }


def before_and_after(before: StatedValue | None, after: StatedValue | None) -> dict[str, Any]:
    """A value before and after: shift = after - before, over the U that was stated before; null where one of them is not there."""
    shift = after.value - before.value if before is not None and after is not None else None
    over = (
        shift / before.expanded_uncertainty
        if before is not None and shift is not None and before.expanded_uncertainty
        else None
    )
    return {
        "unit": (before or after or _NOTHING).unit,
        "before": _value(before),
        "after": _value(after),
        "shift": shift,
        "shift_over_U": over,
        "statement_before": None if before is None else before.statement,
        "statement_after": None if after is None else after.statement,
        "statement_changed": None if before is None or after is None else before.statement != after.statement,
    }


def _value(stated: StatedValue | None) -> Mapping[str, float] | None:
    if stated is None:
        return None
    return {
        "value": stated.value,
        "expanded_uncertainty": stated.expanded_uncertainty,
        "coverage_factor": stated.coverage_factor,
    }
