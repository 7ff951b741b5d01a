"""U covers what is true as often as it says, through the whole program: certificate, curve, gate, readings, totals, statements.

Source: GUM 6.2.1 (an interval expected to encompass a stated share of the values); ILAC-P14 for 95.45 % (from memory). What is true
was drawn. `python -m tests.coverage 5000` counts more worlds.
"""

import csv
import math
import re

import pytest

from calib.faces.drawings import as_png, as_svg
from calib.faces.manual.pages import source
from tests.coverage.__main__ import FIGURES, PICTURE, kept, passes_told, told
from tests.coverage.assumptions import ASSUMPTIONS
from tests.coverage.counted import FOUND, KINDS, counted
from tests.coverage.picture import chart

COVERAGE_PROBABILITY = math.erf(math.sqrt(2))  # two standard deviations: 95.45 %
WORLDS = 500
HELD = [each for each in ASSUMPTIONS if each.holds]


@pytest.mark.parametrize("assumption", HELD, ids=lambda assumption: assumption.name)
def test_u_covers_what_is_true_as_often_as_it_says_where_the_assumptions_hold(assumption):
    """Less three standard errors of the count; and no more passes are wrong than the printed risks say."""
    result = counted(assumption, -(-WORLDS // len(HELD)), seed=20261129)
    of_ducts = {"readings", "totals", "nets"}
    kinds = {FOUND} if assumption.factor_by else of_ducts if assumption.traversed else {*KINDS} - {FOUND}
    assert set(result.covered) == kinds
    allowed = {kind: COVERAGE_PROBABILITY - 3 * result.error(kind) for kind in result.covered}
    assert {kind: result.share(kind) for kind in allowed if result.share(kind) < allowed[kind]} == {}
    if result.passes:
        assert result.wrong <= result.printed_risk + 3 * result.wrong_error


def test_half_of_u_covers_less_and_is_found_out():
    result = counted(ASSUMPTIONS[0], 100, seed=1, scale=0.5)
    assert all(result.share(kind) < COVERAGE_PROBABILITY - 3 * result.error(kind) for kind in result.covered)


def test_every_assumption_has_its_figures_and_they_keep_what_u_promises():
    with FIGURES.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["assumption"] for row in rows] == [each.name for each in ASSUMPTIONS]
    short = [
        (row["assumption"], kind)
        for row in rows
        for kind in KINDS
        if row["holds"] == "yes"
        and row[kind]
        and float(row[kind]) < 100 * COVERAGE_PROBABILITY - 3 * float(row[f"{kind} error"])
    ]
    assert short == []


def test_the_picture_is_that_of_the_figures_in_the_style_of_today():
    def looks(svg):
        return re.findall(r">([^<>]+)</text>", svg), set(re.findall(r"#[0-9a-f]{6}\b|font: [^;\"]+", svg))

    figure = chart(kept()).figure
    assert looks(PICTURE.read_text("utf-8")) == looks(as_svg(figure, "coverage"))


def test_nothing_of_the_picture_is_cut():
    figure = chart(kept()).figure
    as_png(figure, 60)
    texts = [
        *figure.axes[0].texts,
        *figure.axes[0].get_yticklabels(),
        figure.axes[0].title,
        *figure.legends[0].get_texts(),
    ]
    boxes = [text.get_window_extent() for text in texts]
    assert min(box.x0 for box in boxes) >= 0
    assert max(box.x1 for box in boxes) <= figure.bbox.x1


def test_the_manual_has_the_figures():
    with FIGURES.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    lines = [*map(told, rows), passes_told(rows)]
    assert [line for line in lines if line not in source("numbers")] == []


def test_the_sentence_on_wrong_passes_says_what_the_figures_say():
    row, more, none = (
        {"wrong passes": wrong, "printed risk": risk}
        for wrong, risk in (("12.00", "14.00"), ("14.25", "13.75"), ("", ""))
    )
    assert passes_told([row, none]).endswith(
        "In each of 1 lines they are no more than the risks printed beside them say."
    )
    assert passes_told([row, more, none]).endswith(
        "In 1 of 2 lines they are no more than the risks printed beside them say, in 1 more, by 0.5 points at the most."
    )
