"""A job in which the duct D-9 feeds the outlet S-9 alone, and D-10 the outlet S-10 of the same type; all invented.

VB-1 traverses the ducts, VA-1 (the vane of tests/worked_cases/worked_vane) sweeps the faces. Readings 1 to 4 are traverses
of D-9, 5 and 6 of D-10; 7 to 10 are sweeps of S-9, 11 and 12 of S-10, in the order of the traverses. The outlets start with
a factor from a data sheet.
"""

import csv
import io

import numpy as np

from calib.procedures.enter.amend_outlet import amend_outlet
from calib.procedures.factors.find_factor import find_factor
from calib.procedures.pairs.factor_from_pairs import FactorWanted
from calib.records import database
from tests.folders import NOW, SIGNED, imported, small_job, write

_TEXT = {
    "instruments.csv": """
tag,kind,maker,model,serial,quantity,range_low,range_high,unit,resolution,mpe_percent,mpe_absolute,interval_months,location,repeatability
VB-1,vane,Maker,M5,005,air velocity,0.3,20,m/s,0.01,0.8,0.02,12,van 1,0.02
""",
    "calibrations.csv": """
tag,certificate,laboratory,accreditation,calibrated_on,accepted_on,due_on,temperature_degC,pressure_kPa,humidity_percent,standards
VB-1,C-201,North Laboratory,none,2026-01-12,2026-01-19,,20.1,101.30,44,
""",
    "comparisons.csv": """
tag,certificate,phase,reference,indication,unit,expanded_uncertainty,coverage_factor,repeatability,observations
VB-1,C-201,as-found,1.00,1.02,m/s,0.020,2,0.010,6
VB-1,C-201,as-found,3.00,3.01,m/s,0.036,2,0.012,6
VB-1,C-201,as-found,6.00,5.98,m/s,0.060,2,0.015,6
VB-1,C-201,as-found,12.00,11.92,m/s,0.108,2,0.030,6
""",
    "methods.csv": """
method,relative_standard_uncertainty_percent,basis,pattern
sweep,2.5,24 sweeps against duct traverses,sweep
traverse,1.0,own profiles,traverse
spot,4.0,judgement,spot grid
""",
    "outlets.csv": """
job,outlet,system,service,place,outlet_type,shape,width,height,diameter,dimension_unit,dimension_limit,outlet_factor,outlet_factor_standard_uncertainty,outlet_factor_source,found_factor,design_flow,flow_unit,tolerance_percent
J-1,D-9,AH-1,supply,duct,,rectangular,300,200,,mm,1,,,,,760,m3/h,10
J-1,D-10,AH-1,supply,duct,,rectangular,250,200,,mm,1,,,,,560,m3/h,10
J-1,S-9,AH-1,supply,,grille G,rectangular,400,200,,mm,1,0.85,0.04,data sheet,,760,m3/h,10
J-1,S-10,AH-1,supply,,grille G,rectangular,300,200,,mm,1,0.85,0.04,data sheet,,560,m3/h,10
J-1,S-11,AH-1,supply,,grille H,rectangular,300,200,,mm,1,0.85,0.04,data sheet,,560,m3/h,10
""",
}

# Indications of VB-1 at the six points of each traverse, line by line, and of VA-1 in three passes over each face.
TRAVERSED = {
    ("D-9", "09:10"): "3.31 3.72 3.40 3.28 3.66 3.37",
    ("D-9", "09:30"): "3.36 3.78 3.44 3.33 3.70 3.40",
    ("D-9", "09:50"): "3.29 3.70 3.41 3.27 3.67 3.33",
    ("D-9", "10:10"): "3.34 3.75 3.42 3.30 3.69 3.41",
    ("D-10", "10:30"): "2.94 3.25 3.02 2.90 3.22 2.99",
    ("D-10", "10:50"): "2.99 3.29 3.05 2.97 3.27 3.01",
}
SWEPT = {
    ("S-9", "09:20"): "3.11;3.14;3.12",
    ("S-9", "09:40"): "3.17;3.14;3.18",
    ("S-9", "10:00"): "3.09;3.12;3.10",
    ("S-9", "10:20"): "3.15;3.13;3.12",
    ("S-10", "10:40"): "3.02;3.05;3.03",
    ("S-10", "11:00"): "3.06;3.10;3.07",
}
AREAS = {"D-9": 0.3 * 0.2, "D-10": 0.25 * 0.2, "S-9": 0.4 * 0.2, "S-10": 0.3 * 0.2}  # [m2]
OF_S9 = ("1:7", "2:8", "3:9", "4:10")
OF_TYPE = (*OF_S9, "5:11", "6:12")


def rows_of(text):
    """Rows of a sheet written as text."""
    return list(csv.DictReader(io.StringIO(text.strip())))


def at(time, day="2026-03-05"):
    """A time of day with its zone."""
    return f"{day}T{time}+01:00"


def sweep(outlet, observed_at, observations, instrument="VA-1", method="sweep"):
    """A row of readings.csv."""
    cells = {"job": "J-1", "outlet": outlet, "instrument": instrument, "observed_at": observed_at, "indication": ""}
    return cells | {"unit": "m/s", "observations": observations, "method": method, "operator": "T. One"}


def traversed(outlet, observed_at, instrument="VB-1"):
    """A row of readings.csv for a traverse."""
    counts = {"traverse_rule": "equal-area", "traverse_lines": "2", "traverse_points": "3"}
    return sweep(outlet, observed_at, "", instrument, "traverse") | counts


def paired_job(traverses=TRAVERSED, sweeps=SWEPT):
    """The sheets of the job: file -> rows, each a dict of its cells; the small job of tests.folders lends VA-1."""
    small = small_job()
    sheets = {name: rows_of(text) for name, text in _TEXT.items()}
    for name in ("instruments.csv", "calibrations.csv", "comparisons.csv"):
        sheets[name] = [row for row in small[name] if row["tag"] == "VA-1"] + sheets[name]
    sheets["jobs.csv"] = small["jobs.csv"]
    readings = [traversed(outlet, at(time)) for outlet, time in traverses]
    readings += [sweep(outlet, at(time), values) for (outlet, time), values in sweeps.items()]
    columns = list(traversed("", ""))
    sheets["readings.csv"] = [{column: row.get(column, "") for column in columns} for row in readings]
    sheets["traverses.csv"] = [
        {
            "job": "J-1",
            "outlet": outlet,
            "instrument": "VB-1",
            "observed_at": at(time),
            "line": str(1 + place // 3),
            "point": str(1 + place % 3),
            "indications": value,
        }
        for (outlet, time), values in traverses.items()
        for place, value in enumerate(values.split())
    ]
    return sheets


def factor(
    records, name="GR-9", pairs=OF_S9, scope="outlet", outlet_type=None, reason="D-9 feeds S-9 alone", signed=SIGNED
):
    """Find a factor; cells of its record, by name."""
    wanted = FactorWanted(name, pairs, scope, outlet_type, reason)
    with database.writing(str(records)) as session:
        return find_factor(session, wanted, signed).record.model_dump()


BLANK = ("outlet_factor=", "outlet_factor_standard_uncertainty=", "outlet_factor_source=")


def amended(records, outlet, *changes):
    """Amend an outlet of the job."""
    with database.writing(str(records)) as session:
        amend_outlet(session, "J-1", outlet, changes, "found in the field", SIGNED)


def added(records, folder, sheets, now=NOW):
    """Import more sheets into records that are there."""
    imported(records, write(folder, sheets), now=now)


# --- by hand ---------------------------------------------------------------------------------------------------------------------


def line(sheets, tag):
    """Coefficients (slope first) of the straight correction line of an instrument's certificate, by numpy alone."""
    rows = [row for row in sheets["comparisons.csv"] if row["tag"] == tag]
    x, reference, s, n = (
        np.array([float(row[column]) for row in rows])
        for column in ("indication", "reference", "repeatability", "observations")
    )
    return np.polyfit(x, reference - x, 1, w=1.0 / np.sqrt(s**2 / n + 0.01**2 / 12))


def velocities(sheets, tag, texts, separator):
    """(n,) corrected mean velocities [m/s]."""
    x = np.array([[float(one) for one in text.split(separator)] for text in texts])
    return np.mean(x + np.polyval(line(sheets, tag), x), axis=1)


def expected_pairs(sheets, count=4):
    """Flows in the ducts [m3/s], velocities at the faces [m/s] and the areas of the openings [m2] of the first pairs."""
    ducts, faces = list(TRAVERSED)[:count], list(SWEPT)[:count]
    flow = velocities(sheets, "VB-1", list(TRAVERSED.values())[:count], None) * [AREAS[name] for name, _ in ducts]
    face = velocities(sheets, "VA-1", list(SWEPT.values())[:count], ";")
    return flow, face, np.array([AREAS[name] for name, _ in faces])
