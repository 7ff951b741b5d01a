"""Sheets as people write them are read as they are meant, or refused with a line that says what to do; none without a word.

What a habit means is common practice, no source; where two things may be meant, nothing is taken.
"""

import io

import pytest
from openpyxl import Workbook

from calib.procedures.typed.any_sheet import read_any
from calib.procedures.typed.columns import FILES
from calib.procedures.typed.sheets import FileContent, HowToRead, cell_findings, read_csv
from calib.procedures.typed.unit_spelling import unit_meant

METERS = (
    "tag,kind,maker,model,serial,quantity,range_low,range_high,unit,resolution,mpe_percent,mpe_absolute,interval_months"
)
METER = ("VA-1", "vane", "M", "N", "007", "air velocity", "0.3", "20", "m/s", "0.01", "2", "0.1", "12")


def read(text, name="instruments.csv", day_first=None):
    content = text if isinstance(text, bytes) else text.encode()
    reading = HowToRead(day_first)
    rows, findings = read_csv(FileContent(name, content), FILES[name].columns, reading)
    findings += cell_findings(rows, FILES[name].columns)
    return [row.cells for row in rows], [str(finding) for finding in findings], reading.notices


def a_cell(column, typed, more=()):
    """What becomes of one cell of an instrument's row; `more` are cells of that column in further rows."""
    place = METERS.split(",").index(column)
    lines = [[*METER[:place], cell, *METER[place + 1 :]] for cell in (typed, *more)]
    quoted = "\n".join(",".join(f'"{cell}"' for cell in line) for line in lines)
    cells, findings, notices = read(f"{METERS}\n{quoted}\n")
    return cells[0].get(column), findings, notices


TAKEN = [
    ("range_low", "0,3", "0.3", "a decimal comma"),
    ("range_low", ",3", ".3", "a decimal comma"),
    ("resolution", "0,01", "0.01", "a decimal comma"),
    ("range_high", "1 200", "1200", "thousands set apart"),
    ("range_high", "1\u00a0200", "1200", "thousands set apart"),
    ("range_high", "1\u202f200", "1200", "thousands set apart"),
    ("range_high", "1'200", "1200", "thousands set apart"),
    ("range_high", "1,200.5", "1200.5", "thousands set apart"),
    ("range_high", "1,200,000", "1200000", "thousands set apart"),
    ("mpe_percent", "2 %", "2", "a percent sign"),
    ("mpe_percent", "2%", "2", "a percent sign"),
    ("quantity", "Air velocity", "air velocity", "capitals"),
    ("quantity", "AIR  VELOCITY", "air velocity", "capitals"),
    ("unit", "M/S", "m/s", "a unit in another spelling"),
    ("unit", "FPM", "fpm", "a unit in another spelling"),
    ("unit", "ft / min", "ft/min", "a unit in another spelling"),
]


@pytest.mark.parametrize(("column", "typed", "meant", "as_what"), TAKEN)
def test_a_cell_is_read_as_it_is_meant_and_that_is_said(column, typed, meant, as_what):
    cell, findings, notices = a_cell(column, typed)

    assert (cell, findings) == (meant, [])
    assert notices == [f"instruments.csv: {column}: row 2: {typed!r} is read as {meant} ({as_what})"]


LEFT = [
    ("range_high", "1,200", "expected 1.200 or 1200, written without a comma: it may mean either"),
    ("range_low", "0..3", "expected a finite number"),
    ("range_low", "1,2,3", "expected "),
    ("range_low", "about 3", "expected "),
    ("mpe_percent", "120 %", "expected a percentage, 0 to 100"),
    ("quantity", "air speed", "expected one of "),
]


@pytest.mark.parametrize(("column", "typed", "said"), LEFT)
def test_what_may_mean_two_things_or_none_is_taken_as_nothing(column, typed, said):
    _, findings, notices = a_cell(column, typed)

    assert notices == []
    assert len(findings) == 1
    assert f"instruments.csv row 2, {column}: {typed!r}; {said}" in findings[0]


def test_one_comma_that_can_only_be_a_decimal_one_tells_of_the_others():
    cell, findings, notices = a_cell("range_high", "1,200", ["20,5"])

    assert (cell, findings) == ("1.200", [])
    assert notices == ["instruments.csv: range_high: row 2: '1,200' is read as 1.200, and 1 more (a decimal comma)"]


def test_what_is_right_as_it_stands_is_left_alone_and_nothing_is_said():
    cells, findings, notices = read(f"{METERS}\n{','.join(METER)}\n")

    assert cells == [dict(zip(METERS.split(","), METER, strict=True))]
    assert (findings, notices) == ([], [])


# --- files -----------------------------------------------------------------------------------------------------------------------

JOBS = "job,title,decision_rule\nJ-1,Größe 5 m²,simple\n"


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (JOBS.encode(), []),
        (JOBS.encode("utf-8-sig"), []),
        (JOBS.replace("\n", "\r\n").encode(), []),
        (JOBS.encode("utf-16"), ["jobs.csv is read as UTF-16"]),
        (JOBS.encode("cp1252"), ["jobs.csv is no UTF-8 and is read as Windows-1252: look at signs such as °, ² and é"]),
        (JOBS.replace(",", ";").encode(), []),
        (JOBS.replace(",", "\t").encode(), []),
        (JOBS.replace("job,title,decision_rule", "Job,TITLE,Decision Rule").encode(), []),
        (JOBS.replace("decision_rule", "decision-rule").encode(), []),
        (b"Jobs of March,,\n,,\n" + JOBS.encode(), ["jobs.csv: row 3 is the header; what stands above it is left out"]),
        (JOBS.encode() + b"\n,,\n\n", []),
        (JOBS.replace("rule\n", "rule,,\n").replace("simple\n", "simple,,\n").encode(), []),
    ],
)
def test_a_file_is_read_however_it_was_saved(content, said):
    cells, findings, notices = read(content, "jobs.csv")

    assert cells == [{"job": "J-1", "title": "Größe 5 m²", "decision_rule": "simple"}]
    assert (findings, notices) == ([], said)


def test_a_total_below_the_rows_is_left_out_and_that_is_said():
    text = "job,system,service,design_flow,flow_unit\nJ-1,A,supply,600,m3/h\n,,Total,600,\n"
    cells, findings, notices = read(text, "systems.csv")

    assert [row["system"] for row in cells] == ["A"]
    assert (findings, notices) == ([], ["systems.csv: row 3 is a total and is left out"])


def test_a_record_that_is_called_total_stays_a_record():
    cells, _, notices = read("job,title,decision_rule\nTotal,Hall,simple\n", "jobs.csv")

    assert [row["job"] for row in cells] == ["Total"]
    assert notices == []


def test_a_unit_may_stand_in_the_heading():
    text = METERS.replace("range_low", "Range low [fpm]").replace("unit,", "") + "\n"
    text += ",".join(cell for cell in METER if cell != "m/s") + "\n"
    cells, findings, _ = read(text)

    assert (cells[0]["unit"], findings) == ("fpm", [])


def test_headings_with_two_units_for_one_column_are_told():
    text = METERS.replace("range_low", "range low (fpm)").replace("range_high", "range high (m/s)").replace("unit,", "")
    _, findings, _ = read(text + "\n")

    assert findings == [
        "instruments.csv row 1, range high (m/s): 'm/s'; expected one unit for all that stand in unit: another heading has fpm"
    ]


def test_a_heading_with_a_slip_is_asked_about():
    _, findings, _ = read("job,titel,decision_rule\n", "jobs.csv")

    assert findings[0].endswith("(did you mean title?)")


# --- days and times --------------------------------------------------------------------------------------------------------------

CALIBRATIONS = "tag,certificate,laboratory,calibrated_on\n"


@pytest.mark.parametrize(
    "typed",
    ["5.3.2026", "05.03.2026", "2026/03/05", "2026.3.5", "5 March 2026", "5 Mar 2026", "March 5, 2026", "05-Mar-2026"],
)
def test_a_day_that_can_be_but_one_is_read(typed):
    cells, findings, notices = read(f'{CALIBRATIONS}V,C,L,"{typed}"\n', "calibrations.csv")

    assert (cells[0]["calibrated_on"], findings) == ("2026-03-05", [])
    assert notices == [
        f"calibrations.csv: calibrated_on: row 2: {typed!r} is read as 2026-03-05 (a date in another order)"
    ]


def test_a_day_that_may_be_two_is_not_taken_until_somebody_says():
    text = f"{CALIBRATIONS}V,C,L,03/04/2026\n"
    _, findings, notices = read(text, "calibrations.csv")
    assert notices == []
    assert "expected 2026-04-03 or 2026-03-04: it may mean either" in findings[0]

    for day_first, day in ((True, "2026-04-03"), (False, "2026-03-04")):
        cells, findings, _ = read(text, "calibrations.csv", day_first)
        assert (cells[0]["calibrated_on"], findings) == (day, [])


def test_one_day_that_can_be_but_one_tells_of_the_others():
    cells, findings, _ = read(f"{CALIBRATIONS}V,C,L,03/04/2026\nW,D,L,25/04/2026\n", "calibrations.csv")

    assert ([row["calibrated_on"] for row in cells], findings) == (["2026-04-03", "2026-04-25"], [])


def test_days_that_contradict_one_another_are_not_taken():
    _, findings, _ = read(f"{CALIBRATIONS}V,C,L,25/04/2026\nW,D,L,04/25/2026\nX,E,L,03/04/2026\n", "calibrations.csv")

    assert len(findings) == 3


@pytest.mark.parametrize("typed", ["30.2.2026", "31/31/2026", "Smarch 5 2026", "2026-02-30"])
def test_a_day_that_does_not_exist_is_wrong(typed):
    _, findings, notices = read(f"{CALIBRATIONS}V,C,L,{typed}\n", "calibrations.csv")

    assert (len(findings), notices) == (1, [])


READINGS = "job,outlet,instrument,observed_at,unit,observations,method,operator\n"


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("2.41 2.38 2.44", "2.41;2.38;2.44"),
        ("2.41 / 2.38 / 2.44", "2.41;2.38;2.44"),
        ("2.41, 2.38, 2.44", "2.41;2.38;2.44"),
        ("2.41|2.38", "2.41;2.38"),
        ("2,41;2,38", "2.41;2.38"),
        ("2,41 2,38", "2.41;2.38"),
        ("\u22120.4;0.1", "-0.4;0.1"),
    ],
)
def test_observations_are_told_apart_however_they_stand(typed, meant):
    text = f'{READINGS}J,S,V,2026-03-05T14:30+01:00,m/s,"{typed}",sweep,T\n'
    cells, findings, notices = read(text, "readings.csv")

    assert (cells[0]["observations"], findings, len(notices)) == (meant, [], 1)


@pytest.mark.parametrize("typed", ["2026-03-05 14:30+01:00", "2026-03-05 14:30 +0100", "2026-03-05  14:30 +01:00"])
def test_a_time_may_stand_beside_its_day(typed):
    cells, findings, _ = read(f"{READINGS}J,S,V,{typed},m/s,2.41,sweep,T\n", "readings.csv")

    assert (cells[0]["observed_at"], findings) == ("2026-03-05T14:30+01:00", [])


def test_a_time_without_its_zone_is_still_asked_for_it():
    _, findings, _ = read(f"{READINGS}J,S,V,2026-03-05 14:30,m/s,2.41,sweep,T\n", "readings.csv")

    assert "expected a" in findings[0]


# --- units -----------------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "symbol"),
    [
        ("m³/h", "m3/h"), ("m^3/h", "m3/h"), ("CMH", "m3/h"), ("m3/hr", "m3/h"), ("CFM", "cfm"), ("ft³/min", "cfm"), ("l/s", "l/s"),
        ("LPS", "L/s"), ("FPM", "fpm"), ("ft²", "ft2"), ("ft^2", "ft2"), ("sq ft", "ft2"), ("Sq. ft", None), ("m²", "m2"),
        ("in.", "in"), ('"', "in"), ("'", "ft"), ("°C", "degC"), ("° F", "degF"), ("kPa", "kPa"), ("PA", "Pa"), ("%RH", "%"),
        ('"WC', None), ("in. w.g.", None), ("inH2O", None), ("furlong", None), ("", None),
    ],
)  # fmt: skip
def test_a_unit_means_one_unit_or_none(typed, symbol):
    """Inches of water have three conventions (NIST SP 811, from memory): nobody takes one for another."""
    assert unit_meant(typed) == symbol


# --- files that do not say what they hold ----------------------------------------------------------------------------------------


def test_a_sheet_is_known_by_its_headings_and_that_is_said():
    reading = HowToRead()
    sheets, findings = read_any(FileContent("ours.csv", f"{METERS}\n{','.join(METER)}\n".encode()), reading)

    assert (list(sheets), findings) == (["instruments.csv"], [])
    assert reading.notices == ["ours.csv: by its headings it is read as instruments.csv"]


def test_a_sheet_that_nearly_fits_says_what_is_missing():
    _, [finding] = read_any(FileContent("ours.csv", METERS.replace(",serial", "").encode()), HowToRead())

    assert "its headings come nearest to instruments.csv, without serial" in str(finding)


def test_the_sheets_of_a_workbook_are_told_apart_by_name_or_headings():
    book = Workbook()
    book.active.title = "Our meters"
    for line in (METERS.split(","), METER):
        book.active.append(list(line))
    jobs = book.create_sheet("Jobs")
    for line in (("Job", "Decision rule"), ("J-1", "Simple")):
        jobs.append(list(line))
    file = io.BytesIO()
    book.save(file)
    reading = HowToRead()
    sheets, findings = read_any(FileContent("our.xlsx", file.getvalue()), reading)

    assert findings == []
    assert [row.cells for row in sheets["jobs.csv"]] == [{"job": "J-1", "decision_rule": "simple"}]
    assert sheets["instruments.csv"][0].cells["tag"] == "VA-1"
    assert "our.xlsx, sheet Our meters: by its headings it is read as instruments.csv" in reading.notices
