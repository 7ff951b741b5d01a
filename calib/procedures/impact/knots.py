"""What is worth saying of each record of a chain of traceability."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlmodel import Session, select

from calib.confirmation.interval import CalibrationOnRecord, InstrumentOnRecord, due_date, interval_of
from calib.confirmation.traceability import Record, is_accredited
from calib.procedures.certificate.phase import phase_in_use
from calib.procedures.impact.chain_gaps import Gaps
from calib.procedures.impact.gather import RecordKind
from calib.procedures.impact.rests_on import Ground
from calib.procedures.on_record.by_keys import by_keys
from calib.records import tables
from calib.records.record import key

Said = tuple[str, str, dict[str, Any]]


@dataclass(frozen=True)
class Knot:
    """One record of a chain."""

    record: Record
    kind: str
    name: str
    says: Mapping[str, Any]
    gaps: tuple[str, ...] = ()  # what its chain lacks


def knots_of(
    session: Session, ground: Ground, records: Iterable[Record], on: date, gaps: Gaps | None = None
) -> dict[Record, Knot]:
    """Each of some records with its kind, its name and what is worth saying of it on a day; with what its chain lacks."""
    saying = _Saying(ground, _comparisons(session, records := tuple(dict.fromkeys(records))), on)
    found = {}
    for record in records:
        kind, name, says = saying.of(record)
        found[record] = Knot(record, kind, name, says, () if gaps is None else gaps.of(record))
    return found


def _comparisons(session: Session, records: Iterable[Record]) -> dict[int, list[tables.Comparison]]:
    wanted = {number for table, number in records if table == RecordKind.CALIBRATION}
    compared: dict[int, list[tables.Comparison]] = defaultdict(list)
    rows = by_keys(session, select(tables.Comparison), tables.Comparison.calibration_id, wanted)
    for comparison in sorted(rows, key=lambda row: key(row.id)):
        compared[comparison.calibration_id].append(comparison)
    return compared


@dataclass(frozen=True)
class _Saying:
    ground: Ground
    comparisons: Mapping[int, Sequence[tables.Comparison]]
    on: date

    def of(self, record: Record) -> Said:
        """Kind, name and what is worth saying of a record."""
        table, number = record
        of_table = {
            RecordKind.INSTRUMENT: self._instrument,
            RecordKind.CALIBRATION: self._calibration,
            RecordKind.READING: self._reading,
            RecordKind.FACTOR: self._factor,
            RecordKind.CONDITIONS: self._conditions,
            RecordKind.OUTLET: self._outlet,
            RecordKind.JOB: self._job,
            RecordKind.REPORT: self._report,
        }
        return of_table[table](number)

    def _instrument(self, record_id: int) -> Said:
        one = self.ground.instruments[record_id]
        says = {name: getattr(one, name) for name in ("tag", "kind", "maker", "model", "serial")}
        return "instrument", f"instrument {one.tag}", says | {"instrument_kind": says.pop("kind")}

    def _calibration(self, record_id: int) -> Said:
        one = self.ground.calibrations[record_id]
        instrument = self.ground.instruments[one.instrument_id]
        own = self.ground.register[instrument.tag]
        on_record = self.ground.on_record(one)
        name = f"certificate {one.certificate} of {instrument.tag}"
        return "certificate", name, {
            "tag": instrument.tag,
            "instrument": f"{instrument.kind}, {instrument.maker} {instrument.model}, serial {instrument.serial}",
            "certificate": one.certificate,
            "laboratory": one.laboratory,
            "accreditation": one.accreditation,
            "accredited": is_accredited(one.accreditation),
            "calibrated_on": one.calibrated_on,
            "withdrawn": on_record.withdrawn,
            **_dates(own, on_record, self.on),
            "expanded_uncertainty": _uncertainty(self.comparisons.get(record_id, ())),
        }  # fmt: skip

    def _reading(self, record_id: int) -> Said:
        one = self.ground.readings[record_id]
        outlet = self.ground.outlets[one.outlet_id]
        return "reading", f"reading {record_id}", {
            "job": self.ground.jobs[outlet.job_id].job,
            "outlet": outlet.outlet,
            "place": outlet.place or tables.OUTLET,
            "observed_at": one.observed_at,
            "instrument": self.ground.instruments[one.instrument_id].tag,
            "operator": one.operator,
        }  # fmt: skip

    def _factor(self, record_id: int) -> Said:
        one = self.ground.factors[record_id]
        where = None if one.outlet_id is None else self.ground.outlets[one.outlet_id].outlet
        return "factor", f"factor {one.factor}, revision {one.revision}", {
            "factor": one.factor,
            "revision": one.revision,
            "counts": self.ground.latest_factors[one.factor] is one,
            "value": one.value,
            "outlet": where,
            "outlet_type": one.outlet_type,
        }  # fmt: skip

    def _conditions(self, record_id: int) -> Said:
        one = self.ground.conditions[record_id]
        job = self.ground.jobs[one.job_id].job
        says = {"job": job, "conditions": one.conditions, "observed_at": one.observed_at}
        return "conditions", f"conditions {one.conditions} of {job}", says

    def _outlet(self, record_id: int) -> Said:
        one = self.ground.outlets[record_id]
        job = self.ground.jobs[one.job_id].job
        return "outlet", f"outlet {one.outlet} of {job}", {"job": job, "outlet": one.outlet, "system": one.system}

    def _job(self, record_id: int) -> Said:
        one = self.ground.jobs[record_id]
        return "job", f"job {one.job}", {"job": one.job, "title": one.title}

    def _report(self, record_id: int) -> Said:
        one = self.ground.reports[record_id]
        job = self.ground.jobs[one.job_id].job
        says = {
            "job": job,
            "revision": one.revision,
            "issued_at": one.issued_at,
            "reason": one.reason,
        }
        return "report", f"report {job} revision {one.revision}", says


def _dates(own: InstrumentOnRecord, calibration: CalibrationOnRecord, on: date) -> dict[str, str | None]:
    months = interval_of(own, calibration, on)
    due = due_date(calibration.calibrated_on, months, calibration.due_on)
    return {
        "accepted_on": None if calibration.accepted_on is None else str(calibration.accepted_on),
        "due_on": str(due),
    }


def _uncertainty(comparisons: Sequence[tables.Comparison]) -> dict[str, Any] | None:
    """Smallest and largest U of the comparisons that the curve was made from, as the certificate states them."""
    counts = phase_in_use(one.phase for one in comparisons)
    used = sorted(
        (one for one in comparisons if one.phase == counts),
        key=lambda comparison: float(comparison.expanded_uncertainty),
    )
    if not used:
        return None
    factors = sorted({one.coverage_factor for one in used}, key=float)
    return {
        "lowest": used[0].expanded_uncertainty,
        "highest": used[-1].expanded_uncertainty,
        "unit": used[0].unit,
        "coverage_factors": factors,
    }
