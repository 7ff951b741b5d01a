"""`calib plan` as a person types it and reads it.

Sources: `calib help` (commands, exit-statuses); the list of fields at the top of calib/faces/plan.py.
"""

import re
import shutil

import pytest

from calib.faces.answers import plan as answer
from calib.procedures.plan.predicted_reading import NEEDS_AIR
from tests.command import calib
from tests.every_way import changed
from tests.folders import records_of, small_job

ON = ("--on", "2026-03-05")
AIR = ("--temperature", "20 degC", "--pressure", "101.3 kPa", "--humidity", "50 %")


def before(*cells):
    """The job of tests.every_way before anything is measured."""
    sheets = changed(*cells)
    return {
        name: rows for name, rows in sheets.items() if name not in {"readings.csv", "traverses.csv", "conditions.csv"}
    }


@pytest.fixture(scope="module")
def _before(tmp_path_factory):
    return records_of(tmp_path_factory.mktemp("before"), before())


@pytest.fixture
def records(_before, tmp_path):
    """A copy of the job's records."""
    return shutil.copyfile(_before, tmp_path / "records.sqlite")


def plan(records, *words, job="E-1", air=AIR):
    common = dict(zip((typed := (*ON, *air))[::2], typed[1::2], strict=True))
    said = [word for option, value in common.items() if option not in words for word in (option, value)]
    return calib("plan", job, *said, *words, records=records)


def outlet(document, name):
    return next(one for one in document["outlets"] if one["outlet"] == name)


def block(text, name):
    """Lines of one outlet."""
    return next(part for part in text.split("\n\n") if part.startswith(f"{name} ("))


# --- exit status -----------------------------------------------------------------------------------------------------------------


def test_a_job_that_can_be_proved_whole_ends_with_0(records):
    ran = plan(records)
    assert (ran.status, ran.err) == (0, "")
    assert "Outlets with a design: 6; each has an instrument that can prove it." in ran.out


def test_an_outlet_that_no_instrument_can_prove_is_a_finding(records):
    ran = plan(records, "--at-most", "0.45")
    assert ran.status == 1
    assert "Outlets with a design: 6; without an instrument that can prove them: S-1." in " ".join(ran.out.split())


def test_a_job_without_designs_has_nothing_to_prove(tmp_path):
    sheets = small_job()
    for row in sheets["outlets.csv"]:
        row["design_flow"] = row["tolerance_percent"] = ""
    ran = calib("plan", "J-1", *ON, records=records_of(tmp_path, sheets))
    assert ran.status == 0
    assert ran.out.count("no design flow, nothing to prove") == 4
    assert "there is nothing to prove" in ran.out


# --- what people read ------------------------------------------------------------------------------------------------------------


def test_each_line_names_gear_method_indication_uncertainty_ratio_number_verdict_and_interval(records):
    lines = block(plan(records).out, "D-1").splitlines()
    assert lines[0] == "D-1 (duct, AH-1 supply): 3000 m3/h ± 10 %, T = 300 m3/h, mean velocity 6.63 m/s"
    assert lines[1].strip() == "traverse: log-Tchebycheff, 2 lines of 8 points"
    assert lines[2].split() == [
        "instrument",
        "method",
        "will",
        "show",
        "U",
        "[m3/h]",
        "U/T",
        "passes",
        "proves",
        "accepted",
    ]
    row = re.fullmatch(r"  DM-1 \+ PT-1  traverse +([0-9.]+) Pa +(\d+)  0\.(\d\d) +1  yes +(\d+) to (\d+)", lines[3])
    shown, U, ratio, low, high = (float(one) for one in row.groups())
    assert shown == pytest.approx(0.5 * 1.2 * 6.63**2, rel=0.02)
    assert ratio / 100 == pytest.approx(U / 300, abs=0.01)
    assert (low, high) == pytest.approx((2700 + U, 3300 - U), abs=1)
    assert lines[-1].strip() == "conditional pass: out to 2700 and 3300 m3/h"


@pytest.mark.parametrize("words", [(), ("--units", "ip"), ("--at-most", "0.2"), ("--method", "hood")])
def test_what_is_printed_fits_80_columns(records, words):
    assert max(len(line) for line in plan(records, *words).out.splitlines()) <= 80


def test_an_outlet_without_an_instrument_names_the_best_and_what_rules(records):
    told = " ".join(block(plan(records, "--at-most", "0.45").out, "S-1").split())
    assert "NO INSTRUMENT AT HAND CAN PROVE IT: the best is FH-1, hood, with U/T = 0.4" in told
    assert "VF-1: no number of observations suffices, U/T stays at 0.6" in told
    assert "method rules" in told


def test_an_outlet_without_an_instrument_names_those_that_the_gate_refuses_and_why(tmp_path):
    ran = plan(records_of(tmp_path, before(("calibrations.csv", 6, "accepted_on", ""))))
    assert "none can be used here; left out that day: FH-1 (reasons at the end)" in " ".join(
        block(ran.out, "S-2").split()
    )
    assert "FH-1: no calibration accepted on or before 2026-03-05" in ran.out.partition("Left out on 2026-03-05")[2]


def first_answers(told):
    """The lines that come before all else: what each outlet is measured with."""
    return " ".join(told.split("\n\n")[1].split())


def test_the_answer_for_each_outlet_comes_first(records):
    document = plan(records, "--json").document
    told = first_answers(plan(records).out)
    for outlet in document["outlets"]:
        taken = outlet["answer"]
        if outlet["design"] is not None:
            assert taken["u_over_t"] == min(
                each["u_over_t"] for each in outlet["candidates"] if each["can_prove"] == "yes"
            )
            name = taken["instrument"] if taken["probe"] is None else f"{taken['instrument']} + {taken['probe']}"
            assert f"{outlet['outlet']}: {name}, {taken['method']}, {taken['observations']} " in told


def test_where_nothing_proves_it_the_real_reason_comes_first(records):
    told = first_answers(plan(records, "--at-most", "0.45").out)
    assert "S-1: NOT PROVABLE: FH-1 is the best, and no number of observations suffices, U/T stays at 0." in told
    outlets = plan(records, "--at-most", "0.45", "--json").document["outlets"]
    [outlet] = [each for each in outlets if each["outlet"] == "S-1"]
    ruling = outlet["candidates"][0]["however_many_observations"]["ruled_by"]
    assert outlet["answer"] is None
    assert f": {ruling} rules (" in outlet["reason"]


def test_where_the_gate_refuses_all_that_fits_its_reason_comes_first(tmp_path):
    told = first_answers(plan(records_of(tmp_path, before(("calibrations.csv", 6, "accepted_on", "")))).out)
    assert "S-2: NOT PROVABLE: " in told
    assert "FH-1: no calibration accepted on or before 2026-03-05" in told.partition("S-2: NOT PROVABLE: ")[2]


def test_one_reason_against_several_instruments_is_told_once(records):
    told = plan(records, air=()).out
    assert "Air: no conditions are stated or on record." in told
    lines = " ".join(block(told, "D-1").split())
    assert lines.count(NEEDS_AIR) == 1
    assert f"DM-1 + PT-1, TA-1: {NEEDS_AIR}" in lines


def test_a_value_outside_the_measuring_interval_is_told_with_its_ends(tmp_path):
    told = plan(records_of(tmp_path, before(("outlets.csv", 3, "design_flow", "200")))).out
    lines = " ".join(block(told, "D-2").split())
    assert "VF-1: 0.3704 m/s lies outside its calibrated measuring interval, 0.5988 to 12.01 m/s" in lines
    assert lines.count("VF-1: ") == 1


def test_an_instrument_that_declares_no_repeatability_has_a_least_uncertainty(tmp_path):
    told = plan(records_of(tmp_path, before(("instruments.csv", 6, "repeatability", "")))).out
    assert re.search(r"FH-1 +hood +454 m3/h +>= 2\d +0\.3\d +-  not known +-", block(told, "S-2"))
    assert "it declares no repeatability" in " ".join(block(told, "S-2").split())


def test_the_expected_air_is_told_with_what_it_is_taken_to_be_known_by(records):
    told = " ".join(plan(records).out.split())
    assert "Air, as expected: 20 degC, 101.3 kPa, 50 %, density 1.199 kg/m3" in told
    assert "0.5 degC, 0.1 kPa, 3 %" in told


def test_a_reference_standard_is_named_as_one(small_records):
    ran = calib("plan", "J-1", *ON, records=small_records)
    assert ran.status == 0
    assert "Reference standard: RS-1; keep it for calibrations" in ran.out
    assert "PG-1: no probe in calibration to stand before it" in ran.out


def test_ends_of_what_is_accepted_are_rounded_inwards(tmp_path):
    """A tolerance that U just meets leaves a flow or two: never an interval whose ends have changed places."""
    document = plan(records_of(tmp_path, before(("outlets.csv", 5, "tolerance_percent", "4.7"))), "--json").document
    (hood,) = [one for one in outlet(document, "S-1")["candidates"] if one["instrument"] == "FH-1"]
    interval = hood["acceptance_interval"]
    assert interval["to"] - interval["from"] < hood["expanded_uncertainty"] / 10
    told = block(plan(tmp_path / "records.sqlite").out, "S-1")
    low, high = re.search(r"FH-1 .* ([0-9.]+) to ([0-9.]+)", told).groups()
    assert interval["from"] <= float(low) <= float(high) <= interval["to"]


def test_names_that_a_terminal_would_obey_do_no_harm(tmp_path):
    sheets = before(("outlets.csv", 5, "outlet", "S\x1b[31m"), ("methods.csv", 3, "method", "sw\x07eep"))
    assert not re.search(r"[\x00-\x09\x0b-\x1f]", plan(records_of(tmp_path, sheets)).out)


# --- what machines read ----------------------------------------------------------------------------------------------------------


def keys(document):
    """Every name of a field in a document."""
    if isinstance(document, list):
        return set().union(*(keys(one) for one in document))
    if isinstance(document, dict):
        return document.keys() | set().union(*(keys(one) for one in document.values()))
    return set()


def test_every_field_of_the_document_is_documented(tmp_path):
    cells = ("calibrations.csv", 6, "accepted_on", ""), ("outlets.csv", 3, "design_flow", "200")
    found = keys(plan(records_of(tmp_path, before(*cells)), "--json").document)
    assert found - set(re.findall(r"\w+", answer.__doc__)) == set()


def test_the_document_holds_what_is_printed_unrounded(records):
    document = plan(records, "--json").document
    one = outlet(document, "S-2")
    there = {name: value for name, value in one["design"].items() if value is not None}
    assert there == pytest.approx(
        {
            "value": 450, "unit": "m3/h", "tolerance_percent": 15, "half_width": 67.5, "lower_limit": 382.5,
            "upper_limit": 517.5,
        }
    )  # fmt: skip
    (hood,) = one["candidates"]
    assert hood["u_over_t"] == pytest.approx(hood["expanded_uncertainty"] / 67.5, rel=1e-12)
    assert hood["acceptance_interval"]["from"] == pytest.approx(382.5 + hood["expanded_uncertainty"], rel=1e-12)
    assert hood["conditional_interval"] == pytest.approx({"from": 382.5, "to": 517.5})
    assert (hood["velocity"], hood["probe"], hood["certificate"]) == (None, None, "E-105")
    assert (outlet(document, "D-3")["design"], outlet(document, "D-3")["provable"]) == (None, None)
    assert document["without_design"] == ["D-3"]


def test_flows_are_printed_in_the_units_asked_for_and_indications_as_the_instrument_shows_them(records):
    document = plan(records, "--units", "ip", "--json").document
    one = outlet(document, "S-1")
    assert (one["design"]["unit"], one["design"]["value"]) == ("cfm", pytest.approx(1000 / 1.699010796, rel=1e-9))
    assert {each["indication"]["unit"] for each in one["candidates"]} == {"m3/h", "m/s", "Pa"}
    assert document["air"]["temperature"]["value"] == pytest.approx(68)


def test_the_refused_are_listed_with_their_reasons(tmp_path):
    document = plan(records_of(tmp_path, before(("calibrations.csv", 4, "accepted_on", ""))), "--json").document
    (one,) = document["left_out"]
    assert one["instrument"] == "TA-1"
    assert "have certificate E-103 accepted" in one["reasons"][0]


# --- what is typed wrong ---------------------------------------------------------------------------------------------------------


def test_every_wrong_option_is_named_at_once_and_nothing_is_printed(records):
    wrong = ("--temperature", "20", "--pressure", "1 kPa", "--at-most", "-1", "--method", "guess", "--method", "sweep")
    ran = calib("plan", "E-1", "--on", "2026-13-09", *wrong, records=records)
    assert (ran.status, ran.out) == (2, "")
    named = [line.split(":")[1].split(", ")[1] for line in ran.err.splitlines()]
    assert named == ["--on", "--at-most", "--temperature", "--pressure", "--humidity", "--method"]


@pytest.mark.parametrize(
    ("option", "typed"),
    [
        ("--temperature", "20 kPa"),
        ("--temperature", "200 degC"),
        ("--temperature", ""),
        ("--temperature", "nan degC"),
        ("--pressure", "101.3"),
        ("--pressure", "-3 kPa"),
        ("--humidity", "150 %"),
        ("--humidity", "wet"),
        ("--at-most", "0"),
        ("--at-most", "nan"),
        ("--at-most", "one"),
        ("--on", "tomorrow"),
        ("--method", ""),
    ],
)
def test_what_cannot_be_is_one_line_and_no_traceback(records, option, typed):
    ran = plan(records, option, typed)
    assert (ran.status, ran.out) == (2, "")
    assert len(ran.err.splitlines()) == 1
    assert ran.err.startswith(f"error: command line, {option}: ")


def test_a_job_that_is_not_there_and_records_that_are_not_there_are_told(records, tmp_path):
    ran = plan(records, job="E-9")
    assert (ran.status, ran.err) == (2, "error: no job 'E-9' in the records: there is E-1\n")
    ran = plan(tmp_path / "nowhere.sqlite")
    assert (ran.status, ran.out, ran.err.count("\n")) == (2, "", 1)


def test_the_help_carries_the_cautions_and_ends_with_an_example():
    told = " ".join(calib("plan", "--help").out.split())
    for word in ("ladders", "moving machinery", "hot surfaces", "test holes", "hazardous air", "licensed practitioner"):
        assert word in told
    assert "Example: calib plan FQ-204 --on 2026-03-09" in told
