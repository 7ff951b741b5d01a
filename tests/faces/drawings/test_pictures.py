"""Every picture against a golden PNG, within a tolerance; and what any picture must keep to.

A golden picture is drawn at 60 dpi and was looked at when it was kept. To keep new ones after a change that is meant:
`CALIB_KEEP_PICTURES=1 python -m pytest -n0 tests/faces/drawings/test_pictures.py`, then look at each.
"""

import os
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from calib.faces import drawings
from calib.faces.drawings import job, style
from calib.faces.drawings.due import due_chart
from tests import pictures
from tests.drawn import DPI, DRAWN, figure_of, svg_of

GOLDEN = Path(__file__).parents[2] / "golden" / "pictures"
LARGEST = 15_000  # [bytes]
# Of 255, see `pictures.difference`. The few colours of the golden pictures cost up to 2, half a pixel up to 8; the changes below
# come to more than 12.
TOLERANCE = 9.0

every_picture = pytest.mark.parametrize("name", DRAWN)


def golden(name):
    return (GOLDEN / f"{name}.png").read_bytes()


@every_picture
def test_a_picture_is_the_golden_one(name):
    shown = drawings.as_png(figure_of(name), DPI)
    if os.environ.get("CALIB_KEEP_PICTURES"):
        (GOLDEN / f"{name}.png").write_bytes(pictures.in_few_colours(shown))
    assert pictures.difference(shown, golden(name)) < TOLERANCE


def test_every_golden_picture_is_drawn_and_small():
    kept = {path.stem: path.stat().st_size for path in GOLDEN.glob("*.png")}
    assert kept.keys() == DRAWN.keys()
    assert {name: size for name, size in kept.items() if size > LARGEST} == {}


# One small change each: a number, a sign, a bar of U, an order.
CHANGED = {
    "curve": lambda: drawings.curve_chart(replace(pictures.CURVE, compared=np.array([-0.03, 0.06, 0.16]))),
    "budget": lambda: drawings.budget_bars(pictures.JOB[0] | {"contributions": _with_another_evaluation()}),
    "overview": lambda: job.overview_charts(
        [pictures.reading("S1", value=90.0, statement="conditional pass"), *pictures.JOB[1:]]
    )[0],
    "balance": lambda: job.balance_chart(
        pictures.BALANCE
        | {"job_totals": [pictures.total("", "supply", 900.0, 80.0, 1000.0), pictures.BALANCE["job_totals"][1]]}
    ),
    "due": lambda: due_chart(replace(pictures.FLEET, bars=pictures.FLEET.bars[::-1])),
}


def _with_another_evaluation():
    return [one | {"evaluation": "B"} if one["name"] == "repeatability" else one for one in pictures.CONTRIBUTIONS]


@pytest.mark.parametrize("name", CHANGED)
def test_a_changed_picture_is_seen(name):
    assert pictures.difference(drawings.as_png(CHANGED[name](), DPI), golden(name)) > TOLERANCE


@every_picture
@pytest.mark.parametrize("axis", [0, 1])
def test_a_picture_moved_by_up_to_a_pixel_is_let_be(name, axis):
    shown = pictures.pixels(golden(name))
    for share in (0.5, 1.0):
        moved = (1 - share) * shown + share * np.roll(shown, 1, axis=axis)
        assert pictures.difference_of(shown, moved) < TOLERANCE


@every_picture
def test_no_text_is_cut_off_and_none_lies_over_another(name):
    boxes = pictures.boxes_of_texts(figure_of(name))
    page = figure_of(name).bbox
    outside = [
        text
        for text, box in boxes
        if not (box.x0 > -1 and box.y0 > -1 and box.x1 < page.x1 + 1 and box.y1 < page.y1 + 1)
    ]
    assert outside == []
    assert pictures.texts_over_texts(boxes) == []


@pytest.mark.parametrize("dpi", [60, 160])
def test_a_text_is_as_wide_at_every_resolution_as_when_the_picture_was_laid_out(dpi):
    """Fitted to pixels, letters are up to 8 % wider at one resolution than at another, and the longest words were cut off."""
    with style.house_style():
        figure = due_chart(pictures.FLEET)
        drawings.as_png(figure)  # laid out
        widths = {text: box.width / figure.dpi for text, box in pictures.boxes_of_texts(figure)}
        figure.set_dpi(dpi)
        after = {text: box.width / dpi for text, box in pictures.boxes_of_texts(figure)}
    assert after == pytest.approx(widths, rel=0.02)


@every_picture
def test_nothing_that_is_drawn_is_not_a_number(name):
    assert re.search(r"\b(nan|inf)\b", svg_of(name), re.IGNORECASE) is None


@every_picture
def test_the_same_picture_has_the_same_bytes_after_any_other_form(name):
    assert svg_of(name) == drawings.as_svg(DRAWN[name](), "a")


def test_pictures_are_files_numbered_where_there_are_several(tmp_path):
    figures = [figure_of("budget"), figure_of("curve")]
    assert drawings.save_all(figures, tmp_path / "job.svg") == [tmp_path / "job-1.svg", tmp_path / "job-2.svg"]
    assert drawings.save_all(figures[:1], tmp_path / "job.png") == [tmp_path / "job.png"]
    assert sorted(path.name for path in tmp_path.iterdir()) == ["job-1.svg", "job-2.svg", "job.png"]
