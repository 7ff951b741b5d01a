"""A workbook of 10,000 readings beside the CSV file of the same rows: reading and checking both, and writing what they hold.

Run: python -m tests.benchmarks.import_workbook [READINGS]

Promise: the import of the workbook takes at most twice the time of that of the CSV file (processor time, which counts where others
use the machine too; the least of three runs each, on copies of the same records).
"""

import csv
import io
import shutil
import sys
import tempfile
from datetime import datetime, timedelta
from pathlib import Path

from xlsxwriter import Workbook

from calib.faces.files import import_folders
from calib.records import database
from tests.benchmarks.import_records import Taken, timed
from tests.benchmarks.machine import describe
from tests.folders import NOW, SIGNED, records_of, small_job

COUNT, RUNS = 10_000, 3
FIRST = datetime.fromisoformat("2026-03-05T10:00+01:00")


def rows_of_readings(count: int) -> list[dict[str, str]]:
    """Readings at one outlet of the small job, ten seconds apart."""
    like = small_job()["readings.csv"][0]
    times = ((FIRST + timedelta(seconds=place)).isoformat() for place in range(count))
    return [like | {"observed_at": at, "observations": "4.19;4.22;4.19"} for at in times]


def written(folder: Path, rows: list[dict[str, str]]) -> dict[str, Path]:
    """The same rows as a CSV file and as a workbook."""
    text, book = io.StringIO(newline=""), folder / "readings.xlsx"
    lines = [list(rows[0]), *(list(row.values()) for row in rows)]
    csv.writer(text).writerows(lines)
    (folder / "readings.csv").write_text(text.getvalue(), encoding="utf-8")
    with Workbook(book) as workbook:
        sheet = workbook.add_worksheet("readings")
        for place, line in enumerate(lines):
            sheet.write_row(place, 0, line)
    return {"CSV": folder / "readings.csv", "workbook": book}


def taken(records: Path, sheet: Path, folder: Path) -> Taken:
    """The time of one import into a copy of records."""
    copy = shutil.copyfile(records, folder / "copy.sqlite")
    with timed() as time, database.writing(str(copy)) as session:
        done = import_folders(session, [sheet], SIGNED, NOW)
    assert (
        sum(done.records.values())
        == len(sheet.parent.joinpath("readings.csv").read_text(encoding="utf-8").splitlines()) - 1
    )
    return time


def main(count: int) -> None:
    """Print both times, and their ratio."""
    print(describe())
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        records = records_of(folder / "records", small_job())
        sheets = written(folder, rows_of_readings(count))
        least = {}
        for form, sheet in sheets.items():
            runs = [taken(records, sheet, folder) for _ in range(RUNS)]
            least[form] = min(run.processor for run in runs)
            elapsed = min(run.elapsed for run in runs)
            print(f"{form}: {count} readings in {least[form]:.2f} s of processor time, {elapsed:.2f} s elapsed")
    print(f"workbook / CSV: {least['workbook'] / least['CSV']:.2f} (promised: at most 2)")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else COUNT)
