"""A job in which air is measured in every way, right in every cell, and ways to change it; all invented.

DM-1 is a micromanometer with the pitot-static tube PT-1; TA-1 a thermal anemometer with a reference state; VF-1 a vane whose
friction is corrected for the density of the air; FH-1 a flow hood with a throttle; TH-1, BA-1 and HY-1 observe the air.
D-1 is a round duct traversed with DM-1, D-2 a rectangular and D-3 a flat-oval one traversed with TA-1.
"""

import csv
import io

from tests.folders import NOW, imported, write  # noqa: F401 (for those who import this job)

_TEXT = {
    "instruments.csv": """
tag,kind,maker,model,serial,quantity,range_low,range_high,unit,resolution,mpe_percent,mpe_absolute,interval_months,repeatability,density_effect,reference_temperature_degC,reference_pressure_kPa,resistance_ratio,resistance_ratio_standard_uncertainty
DM-1,micromanometer,Maker,P1,101,pressure,-10,500,Pa,0.1,0.5,0.1,12,0.2,,,,,
PT-1,pitot-static tube,Maker,P2,102,air velocity,2,40,m/s,0.01,0.5,0,24,0.01,,,,,
TA-1,thermal anemometer,Maker,T1,103,air velocity,0.1,20,m/s,0.01,2,0.02,12,0.02,thermal,21.1,101.325,,
VF-1,vane,Maker,V1,104,air velocity,0.3,15,m/s,0.01,1,0.02,12,0.02,vane friction,,,,
FH-1,flow hood,Maker,H1,105,volume flow,20,2000,m3/h,1,2,3,12,2,,,,4,0.2
TH-1,thermometer,Maker,C1,106,temperature,-20,60,degC,0.1,0,0.3,12,0.05,,,,,
BA-1,barometer,Maker,C2,107,pressure,80,110,kPa,0.01,0,0.05,12,0.01,,,,,
HY-1,hygrometer,Maker,C3,108,relative humidity,5,95,%,0.1,0,2,12,0.2,,,,,
""",
    "calibrations.csv": """
tag,certificate,laboratory,calibrated_on,accepted_on,temperature_degC,pressure_kPa,humidity_percent
DM-1,E-101,North Laboratory,2026-01-12,2026-01-19,20.1,101.30,44
PT-1,E-102,North Laboratory,2026-01-12,2026-01-19,20.1,101.30,44
TA-1,E-103,North Laboratory,2026-01-13,2026-01-19,20.0,101.20,45
VF-1,E-104,North Laboratory,2026-01-13,2026-01-19,20.5,101.10,43
FH-1,E-105,South Laboratory,2026-01-14,2026-01-20,21.0,100.90,47
TH-1,E-106,South Laboratory,2026-01-14,2026-01-20,,,
BA-1,E-107,South Laboratory,2026-01-14,2026-01-20,,,
HY-1,E-108,South Laboratory,2026-01-14,2026-01-20,,,
""",
    "comparisons.csv": """
tag,certificate,phase,reference,indication,unit,expanded_uncertainty,coverage_factor,repeatability,observations
DM-1,E-101,as-found,5.0,5.1,Pa,0.3,2,0.1,5
DM-1,E-101,as-found,25.0,25.1,Pa,0.4,2,0.1,5
DM-1,E-101,as-found,100.0,100.3,Pa,0.6,2,0.2,5
DM-1,E-101,as-found,400.0,401.1,Pa,1.6,2,0.4,5
PT-1,E-102,as-found,3.00,3.01,m/s,0.045,2,0.01,5
PT-1,E-102,as-found,8.00,8.03,m/s,0.08,2,0.02,5
PT-1,E-102,as-found,16.00,16.04,m/s,0.16,2,0.04,5
PT-1,E-102,as-found,30.00,30.10,m/s,0.30,2,0.06,5
TA-1,E-103,as-found,0.50,0.52,m/s,0.02,2,0.01,6
TA-1,E-103,as-found,2.00,2.03,m/s,0.04,2,0.02,6
TA-1,E-103,as-found,6.00,5.95,m/s,0.09,2,0.03,6
TA-1,E-103,as-found,15.00,14.80,m/s,0.20,2,0.06,6
VF-1,E-104,as-found,0.60,0.66,m/s,0.0198,2,0.012,6
VF-1,E-104,as-found,2.50,2.52,m/s,0.0350,2,0.015,6
VF-1,E-104,as-found,6.00,5.93,m/s,0.0630,2,0.025,6
VF-1,E-104,as-found,12.00,11.80,m/s,0.1270,2,0.060,6
FH-1,E-105,as-found,50,52,m3/h,2.0,2,1,5
FH-1,E-105,as-found,200,203,m3/h,5.0,2,1.5,5
FH-1,E-105,as-found,600,605,m3/h,14,2,3,5
FH-1,E-105,as-found,1500,1508,m3/h,34,2,6,5
TH-1,E-106,as-found,0.0,0.1,degC,0.1,2,0.03,5
TH-1,E-106,as-found,20.0,20.1,degC,0.1,2,0.03,5
TH-1,E-106,as-found,40.0,40.2,degC,0.1,2,0.03,5
BA-1,E-107,as-found,90.00,90.02,kPa,0.03,2,0.01,5
BA-1,E-107,as-found,100.00,100.02,kPa,0.03,2,0.01,5
BA-1,E-107,as-found,105.00,105.03,kPa,0.03,2,0.01,5
HY-1,E-108,as-found,20.0,20.5,%,1.2,2,0.2,5
HY-1,E-108,as-found,50.0,50.6,%,1.4,2,0.2,5
HY-1,E-108,as-found,80.0,80.9,%,1.6,2,0.2,5
""",
    "methods.csv": """
method,relative_standard_uncertainty_percent,basis,pattern,degrees_of_freedom
traverse,1.0,own profiles,traverse,
sweep,2.5,24 sweeps against traverses,sweep,23
hood,1.5,own comparisons,hood,
""",
    "jobs.csv": """
job,title,site,client,decision_rule
E-1,Every way,Site,Client,guarded non-binary
""",
    "systems.csv": """
job,system,service,design_flow,flow_unit,tolerance_percent
E-1,AH-1,supply,5050,m3/h,10
""",
    "rooms.csv": """
job,room,pressure
E-1,Store,positive
E-1,Wash,negative
""",
    "outlets.csv": """
job,outlet,system,service,place,in_totals,room,outlet_type,shape,width,height,diameter,dimension_unit,dimension_limit,outlet_factor,outlet_factor_standard_uncertainty,outlet_factor_source,design_flow,flow_unit,tolerance_percent
E-1,D-1,AH-1,supply,duct,yes,,,round,,,400,mm,1,,,,3000,m3/h,10
E-1,D-2,AH-1,return,duct,,,,rectangular,500,300,,mm,2,,,,2000,m3/h,10
E-1,D-3,AH-2,supply,duct,,,,flat-oval,600,300,,mm,3,,,,,,
E-1,S-1,AH-1,supply,,,Store,grille G,rectangular,400,200,,mm,1,0.84,0.017,data sheet,1000,m3/h,10
E-1,S-2,AH-1,supply,,,Store,,,,,,,,,,,450,m3/h,15
E-1,S-3,AH-1,supply,,,Wash,,,,,,,,,,,600,m3/h,15
E-1,X-1,AH-1,exhaust,,,Wash,,round,,,160,mm,0.8,0.80,0.028,data sheet,200,L/s,20
""",
    "conditions.csv": """
job,conditions,observed_at,quantity,value,unit,instrument,standard_uncertainty,source
E-1,plant room,2026-03-05T09:00+01:00,temperature,24.1,degC,TH-1,,
E-1,plant room,2026-03-05T09:00+01:00,barometric pressure,97.52,kPa,BA-1,,
E-1,plant room,2026-03-05T09:00+01:00,static pressure,240,Pa,DM-1,,
E-1,plant room,2026-03-05T09:00+01:00,relative humidity,38.5,%,HY-1,,
E-1,rooms,2026-03-05T10:00+01:00,temperature,21.5,degC,TH-1,,
E-1,rooms,2026-03-05T10:00+01:00,barometric pressure,975,hPa,,1.5,weather station corrected for height
E-1,rooms,2026-03-05T10:00+01:00,relative humidity,45,%,,8,estimated
""",
    "readings.csv": """
job,outlet,instrument,observed_at,indication,unit,observations,method,operator,remarks,probe,conditions,throttled_observations,traverse_rule,traverse_lines,traverse_points
E-1,D-1,DM-1,2026-03-05T09:10+01:00,,Pa,,traverse,T. One,,PT-1,plant room,,log-linear,2,6
E-1,D-2,TA-1,2026-03-05T09:20+01:00,,m/s,,traverse,T. One,,,plant room,,log-Tchebycheff,5,5
E-1,D-3,TA-1,2026-03-05T09:30+01:00,,m/s,,traverse,T. One,,,rooms,,equal-area,3,4
E-1,S-1,VF-1,2026-03-05T10:10+01:00,,m/s,4.19;4.22;4.19,sweep,T. Two,,,rooms,,,,
E-1,S-2,FH-1,2026-03-05T10:20+01:00,,m3/h,452;455;450,hood,T. Two,,,,,,,
E-1,S-3,FH-1,2026-03-05T10:30+01:00,,m3/h,601;606;603,hood,T. Two,,,,540;543;541,,,
E-1,X-1,VF-1,2026-03-05T10:40+01:00,11.20,m/s,,sweep,T. Two,one pass,,,,,,
""",
}


def _traverse(outlet, instrument, observed_at, lines):
    """Rows of traverses.csv from values written line by line; several passes joined by ; at each point."""
    return [
        {
            "job": "E-1",
            "outlet": outlet,
            "instrument": instrument,
            "observed_at": observed_at,
            "line": str(line),
            "point": str(point),
            "indications": value,
        }
        for line, values in enumerate(lines, start=1)
        for point, value in enumerate(values.split(), start=1)
    ]


_PRESSURES = [
    "21.2;20.8;21.5 29.0;28.6;29.4 34.1;33.7;34.3 34.8;34.2;35.0 29.9;29.5;30.1 22.0;21.4;22.1",
    "20.1;19.9;20.6 28.2;27.9;28.6 33.5;33.0;33.9 34.4;34.0;34.7 30.2;29.8;30.6 23.1;22.6;23.3",
]
_RECTANGULAR = [
    "2.91 3.42 3.55 3.40 2.86",
    "3.30 3.86 4.02 3.88 3.24",
    "3.41 4.05 4.20 4.01 3.37",
    "3.28 3.90 4.07 3.86 3.22",
    "2.84 3.38 3.52 3.36 2.80",
]
_FLAT_OVAL = ["2.1;2.2 2.6;2.5 2.7;2.6 2.2;2.1", "2.4;2.3 2.9;2.8 2.9;3.0 2.5;2.4", "2.0;2.1 2.5;2.4 2.6;2.5 2.1;2.0"]


def every_way():
    """The sheets of the job: file -> rows, each a dict of its cells."""
    sheets = {name: list(csv.DictReader(io.StringIO(text.strip()))) for name, text in _TEXT.items()}
    sheets["traverses.csv"] = [
        *_traverse("D-1", "DM-1", "2026-03-05T09:10+01:00", _PRESSURES),
        *_traverse("D-2", "TA-1", "2026-03-05T09:20+01:00", _RECTANGULAR),
        *_traverse("D-3", "TA-1", "2026-03-05T09:30+01:00", _FLAT_OVAL),
    ]
    return sheets


def changed(*cells):
    """The job with some cells changed: (file, row, column, value) each, rows counted as a spreadsheet does."""
    sheets = every_way()
    for file, row, column, value in cells:
        sheets[file][row - 2][column] = value
    return sheets
