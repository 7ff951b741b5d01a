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

from sqlmodel import Session, SQLModel, col, select

from calib.confirmation.traceability import Record
from calib.errors import BadInputError, Finding
from calib.procedures.certificate.assess import Assessment
from calib.procedures.certificate.fit_curve import curve_record
from calib.procedures.enter import check_certificates
from calib.procedures.enter.check_ranges import outside_range
from calib.procedures.enter.check_readings import reading_key
from calib.procedures.enter.later_records import (
    amended_outlets,
    history_findings,
    in_force,
    with_factors,
    write_of_instruments,
    write_of_outlets,
    write_pairs,
    write_withdrawals,
)
from calib.procedures.impact.gather import RecordKind
from calib.procedures.impact.open_review import open_reviews
from calib.procedures.measure.gate_reading import gate_reading
from calib.procedures.on_record.in_force import OnRecord, in_order, on_record, outlets_in_force
from calib.procedures.people import four_eyes
from calib.procedures.people.authorise import append, people_on_record, signed
from calib.procedures.typed.columns import FILES
from calib.procedures.typed.observations import Traversed, observed
from calib.procedures.typed.rows_together import Known, same_time
from calib.procedures.typed.sheets import Cells, Row, Sheets, cell_findings, read_folder
from calib.records import ledger
from calib.records.record import key
from calib.records.tables import (
    Acceptance,
    Calibration,
    Comparison,
    Condition,
    FoundFactor,
    Instrument,
    Job,
    LoggedSeries,
    Method,
    Outlet,
    OutletRevision,
    Reading,
    ReferenceStandard,
    Refusal,
    Room,
    SystemDesign,
    Traverse,
    TraversePoint,
)

# Tables whose new records may open an impact review or add a line to one.
_TOUCHED_BY_REVIEWS = frozenset({"calibration", "condition", "reading", "found_factor", "outlet_revision"})
# Cells of a calibration that make other records: its acceptance and its reference standards.
_NOT_OF_CALIBRATION = (
    "tag", "standards", "accepted_on", "accepted_by", "criterion", "decision_rule", "judged",
)  # fmt: skip
# Cells of a reading that name other records.
_NAMES_IN_READINGS = (
    "job", "outlet", "instrument", "probe", "method", "log_file", "traverse_rule", "traverse_lines", "traverse_points",
)  # fmt: skip


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
    remarks: tuple[str, ...] = ()  # what is worth saying, each told to `progress` too


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
    *,
    strict: bool = False,
) -> Imported:
    """Check sheets and append their records; files that are not there have no rows. Raises BadInputError with every finding.

    `strict`: whoever types a certificate may not accept it too unless the rule of the house says so; otherwise that is only said.
    """
    complete: Sheets = {name: sheets.get(name, ()) for name in FILES}
    progress(f"checking {sum(len(rows) for rows in complete.values())} rows")
    found = list(findings)
    for name, columns in FILES.items():
        found += cell_findings(complete[name], columns)
    unread = frozenset(Path(one.source).name for one in findings if one.source is not None)
    known = _known(session)
    found += history_findings(complete, known, now)
    checked = check_certificates.check(in_force(complete), with_factors(known, complete), now.date(), unread)
    found += checked.findings
    signature = signed(session, signature)
    alone, said = four_eyes.of_import(session, complete["calibrations.csv"], signature.person, strict)
    found += [*alone, *four_eyes.of_acceptors(people_on_record(session), complete["calibrations.csv"], signature.time)]
    if found:
        raise BadInputError(sorted(found, key=_place))
    writing = _Writing(session, signature, now, progress)
    for one in [*([] if said is None else [said]), *outside_range(complete, known.instruments)]:
        writing.remark(f"notice: {one}")
    return writing.write(complete, checked)


def _place(finding: Finding) -> tuple[str, int]:
    return finding.source or "", finding.row or 0


def _known(session: Session) -> Known:
    instruments = session.exec(select(Instrument)).all()
    tags = {one.id: one.tag for one in instruments}
    calibrations = session.exec(select(Calibration)).all()
    jobs = {one.id: one.job for one in session.exec(select(Job))}
    outlets = outlets_in_force(session)
    names = {number: (jobs[one.job_id], one.outlet) for number, one in outlets.items()}
    taken = [
        (*names[outlet], tags[instrument], same_time(observed_at))
        for table in (Reading, Refusal)
        for outlet, instrument, observed_at in session.exec(
            select(table.outlet_id, table.instrument_id, table.observed_at)
        )
    ]
    return Known(
        {one.tag: one.model_dump(mode="json") for one in instruments},
        {(tags[one.instrument_id], one.certificate) for one in calibrations},
        {(one.laboratory, one.certificate) for one in calibrations},
        {one.method: one.model_dump(mode="json") for one in session.exec(select(Method))},
        set(jobs.values()),
        {names[number]: one.model_dump(mode="json") for number, one in outlets.items()},
        {(jobs[one.job_id], one.system, one.service) for one in session.exec(select(SystemDesign))},
        {(jobs[one.job_id], one.room) for one in session.exec(select(Room))},
        {(jobs[one.job_id], one.conditions) for one in session.exec(select(Condition))},
        factors_on_record(session),
        set(taken),
    )


def factors_on_record(session: Session) -> dict[str, Cells]:
    """Factors found in the field, by name, as they count now."""
    found = session.exec(select(FoundFactor).order_by(col(FoundFactor.revision)))
    return {one.factor: one.model_dump(mode="json") for one in found}


class _Writing:
    """One write of checked sheets, in the order in which records refer to one another."""

    def __init__(self, session: Session, signature: ledger.Signature, now: datetime, progress: Progress) -> None:
        self.session = session
        self.signature = signature
        self.now = now
        self.progress = progress
        self.counts: dict[str, int] = {}
        self.remarks: list[str] = []
        self.recorded: frozenset[int] = frozenset()  # calibrations
        self.touched: list[Record] = []  # records that may hang on an instrument which is under review

    def remark(self, text: str) -> None:
        """Keep what is worth saying, and say it."""
        self.remarks.append(text)
        self.progress(text)

    def append(self, records: Sequence[SQLModel]) -> None:
        """Append records of one kind with their ledger entries, and count them."""
        if records:
            append(self.session, records, self.signature)
            name = str(type(records[0]).__tablename__)
            self.counts[name] = self.counts.get(name, 0) + len(records)
            if name in _TOUCHED_BY_REVIEWS:
                self.touched += [_touched(record) for record in records]
            self.progress(f"wrote {len(records)} {name} records")

    def write(self, sheets: Sheets, checked: check_certificates.Checked) -> Imported:
        """Append everything."""
        self.append([Instrument(**_numbered(row.cells)) for row in sheets["instruments.csv"]])
        self.append([Method(**_typed(row.cells)) for row in sheets["methods.csv"]])
        self.append([Job(**_typed(row.cells)) for row in sheets["jobs.csv"]])
        instruments = {one.tag: key(one.id) for one in self.session.exec(select(Instrument))}
        self._write_calibrations(sheets, checked, instruments)
        write_of_instruments(self.session, sheets, self.append)
        jobs = {one.job: key(one.id) for one in self.session.exec(select(Job))}
        for table, file in ((SystemDesign, "systems.csv"), (Room, "rooms.csv"), (Outlet, "outlets.csv")):
            self.append([table(job_id=jobs[row.cells["job"]], **_typed(row.cells, "job")) for row in sheets[file]])
        write_of_outlets(self.session, sheets, self.append)
        self.append(
            [
                Condition(
                    job_id=jobs[row.cells["job"]],
                    instrument_id=instruments.get(row.cells.get("instrument", "")),
                    **_typed(row.cells, "job", "instrument"),
                )
                for row in sheets["conditions.csv"]
            ]
        )
        before = self._write_withdrawals(sheets)
        refusals = self._write_readings(sheets, instruments, jobs, before)
        write_pairs(self.session, sheets, self.append)
        self._review_impact()
        return Imported(self.counts, tuple(refusals), tuple(self.remarks))

    def _review_impact(self) -> None:
        """Open an impact review for each certificate as-found beyond its limits, and bring those on record up to date."""
        if not _TOUCHED_BY_REVIEWS & self.counts.keys():
            return
        found = open_reviews(self.session, self.signature, self.now, self.recorded, self.touched)
        for one in found.opened:
            for name, count in (("impact_review", int(one.new)), ("impact_line", one.lines)):
                self.counts |= {name: self.counts.get(name, 0) + count} if count else {}
        for text in found.remarks:
            self.remark(text)

    def _write_calibrations(
        self, sheets: Sheets, checked: check_certificates.Checked, instruments: Mapping[str, int]
    ) -> None:
        rows = sheets["calibrations.csv"]
        made = {
            (row.cells["tag"], row.cells["certificate"]): Calibration(
                instrument_id=instruments[row.cells["tag"]], **_typed(row.cells, *_NOT_OF_CALIBRATION)
            )
            for row in rows
        }
        self.append(list(made.values()))
        ids = {names: key(one.id) for names, one in made.items()}
        self.recorded = frozenset(ids.values())
        self.append(
            [
                Comparison(
                    calibration_id=ids[row.cells["tag"], row.cells["certificate"]],
                    **_typed(row.cells, "tag", "certificate"),
                )
                for row in sheets["comparisons.csv"]
            ]
        )
        self.append([curve_record(ids[names], checked.curves[names]) for names in made])
        self.append(
            [
                ReferenceStandard(
                    calibration_id=ids[row.cells["tag"], row.cells["certificate"]], instrument_id=instruments[tag]
                )
                for row in rows
                for tag in check_certificates.standards_of(row.cells.get("standards", ""))
            ]
        )
        self.append([self._acceptance(row, ids, checked.assessments) for row in rows if row.sound("accepted_on")])

    def _acceptance(
        self, row: Row, ids: Mapping[tuple[str, str], int], assessments: Mapping[tuple[str, str], Assessment]
    ) -> Acceptance:
        names = (row.cells["tag"], row.cells["certificate"])
        found = assessments.get(names)
        return Acceptance(
            calibration_id=ids[names],
            accepted_on=row.cells["accepted_on"],
            accepted_by=row.get("accepted_by") or self.signature.person,
            criterion=row.get("criterion") or (None if found is None else found.criterion),
            decision_rule=row.get("decision_rule"),
            assessment=None if found is None else found.as_text(),
        )

    def _write_withdrawals(self, sheets: Sheets) -> OnRecord | None:
        """Withdraw calibrations; what counted before, where readings came before that."""
        before = on_record(self.session) if sheets["withdrawals.csv"] and sheets["readings.csv"] else None
        write_withdrawals(self.session, sheets, self.append)
        return before

    def _write_readings(
        self, sheets: Sheets, instruments: Mapping[str, int], jobs: Mapping[str, int], before: OnRecord | None
    ) -> list[RefusedReading]:
        rows = sheets["readings.csv"]
        if not rows:
            return []
        records = on_record(self.session)
        methods = {one.method: number for number, one in records.methods.items()}
        outlets = outlets_in_force(self.session)
        names = {(one.job_id, one.outlet): number for number, one in outlets.items()}
        amended = amended_outlets(sheets)
        readings: list[SQLModel] = []
        refusals: list[SQLModel] = []
        refused: list[RefusedReading] = []
        series = self._write_logs(rows)
        traverses, traversed = self._write_traverses(rows, sheets["traverses.csv"])
        for number, row in enumerate(rows):
            cells = row.cells
            kept: dict[str, Any] = _typed(cells, *_NAMES_IN_READINGS) | {
                "logged_series_id": series.get(number),
                "traverse_id": traverses.get(number),
                "outlet_id": names[jobs[cells["job"]], cells["outlet"]],
                "instrument_id": instruments[cells["instrument"]],
                "probe_id": instruments.get(cells.get("probe", "")),
                "method_id": methods[cells["method"]],
            }
            reading = Reading(**kept)
            seen = observed(cells, row.log, traversed.get(number))
            reasons = gate_reading(records, reading, seen, outlets[reading.outlet_id], self.now).reasons
            if reasons and before is not None:
                # It may have been observed before the withdrawal, and counts again once the right certificate is accepted.
                reasons = gate_reading(before, reading, seen, outlets[reading.outlet_id], self.now).reasons and reasons
            if reasons and (cells["job"], cells["outlet"]) in amended:
                # It may have been observed before the outlet was amended; every evaluation asks the gate again.
                first = self.session.get_one(Outlet, reading.outlet_id)
                reasons = gate_reading(records, reading, seen, first, self.now).reasons and reasons
            if reasons:
                refusals.append(Refusal(**kept, reasons=json.dumps(reasons, ensure_ascii=False)))
                refused.append(
                    RefusedReading(cells["job"], cells["outlet"], cells["instrument"], cells["observed_at"], reasons)
                )
            else:
                readings.append(reading)
        self.append(readings)
        self.append(refusals)
        return refused

    def _write_traverses(
        self, rows: Sequence[Row], point_rows: Sequence[Row]
    ) -> tuple[dict[int, int], dict[int, Traversed]]:
        """Traverses with their points; from the place of a reading's row to the key of its traverse, and what was observed."""
        made = {
            number: Traverse(
                rule=row.cells["traverse_rule"],
                lines=int(row.cells["traverse_lines"]),
                points=int(row.cells["traverse_points"]),
            )
            for number, row in enumerate(rows)
            if row.sound("traverse_rule")
        }
        self.append(list(made.values()))
        of_reading = {reading_key(rows[number]): number for number in made}
        points: dict[int, list[TraversePoint]] = {number: [] for number in made}
        for row in point_rows:
            number = of_reading[reading_key(row)]
            line, point = int(row.cells["line"]), int(row.cells["point"])
            points[number].append(
                TraversePoint(
                    traverse_id=key(made[number].id), line=line, point=point, indications=row.cells["indications"]
                )
            )
        self.append([point for of_one in points.values() for point in of_one])
        return {number: key(one.id) for number, one in made.items()}, {
            number: Traversed(one.rule, one.lines, one.points, in_order(points[number])) for number, one in made.items()
        }

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


def _touched(record: Any) -> Record:
    """An outlet is touched by its amendment."""
    if isinstance(record, OutletRevision):
        return RecordKind.OUTLET, record.outlet_id
    return str(record.__tablename__), key(record.id)


def _numbered(cells: Mapping[str, str]) -> dict[str, Any]:
    counted = ("interval_months", "check_interval_days")
    return {name: int(cell) if name in counted else cell for name, cell in cells.items()}


def _typed(cells: Mapping[str, str], *without: str) -> dict[str, Any]:
    return {name: cell for name, cell in cells.items() if name not in without}
