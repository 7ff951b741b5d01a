"""A small import folder that is right in every cell, written out here, and ways to change a cell of it.

All of it is invented: company, instruments, certificates, numbers. VA-1 is the vane of tests/worked_cases/worked_vane. VA-2
reads feet per minute, was calibrated in house against RS-1, and its certificate states no repeatability. PG-1 is a pressure gauge.
"""

import copy
import csv
import io
import tempfile
from datetime import datetime
from functools import cache, lru_cache
from pathlib import Path

import pytest
from sqlmodel import Session, select

from calib.errors import BadInputError
from calib.faces.files import import_folders
from calib.procedures.enter.import_sheets import Imported
from calib.procedures.measure.evaluate import evaluate
from calib.records import database, ledger

NOW = datetime.fromisoformat("2026-03-06T09:00+00:00")
SIGNED = ledger.Signature("A. Person", NOW, "import")

_TEXT = {
    "instruments.csv": """
tag,kind,maker,model,serial,quantity,range_low,range_high,unit,resolution,mpe_percent,mpe_absolute,interval_months,location,repeatability
VA-1,vane,Maker,M1,001,air velocity,0.3,20,m/s,0.01,1.0,0.03,12,van 1,0.02
VA-2,vane,Maker,M2,002,air velocity,80,5000,fpm,1,1.5,6,12,van 2,4
RS-1,standard,Maker,M3,003,air velocity,0.1,15,m/s,0.001,0.5,0.01,12,bench,0.003
PG-1,gauge,Maker,M4,004,pressure,0,500,Pa,0.1,1.0,0.5,12,van 1,0.2
""",
    "calibrations.csv": """
tag,certificate,laboratory,accreditation,calibrated_on,accepted_on,due_on,temperature_degC,pressure_kPa,humidity_percent,standards
VA-1,C-101,North Laboratory,none,2026-01-12,2026-01-19,,20.1,101.30,44,
VA-2,C-102,own bench,,2026-02-02,2026-02-03,,21.0,100.9,47,RS-1
RS-1,C-103,North Laboratory,none,2026-01-14,2026-01-20,,20.0,101.2,45,
PG-1,C-104,South Laboratory,none,2026-01-15,2026-01-20,,,,,
""",
    "comparisons.csv": """
tag,certificate,phase,reference,indication,unit,expanded_uncertainty,coverage_factor,repeatability,observations
VA-1,C-101,as-found,0.60,0.66,m/s,0.0198,2,0.012,6
VA-1,C-101,as-found,1.20,1.25,m/s,0.0246,2,0.012,6
VA-1,C-101,as-found,2.50,2.49,m/s,0.0350,2,0.015,6
VA-1,C-101,as-found,4.00,3.92,m/s,0.0470,2,0.018,6
VA-1,C-101,as-found,6.00,5.86,m/s,0.0630,2,0.025,6
VA-1,C-101,as-found,9.00,8.74,m/s,0.0870,2,0.035,6
VA-1,C-101,as-found,14.00,13.60,m/s,0.1270,2,0.060,6
VA-2,C-102,as-left,100,108,fpm,5,2,,
VA-2,C-102,as-left,300,303,fpm,8,2,,
VA-2,C-102,as-left,800,796,fpm,15,2,,
VA-2,C-102,as-left,1500,1482,fpm,26,2,,
VA-2,C-102,as-left,3000,2962,fpm,50,2,,
RS-1,C-103,as-found,0.500,0.504,m/s,0.012,2,0.003,10
RS-1,C-103,as-found,2.000,1.999,m/s,0.019,2,0.004,10
RS-1,C-103,as-found,8.000,7.976,m/s,0.052,2,0.010,10
PG-1,C-104,as-found,10.0,10.2,Pa,0.4,2,0.2,5
PG-1,C-104,as-found,100.0,100.1,Pa,0.6,2,0.2,5
PG-1,C-104,as-found,400.0,399.8,Pa,1.2,2,0.2,5
""",
    "methods.csv": """
method,relative_standard_uncertainty_percent,basis
sweep,2.5,24 sweeps against duct traverses
""",
    "jobs.csv": """
job,title,site,client,decision_rule
J-1,Flows of a small hall,Site,Client,guarded non-binary
""",
    "outlets.csv": """
job,outlet,system,service,shape,width,height,diameter,dimension_unit,dimension_limit,outlet_factor,outlet_factor_standard_uncertainty,outlet_factor_source,outlet_factor_reason,effective_area,effective_area_unit,effective_area_standard_uncertainty,design_flow,flow_unit,tolerance_percent
J-1,S-1,AH-1,supply,rectangular,400,200,,mm,1,0.84,0.017,traverses at grille G,,,,,1000,m3/h,10
J-1,S-2,AH-1,supply,rectangular,300,150,,mm,1,0.84,0.017,traverses at grille G,,,,,450,m3/h,10
J-1,R-1,AH-1,return,,,,,,,,,maker's sheet,,0.0500,m2,0.0015,600,m3/h,15
J-1,E-1,AH-1,exhaust,round,,,160,mm,0.8,0.80,0.028,traverses at valve V,,,,,40,L/s,20
""",
    "readings.csv": """
job,outlet,instrument,observed_at,indication,unit,observations,method,operator,remarks,averaging_s
J-1,S-1,VA-1,2026-03-05T09:10+01:00,4.20,m/s,4.19;4.22;4.19,sweep,T. One,,30
J-1,S-2,VA-1,2026-03-05T09:20+01:00,3.10,m/s,3.08;3.13;3.09,sweep,T. One,,30
J-1,R-1,VA-2,2026-03-05T09:30+01:00,612,fpm,606;617;613,sweep,T. Two,,30
J-1,E-1,VA-1,2026-03-05T09:40+01:00,2.52,m/s,,sweep,T. Two,one pass,20
""",
}
CONDITIONS = (
    "job", "conditions", "observed_at", "quantity", "value", "unit", "instrument", "standard_uncertainty", "source",
)  # fmt: skip
UNTOUCHED = (0, ledger.BEFORE_THE_FIRST)  # the head of a ledger that nothing was written to
HEADERS = {name: tuple(text.split("\n")[1].split(",")) for name, text in _TEXT.items()}


def small_job():
    """The sheets of the small job: file -> rows, each a dict of its cells."""
    return {name: list(csv.DictReader(io.StringIO(text.strip()))) for name, text in _TEXT.items()}


def lasting(sheets):
    """The same with calibrations that hold for fifty years, for readings that are taken at the time of this machine's clock."""
    return sheets | {"instruments.csv": [row | {"interval_months": "600"} for row in sheets["instruments.csv"]]}


def changed(*cells):
    """The small job with some cells changed: (file, row, column, value) each, rows counted as a spreadsheet does."""
    sheets = small_job()
    for file, row, column, value in cells:
        sheets[file][row - 2][column] = value
    return sheets


def only(sheets, *files):
    """Some files of the sheets."""
    return {name: sheets[name] for name in files}


def csv_text(rows):
    """Rows as the text of a CSV file, with the columns of the first."""
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()


def write(folder, sheets):
    """Write sheets as an import folder."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, rows in sheets.items():
        (folder / name).write_text(csv_text(rows), encoding="utf-8")
    return folder


def imported(records, *folders, now=NOW) -> Imported:
    """Import folders into a records file."""
    with database.writing(str(records)) as session:
        return import_folders(session, folders, ledger.Signature("A. Person", now, "import"), now)


def findings_of(records, *folders, now=NOW):
    """Findings of an import that is refused."""
    with pytest.raises(BadInputError) as caught:
        imported(records, *folders, now=now)
    return caught.value.findings


def new_records(path):
    """A records file that holds nothing: a copy of one, since the tables of a new one take half a second."""
    path.write_bytes(_of_nothing())
    return path


@cache
def _of_nothing():
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "records.sqlite"
        database.make(str(path))
        return path.read_bytes()


@lru_cache(maxsize=32)
def _with_imported(sheets, now):
    """The bytes of a records file with sheets imported, (file, text) each: many tests begin with the same."""
    with tempfile.TemporaryDirectory() as folder:
        path = new_records(Path(folder) / "records.sqlite")
        (Path(folder) / "in").mkdir()
        for name, text in sheets:
            (Path(folder) / "in" / name).write_text(text, encoding="utf-8")
        imported(path, Path(folder) / "in", now=now)
        return path.read_bytes()


def refused_by_new_records(folder, sheets):
    """Findings of sheets that records which hold nothing refuse; nothing is written."""
    folder.mkdir(parents=True, exist_ok=True)
    records = new_records(folder / "records.sqlite")
    found = findings_of(records, write(folder / "import", sheets))
    assert ledger_head(records) == UNTOUCHED
    return found


def records_of(folder, sheets, now=NOW):
    """A new records file with the sheets imported."""
    folder.mkdir(parents=True, exist_ok=True)
    records = folder / "records.sqlite"
    write(folder / "import", copy.deepcopy(sheets))
    records.write_bytes(_with_imported(tuple((name, csv_text(rows)) for name, rows in sheets.items()), now))
    return records


def ledger_head(records):
    """Sequence and digest of the last ledger entry."""
    with database.reading(str(records)) as session:
        return ledger.ledger_head(session)


def all_of(session: Session, table):
    """All rows of a table, in order."""
    return list(session.exec(select(table).order_by(table.id)))


def flows_of(records, job="J-1", now=NOW):
    """Flow and standard uncertainty in SI by outlet, and of each total."""
    with database.reading(str(records)) as session:
        found = evaluate(session, job, now)
        names = [one.outlet.outlet for one in found.measured] + [f"{one.system} {one.service}" for one in found.totals]
    values = [*found.flow.value, *found.of_systems.flow.value]
    u = [*found.flow.combined.standard_uncertainty, *found.of_systems.flow.combined.standard_uncertainty]
    return dict(zip(names, values, strict=True)) | {f"u {name}": one for name, one in zip(names, u, strict=True)}
