"""The density that flows are compared at, as answers and reports name it: in the unit or beside it, in every form.

The job is that of tests/procedures/measure/test_compared.py, which holds its numbers.
"""

import csv
import io
import json
import re

import pytest

from tests.command import calib
from tests.folders import records_of
from tests.procedures.measure.test_compared import declared, job


@pytest.fixture(scope="module")
def records(tmp_path_factory):
    return records_of(tmp_path_factory.mktemp("at"), job("1.2", S_1="1.15"))


@pytest.fixture(scope="module")
def report(records, tmp_path_factory):
    folder = tmp_path_factory.mktemp("report")
    assert calib("report", "J-1", "--format", "html,csv,json,xlsx", "--into", folder, records=records).status == 0
    return folder


def test_the_balance_names_the_density_in_every_total(records):
    told = calib("balance", "J-1", records=records)
    document = calib("balance", "J-1", "--json", records=records).document
    assert [total["density_kg_per_m3"] for total in document["totals"]] == [1.2] * 4
    for total in document["totals"]:
        assert f"{total['flow']['unit']} at 1.2 kg/m3, k = " in total["flow"]["statement"]
        assert total["flow"]["statement"] in told.out
    assert (
        " ".join(told.out.split()).count(
            "Totals and their designs are volume flows at 1.2 kg/m3, so that masses are summed."
        )
        == 1
    )
    assert document["compared"] == {
        "density_kg_per_m3": 1.2, "stated_density_kg_per_m3": 1.2, "state": "at 1.2 kg/m3", "air_not_known": [],
    }  # fmt: skip


def test_a_design_says_its_state_and_the_flow_in_it_stands_beside(records):
    document = calib("reading", "list", "J-1", "--json", records=records).document
    first, second = (reading["design"] for reading in document["readings"][:2])
    assert (first["state"], second["state"]) == ("at 1.15 kg/m3", "as measured")
    assert (first["density_kg_per_m3"], second["density_kg_per_m3"], second["flow"]) == (1.15, None, None)
    assert 100 * first["flow"]["value"] / first["value"] == pytest.approx(first["percent_of_design"], rel=1e-12)
    told = calib("reading", "list", "J-1", records=records).out
    assert f"S-1: {first['flow']['statement']}, as its design is stated" in told


def test_a_job_without_a_density_says_once_what_to_declare(tmp_path):
    told = calib("balance", "J-1", records=records_of(tmp_path, job(""))).out
    said = " ".join(told.split())
    assert said.count("Where a job states the density of the air that its flows are meant in, sums are masses.") == 1
    assert " at " not in told.splitlines()[1]


def test_outlets_whose_air_is_not_known_are_named_with_what_is_missing(tmp_path):
    records = records_of(tmp_path, job("1.2", named=False, S_1="1.2"))
    told = " ".join(calib("balance", "J-1", records=records).out.split())
    assert "Totals are as measured, each flow in its own air, and not at 1.2 kg/m3: some air is not known." in told
    missing = "no conditions of the air are named, and no temperature is declared for supply air in air.csv"
    assert f"S-1, S-2: {missing}" in told
    listed = calib("reading", "list", "J-1", records=records).out
    assert "S-1: not judged, since its design is one at 1.2 kg/m3 and its air is not known" in listed
    document = calib("reading", "list", "J-1", "--json", records=records).document
    assert (
        document["readings"][0]["design"]["percent_of_design"],
        document["readings"][0]["design"]["conformity"],
    ) == (None, None)
    assert calib("conformity", "J-1", records=records).status == 0
    assert (
        calib("report", "J-1", "--format", "html,csv,json,xlsx", "--into", tmp_path / "report", records=records).status
        == 0
    )


def test_the_report_names_the_density_in_every_form(report):
    page = (report / "J-1.html").read_text(encoding="utf-8")
    assert "Flows of AH-1 at 1.2 kg/m" in page
    assert "A design that states no density is compared as measured" in page
    assert "room air" in page
    content = json.loads((report / "J-1.json").read_text(encoding="utf-8"))
    rows = list(csv.DictReader(io.StringIO((report / "J-1.csv").read_text(encoding="utf-8"))))
    of_totals = [row for row in rows if row["record"] == "total"]
    assert {row["flow_density_kg_per_m3"] for row in of_totals} == {"1.2"}
    (first,) = [row for row in rows if row["record"] == "reading" and row["outlet"] == "S-1"]
    assert float(first["flow_at_design_density"]) == content["readings"][0]["design"]["flow"]["value"]
    assert first["design_density_kg_per_m3"] == "1.15"


def test_a_declared_range_stands_among_the_conditions(tmp_path):
    records = records_of(tmp_path, declared())
    told = calib("conditions", "list", "J-1", records=records).out
    assert "altitude 320 m; supply air 12 to 16 degC, declared: set points" in told
    document = calib("conditions", "list", "J-1", "--json", records=records).document
    assert [each["declared"]["service"] for each in document["conditions"]] == ["supply", "return", "exhaust"]
    assert calib("report", "J-1", "--format", "html", "--into", tmp_path / "report", records=records).status == 0
    page = re.sub("<[^>]+>", "", (tmp_path / "report" / "J-1.html").read_text("utf-8")).replace("\u00a0", " ")
    assert "supply air 12 to 16 °C, declared: set points" in page


def test_the_wet_bulb_and_the_altitude_are_typed_as_options(records):
    words = (
        "--temperature",
        "24 degC",
        "--temperature-uncertainty",
        "0.3",
        "--wet-bulb",
        "16.5 degC",
        "--wet-bulb-uncertainty",
        "0.3",
    )
    place = ("--altitude", "320 m", "--altitude-uncertainty", "5", "--source", "sling psychrometer, map")
    at = ("--at", "2026-03-05T12:00+01:00", "--by", "A. Person")
    ran = calib("conditions", "add", "J-1", "roof", *words, *place, *at, records=records)
    assert (ran.status, ran.err) == (0, "")
    document = calib("conditions", "list", "J-1", "--json", records=records).document
    (roof,) = [each for each in document["conditions"] if each["name"] == "roof"]
    assert roof["density"] == pytest.approx(1.135, abs=0.005)
    wrong = calib(
        "conditions",
        "add",
        "J-1",
        "yard",
        *words,
        *place,
        "--pressure",
        "97 kPa",
        "--pressure-uncertainty",
        "0.1",
        *at,
        records=records,
    )
    assert wrong.status == 2
    assert "barometric pressure or altitude, not both" in wrong.err
