"""The section on cross-checks, and the same in the table, the workbook and the words: by contents written out by hand."""

import csv
import io

import pytest

from calib.faces.parts.cross_checks import (
    agreement_text,
    cross_check_lines,
    cross_check_rows,
    other_measurements,
    sides_text,
)
from calib.faces.report.blocks import Bullets, Heading, Mark, Table, unmarked
from calib.faces.report.content import content
from calib.faces.report.cross_checks_section import cross_checks_section
from calib.faces.report.csv_table import as_csv
from calib.faces.report.workbook_sheets import sheets_of
from calib.procedures.report.collect import report
from calib.records import database
from tests.folders import NOW, records_of, small_job
from tests.pictures import flow


def check(kind, first, second, difference, e, agrees, **more):
    """A cross-check of a content; a side is (outlets, value, U)."""
    sides = {
        name: {"outlets": side[0], "readings": [place + 7], "flow": flow(*side[1:])}
        for place, (name, side) in enumerate({"first": first, "second": second}.items())
    }
    told = {
        "kind": kind,
        "system": "AHU-1",
        "service": "supply",
        "room": None,
        "not_measured": [],
        "wanted": None,
        "remark": None,
    }
    return told | sides | {"difference": flow(*difference), "normalised_error": e, "agrees": agrees} | more


MAIN = check("main and its outlets", (["M1"], 903.0, 29.0), (["S1", "S2"], 871.0, 60.0), (32.0, 66.0), 0.485, True)
MAIN["difference"]["coverage_factor"] = 2.13
LESS = check(
    "by difference",
    (["M3"], 151.0, 9.0),
    (["E1", "E2"], 111.0, 17.0),
    (40.0, 17.0),
    None,
    None,
    not_measured=["E3", "E4"],
)
BRANCH = check(
    "branch and its outlet", (["B1"], 65.0, 3.0), (["S6"], 75.0, 5.0), (-10.0, 6.0), -1.667, False, remark="found there"
)
ROOM = check(
    "supply and extract of a room", (["S1", "S2"], 496.0, 35.0), (["R1"], 409.0, 34.0), (87.0, 48.0), 1.81, True,
    room="hall", system=None, service=None, wanted="positive",
)  # fmt: skip
REPEAT = check("repeated reading", (["S1"], 101.0, 7.0), (["S1"], 100.0, 7.0), (1.0, 2.0), 0.5, True)

SAID = {
    "main": (MAIN, ("AHU-1, supply", "M1", "its 2 outlets"), "agree"),
    "less": (LESS, ("E3, E4 together", "M3", "2 outlets measured"), "by difference"),
    "branch": (BRANCH, ("S6", "B1", "its face"), "do not agree"),
    "room": (ROOM, ("room hall", "supply, 2 outlets", "extract, 1 outlet"), "differ as the design asks"),
    "repeat": (REPEAT, ("S1", "reading 7, a repeat", "reading 8"), "agree"),
}
CHECKS = [each for each, _, _ in SAID.values()]


@pytest.mark.parametrize("name", SAID)
def test_it_says_which_flow_and_how_it_was_measured_twice(name):
    told, sides, said = SAID[name]
    assert sides_text(told) == sides
    assert agreement_text(told) == said


def test_each_is_a_row_with_both_flows_their_difference_and_what_that_says():
    heading, table, remarks = cross_checks_section({"cross_checks": CHECKS})
    assert isinstance(heading, Heading)
    assert isinstance(table, Table)
    assert [column.label for column in table.columns][-4:-1] == ["Difference ± U", "k", "E_n"]
    rows = [[unmarked(cell.text) for cell in row.cells] for row in table.rows]
    assert rows[0] == [
        "AHU-1, supply",
        "M1",
        "903 ± 29 L/s",
        "2.00",
        "its 2 outlets",
        "871 ± 60 L/s",
        "2.00",
        "32 ± 66 L/s",
        "2.13",
        "0.48",
        "agree",
    ]
    assert rows[1][-4:] == ["40 ± 17 L/s", "2.00", "", "by difference"]
    assert rows[2][-4:] == ["−10.0 ± 6.0 L/s", "2.00", "1.67", "do not agree"]
    assert [row.cells[-1].text[0].mark is Mark.STRONG for row in table.rows] == [False, False, True, False, False]
    assert (table.rows[2].cells[-2].value, table.rows[2].cells[-4].value) == (1.667, -10.0)
    assert isinstance(remarks, Bullets)
    assert [unmarked(each) for each in remarks.items][1:] == ["S6, B1: found there."]


def test_what_another_measurement_says_of_an_outlet_is_told_in_short():
    checks = [*CHECKS, LESS | {"not_measured": ["E9"]}]
    assert {name: list(other_measurements(checks, name)) for name in ("S6", "S1", "E9", "E3", "R1")} == {
        "S6": ["B1: 65.0 ± 3.0 L/s, which does not agree"],
        "S1": ["reading 7, a repeat: 101.0 ± 7.0 L/s, which agrees"],
        "E9": ["by difference: 40 ± 17 L/s"],
        "E3": [],
        "R1": [],
    }


def test_where_nothing_can_be_compared_there_is_no_section():
    assert list(cross_checks_section({"cross_checks": []})) == []


def test_the_balance_says_the_same_in_words():
    rows = cross_check_rows(CHECKS)
    assert rows[0] == (
        "AHU-1, supply",
        "M1: (903.0 ± 29.0) L/s, k = 2.00",
        "its 2 outlets: (871.0 ± 60.0) L/s, k = 2.00",
        "(32.0 ± 66.0) L/s, k = 2.00",
        "0.48",
        "agree",
    )
    assert [row[-2] for row in rows] == ["0.48", "-", "1.67", "1.81", "0.50"]
    assert next(cross_check_lines(CHECKS)).startswith("E_n = |d|/U(d): ")


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    """The small job's content, with S-1, S-2 and R-1 in one room."""
    sheets = small_job()
    sheets["outlets.csv"] = [row | {"room": "hall" if row["outlet"] != "E-1" else ""} for row in sheets["outlets.csv"]]
    with database.reading(str(records_of(tmp_path_factory.mktemp("small"), sheets))) as session:
        return content(report(session, "J-1", NOW), NOW)


def test_the_table_has_a_row_for_each(small):
    (told,) = small["cross_checks"]
    (row,) = [row for row in csv.DictReader(io.StringIO(as_csv(small))) if row["record"] == "cross-check"]
    difference = told["difference"]
    assert (float(row["flow"]), float(row["expanded_uncertainty"])) == (
        difference["value"],
        difference["expanded_uncertainty"],
    )
    assert (row["room"], float(row["normalised_error"]), row["agrees"]) == ("hall", told["normalised_error"], "False")


def test_the_workbook_has_a_sheet_of_them(small):
    (told,) = small["cross_checks"]
    (sheet,) = [sheet for sheet in sheets_of(small) if sheet.name == "Cross-checks"]
    cells = {column.label: column.of(told) for column in sheet.columns}
    assert cells["Flow"] == "room hall"
    assert (cells["q₁"], cells["q₂"]) == (told["first"]["flow"]["value"], told["second"]["flow"]["value"])
    for label, of in (
        ("k of q₁", told["first"]["flow"]),
        ("k of q₂", told["second"]["flow"]),
        ("k", told["difference"]),
    ):
        assert cells[label] == of["coverage_factor"]
    assert cells["Difference"] == pytest.approx(cells["q₁"] - cells["q₂"], rel=1e-9)
    assert cells["Statement"] == "do not agree"
