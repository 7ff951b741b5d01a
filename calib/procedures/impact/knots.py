"""What is worth saying of each record of a chain of traceability."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
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
from calib.procedures.on_record.calibrations import acceptances_recorded
from calib.records.record import key
from calib.records.tables.comparisons import Comparison
from calib.records.words import OUTLET

Said = tuple[str, str, dict[str, Any]]


@dataclass(frozen=True)
class Knot:
    """One record of a chain."""

    record: Record
    kind: str
    name: str
    says: Mapping[str, Any]
    gaps: tuple[str, ...] = ()  # what its chain lacks
    reviews: tuple[str, ...] = ()  # impact reviews of it, open and closed


def knots_of(
    session: Session, ground: Ground, records: Iterable[Record], on: date, gaps: Gaps | None = None
) -> dict[Record, Knot]:
    """Each of some records with its kind, its name and what is worth saying of it on a day; with what its chain lacks."""
    records = tuple(dict.fromkeys(records))
    calibrations = {record_id for table, record_id in records if table == RecordKind.CALIBRATION}
    saying = _Saying(ground, _comparisons(session, calibrations), acceptances_recorded(session, calibrations), on)
    knots = {}
    for record in records:
        kind, name, says = saying.of(record)
        lacks, reviews = ((), ()) if gaps is None else (gaps.of(record), gaps.reviews_of(record))
        knots[record] = Knot(record, kind, name, says, lacks, tuple(review.said for review in reviews))
    return knots


def _comparisons(session: Session, calibrations: Collection[int]) -> dict[int, list[Comparison]]:
    compared: dict[int, list[Comparison]] = defaultdict(list)
    rows = by_keys(session, select(Comparison), Comparison.calibration_id, calibrations)
    for comparison in sorted(rows, key=lambda row: key(row.id)):
        compared[comparison.calibration_id].append(comparison)
    return compared


@dataclass(frozen=True)
class _Saying:
    ground: Ground
    comparisons: Mapping[int, Sequence[Comparison]]
    acceptances: Mapping[int, Mapping[str, Any]]
    on: date

    def of(self, record: Record) -> Said:
        """Kind, name and what is worth saying of a record."""
        table, record_id = record
        of_table = {
            RecordKind.INSTRUMENT: self._instrument,
            RecordKind.CALIBRATION: self._calibration,
            RecordKind.READING: self._reading,
            RecordKind.FACTOR: self._factor,
            RecordKind.CONDITIONS: self._conditions,
            RecordKind.OUTLET: self._outlet,
            RecordKind.JOB: self._job,
            RecordKind.REPORT: self._report,
            RecordKind.CHECK: self._check,
        }
        return of_table[table](record_id)

    def _instrument(self, record_id: int) -> Said:
        instrument = self.ground.instruments[record_id]
        says = {name: getattr(instrument, name) for name in ("tag", "kind", "maker", "model", "serial")}
        return "instrument", f"instrument {instrument.tag}", says | {"instrument_kind": says.pop("kind")}

    def _calibration(self, record_id: int) -> Said:
        calibration = self.ground.calibrations[record_id]
        instrument = self.ground.instruments[calibration.instrument_id]
        own = self.ground.register[instrument.tag]
        on_record = self.ground.on_record(calibration)
        name = f"certificate {calibration.certificate} of {instrument.tag}"
        return "certificate", name, {
            "tag": instrument.tag,
            "instrument": f"{instrument.kind}, {instrument.maker} {instrument.model}, serial {instrument.serial}",
            "certificate": calibration.certificate,
            "laboratory": calibration.laboratory,
            "accreditation": calibration.accreditation,
            "accredited": is_accredited(calibration.accreditation),
            "calibrated_on": calibration.calibrated_on,
            "withdrawn": on_record.withdrawn,
            **_dates(own, on_record, self.on),
            **self.acceptances[record_id],
            "expanded_uncertainty": _uncertainty(self.comparisons.get(record_id, ())),
        }  # fmt: skip

    def _reading(self, record_id: int) -> Said:
        reading = self.ground.readings[record_id]
        outlet = self.ground.outlets[reading.outlet_id]
        return "reading", f"reading {record_id}", {
            "job": self.ground.jobs[outlet.job_id].job,
            "outlet": outlet.outlet,
            "place": outlet.place or OUTLET,
            "observed_at": reading.observed_at,
            "instrument": self.ground.instruments[reading.instrument_id].tag,
            "operator": reading.operator,
        }  # fmt: skip

    def _factor(self, record_id: int) -> Said:
        factor = self.ground.factors[record_id]
        where = None if factor.outlet_id is None else self.ground.outlets[factor.outlet_id].outlet
        return "factor", f"factor {factor.factor}, revision {factor.revision}", {
            "factor": factor.factor,
            "revision": factor.revision,
            "counts": self.ground.latest_factors[factor.factor] is factor,
            "value": factor.value,
            "outlet": where,
            "outlet_type": factor.outlet_type,
        }  # fmt: skip

    def _conditions(self, record_id: int) -> Said:
        condition = self.ground.conditions[record_id]
        job = self.ground.jobs[condition.job_id].job
        says = {"job": job, "conditions": condition.conditions, "observed_at": condition.observed_at}
        return "conditions", f"conditions {condition.conditions} of {job}", says

    def _outlet(self, record_id: int) -> Said:
        outlet = self.ground.outlets[record_id]
        job = self.ground.jobs[outlet.job_id].job
        says = {"job": job, "outlet": outlet.outlet, "system": outlet.system}
        return "outlet", f"outlet {outlet.outlet} of {job}", says

    def _job(self, record_id: int) -> Said:
        job = self.ground.jobs[record_id]
        return "job", f"job {job.job}", {"job": job.job, "title": job.title}

    def _report(self, record_id: int) -> Said:
        report = self.ground.reports[record_id]
        job = self.ground.jobs[report.job_id].job
        says = {
            "job": job,
            "revision": report.revision,
            "issued_at": report.issued_at,
            "reason": report.reason,
        }
        return "report", f"report {job} revision {report.revision}", says

    def _check(self, record_id: int) -> Said:
        check = self.ground.checks[record_id]
        instrument = self.ground.instruments.get(check.instrument_id)
        tag = "" if instrument is None else f" of {instrument.tag}"
        return "check", f"check {record_id}{tag}", {"kind": check.kind, "at": check.at, "result": check.result}


def _dates(own: InstrumentOnRecord, calibration: CalibrationOnRecord, on: date) -> dict[str, str | None]:
    months = interval_of(own, calibration, on)
    due = due_date(calibration.calibrated_on, months, calibration.due_on)
    return {
        "accepted_on": None if calibration.accepted_on is None else str(calibration.accepted_on),
        "due_on": str(due),
    }


def _uncertainty(comparisons: Sequence[Comparison]) -> dict[str, Any] | None:
    """Smallest and largest U of the comparisons that the curve was made from, as the certificate states them."""
    counts = phase_in_use(comparison.phase for comparison in comparisons)
    used = sorted(
        (comparison for comparison in comparisons if comparison.phase == counts),
        key=lambda comparison: float(comparison.expanded_uncertainty),
    )
    if not used:
        return None
    factors = sorted({comparison.coverage_factor for comparison in used}, key=float)
    return {
        "lowest": used[0].expanded_uncertainty,
        "highest": used[-1].expanded_uncertainty,
        "unit": used[0].unit,
        "coverage_factors": factors,
    }
