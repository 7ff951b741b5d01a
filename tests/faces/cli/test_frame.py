"""The frame of the commands: what is below the faces names columns and steps in words, and the command line says how to type them.

Common practice, no source.
"""

import re

import pytest

from calib.errors import Finding, Step
from calib.faces.cli import frame
from calib.procedures.typed.columns import FILES
from tests.command import calib
from tests.folders import ledger_head

TAG = ("--kind", "vane", "--maker", "M", "--model", "N", "--serial", "7", "--range-low", "0.3", "--unit", "m/s")
INTERVAL = ("--resolution", "0.01", "--interval-months", "12")

# A wrong call, and how what is wrong with it is named: an option, an argument, an option whose column has another name.
WRONG = [
    (("instrument", "add", "VA-7", *TAG, *INTERVAL, "--range-high", "x"), "--range-high: 'x'; expected "),
    (("instrument", "add", "VA-1", *TAG, *INTERVAL, "--range-high", "20"), "TAG: 'VA-1'; expected "),
    (("instrument", "suspend", "VA-1", "--reason", ""), "--reason: blank; expected why, in a few words"),
    (("method", "add", "A", "--uncertainty", "x", "--basis", "maps"), "--uncertainty: 'x'; expected "),
    (("reading", "add", "J-1", "S-1", "--instrument", "VA-1", "--unit", "m/s", "--method", "sweep", "--observations", "4;5",
      "--at", "noon"), "--at: 'noon'; expected "),
    (("calibration", "accept", "VA-1", "C-101"), "CERTIFICATE: 'C-101'; expected one not accepted yet"),
    (("rule", "set", "all may do all", "--holds", "yes", "--reason", "why"), "RULE: 'all may do all'; expected one of "),
    (("outlet", "amend", "J-1", "S-1", "--set", "width=400", "--reason", "why"), "--set: 'width=400'; expected "),
    (("outlet", "amend", "J-1", "S-1", "--set", "width=-4", "--reason", "why"), "width: '-4'; expected "),
    (("check", "add", "VA-1", "--kind", "check standard", "--value", "5", "--unit", "m/s", "--other", "RS-1"),
     "--low, --high: expected "),
]  # fmt: skip


@pytest.mark.parametrize(("words", "said"), WRONG, ids=lambda words: " ".join(words)[:50])
def test_what_is_wrong_is_named_as_it_is_typed(small_records, words, said):
    before = ledger_head(small_records)
    ran = calib(*words, records=small_records)
    assert (ran.status, ran.out) == (2, "")
    assert f"error: command line, {said}" in ran.err
    assert ledger_head(small_records) == before


def test_a_command_that_writes_nothing_asks_for_no_name(small_records):
    assert "No such option" in calib("review", "list", "--by", "X", records=small_records).err


STEPS_OF = {Step.DISMISS_REFUSAL: ": job J-1, number 2", Step.SEE_REVIEW: " 3", Step.WRITE_AGAIN: " J-1, revision 2"}


@pytest.mark.parametrize("step", Step)
def test_every_next_step_is_said_as_it_is_typed(capsys, step):
    frame.say(step + STEPS_OF.get(step, ""))
    said = capsys.readouterr().err
    assert "calib " in said or "--" in said


def test_a_finding_says_what_is_wrong_where_no_face_says_how_it_is_typed():
    assert str(Finding.typed("reason", "", "why")) == "reason: blank; expected why"
    assert str(Finding.typed(None, None, "a value")) == "expected a value"
    assert str(Finding("a.csv", 2, "tag", "x", "a tag")) == "a.csv row 2, tag: 'x'; expected a tag"


def test_what_a_command_wrote_is_durable_when_its_answer_is_printed(small_records, monkeypatch):
    before = ledger_head(small_records)[0]
    seen = []
    monkeypatch.setattr(frame, "_tell", lambda *_, **__: seen.append(ledger_head(small_records)[0]))
    calib("instrument", "suspend", "VA-1", "--reason", "why", records=small_records)
    assert seen == [before + 1]


@pytest.mark.parametrize(
    ("command", "file", "apart"),
    [
        (("instrument", "add"), "instruments.csv", {"tag"}),
        (("method", "add"), "methods.csv", {"method"}),
        (("calibration", "add"), "calibrations.csv", {"tag", "certificate", "departure_reason"}),
        (("reading", "add"), "readings.csv", {"job", "outlet", "operator", "revision", "withdrawn"}),
        (("check", "add"), "checks.csv", {"tag", "basis", "withdrawn"}),
    ],
)
def test_a_command_that_types_a_row_has_the_columns_of_its_file_as_options(command, file, apart):
    """What is typed apart are arguments, whoever signs, and what `traverse add` types."""
    options = set(re.findall(r"--([a-z-]+)", calib(*command, "--help").out))
    columns = {column.name for column in FILES[file]} - apart
    shorter = {"observed_at": "at", "relative_standard_uncertainty_percent": "uncertainty", "decision_rule": "rule"}
    shorter |= {"decision_rule": "decision-rule"} if file == "instruments.csv" else {}
    named = {shorter.get(name, name.lower().replace("_", "-")) for name in columns if not name.startswith("traverse_")}
    assert named <= options


def test_the_options_of_a_command_become_cells_by_their_names():
    others = [column.name for column in FILES["calibrations.csv"]][2:]
    row = frame.RowOptions(FILES["calibrations.csv"], without=[name for name in others if name != "temperature_degC"])
    typed = {"tag": "VA-1", "temperature_degc": "21", "certificate": None, "by": "A. Person"}
    assert row.taken(typed) == {"tag": "VA-1", "certificate": None, "temperature_degC": "21"}
    assert typed == {"by": "A. Person"}


def test_each_of_several_rows_has_options_of_its_own():
    """A unit that is typed behind its value has none, and a finding on it names the value's."""
    row = frame.RowOptions(
        FILES["conditions.csv"], ["job", "conditions", "observed_at", "quantity", "source", "revision", "withdrawn"],
        {"value": ["--humidity"], "instrument": ["--hygrometer"]}, named="relative humidity", behind={"unit": "value"},
    )  # fmt: skip
    assert [each.name for each in row.parameters()] == [
        "relative_humidity_value", "relative_humidity_instrument", "relative_humidity_standard_uncertainty",
    ]  # fmt: skip
    assert row.typed_in() == {
        "value": "--humidity", "unit": "--humidity", "instrument": "--hygrometer",
        "standard_uncertainty": "--standard-uncertainty",
    }  # fmt: skip


def test_a_thermal_anemometer_is_typed_with_its_reference_state(empty_records):
    typed = (
        "--kind", "thermal anemometer", "--maker", "M", "--model", "N", "--serial", "7", "--range-low", "0.1", "--range-high", "6",
        "--unit", "m/s", "--resolution", "0.01", "--mpe-percent", "2", "--interval-months", "12",
    )  # fmt: skip
    state = ("--reference-temperature-degc", "20", "--reference-pressure-kpa", "101.325")
    without = calib("instrument", "add", "TA-9", *typed, "--density-effect", "thermal", records=empty_records)
    assert without.status == 2
    assert "--reference-temperature-degc: blank; expected the reference state" in without.err
    assert (
        calib("instrument", "add", "TA-9", *typed, "--density-effect", "thermal", *state, records=empty_records).status
        == 0
    )
    kept = calib("instrument", "show", "TA-9", "--json", records=empty_records).document["instrument"]
    assert (kept["density_effect"], kept["reference_pressure_kPa"]) == ("thermal", "101.325")
