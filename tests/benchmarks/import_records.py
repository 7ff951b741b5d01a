"""Import: a job of 20,000 readings beside SQLAlchemy Core, a register of certificates at four sizes, one more year's memory.

Run: python -m tests.benchmarks.import_records [READINGS [PAST]]

Promise: at least 1/4 of the records a second that SQLAlchemy Core writes (1/3 is the goal); a register's time grows with its
certificates (exponent 1); the memory of one more year's import does not grow with the years before.

The baseline writes the same finished rows of the same tables and of the ledger, read back from what the import wrote: batches by
`insert()`, one transaction, the same file settings and triggers. It reads no sheet, checks nothing, and computes no digest. PAST
is the number of years of the longer history (tests/benchmarks/past.py); 0 leaves the memory out.
"""

import csv
import io
import math
import os
import resource
import shutil
import sys
import tempfile
import time
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from multiprocessing import get_context
from operator import attrgetter
from pathlib import Path

from sqlalchemy import MetaData, Table, select
from sqlmodel import SQLModel

from calib.faces.files import import_folders
from calib.records import database, ledger
from calib.records.tables.evidence import EVERY_TABLE
from tests.benchmarks.machine import describe
from tests.benchmarks.past import INSTRUMENTS, READINGS, REFERENCES, add_past

JOB_READINGS, PAST = 20_000, 19
AT_AN_OUTLET = 10  # readings
METERS = 20
REGISTERS = (525, 1050, 2100, 4200)  # certificates
OF_AN_INSTRUMENT = 21  # certificates
BATCH = 1_000  # rows of the baseline's inserts
NOW = datetime(2026, 11, 1, 9, 0, tzinfo=UTC)
SIGNATURE = ledger.Signature("T. One", NOW, "import")
Cells = dict[str, object]


@dataclass
class Taken:
    """Time that something took [s]."""

    elapsed: float = 0.0
    processor: float = 0.0  # what counts where others use the machine too


@contextmanager
def timed() -> Iterator[Taken]:
    """The time of a block, known when it has ended."""
    taken, start, busy = Taken(), time.perf_counter(), time.process_time()
    yield taken
    taken.elapsed, taken.processor = time.perf_counter() - start, time.process_time() - busy


def write_sheet(folder: Path, file: str, rows: Sequence[Cells]) -> None:
    """A CSV file of rows that have the same columns."""
    text = io.StringIO()
    written = csv.DictWriter(text, list(rows[0]))
    written.writeheader()
    written.writerows(rows)
    folder.mkdir(exist_ok=True)
    (folder / file).write_text(text.getvalue(), encoding="utf-8")


def register(folder: Path, instruments: int, certificates: int) -> Path:
    """Instruments, each with so many certificates."""
    tags = [f"VB-{place:03}" for place in range(instruments)]
    write_sheet(folder, "instruments.csv", [_instrument(tag) for tag in tags])
    typed = [_certificate(tag, place) for tag in tags for place in range(certificates)]
    write_sheet(folder, "calibrations.csv", typed)
    compared = [row for one in typed for row in _comparisons(str(one["tag"]), str(one["certificate"]))]
    write_sheet(folder, "comparisons.csv", compared)
    write_sheet(
        folder,
        "methods.csv",
        [{"method": "sweep", "relative_standard_uncertainty_percent": "2.5", "basis": "invented"}],
    )
    return folder


def _instrument(tag: str) -> Cells:
    return {
        "tag": tag, "kind": "vane anemometer 100 mm", "maker": "Invented", "model": "M1", "serial": tag,
        "quantity": "air velocity", "range_low": "0.25", "range_high": "20", "unit": "m/s", "resolution": "0.01",
        "mpe_percent": "1.5", "mpe_absolute": "0.03", "interval_months": "13", "repeatability": "0.02",
    }  # fmt: skip


def _certificate(tag: str, place: int) -> Cells:
    day = datetime(2026, 1, 10, tzinfo=UTC).date() - timedelta(days=300 * place)
    return {
        "tag": tag, "certificate": f"C-{tag}-{place}", "laboratory": "Invented Laboratory", "calibrated_on": str(day),
        "accepted_on": str(day + timedelta(days=3)), "accepted_by": "Q. Two",
        "decision_rule": "simple", "judged": "corrected value",
    }  # fmt: skip


def _comparisons(tag: str, certificate: str) -> Iterable[Cells]:
    for place, value in enumerate(REFERENCES):
        yield {
            "tag": tag, "certificate": certificate, "phase": "as-found", "reference": f"{value:.2f}",
            "indication": f"{value * 1.002 + 0.01 * (place % 2):.2f}", "unit": "m/s",
            "expanded_uncertainty": f"{0.015 + 0.008 * value:.3f}", "coverage_factor": "2", "repeatability": "0.012",
            "observations": "6",
        }  # fmt: skip


def jobs(folder: Path, readings: int, per_job: int, per_outlet: int, meters: Sequence[str], method: str) -> Path:
    """Jobs with their outlets and readings."""
    places = range(0, readings, per_outlet)
    write_sheet(
        folder, "jobs.csv",
        [{"job": f"B-{number}", "decision_rule": "guarded non-binary"} for number in range(math.ceil(readings / per_job))],
    )  # fmt: skip
    write_sheet(folder, "outlets.csv", [_outlet(f"B-{place // per_job}", place // per_outlet) for place in places])
    write_sheet(
        folder, "readings.csv",
        [_reading(f"B-{place // per_job}", place, per_outlet, meters, method) for place in range(readings)],
    )  # fmt: skip
    return folder


def _outlet(job: str, place: int) -> Cells:
    return {
        "job": job, "outlet": f"S-{place}", "system": f"AH-{place // 20}", "service": "supply", "shape": "rectangular",
        "width": "400", "height": "200", "dimension_unit": "mm", "dimension_limit": "1", "outlet_factor": "0.84",
        "outlet_factor_standard_uncertainty": "0.017", "outlet_factor_source": "traverses at grille G",
        "design_flow": "600", "flow_unit": "m3/h", "tolerance_percent": "15",
    }  # fmt: skip


def _reading(job: str, place: int, per_outlet: int, meters: Sequence[str], method: str) -> Cells:
    at = datetime(2026, 3, 1, 8, 0, tzinfo=UTC) + timedelta(minutes=7 * place)
    return {
        "job": job, "outlet": f"S-{place // per_outlet}", "instrument": meters[(place // per_outlet) % len(meters)],
        "observed_at": at.isoformat(timespec="minutes"), "unit": "m/s", "method": method, "operator": "T. One",
        "observations": f"{2.3 + place % 5 / 10:.2f};{2.4 + place % 7 / 10:.2f};2.50",
    }  # fmt: skip


def imported(path: Path, folder: Path) -> Taken:
    """Import a folder, with reading the files and the commit."""
    with timed() as taken, database.writing(str(path)) as session:
        import_folders(session, [folder], SIGNATURE, NOW)
    return taken


def new_rows(before: Path, after: Path) -> list[tuple[Table, list[Cells]]]:
    """Rows that an import wrote, by their tables in the order in which they refer to one another."""
    there: MetaData = SQLModel.metadata
    kinds = EVERY_TABLE
    wanted = [each for each in there.sorted_tables if each.name in {str(kind.__tablename__) for kind in kinds}]
    with database.reading(str(before)) as old, database.reading(str(after)) as new:
        found = []
        for table in wanted:
            held = len(old.execute(select(table)).all())
            found.append((table, [dict(row) for row in new.execute(select(table)).mappings()][held:]))
    return [(table, rows) for table, rows in found if rows]


def written_by_core(path: Path, rows: Sequence[tuple[Table, Sequence[Cells]]]) -> Taken:
    """Write finished rows with SQLAlchemy Core in one transaction, with the commit."""
    with timed() as taken, database.writing(str(path)) as session:
        connection = session.connection()
        for table, of_table in rows:
            for first in range(0, len(of_table), BATCH):
                connection.execute(table.insert(), of_table[first : first + BATCH])
    return taken


def _copied(path: Path, name: str) -> Path:
    return Path(shutil.copyfile(path, path.with_name(name)))


def beside_core(folder: Path, readings: int) -> None:
    """A job of readings by import and by Core, in turns."""
    base = folder / "base.sqlite"
    database.make(str(base))
    imported(base, register(folder / "meters", METERS, 2))
    job = jobs(folder / "job", readings, readings, AT_AN_OUTLET, [f"VB-{place:03}" for place in range(METERS)], "sweep")
    imported(_copied(base, "first.sqlite"), job)
    rows = new_rows(base, folder / "first.sqlite")
    records = sum(len(of_table) for table, of_table in rows if table.name != "ledger")
    pairs = [
        (imported(_copied(base, "import.sqlite"), job), written_by_core(_copied(base, "core.sqlite"), rows))
        for _ in range(3)
    ]
    print(f"a job of {readings} readings, {records} records (best of 3):")
    for of, each in (("elapsed", attrgetter("elapsed")), ("processor", attrgetter("processor"))):
        ours, core = (min(map(each, column)) for column in zip(*pairs, strict=True))
        print(
            f"  {of} time: import {ours:.2f} s, {records / ours:,.0f} records/s; Core, finished rows {core:.2f} s, "
            f"{records / core:,.0f} records/s; ratio 1/{ours / core:.1f}"
        )


def registers(folder: Path) -> None:
    """Registers of certificates of several sizes."""
    taken = []
    for certificates in REGISTERS:
        path = folder / f"register-{certificates}.sqlite"
        database.make(str(path))
        sheets = register(folder / f"register-{certificates}", certificates // OF_AN_INSTRUMENT, OF_AN_INSTRUMENT)
        taken.append(imported(path, sheets))
        print(
            f"a register of {certificates} certificates: {taken[-1].elapsed:.2f} s, processor {taken[-1].processor:.2f} s"
        )
    exponents = [math.log2(after.processor / before.processor) for before, after in pairwise(taken)]
    print("exponents from size to size: " + ", ".join(f"{one:.2f}" for one in exponents))


def _peak_megabytes(path: Path, folder: Path) -> float:
    imported(path, folder)
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def one_more_year(folder: Path, years: int) -> None:
    """The largest memory of a process that imports one more year, after one year and after many."""
    tags = [f"PA-{place:03}" for place in range(INSTRUMENTS)]
    year = jobs(folder / "year", READINGS, 40, 1, tags, "sweep of the years before")
    typed = [_certificate(tag, 0) for tag in tags]
    write_sheet(year, "calibrations.csv", typed)
    write_sheet(
        year, "comparisons.csv",
        [row for one in typed for row in _comparisons(str(one["tag"]), str(one["certificate"]))],
    )  # fmt: skip
    for before in (1, years):
        path = folder / f"past-{before}.sqlite"
        database.make(str(path))
        add_past(path, years=before)
        with get_context("spawn").Pool(1) as process:
            peak = process.apply(_peak_megabytes, (path, year))
        print(f"one more year's import of {READINGS} readings after {before} years: peak memory {peak:.0f} MB")


def main() -> None:
    """Print the figures."""
    readings, years = (*map(int, sys.argv[1:]), *(JOB_READINGS, PAST)[len(sys.argv) - 1 :])
    print(describe("sqlalchemy", "sqlmodel"), f"load before {os.getloadavg()[0]:.2f}")
    with tempfile.TemporaryDirectory() as name:
        if years:  # first: a process is born with the largest memory that its parent had (getrusage(2))
            one_more_year(Path(name), years)
        beside_core(Path(name), readings)
        registers(Path(name))


if __name__ == "__main__":
    main()
