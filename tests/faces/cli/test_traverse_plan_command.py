"""`calib traverse plan` as a person types it. Common practice, no source, but for positions printed with the rules."""

import json

import pytest
import typer
from typer.testing import CliRunner

from calib import quantities
from calib.airflow.traverse import LOG_LINEAR, ROUND, Section, traverse
from calib.errors import BadInputError
from calib.faces.answers import traverse_plan as answer
from calib.faces.cli.traverse import app

ROOT = typer.Typer()
ROOT.add_typer(app, name="traverse")
PIPE = ("--shape", "round", "--diameter", "400", "--rule", "log-linear")
DUCT = ("--shape", "rectangular", "--width", "600", "--height", "400")


def plan(*options):
    """What the command prints; what it raises goes on to the test."""
    ran = CliRunner().invoke(ROOT, ["traverse", "plan", *options], catch_exceptions=False)
    assert ran.exit_code == 0
    return ran.stdout


def table(printed):
    """Rows of the table as lists of cells."""
    rows = [line.split() for line in printed.splitlines()]
    return [row for row in rows if len(row) == 6 and row[0].isdigit() and len(row[-1]) == 7]


def wrong(*options):
    """The options that are refused, and what was expected of each."""
    with pytest.raises(BadInputError) as refused:
        plan(*options)
    return {finding.column: finding.expected for finding in refused.value.findings}


def test_marks_are_printed_point_by_point():
    # The printed positions 0.0209, 0.1172, 0.1838, 0.3448 and their mirror images, on 400 mm.
    rows = table(plan(*PIPE))
    marks = ["8.3", "46.9", "73.5", "137.9", "262.1", "326.5", "353.1", "391.7"]
    assert [(row[0], row[1], row[2]) for row in rows] == [
        (line, str(number), mark) for line in "12" for number, mark in enumerate(marks, start=1)
    ]
    assert {row[-1] for row in rows} == {"0.06250"}


def test_what_lies_before_the_inner_wall_is_added_to_the_marks_alone():
    rows = table(plan(*PIPE, "--insertion", "25"))
    assert (rows[0][2], rows[0][3], rows[0][4]) == ("33.3", "200.0", "8.3")
    assert "with the 25.0 mm before it" in plan(*PIPE, "--insertion", "25")


def test_size_area_rule_and_numbers_stand_above():
    # 0.6 m x 0.4 m.
    first = plan(*DUCT).splitlines()[0]
    assert first == "rectangular duct, 600 × 400 mm, area 0.2400 m2; log-Tchebycheff, 5 lines with 5 points, 25 in all"


def test_the_section_is_drawn_in_signs():
    assert "." * 63 in plan("--shape", "rectangular", "--width", "900", "--height", "300").splitlines()


@pytest.mark.parametrize(
    ("unit", "size", "mark", "area"),
    # 0.0209 of a foot, 12 in: 0.25; pi/4 ft2 = 0.7854 ft2; of 0.3048 m: 6.4 mm, 0.0730 m2.
    [
        ("in", "12", "0.25", "0.7854 ft2"),
        ("ft", "1", "0.021", "0.7854 ft2"),
        ("m", "0.3048", "0.0064", "0.0730 m2"),
        ("cm", "30.48", "0.64", "0.0730 m2"),
    ],
)
def test_lengths_are_printed_in_the_unit_they_were_typed_in(unit, size, mark, area):
    printed = plan("--shape", "round", "--diameter", size, "--unit", unit, "--rule", "log-linear", "--points", "8")
    assert table(printed)[0][2] == mark
    assert area in printed
    assert f"mark [{unit}]" in printed


@pytest.mark.parametrize("typed", ["log-tchebycheff", "LOG-TCHEBYCHEFF", "log-Tchebycheff"])
def test_capital_letters_do_not_matter_in_a_rule(typed):
    assert plan(*DUCT, "--rule", typed) == plan(*DUCT)


def test_capital_letters_do_not_matter_in_a_shape():
    assert plan("--shape", "Round", *PIPE[2:]) == plan(*PIPE)


def test_numbers_of_lines_and_points_may_be_chosen():
    rows = table(plan(*DUCT, "--lines", "6", "--points", "7"))
    assert len(rows) == 42
    assert rows[-1][:2] == ["6", "7"]


def test_one_number_alone_leaves_the_other_usual():
    assert len(table(plan(*PIPE, "--lines", "3"))) == 24


def test_the_26_points_of_a_rectangle_count_differently():
    rows = table(plan(*DUCT, "--rule", "log-linear"))
    # 2, 3, 5 and 6 of 96.
    assert {row[-1] for row in rows} == {"0.02083", "0.03125", "0.05208", "0.06250"}
    assert len(rows) == 26


def test_as_json_nothing_is_rounded():
    document = json.loads(plan(*DUCT, "--insertion", "2.5", "--json"))
    assert (document["width"], document["height"], document["unit"]) == (pytest.approx(600), pytest.approx(400), "mm")
    assert document["area"] == {"value": pytest.approx(0.24), "unit": "m2"}
    first = document["points"][0]
    # 0.2/e of each side.
    assert first["x"] == pytest.approx(600 * 0.07357588823, rel=1e-9)
    assert first["mark"] == pytest.approx(400 * 0.07357588823 + 2.5, rel=1e-9)
    assert sum(one["weight"] for one in document["points"]) == pytest.approx(1)


@pytest.mark.parametrize("ending", ["svg", "png", "pdf"])
def test_a_drawing_is_written_beside_the_table(ending, tmp_path):
    assert table(plan(*PIPE, "--plot", str(tmp_path / f"pipe.{ending}")))
    assert (tmp_path / f"pipe.{ending}").stat().st_size > 1000


# --- what is refused -------------------------------------------------------------------------------------------------------------


def test_every_wrong_option_is_named_at_once():
    found = wrong(
        *("--shape", "square", "--width", "abc", "--unit", "mile", "--rule", "log", "--lines", "5.5"),
        *("--points", "0", "--insertion", "-1", "--plot", "a.gif"),
    )
    assert list(found) == [
        *("--shape", "--width", "--unit", "--rule", "--lines", "--points", "--insertion", "--plot"),
    ]
    assert found["--unit"] == "one of m, cm, mm, in, ft"
    assert found["--rule"] == "one of equal-area, log-Tchebycheff, log-linear"


@pytest.mark.parametrize(
    ("options", "named"),
    [
        ((), {"--shape"}),
        (("--shape", "round"), {"--diameter"}),
        (("--shape", "round", "--diameter", "0"), {"--diameter"}),
        (("--shape", "round", "--diameter", "400", "--width", "400"), {"--width"}),
        (("--shape", "rectangular"), {"--width", "--height"}),
        ((*DUCT, "--diameter", "400"), {"--diameter"}),
        (("--shape", "flat-oval", "--width", "300", "--height", "500"), {"--width"}),
        ((*DUCT, "--lines", "10", "--points", "2"), {"--lines", "--points"}),
        ((*DUCT, "--rule", "log-linear", "--points", "6"), {"--points"}),
        ((*PIPE, "--lines", "1", "--points", "7"), {"--lines", "--points"}),
        (("--shape", "round", "--lines", "1"), {"--diameter", "--lines"}),
    ],
)
def test_options_that_do_not_go_together_are_named(options, named):
    assert wrong(*(options or ("--unit", "mm"))).keys() == named


def test_a_refused_number_comes_with_those_that_can_be_had():
    found = wrong(*DUCT, "--points", "10")
    assert found["--points"] == "3, 4, 5, 6, 7, 8, 9 or 11, by the log-Tchebycheff rule in a rectangular duct"


def test_nothing_is_drawn_where_an_option_is_wrong(tmp_path):
    assert wrong(*PIPE, "--points", "7", "--plot", str(tmp_path / "a.svg")).keys() == {"--points"}
    assert list(tmp_path.iterdir()) == []


# --- help, and the parts that other commands build on ----------------------------------------------------------------------------


def test_help_names_the_dangers_and_ends_in_an_example():
    shown = " ".join(CliRunner().invoke(ROOT, ["traverse", "plan", "--help"]).stdout.split())
    for word in (
        "ladders",
        "moving machinery",
        "hot surfaces",
        "hazardous air",
        "permission",
        "Example: calib traverse",
    ):
        assert word in shown


def test_a_plan_can_be_written_for_any_section():
    section = Section(ROUND, 0.4, 0.4)
    points = traverse(section, LOG_LINEAR, 2, 8)
    document = answer.document(section, LOG_LINEAR, points, quantities.unit("length", "mm"))
    assert answer.text(document) + "\n" == plan(*PIPE)
