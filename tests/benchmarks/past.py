"""Records with a past: the demo's, and a company's years of other instruments, certificates, jobs, readings and reports.

    python -m tests.benchmarks.past FILE [YEARS] [INSTRUMENTS] [READINGS A YEAR] [REPORTS A YEAR]

Made for measuring what an act on the demo's job costs when much else is on record. Everything is invented. The rows are written by
the ledger's own door, past the import: a year is one transaction. With the defaults 19 years, 200 instruments, 4,200 certificates,
114,000 readings; a run takes about two minutes.
"""

import json
import random
import shutil
import sys
import tempfile
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from pathlib import Path

from sqlmodel import Session, SQLModel, col, select

from calib.faces.demo import run_demo
from calib.procedures.certificate.fit_curve import curve_record, fit_curve
from calib.records import database, ledger
from calib.records.record import key, typed
from calib.records.tables.calibrations import Acceptance, Calibration
from calib.records.tables.comparisons import Comparison
from calib.records.tables.instruments import Instrument
from calib.records.tables.jobs import Job
from calib.records.tables.ledger import LedgerEntry
from calib.records.tables.methods import Method
from calib.records.tables.outlets import Outlet
from calib.records.tables.readings import Reading
from calib.records.tables.reports import IssuedReport
from calib.records.tables.reviews import Disposition, ImpactLine, ImpactReview, ReviewDecision

YEARS, INSTRUMENTS, READINGS, REPORTS = 19, 200, 6_000, 100
CERTIFICATES = 21  # of each instrument: a year's one, and two more
OUTLETS = 40  # of a job
FIRST_YEAR = 2007
ZONE = "+00:00"
REFERENCES = (0.6, 1.2, 2.5, 4.0, 6.0, 9.0, 14.0)  # m/s
METHOD = "sweep of the years before"


def add_past(
    path: Path,
    years: int = YEARS,
    instruments: int = INSTRUMENTS,
    readings: int = READINGS,
    reports: int = REPORTS,
    reviews: int = 0,
) -> None:
    """Write a past into a records file."""
    chance = random.Random(19)  # noqa: S311 (no secret: the same past each time)
    with database.writing(str(path)) as session:
        anemometers = [_instrument(place) for place in range(instruments)]
        _append(session, [*anemometers], FIRST_YEAR)
        method = Method(method=METHOD, relative_standard_uncertainty_percent="2.5", basis="invented")
        _append(session, [method], FIRST_YEAR)
        meters = [(key(each.id), each.tag) for each in anemometers]
        method_id = key(method.id)
        cells = typed(anemometers[0])
    for year in range(FIRST_YEAR, FIRST_YEAR + years):
        with database.writing(str(path)) as session:
            _certificates(session, meters, cells, year, chance, extra=year - FIRST_YEAR < CERTIFICATES - years)
            _jobs(session, meters, method_id, year, readings, reports, chance)
            _reviews(session, year, reviews)


def _instrument(place: int) -> Instrument:
    return Instrument(
        tag=f"PA-{place:03}", kind="vane anemometer 100 mm", maker="Invented", model=f"Past {place % 5}", serial=str(place),
        quantity="air velocity", range_low="0.25", range_high="20", unit="m/s", resolution="0.01", mpe_percent="1.5",
        mpe_absolute="0.03", interval_months=13, location=f"van {place % 9}", repeatability="0.02",
    )  # fmt: skip


def _append(session: Session, records: list[SQLModel], year: int) -> None:
    """Write records at the end of their year, or taken over as soon as what is there already was written."""
    last = session.exec(select(LedgerEntry.time).order_by(col(LedgerEntry.sequence).desc()).limit(1)).first()
    at = max(datetime.fromisoformat(time) for time in (f"{year}-12-31T12:00:00{ZONE}", last) if time)
    ledger.append_entries(session, records, ledger.Signature("P. Past", at, "import"))


def _certificates(
    session: Session,
    meters: list[tuple[int, str]],
    cells: dict[str, object],
    year: int,
    chance: random.Random,
    *,
    extra: bool,
) -> None:
    """One certificate of each instrument in January, and in some years a second in February."""
    for month in (1, 2) if extra else (1,):
        day = date(year, month, 10)
        made = [
            Calibration(
                instrument_id=meter,
                certificate=f"P-{tag}-{year}-{month}",
                laboratory="Invented Laboratory",
                calibrated_on=str(day),
            )
            for meter, tag in meters
        ]
        _append(session, [*made], year)
        compared = [_comparisons(key(each.id), chance) for each in made]
        _append(session, [row for rows in compared for row in rows], year)
        curves = [
            curve_record(key(each.id), fit_curve(cells, [typed(row) for row in rows]))  # type: ignore[arg-type]
            for each, rows in zip(made, compared, strict=True)
        ]
        _append(session, [*curves], year)
        accepted = str(day + timedelta(days=3))
        _append(
            session,
            [Acceptance(calibration_id=key(each.id), accepted_on=accepted, accepted_by="P. Past") for each in made],
            year,
        )


def _comparisons(calibration: int, chance: random.Random) -> list[Comparison]:
    scale = 1 + chance.gauss(0, 0.002)
    return [
        Comparison(
            calibration_id=calibration, phase="as-found", reference=f"{value:.2f}",
            indication=f"{value * scale + chance.gauss(0, 0.01):.2f}", unit="m/s",
            expanded_uncertainty=f"{0.015 + 0.008 * value:.3f}",
            coverage_factor="2", repeatability="0.012", observations="6",
        )
        for value in REFERENCES
    ]  # fmt: skip


def _jobs(
    session: Session,
    meters: list[tuple[int, str]],
    method: int,
    year: int,
    readings: int,
    reports: int,
    chance: random.Random,
) -> None:
    count = max(readings // OUTLETS, 1)
    jobs = [Job(job=f"P-{year}-{place:03}", decision_rule="guarded non-binary") for place in range(count)]
    _append(session, [*jobs], year)
    outlets = [_outlet(key(job.id), place) for job in jobs for place in range(OUTLETS)][:readings]
    _append(session, [*outlets], year)
    taken = [_reading(key(outlet.id), place, meters, method, year, chance) for place, outlet in enumerate(outlets)]
    _append(session, [*taken], year)
    issued = [
        IssuedReport(
            job_id=key(job.id),
            revision=1,
            issued_at=f"{year}-12-01T10:00:00{ZONE}",
            ledger_digest=ledger.ledger_head(session)[1],
        )
        for job in jobs[:reports]
    ]
    if issued:
        _append(session, [*issued], year)


def _reviews(session: Session, year: int, count: int) -> None:
    """Closed reviews of each kind on the first job of a year: all stands, and a report that was issued again."""
    job = session.exec(select(Job).where(Job.job == f"P-{year}-000")).one()
    first = session.exec(select(Reading.id).join(Outlet).where(Outlet.job_id == job.id)).first()
    report = session.exec(select(IssuedReport.id).where(IssuedReport.job_id == job.id)).first()
    at = f"{year}-01-10"
    meters = session.exec(select(Calibration.id).where(Calibration.calibrated_on == at)).all()[:count]
    as_found = [ImpactReview(calibration_id=each, criterion="c", assessment='{"judgements": []}') for each in meters]
    watched = [
        ImpactReview(
            criterion="event withdraw", assessment="{}", cause="recorded later", cause_table="event",
            cause_id=year * 1000 + place,
        )
        for place in range(count)
    ]  # fmt: skip
    _append(session, [*as_found, *watched], year)
    finding = json.dumps({"job": job.job, "report": f"{job.job} revision 1", "outlet": "S-0"})
    lines = [
        (each, table, record) for each in as_found for table, record in (("reading", first), ("issued_report", report))
    ]
    lines += [(each, "issued_report", report) for each in watched]
    made = [
        ImpactLine(impact_review_id=key(each.id), record_table=table, record_id=record, finding=finding)
        for each, table, record in lines
    ]
    _append(session, [*made], year)
    decided = [ReviewDecision(impact_review_id=key(each.id), curve="as before", reason="r") for each in as_found]
    _append(session, [*decided], year)
    disposed = [
        Disposition(
            impact_line_id=key(line.id), decision="stands" if line.record_table == "reading" else "reissue", reason="r"
        )
        for line in made[: 2 * len(as_found)]
    ]
    _append(session, [*disposed], year)
    again = IssuedReport(
        job_id=key(job.id), revision=2, issued_at=f"{year}-12-20T10:00:00{ZONE}", reason="r",
        ledger_digest=ledger.ledger_head(session)[1],
    )  # fmt: skip
    _append(session, [again], year)


def _outlet(job: int, place: int) -> Outlet:
    return Outlet(
        job_id=job, outlet=f"S-{place}", system=f"AH-{place // 20}", service="supply", shape="rectangular", width="400",
        height="200", dimension_unit="mm", dimension_limit="1", outlet_factor="0.84", outlet_factor_standard_uncertainty="0.017",
        outlet_factor_source="traverses at grille G", design_flow="600", flow_unit="m3/h", tolerance_percent="15",
    )  # fmt: skip


def _reading(
    outlet: int, place: int, meters: list[tuple[int, str]], method: int, year: int, chance: random.Random
) -> Reading:
    meter, _ = meters[(place // OUTLETS) % len(meters)]
    at = datetime.fromisoformat(f"{year}-03-01T08:00{ZONE}") + timedelta(minutes=20 * place)
    values = [f"{2.5 + chance.gauss(0, 0.05):.2f}" for _ in range(3)]
    return Reading(
        outlet_id=outlet, instrument_id=meter, method_id=method, observed_at=at.isoformat(timespec="minutes"), unit="m/s",
        observations=";".join(values), operator="P. Past",
    )  # fmt: skip


def with_past(path: Path, **how_much: int) -> Path:
    """The demo's records with a past, in a new file."""
    with tempfile.TemporaryDirectory() as folder:
        run_demo(Path(folder) / "demo", lambda _: None)
        shutil.copyfile(Path(folder) / "demo" / "demo.sqlite", path)
    add_past(path, **how_much)
    return path


def counts(path: Path) -> Iterator[str]:
    """How many records of each kind there are."""
    with database.reading(str(path)) as session:
        for table in (
            Instrument,
            Calibration,
            Job,
            Reading,
            IssuedReport,
            LedgerEntry,
        ):
            yield f"{table.__tablename__}: {len(session.exec(select(table.__table__.c[0])).all())}"  # type: ignore[attr-defined]


if __name__ == "__main__":
    names = ("years", "instruments", "readings", "reports")
    where = with_past(Path(sys.argv[1]), **dict(zip(names, map(int, sys.argv[2:]), strict=False)))
    print("\n".join(counts(where)))
