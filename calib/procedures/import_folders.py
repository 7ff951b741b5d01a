"""Import folders of CSV files: everything in one transaction, all or nothing.

Readings that the gate refuses are no trouble of the import: they are kept as refusals.
"""

import hashlib
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlmodel import Session, SQLModel, select

from calib.errors import BadInputError, Finding
from calib.procedures import consistency
from calib.procedures.columns import FILES
from calib.procedures.fit_curve import FittedCurve
from calib.procedures.gate_reading import gate_reading
from calib.procedures.observations import observed
from calib.procedures.register import key, load_register
from calib.procedures.sheets import Row, Sheets, cell_findings, read_folder
from calib.records import ledger
from calib.records.tables import (
    Acceptance,
    Calibration,
    Comparison,
    CorrectionCurve,
    Instrument,
    Job,
    LoggedSeries,
    Method,
    Outlet,
    Reading,
    ReferenceStandard,
    Refusal,
)

BY_THE_RULE = "rule"


@dataclass(frozen=True)
class RefusedReading:
    """A reading that the gate refused."""

    job: str
    outlet: str
    instrument: str
    observed_at: str
    reasons: tuple[str, ...]


@dataclass(frozen=True)
class Imported:
    """What an import wrote."""

    records: Mapping[str, int]  # name of the table -> number of records
    refusals: tuple[RefusedReading, ...]


Progress = Callable[[str], None]


def import_folders(
    session: Session,
    folders: Sequence[Path],
    signature: ledger.Signature,
    now: datetime,
    progress: Progress = lambda _: None,
) -> Imported:
    """Read and write all folders together; raises BadInputError with every finding, nothing written."""
    sheets: dict[str, list[Row]] = {name: [] for name in FILES}
    findings: list[Finding] = []
    for folder in folders:
        progress(f"reading {folder}")
        read, wrong = read_folder(folder, FILES)
        findings += wrong
        for name, rows in read.items():
            sheets[name] += rows
    return write_sheets(session, sheets, signature, now, findings, progress)


def write_sheets(
    session: Session,
    sheets: Mapping[str, Sequence[Row]],
    signature: ledger.Signature,
    now: datetime,
    findings: Sequence[Finding] = (),
    progress: Progress = lambda _: None,
) -> Imported:
    """Check sheets and append their records; files that are not there have no rows. Raises BadInputError with every finding."""
    complete: Sheets = {name: sheets.get(name, ()) for name in FILES}
    progress(f"checking {sum(len(rows) for rows in complete.values())} rows")
    found = list(findings)
    for name, columns in FILES.items():
        found += cell_findings(complete[name], columns)
    unread = frozenset(Path(one.source).name for one in findings)
    checked = consistency.check(complete, _known(session), now.date(), unread)
    found += checked.findings
    if found:
        raise BadInputError(sorted(found, key=_place))
    return _Writing(session, signature, now, progress).write(complete, checked.curves)


def _place(finding: Finding) -> tuple[str, int]:
    return finding.source, finding.row or 0


def _known(session: Session) -> consistency.Known:
    instruments = session.exec(select(Instrument)).all()
    tags = {one.id: one.tag for one in instruments}
    calibrations = session.exec(select(Calibration)).all()
    jobs = {one.id: one.job for one in session.exec(select(Job))}
    outlets = {one.id: (jobs[one.job_id], one.outlet) for one in session.exec(select(Outlet))}
    taken = [
        (*outlets[outlet], tags[instrument], consistency.same_time(observed_at))
        for table in (Reading, Refusal)
        for outlet, instrument, observed_at in session.exec(
            select(table.outlet_id, table.instrument_id, table.observed_at)
        )
    ]
    return consistency.Known(
        {one.tag: one.model_dump(mode="json") for one in instruments},
        {(tags[one.instrument_id], one.certificate) for one in calibrations},
        {(one.laboratory, one.certificate) for one in calibrations},
        set(session.exec(select(Method.method))),
        set(jobs.values()),
        set(outlets.values()),
        set(taken),
    )


class _Writing:
    """One write of checked sheets, in the order in which records refer to one another."""

    def __init__(self, session: Session, signature: ledger.Signature, now: datetime, progress: Progress) -> None:
        self.session = session
        self.signature = signature
        self.now = now
        self.progress = progress
        self.counts: dict[str, int] = {}

    def append(self, records: Sequence[SQLModel]) -> None:
        """Append records of one kind with their ledger entries, and count them."""
        if records:
            ledger.append(self.session, records, self.signature)
            name = str(type(records[0]).__tablename__)
            self.counts[name] = self.counts.get(name, 0) + len(records)
            self.progress(f"wrote {len(records)} {name} records")

    def write(self, sheets: Sheets, curves: Mapping[tuple[str, str], FittedCurve]) -> Imported:
        """Append everything."""
        self.append([Instrument(**_numbered(row.cells)) for row in sheets["instruments.csv"]])
        self.append([Method(**_typed(row.cells)) for row in sheets["methods.csv"]])
        self.append([Job(**_typed(row.cells)) for row in sheets["jobs.csv"]])
        instruments = {one.tag: key(one.id) for one in self.session.exec(select(Instrument))}
        self._write_calibrations(sheets, curves, instruments)
        jobs = {one.job: key(one.id) for one in self.session.exec(select(Job))}
        self.append(
            [Outlet(job_id=jobs[row.cells["job"]], **_typed(row.cells, "job")) for row in sheets["outlets.csv"]]
        )
        refusals = self._write_readings(sheets["readings.csv"], instruments, jobs)
        return Imported(self.counts, tuple(refusals))

    def _write_calibrations(
        self, sheets: Sheets, curves: Mapping[tuple[str, str], FittedCurve], instruments: Mapping[str, int]
    ) -> None:
        rows = sheets["calibrations.csv"]
        made = {
            (row.cells["tag"], row.cells["certificate"]): Calibration(
                instrument_id=instruments[row.cells["tag"]], **_typed(row.cells, "tag", "accepted_on", "standards")
            )
            for row in rows
        }
        self.append(list(made.values()))
        ids = {names: key(one.id) for names, one in made.items()}
        self.append(
            [
                Comparison(
                    calibration_id=ids[row.cells["tag"], row.cells["certificate"]],
                    **_typed(row.cells, "tag", "certificate"),
                )
                for row in sheets["comparisons.csv"]
            ]
        )
        self.append([curve_record(ids[names], curves[names]) for names in made])
        self.append(
            [
                ReferenceStandard(
                    calibration_id=ids[row.cells["tag"], row.cells["certificate"]], instrument_id=instruments[tag]
                )
                for row in rows
                for tag in consistency.standards_of(row.cells.get("standards", ""))
            ]
        )
        self.append(
            [
                Acceptance(
                    calibration_id=ids[row.cells["tag"], row.cells["certificate"]],
                    accepted_on=row.cells["accepted_on"],
                    accepted_by=self.signature.person,
                )
                for row in rows
                if row.sound("accepted_on")
            ]
        )

    def _write_readings(
        self, rows: Sequence[Row], instruments: Mapping[str, int], jobs: Mapping[str, int]
    ) -> list[RefusedReading]:
        if not rows:
            return []
        register = load_register(self.session)
        methods = {method: record_id for record_id, method in self.session.exec(select(Method.id, Method.method))}
        outlets = {
            (job_id, outlet): record_id
            for record_id, job_id, outlet in self.session.exec(select(Outlet.id, Outlet.job_id, Outlet.outlet))
        }
        readings: list[SQLModel] = []
        refusals: list[SQLModel] = []
        refused: list[RefusedReading] = []
        series = self._write_logs(rows)
        indicated = {one.tag: one.indicated for one in self.session.exec(select(Instrument))}
        for number, row in enumerate(rows):
            cells = row.cells
            kept: dict[str, Any] = _typed(cells, "job", "outlet", "instrument", "method", "log_file") | {
                "logged_series_id": series.get(number),
                "outlet_id": outlets[jobs[cells["job"]], cells["outlet"]],
                "instrument_id": instruments[cells["instrument"]],
                "method_id": methods[cells["method"]],
            }
            reasons = gate_reading(
                register, cells["instrument"], cells, observed(cells, row.log), indicated[cells["instrument"]], self.now
            ).reasons
            if reasons:
                refusals.append(Refusal(**kept, reasons=json.dumps(reasons, ensure_ascii=False)))
                refused.append(
                    RefusedReading(cells["job"], cells["outlet"], cells["instrument"], cells["observed_at"], reasons)
                )
            else:
                readings.append(Reading(**kept))
        self.append(readings)
        self.append(refusals)
        return refused

    def _write_logs(self, rows: Sequence[Row]) -> dict[int, int]:
        """Log files whole; from the place of a row to the key of its log."""
        logs = {
            number: LoggedSeries(
                name=Path(row.cells["log_file"]).name, content=row.log, sha256=hashlib.sha256(row.log).hexdigest()
            )
            for number, row in enumerate(rows)
            if row.log is not None
        }
        self.append(list(logs.values()))
        return {number: key(one.id) for number, one in logs.items()}


def curve_record(
    calibration_id: int, fitted: FittedCurve, chosen_by: str = BY_THE_RULE, reason: str | None = None
) -> CorrectionCurve:
    """The record of a fitted curve."""
    curve, chosen = fitted.choice.curve, fitted.choice.chosen
    return CorrectionCurve(
        calibration_id=calibration_id,
        shape=chosen.shape,
        degree=chosen.degree,
        phase=fitted.phase,
        low=curve.low,
        high=curve.high,
        measuring_interval=fitted.measuring_interval,
        parameters=curve.as_text(),
        chosen_by=chosen_by,
        reason=reason or fitted.choice.reason,
    )


def _numbered(cells: Mapping[str, str]) -> dict[str, Any]:
    counted = ("interval_months", "check_interval_days")
    return {name: int(cell) if name in counted else cell for name, cell in cells.items()}


def _typed(cells: Mapping[str, str], *without: str) -> dict[str, Any]:
    return {name: cell for name, cell in cells.items() if name not in without}
