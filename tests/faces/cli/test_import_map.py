"""A sheet with headings of its own is read with a map; everything wrong with a map is named, and nothing is written."""

import re
import shlex
import shutil
import tomllib

import pytest
from openpyxl import Workbook

from tests.command import calib
from tests.folders import ledger_head

THEIRS = """Air balance report;;;;;;
Grille;Date;Time;Vel 1 (fpm);Vel 2 (fpm);Tech;Checked
S-1;6.3.2026;9:12;826;831;T. One;yes
S-2;6.3.2026;9:20;612;;T. One;yes
E-1;;;;;;
"""
MAP = """
[readings]
zone = "+01:00"
[readings.headings]
outlet = "Grille"
observed_at = ["Date", "Time"]
observations = ["Vel 1 (fpm)", "Vel 2 (fpm)"]
operator = "Tech"
[readings.units]
observations = "FPM"
[readings.constants]
job = "J-1"
instrument = "VA-2"
method = "sweep"
"""


@pytest.fixture
def records(_small, tmp_path):
    return shutil.copyfile(_small, tmp_path / "records.sqlite")


def read(records, folder, text=MAP, sheet=THEIRS):
    (folder / "theirs.csv").write_text(sheet, encoding="utf-8")
    (folder / "theirs.toml").write_text(text, encoding="utf-8")
    return calib("import", "--map", folder / "theirs.toml", folder / "theirs.csv", "--json", records=records)


def test_a_foreign_sheet_is_read_with_its_map(records, tmp_path):
    done = read(records, tmp_path)
    told = " ".join(done.err.split())

    assert (done.status, done.document["records"]) == (0, {"reading": 2}), done.err
    assert "headings that the map does not name are left out: Checked" in told
    assert "row 5 is not filled in and is left out" in told
    shown = calib("reading", "list", "J-1", "--json", records=records).document["readings"]
    new = {each["outlet"]: each for each in shown if each["observed_at"].startswith("2026-03-06")}
    assert {name: each["observed_at"] for name, each in new.items()} == {
        "S-1": "2026-03-06T09:12+01:00", "S-2": "2026-03-06T09:20+01:00",
    }  # fmt: skip


def test_a_sheet_that_grows_is_known_again_through_its_map(records, tmp_path):
    read(records, tmp_path)
    again = read(records, tmp_path, sheet=THEIRS.replace("E-1;;;;;;", "E-1;6.3.2026;9:30;490;;T. One;yes"))

    assert again.document["records"] == {"reading": 1}
    assert again.document["on_record_already"] == {"readings.csv": 2}


WRONG = [
    ('outlet = "Grille"', 'outlett = "Grille"', "readings.headings.outlett: 'Grille'; expected one of", "(did you mean outlet?)"),
    ('"Grille"', '"Gril"', "row 2, Gril: expected this heading, which", "(did you mean Grille?)"),
    ('"FPM"', '"furlong"', "readings.units.observations: 'furlong'; expected a unit, like m/s or cfm", ""),
    ('job = "J-1"', 'job = "J-1"\noperator = "T. Two"', "readings.constants.operator: 'T. Two'; expected nothing: the", ""),
    ('job = "J-1"', 'job = "J-1"\nstage = "first"', "readings.constants.stage: 'first'; expected one of before adjustment", ""),
    ('job = "J-1"', 'job = "J-1"\nunit = "m/s"', "readings.units.observations: 'FPM'; expected the unit that the constant", ""),
    ('"+01:00"', '"CET"', "readings.zone: 'CET'; expected a zone like +01:00 or Z", ""),
    ("[readings]", "[reedings]", "reedings: expected a table of what a sheet holds", "(did you mean readings?)"),
    ("[readings.units]", "[readings.unit]", "readings.unit: expected one of headings, units, constants", "(did you mean units?)"),
    ('job = "J-1"', "job = 1", "readings.constants.job: expected text in quotation marks", ""),
    ('"Tech"', '["Tech", "Checked"]', "readings.headings.operator: expected 1 heading at most, found 2", ""),
    ('"Tech"', '"Grille"', "readings.headings: 'grille'; expected each heading once; it stands 2 times", ""),
    ('outlet = "Grille"', 'outlet = "Grille', "expected a map as TOML (", ""),
    ('observations = "FPM"', 'observations = "FPM"\noutlet = "m"', "readings.units.outlet: 'm'; expected nothing: this", ""),
]  # fmt: skip


@pytest.mark.parametrize(("right", "wrong", "said", "meant"), WRONG)
def test_what_is_wrong_with_a_map_is_named(records, tmp_path, right, wrong, said, meant):
    before = ledger_head(records)
    done = read(records, tmp_path, MAP.replace(right, wrong, 1))
    told = " ".join(done.err.split())

    assert done.status == 2
    assert said in told
    assert meant in told
    assert ledger_head(records) == before


def test_every_mistake_of_a_map_is_named_at_once(records, tmp_path):
    done = read(
        records,
        tmp_path,
        MAP.replace("outlet =", "outlett =").replace('"FPM"', '"furlong"').replace('"+01:00"', '"CET"'),
    )

    assert len([line for line in done.err.splitlines() if line.startswith("error:")]) == 3


def test_a_map_that_is_not_there_is_refused(records, tmp_path):
    (tmp_path / "theirs.csv").write_text(THEIRS, encoding="utf-8")
    done = calib("import", "--map", tmp_path / "none.toml", tmp_path / "theirs.csv", records=records)

    assert done.status == 2
    assert "expected a file that can be read" in done.err


def test_a_folder_has_no_map(records, tmp_path):
    (tmp_path / "theirs.toml").write_text(MAP, encoding="utf-8")
    done = calib("import", "--map", tmp_path / "theirs.toml", tmp_path, records=records)

    assert done.status == 2
    assert "expected files beside a map" in done.err


def filled_in(text, **cells):
    for column, cell in cells.items():
        text = re.sub(rf"^# {column} = .*", f'{column} = "{cell}"', text, flags=re.MULTILINE)
    return text


# --- suggested -------------------------------------------------------------------------------------------------------------------


def test_a_suggested_map_reads_the_sheet_once_it_is_filled_in(records, tmp_path):
    sheet = tmp_path / "theirs.csv"
    sheet.write_text(THEIRS, encoding="utf-8")
    suggested = calib("import", "--suggest-map", sheet)
    text = (tmp_path / "theirs.toml").read_text(encoding="utf-8")

    assert suggested.status == 0
    assert tomllib.loads(text)["readings"]["headings"] == {
        "outlet": "Grille", "observed_at": ["Date", "Time"], "observations": ["Vel 1 (fpm)", "Vel 2 (fpm)"], "operator": "Tech",
    }  # fmt: skip
    assert tomllib.loads(text)["readings"]["units"] == {"observations": "fpm"}
    assert "# left out: Checked" in text
    text = filled_in(text, zone="+01:00", job="J-1", instrument="VA-2", method="sweep")
    assert read(records, tmp_path, text).document["records"] == {"reading": 2}


@pytest.mark.parametrize(
    ("header", "kind", "headings"),
    [
        (
            "Diffuser No.,Velocity 1 (FPM),Velocity 2 (FPM),Date",
            "readings",
            {"outlet": "Diffuser No.", "observations": ["Velocity 1 (FPM)", "Velocity 2 (FPM)"], "observed_at": "Date"},
        ),
        (
            "Duct Name,Line No,Point,Velocity 1,Velocity 2,Date",
            "traverses",
            {"line": "Line No", "point": "Point", "indications": ["Velocity 1", "Velocity 2"], "observed_at": "Date"},
        ),
        (
            "Asset No.,Manufacturer,Model No,Serial Number,Resolution",
            "instruments",
            {
                "tag": "Asset No.", "maker": "Manufacturer", "model": "Model No", "serial": "Serial Number",
                "resolution": "Resolution",
            },
        ),
    ],
)  # fmt: skip
def test_what_a_sheet_holds_is_suggested_by_the_headings_that_people_write(tmp_path, header, kind, headings):
    sheet = tmp_path / "theirs.csv"
    sheet.write_text(f"{header}\n", encoding="utf-8")
    calib("import", "--suggest-map", sheet)
    suggested = tomllib.loads((tmp_path / "theirs.toml").read_text(encoding="utf-8"))

    assert suggested[kind]["headings"] == headings


def test_a_table_of_a_map_that_fits_no_sheet_is_named(records, tmp_path):
    more = MAP + '\n[jobs.headings]\njob = "Contract"\ndecision_rule = "Rule"\n'
    done = read(records, tmp_path, more)
    told = " ".join(done.err.split())

    assert (done.status, done.document["records"]) == (0, {"reading": 2}), done.err
    assert "no sheet has all headings of its table jobs, and nothing is read with it" in told
    assert "its table readings" not in told


TOGETHER = "Outlet No,System,Design CFM,Measured CFM,Checked\nX-1,AH-1,350,345,yes\nX-2,AH-1,250,255,no\n"


def test_design_and_what_was_measured_in_one_row_are_outlets_and_readings(records, tmp_path):
    """345 and 255 at outlets that the same rows add, for 350 and 250."""
    sheet = tmp_path / "theirs.csv"
    sheet.write_text(TOGETHER, encoding="utf-8")
    calib("import", "--suggest-map", sheet)
    text = (tmp_path / "theirs.toml").read_text(encoding="utf-8")
    suggested = tomllib.loads(text)
    assert suggested["outlets"]["headings"] == {"outlet": "Outlet No", "system": "System", "design_flow": "Design CFM"}
    assert suggested["readings"]["headings"] == {"outlet": "Outlet No", "observations": "Measured CFM"}
    assert "left out: Measured" not in text
    assert "left out: Design" not in text
    assert text.count("# left out: Checked") == 2
    text = filled_in(
        text, job="J-1", service="supply", instrument="VA-2", method="sweep", operator="T. One",
        observed_at="2026-03-06T09:00+01:00",
    )  # fmt: skip
    # The meter is no hood: of the sheet of its hood the unit of both is cfm.
    of_meter = text.replace('observations = "cfm"', 'observations = "fpm"')
    constants = {
        "tolerance_percent": "10", "effective_area": "0.05", "effective_area_unit": "m2",
        "effective_area_standard_uncertainty": "0.001", "outlet_factor_source": "sheet",
    }  # fmt: skip
    more = "".join(f'{column} = "{cell}"\n' for column, cell in constants.items())
    done = read(records, tmp_path, of_meter.replace("[outlets.constants]\n", f"[outlets.constants]\n{more}"), TOGETHER)
    assert (done.status, done.document["records"]) == (0, {"outlet": 2, "reading": 2}), done.err
    assert done.err.count("headings that the map does not name are left out: Checked") == 1
    shown = calib("reading", "list", "J-1", "--json", records=records).document["readings"]
    new = {each["outlet"]: each for each in shown if each["outlet"].startswith("X-")}
    assert {name: (each["indication"], each["design"]["typed"]["value"]) for name, each in new.items()} == {
        "X-1": ("345", "350"), "X-2": ("255", "250"),
    }  # fmt: skip


def test_of_a_workbook_the_sheet_is_named(tmp_path):
    book = Workbook()
    book.active.title = "March"
    for line in THEIRS.splitlines()[1:]:
        book.active.append(line.split(";"))
    book.create_sheet("Photos").append(["nothing", "of", "ours"])
    book.save(tmp_path / "theirs.xlsx")
    calib("import", "--suggest-map", tmp_path / "theirs.xlsx")

    assert tomllib.loads((tmp_path / "theirs.toml").read_text(encoding="utf-8"))["readings"]["sheet"] == "March"


def test_a_unit_before_the_number_of_a_pass_is_that_of_all_passes(tmp_path):
    sheet = tmp_path / "theirs.csv"
    sheet.write_text("Grille,Date,Vel fpm 1,Vel fpm 2,Vel (fpm) 3,Tech\n", encoding="utf-8")
    calib("import", "--suggest-map", sheet)
    suggested = tomllib.loads((tmp_path / "theirs.toml").read_text(encoding="utf-8"))["readings"]

    assert suggested["headings"]["observations"] == ["Vel fpm 1", "Vel fpm 2", "Vel (fpm) 3"]
    assert suggested["units"] == {"observations": "fpm"}


def test_a_sheet_of_readings_without_values_is_told_that_they_must_be_filled_in(tmp_path):
    sheet = tmp_path / "theirs.csv"
    sheet.write_text("Grille,Date,First,Second,Meter,Tech,Method\n", encoding="utf-8")
    calib("import", "--suggest-map", sheet)

    assert '# observations = ["", ""]  # must be filled, or indication' in (tmp_path / "theirs.toml").read_text()


def test_numbered_passes_and_the_zone_of_a_heading_are_taken_into_a_suggested_map(records, tmp_path):
    sheet = tmp_path / "theirs.csv"
    sheet.write_text(
        "Grille,time [+01:00],Pass 1,Pass 2,Pass 3,Tech\nS-1,2026-03-06 09:12,826,831,829,T. One\n", encoding="utf-8"
    )
    calib("import", "--suggest-map", sheet)
    text = (tmp_path / "theirs.toml").read_text(encoding="utf-8")
    suggested = tomllib.loads(text)["readings"]

    assert suggested["zone"] == "+01:00"
    assert suggested["headings"] == {
        "outlet": "Grille", "observed_at": "time [+01:00]", "observations": ["Pass 1", "Pass 2", "Pass 3"], "operator": "Tech",
    }  # fmt: skip
    (tmp_path / "theirs.toml").write_text(
        filled_in(text, job="J-1", instrument="VA-2", unit="fpm", method="sweep"), encoding="utf-8"
    )
    done = calib("import", "--map", tmp_path / "theirs.toml", sheet, "--json", records=records)
    assert done.document["records"] == {"reading": 1}, done.err
    shown = calib("reading", "list", "J-1", "--json", records=records).document["readings"]
    assert "2026-03-06T09:12+01:00" in {each["observed_at"] for each in shown}


@pytest.mark.parametrize("content", [b"", b"one,two\n1,2\n", b"\x00\x01"])
def test_of_a_sheet_without_a_known_heading_nothing_is_suggested(tmp_path, content):
    (tmp_path / "theirs.csv").write_bytes(content)
    done = calib("import", "--suggest-map", tmp_path / "theirs.csv")

    assert done.status == 2
    assert not (tmp_path / "theirs.toml").exists()


def test_a_map_that_is_there_is_left_alone_and_both_ways_on_are_said(tmp_path):
    (tmp_path / "their march.csv").write_text(THEIRS, encoding="utf-8")
    (tmp_path / "their march.toml").write_text("mine", encoding="utf-8")
    done = calib("import", "--suggest-map", tmp_path / "their march.csv")
    told = " ".join(done.err.split())

    assert done.status == 2
    assert (tmp_path / "their march.toml").read_text(encoding="utf-8") == "mine"
    assert f"{tmp_path / 'their march.toml'} is there already" in told
    assert f"calib import --map '{tmp_path}/their march.toml' '{tmp_path}/their march.csv' --dry-run" in told
    assert "move it away" in told


def test_the_command_that_reads_a_sheet_with_its_map_can_be_copied_whatever_its_name(tmp_path):
    sheet = tmp_path / "their march.csv"
    sheet.write_text(THEIRS, encoding="utf-8")
    told = " ".join(calib("import", "--suggest-map", sheet).err.split())

    words = shlex.split(told.partition("then ")[2])
    assert words == ["calib", "import", "--map", str(tmp_path / "their march.toml"), str(sheet), "--dry-run"]


def test_without_anything_to_read_the_command_says_what_it_wants(records):
    done = calib("import", records=records)

    assert done.status == 2
    assert "a folder or a file to read" in done.err
