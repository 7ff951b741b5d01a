"""`calib enter` as a person sits before it: a real terminal of 60 and of 100 columns, its keys, and a plug that is pulled."""

import sys

import pytest

from tests.command import calib, copied
from tests.faults.entry_kills import half_measured
from tests.folders import lasting, records_of, small_job

if sys.platform != "win32":
    from tests.terminal import Terminal

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="there is no terminal of this kind")

PASSES = "3.08 3.13 3.09"
SETUP = ("--instrument", "VA-1", "--unit", "m/s", "--method", "sweep", "--by", "T. One")


@pytest.fixture(scope="module")
def _half(tmp_path_factory):
    return half_measured(tmp_path_factory.mktemp("half"))


@pytest.fixture
def records(_half, tmp_path):
    return copied(_half, tmp_path / "half.sqlite")


def readings(records):
    listed = calib("reading", "list", "J-1", "--json", records=records).document
    return {each["outlet"]: each["flow"]["statement"] for each in listed["readings"]}


def test_stop_ends_a_question_too(records):
    with Terminal("enter", "J-1", records=records, columns=60) as terminal:
        terminal.shown(r"who measures \[T\. One\]: ")
        terminal.type("")
        terminal.shown(r"meter \[VA-1\]: ")
        terminal.type("stop")
        status, screen = terminal.ended()
    assert status == 0
    assert "unit" not in screen


@pytest.mark.parametrize("columns", [60, 100])
def test_a_sitting_from_the_first_question_to_the_last(records, columns):
    with Terminal("enter", "J-1", records=records, columns=columns) as terminal:
        terminal.shown(r"who measures \[T\. One\]: ")
        terminal.type("")
        terminal.shown(r"meter \[VA-1\]: ")
        terminal.type("")
        assert "VA-1: may be used on" in terminal.shown(r"unit \[m/s\]: ")
        terminal.type("furlong")
        assert "one of m/s, fpm" in terminal.shown(r"\nunit \[m/s\]: ")
        terminal.type("")
        terminal.shown(r"method \[sweep\]: ")
        terminal.type("")
        assert "S-2: supply, 450 m3/h ± 10 %" in terminal.shown(r"S-2 \[m/s\]: ")
        terminal.type(PASSES)
        answered = " ".join(terminal.shown(r"R-1 \[m/s\]: ").split())
        terminal.type("?")
        terminal.shown(r"R-1 \[m/s\]: ")
        terminal.press("d")
        status, screen = terminal.ended()
    assert status == 0
    assert f"S-2: {readings(records)['S-2']}" in answered
    assert "% of design: conditional pass" in answered
    assert "would pass" in answered
    typed = ("[", ": ")  # a line with a prompt goes on with what is typed
    assert [
        line for line in screen.split("\n") if len(line) > columns and not all(each in line for each in typed)
    ] == []


def test_a_doubt_and_a_refusal_are_asked_and_no_means_no(records):
    with Terminal("enter", "J-1", *SETUP, records=records) as terminal:
        terminal.shown(r"S-2 \[m/s\]: ")
        terminal.type("0.31 4.96")  # 16 times
        assert "the largest pass is 16 times the smallest" in terminal.shown(r"is that right\? yes or no: ")
        terminal.type("no")
        assert "not written" in terminal.shown(r"S-2 \[m/s\]: ")
        terminal.type("16.1 16.2")  # above 15 m/s at a face, and above 13.60 m/s, the highest comparison
        terminal.shown(r"is that right\? yes or no: ")
        terminal.type("yes")
        assert "outside the calibrated measuring" in terminal.shown(r"keep it as a refusal\? yes, or no: ")
        terminal.type("no")
        terminal.shown(r"S-2 \[m/s\]: ")
        terminal.type("stop")
        status, _ = terminal.ended()
    assert status == 0
    assert calib("verify", "--json", records=records).status == 0
    assert "refused" not in calib("reading", "list", "J-1", records=records).err


def test_a_refusal_that_is_kept_leaves_the_outlet_to_another_meter(records):
    with Terminal("enter", "J-1", *SETUP, "--sure", records=records) as terminal:
        terminal.shown(r"S-2 \[m/s\]: ")
        terminal.type("14.1 14.2")
        terminal.shown(r"keep it as a refusal\? yes, or no: ")
        terminal.type("yes")
        assert "kept as refused reading 1" in terminal.shown(r"S-2 \[m/s\]: ")
        terminal.type("meter VA-2")
        terminal.shown(r"S-2 \[fpm\]: ")
        terminal.type("606 617 613")
        terminal.shown(r"R-1 \[fpm\]: ")
        terminal.type("stop")
        status, _ = terminal.ended()
    assert status == 3
    assert "S-2" in readings(records)


def test_control_c_ends_it_and_keeps_what_is_half_typed(records):
    with Terminal("enter", "J-1", *SETUP, records=records) as terminal:
        terminal.shown(r"S-2 \[m/s\]: ")
        terminal.type("note damper half shut")
        terminal.shown(r"S-2 \[m/s\]: ")
        terminal.press("c")
        status, screen = terminal.ended()
    assert status == 0
    assert "what is half-typed is kept" in screen
    with Terminal("enter", "J-1", *SETUP, records=records) as terminal:
        assert "a remark for the next reading: damper half shut" in terminal.shown(r"S-2 \[m/s\]: ")


@pytest.fixture
def ducts(tmp_path):
    """Records of a job with a duct that nobody has traversed."""
    sheets = small_job()
    duct = dict.fromkeys(sheets["outlets.csv"][0], "") | {
        "job": "J-1", "outlet": "D-1", "system": "AH-1", "service": "supply", "shape": "round", "diameter": "200",
        "dimension_unit": "mm", "dimension_limit": "1", "place": "duct",
    }  # fmt: skip
    sheets["outlets.csv"] = [*(row | {"place": ""} for row in sheets["outlets.csv"]), duct]
    return records_of(tmp_path / "ducts", lasting(sheets))


def test_a_traverse_is_typed_point_by_point_cut_off_and_taken_up(ducts):
    values = [f"{3 + point / 10:.1f}" for point in range(12)]
    with Terminal("enter", "J-1", *SETUP, records=ducts) as terminal:
        terminal.shown(r"pass 1, line 1, point 1 \([\d.]+ mm from the wall\) \[m/s\]: ")
        terminal.type("traverse log-linear 2 6 1")
        terminal.shown(r"point 1 \([\d.]+ mm from the wall\) \[m/s\]: ")
        terminal.type(" ".join(values[:6]))
        terminal.shown(r"line 2, point 1 \([\d.]+ mm from the wall\) \[m/s\]: ")
        terminal.type(values[6])
        terminal.shown(r"line 2, point 2 ")
        terminal.type("9.9")
        terminal.shown(r"line 2, point 3 ")
        terminal.type("undo")
        terminal.shown(r"line 2, point 2 ")
        terminal.type("to S-2")
        terminal.shown(r"7 points typed here would be lost: leave them\? yes or no: ")
        terminal.type("no")
        terminal.shown(r"line 2, point 2 ")
        terminal.kill()
    with Terminal("enter", "J-1", *SETUP, records=ducts) as terminal:
        assert "D-1: 7 of 12 points of a traverse are typed" in terminal.shown(r"go on with them\? yes or no: ")
        terminal.type("yes")
        terminal.shown(r"line 2, point 2 \([\d.]+ mm from the wall\) \[m/s\]: ")
        terminal.type(" ".join(values[7:]))
        terminal.shown(r"an outlet, or stop: ")
        terminal.type("stop")
        terminal.ended()
    by_command = calib(
        "traverse", "add", "J-1", "D-1", "--instrument", "VA-1", "--unit", "m/s", "--method", "sweep", "--rule", "log-linear",
        "--lines", "2", "--points", "6", "--line", " ".join(values[:6]), "--line", " ".join(values[6:]), "--json",
        records=ducts,
    )  # fmt: skip
    assert by_command.document["flow"]["statement"] == readings(ducts)["D-1"]
    assert not list(ducts.parent.glob("*half-typed*"))


def test_the_gate_is_asked_before_the_points_are_typed(ducts):
    calib("method", "add", "hall", "--uncertainty", "2", "--basis", "own", "--pattern", "sweep", records=ducts)
    with Terminal("enter", "J-1", *SETUP[:-3], "hall", *SETUP[-2:], records=ducts) as terminal:
        shown = terminal.shown(r"pass 1, line 1, point 1 ")
    assert "a method with the pattern traverse" in " ".join(shown.split())
