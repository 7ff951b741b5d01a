"""`calib conditions` as a person types it: the same record as by import, and every wrong option named.

Source: `calib help` (commands, import); CIPM-2007 for the density, by its formula in tests.independent_ways.
"""

import math
from datetime import UTC, datetime

import pytest
from sqlmodel import select

from calib.procedures.measure.air import airs_of_job
from calib.records import database
from calib.records.tables.conditions import Condition
from calib.records.tables.instruments import Instrument
from calib.records.tables.ledger import LedgerEntry
from tests.command import calib, copied
from tests.every_way import every_way
from tests.folders import NOW, all_of, ledger_head, only, records_of
from tests.independent_ways import cipm_2007

AT = "2026-03-05T09:00+01:00"
PLANT = {
    "--temperature": "24.1 degC", "--thermometer": "TH-1", "--pressure": "97.52 kPa", "--barometer": "BA-1",
    "--static-pressure": "240 Pa", "--manometer": "DM-1", "--humidity": "38.5 %", "--hygrometer": "HY-1", "--at": AT,
}  # fmt: skip
STATED = {
    "--temperature": "21.5 degC", "--temperature-uncertainty": "0.4", "--pressure": "975 hPa", "--pressure-uncertainty": "1.5",
    "--static-pressure": "-12 Pa", "--static-pressure-uncertainty": "2", "--humidity": "45 %", "--humidity-uncertainty": "8",
    "--source": "weather station", "--at": AT,
}  # fmt: skip


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    """The job with its instruments, without conditions and readings."""
    files = ("instruments.csv", "calibrations.csv", "comparisons.csv", "methods.csv", "jobs.csv", "outlets.csv")
    return records_of(tmp_path_factory.mktemp("job"), only(every_way(), *files))


@pytest.fixture
def records(job, tmp_path):
    return copied(job, tmp_path / "records.sqlite")


def add(records, options, *more, name="plant room", job="E-1"):
    words = [word for pair in options.items() if pair[1] is not None for word in pair]
    return calib("conditions", "add", job, name, *words, *more, records=records)


def conditions_in(records):
    with database.reading(str(records)) as session:
        tags = {one.id: one.tag for one in all_of(session, Instrument)}
        rows = [one.model_dump(exclude={"id", "job_id"}) for one in all_of(session, Condition)]
    return [row | {"instrument_id": tags.get(row["instrument_id"])} for row in rows]


def refused(records, options, *more, name="plant room", job="E-1"):
    """Lines of the findings; nothing was written."""
    before = ledger_head(records)
    ran = add(records, options, *more, name=name, job=job)
    assert (ran.status, ran.out) == (2, "")
    assert ledger_head(records) == before
    return ran.err.splitlines()


# --- what is written -------------------------------------------------------------------------------------------------------------


def test_conditions_are_recorded_and_told(records):
    ran = add(records, PLANT)
    assert (ran.status, ran.out, ran.err) == (0, "recorded the conditions plant room of job E-1\n", "")
    assert add(records, STATED, "--json", name="roof").document == {"job": "E-1", "conditions": "roof", "quantities": 4}


def test_the_record_is_the_same_as_by_import(records, tmp_path):
    add(records, PLANT)
    sheets = every_way()
    rows = [row for row in sheets["conditions.csv"] if row["conditions"] == "plant room"]
    files = ("instruments.csv", "calibrations.csv", "comparisons.csv", "jobs.csv")
    imported = records_of(tmp_path / "imported", only(sheets, *files) | {"conditions.csv": rows})
    assert conditions_in(records) == conditions_in(imported)


def test_stated_values_are_kept_as_typed_with_their_source(records):
    add(records, STATED)
    kept = {row["quantity"]: (row["value"], row["unit"], row["standard_uncertainty"]) for row in conditions_in(records)}
    assert kept == {
        "temperature": ("21.5", "degC", "0.4"),
        "barometric pressure": ("975", "hPa", "1.5"),
        "static pressure": ("-12", "Pa", "2"),
        "relative humidity": ("45", "%", "8"),
    }
    assert {(row["source"], row["observed_at"], row["instrument_id"]) for row in conditions_in(records)} == {
        ("weather station", AT, None)
    }


def test_a_source_stands_beside_stated_values_alone(records):
    add(records, PLANT | {"--hygrometer": None, "--humidity-uncertainty": "8", "--source": "estimated"})
    kept = {row["quantity"]: (row["instrument_id"], row["source"]) for row in conditions_in(records)}
    assert kept == {
        "temperature": ("TH-1", None),
        "barometric pressure": ("BA-1", None),
        "static pressure": ("DM-1", None),
        "relative humidity": (None, "estimated"),
    }


def test_the_static_pressure_may_be_left_out(records):
    assert add(records, PLANT | {"--static-pressure": None, "--manometer": None}).status == 0
    assert len(conditions_in(records)) == 3


def test_the_time_is_now_where_none_is_given(records):
    before = datetime.now(UTC).replace(microsecond=0)
    add(records, STATED | {"--at": None})
    assert before <= datetime.fromisoformat(conditions_in(records)[0]["observed_at"]) <= datetime.now(UTC)


def test_who_entered_them_stands_in_the_ledger(records):
    add(records, PLANT, "--by", "B. Person")
    with database.reading(str(records)) as session:
        entry = all_of_ledger(session)[-1]
    assert (entry.person, entry.action, entry.record_table) == ("B. Person", "conditions add", "condition")


def all_of_ledger(session):
    return session.exec(select(LedgerEntry).order_by(LedgerEntry.sequence)).all()


def test_a_reading_may_rest_on_them(records):
    add(records, PLANT)
    words = ("--instrument", "TA-1", "--unit", "m/s", "--method", "sweep", "--observations", "3.1;3.2", "--at", AT)
    ran = calib("reading", "add", "E-1", "S-1", *words, "--conditions", "plant room", records=records)
    assert (ran.status, ran.err) == (0, "")
    missing = calib("reading", "add", "E-1", "S-1", *words[:-1], AT[:-8] + "30+01:00", records=records)
    assert missing.status == 2
    assert "conditions: blank; expected the conditions of the air" in missing.err


# --- what is wrong ---------------------------------------------------------------------------------------------------------------

WRONG = {
    "a value without a unit": ({"--temperature": "24.1"}, "--temperature: '24.1'; expected a value and its unit"),
    "a value and its unit in one": ({"--humidity": "38%"}, "--humidity: '38%'; expected a value and its unit"),
    "no value": ({"--pressure": ""}, "--pressure: blank; expected a value and its unit"),
    "another unit": ({"--temperature": "24.1 kPa"}, "--temperature: 'kPa'; expected a unit of temperature"),
    "a unit that there is not": ({"--static-pressure": "3 bars"}, "--static-pressure: 'bars'; expected a unit of"),
    "no number": ({"--temperature": "warm degC"}, "--temperature: 'warm'; expected a finite number"),
    "a comma": ({"--pressure": "97,52 kPa"}, "--pressure: '97,52'; expected a finite number"),
    "an instrument that there is not": ({"--barometer": "BA-9"}, "--barometer: 'BA-9'"),
    "another instrument": (
        {"--thermometer": "BA-1"}, "--thermometer: 'BA-1'; expected an instrument for temperature",
    ),
    "a negative uncertainty": (
        {"--hygrometer": None, "--humidity-uncertainty": "-8", "--source": "x"},
        "--humidity-uncertainty: '-8'; expected a finite number",
    ),
    "no source": (
        {"--hygrometer": None, "--humidity-uncertainty": "8"}, "--source: blank; expected where the stated value",
    ),
    "neither instrument nor uncertainty": (
        {"--hygrometer": None}, "--humidity-uncertainty: blank; expected either the instrument",
    ),
    "both": (
        {"--humidity-uncertainty": "8", "--source": "x"}, "--humidity-uncertainty: '8'; expected either the instrument",
    ),
    "an instrument without a value": (
        {"--static-pressure": None}, "--static-pressure: expected the value that the instrument showed",
    ),
    "a quantity that is needed": (
        {"--humidity": None, "--hygrometer": None}, "there is no relative humidity",
    ),
    "a time without a zone": ({"--at": "2026-03-05T09:00"}, "--at: '2026-03-05T09:00'; expected"),
}  # fmt: skip


@pytest.mark.parametrize("case", WRONG)
def test_a_wrong_option_is_named_once_and_nothing_is_written(records, case):
    options, named = WRONG[case]
    (line,) = refused(records, PLANT | options)
    assert line.startswith(f"error: command line, {named}" if named.startswith("--") else "error: command line")
    assert named in line


def test_every_wrong_option_is_named_at_once(records):
    lines = refused(records, {"--temperature": "24.1", "--pressure": "97", "--hygrometer": "HY-1"})
    assert [line.split(",")[1].split(":")[0].strip() for line in lines] == ["--temperature", "--pressure", "--humidity"]
    options = PLANT | {"--temperature": "warm degC", "--barometer": "BA-9", "--static-pressure": "3 m"}
    lines = refused(records, options)
    assert len(lines) == 3


VALUES = "one of --temperature, --pressure, --static-pressure, --humidity, --wet-bulb, --altitude"


@pytest.mark.parametrize(
    ("words", "missing"),
    [
        ((), f"JOB, NAME, {VALUES}"),
        (("E-1",), f"NAME, {VALUES}"),
        (("E-1", "roof"), VALUES),
        (("E-1", "--temperature", "24.1 degC"), "NAME"),
    ],
    ids=["nothing", "a job", "job and name", "a value"],
)
def test_all_that_is_missing_is_named_at_once(records, words, missing):
    before = ledger_head(records)
    ran = calib("conditions", "add", *words, records=records)
    assert (ran.status, ran.out, ran.err.splitlines()[-1]) == (2, "", f"Error: missing: {missing}")
    assert ledger_head(records) == before


def test_conditions_of_a_name_that_is_taken_are_refused(records):
    add(records, PLANT)
    (line,) = refused(records, STATED)
    assert "NAME: 'plant room'; expected a new name" in line
    assert add(records, STATED, name="plant room, later").status == 0


@pytest.mark.parametrize(("name", "of_job", "named"), [("roof", "E-9", "JOB: 'E-9'"), (" ", "E-1", "NAME: blank")])
def test_job_and_name_are_checked(records, name, of_job, named):
    (line,) = refused(records, PLANT, name=name, job=of_job)
    assert line.startswith(f"error: command line, {named}")


# --- list ------------------------------------------------------------------------------------------------------------------------


def test_the_list_gives_the_density_with_its_uncertainty(records):
    add(records, STATED)
    (one,) = calib("conditions", "list", "E-1", "--json", records=records).document["conditions"]
    assert one["density"] == pytest.approx(cipm_2007(21.5, 97500 - 12, 0.45), rel=1e-9)
    assert one["standard_uncertainty"] == pytest.approx(math.hypot(*one["contributions"].values()), rel=1e-12)
    assert set(one["contributions"]) == {"temperature", "pressure", "humidity", "formula"}
    assert one["reasons"] == []
    header, line = calib("conditions", "list", "E-1", records=records).out.splitlines()
    assert header.split() == ["conditions", "density", "u", "observed"]
    assert f"{one['density']:.4f} kg/m3  {one['standard_uncertainty']:.4f}  " in line
    assert line.endswith(
        "temperature 21.5 degC; barometric pressure 975 hPa; static pressure -12 Pa; relative humidity 45 %"
    )


def test_the_density_of_the_list_is_the_one_that_readings_use(records):
    add(records, PLANT)
    with database.reading(str(records)) as session:
        (air,) = airs_of_job(session, "E-1", NOW)
    (one,) = calib("conditions", "list", "E-1", "--json", records=records).document["conditions"]
    assert (one["density"], one["standard_uncertainty"]) == (air.density, air.standard_uncertainty)


def test_conditions_whose_instrument_may_not_be_used_are_listed_with_the_reason(records):
    add(records, PLANT)
    calib("instrument", "suspend", "HY-1", "--reason", "dropped", "--at", "2026-03-01T09:00+00:00", records=records)
    (one,) = calib("conditions", "list", "E-1", "--json", records=records).document["conditions"]
    assert (one["density"], one["standard_uncertainty"]) == (None, None)
    assert one["reasons"][0].startswith("HY-1: suspended since")
    _, line = calib("conditions", "list", "E-1", records=records).out.splitlines()
    assert line.split()[2:4] == ["-", "-"]
    assert "HY-1: suspended since" in line


def test_a_job_without_conditions_has_a_heading_alone(records):
    assert len(calib("conditions", "list", "E-1", records=records).out.splitlines()) == 1
    assert calib("conditions", "list", "E-1", "--json", records=records).document["conditions"] == []
    assert calib("conditions", "list", "E-9", records=records).status == 2
