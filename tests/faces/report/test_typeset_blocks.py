"""What the typesetter is told: where links lead, all of them or in a large report none; how large a picture is."""

from dataclasses import replace

import pytest
from matplotlib.figure import Figure

from calib.faces.drawings.style import FIGURE_WIDTH, HIGHEST_FIGURE
from calib.faces.report import typeset_blocks
from calib.faces.report.blocks import Cell, Heading, Layout, Picture, Run, Table, TableColumn, TableRow, runs
from calib.faces.report.pdf import begin_pdf
from calib.faces.report.typeset_blocks import Typesetting

READINGS = range(4)
FLOWS = Table(
    "Flows",
    (TableColumn("Outlet"), TableColumn("Instrument"), TableColumn("Flow", is_number=True)),
    tuple(
        TableRow(
            (
                Cell(runs(f"S-{number}")),
                Cell(runs(Run("VA-1", to="VA-1"))),
                Cell(runs(Run(f"{600 + number} m3/h", to=f"budget-{number}"))),
            ),
            anchor=f"flow-{number}",
        )
        for number in READINGS
    ),
)
BUDGETS = Table(
    "Budgets",
    (TableColumn("Outlet"), TableColumn("Instrument")),
    tuple(
        TableRow(
            (Cell(runs(Run(f"S-{number}", to=f"flow-{number}"))), Cell(runs(Run("VA-1", to="VA-1")))),
            anchor=f"budget-{number}",
        )
        for number in READINGS
    ),
)
LAYOUT = Layout(
    "J-1", "Hall", 1, False, "2026-03-06T09:00:00+00:00", "0" * 64, blocks=(FLOWS, BUDGETS, Heading(2, "VA-1", "VA-1"))
)


def links(told):
    """What the cells of the tables lead to, row by row."""
    labels = {f"place-{place}": anchor for place, anchor in enumerate([*anchors(FLOWS), *anchors(BUDGETS), "VA-1"])}
    tables = [block for block in told if block["kind"] == "table"]
    return [[labels[cell["to"]] for cell in row["cells"] if "to" in cell] for table in tables for row in table["rows"]]


def anchors(table):
    return [row.anchor for row in table.rows]


@pytest.fixture
def told(monkeypatch, most):
    """The blocks, where so many links are all set."""
    monkeypatch.setattr(typeset_blocks, "_MOST_LINKS", most)
    return Typesetting(LAYOUT, 500.0, 750.0).blocks()


@pytest.mark.parametrize("most", [16])
def test_every_link_of_a_small_report_is_set(told):
    flows = [["VA-1", f"budget-{number}"] for number in READINGS]
    assert links(told) == flows + [[f"flow-{number}", "VA-1"] for number in READINGS]


@pytest.mark.parametrize("most", [15])
def test_of_a_large_report_no_link_is_set(told):
    assert links(told) == [[]] * (2 * len(READINGS))
    assert [row for block in told if block["kind"] == "table" for row in block["rows"] if "label" in row] == []


@pytest.mark.parametrize("paper", ["a4", "us-letter"])
def test_the_highest_picture_is_printed_in_its_own_size_and_its_letters_are_not_made_small(paper, monkeypatch):
    sizes = []
    monkeypatch.setattr(Typesetting, "__init__", noted(Typesetting.__init__, sizes))
    picture = Picture("highest", Figure(figsize=(FIGURE_WIDTH, HIGHEST_FIGURE)), "words", runs("A caption"))
    layout = replace(LAYOUT, blocks=(picture,))
    begin_pdf(layout, {}, paper=paper).result()
    (told,) = Typesetting(layout, *sizes[0]).blocks()
    assert told["width"] == pytest.approx(72 * FIGURE_WIDTH)


def noted(made, sizes):
    """The same, which notes the room that a page has."""

    def made_and_noted(self, layout, upright, on_side):
        sizes.append((upright, on_side))
        made(self, layout, upright, on_side)

    return made_and_noted
