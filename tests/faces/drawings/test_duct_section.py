"""Drawings of a section: nothing is written over anything else, and every point stands where the traverse says."""

from functools import lru_cache

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.patches import Polygon

from calib import quantities
from calib.airflow.traverse import (
    EQUAL_AREA,
    FLAT_OVAL,
    LOG_LINEAR,
    LOG_TCHEBYCHEFF,
    RECTANGULAR,
    ROUND,
    Section,
    traverse,
    usual,
)
from calib.faces.drawings import save_all
from calib.faces.drawings.duct_section import section_chart
from calib.faces.parts.duct_section_text import length_text, lines_text, section_text, size_text

MM, INCH, FOOT, METRE = (quantities.unit("length", symbol) for symbol in ("mm", "in", "ft", "m"))

# Shape, width, height [m]; rule; lines and points, the usual ones where absent.
DRAWN = [
    (Section(RECTANGULAR, 1.2, 0.5), LOG_TCHEBYCHEFF, None),
    (Section(RECTANGULAR, 0.6, 0.8), LOG_LINEAR, None),
    (Section(RECTANGULAR, 1.6, 0.2), LOG_TCHEBYCHEFF, (8, 8)),
    (Section(RECTANGULAR, 0.2, 1.5), LOG_TCHEBYCHEFF, (5, 8)),
    (Section(RECTANGULAR, 1.5, 1.5), EQUAL_AREA, (20, 20)),
    (Section(RECTANGULAR, 0.3, 0.3), EQUAL_AREA, (1, 1)),
    (Section(ROUND, 0.4, 0.4), LOG_LINEAR, (3, 10)),
    (Section(ROUND, 0.4, 0.4), EQUAL_AREA, (4, 20)),
    (Section(ROUND, 0.4, 0.4), LOG_TCHEBYCHEFF, (2, 20)),
    (Section(FLAT_OVAL, 1.2, 0.4), LOG_TCHEBYCHEFF, (8, 5)),
    (Section(FLAT_OVAL, 1.5, 0.5), LOG_LINEAR, (20, 6)),
    (Section(FLAT_OVAL, 0.4, 0.4), EQUAL_AREA, None),
    (Section(RECTANGULAR, 2.0, 0.5), EQUAL_AREA, (40, 3)),
]
every_drawing = pytest.mark.parametrize(("section", "rule", "numbers"), DRAWN)


def points_of(section, rule, numbers):
    return traverse(section, rule, *(numbers or usual(section, rule)))


@lru_cache
def drawn(section, rule, numbers, unit=MM, insertion=0.0):
    figure = section_chart(section, rule, points_of(section, rule, numbers), unit, insertion).figure
    FigureCanvasAgg(figure).draw()
    return figure


def texts(figure):
    return [one for one in figure.axes[0].texts if one.get_text()]


def written(figure):
    return [one.get_text() for one in texts(figure)]


# --- to scale --------------------------------------------------------------------------------------------------------------------


@every_drawing
@pytest.mark.parametrize("unit", [MM, FOOT])
def test_no_text_is_written_over_another_or_over_the_edge(section, rule, numbers, unit):
    figure = drawn(section, rule, numbers, unit, insertion=0.025)
    boxes = [(one.get_text(), one.get_window_extent()) for one in texts(figure)]
    page = figure.bbox
    assert [text for text, box in boxes if box.x0 < 0 or box.y0 < 0 or box.x1 > page.x1 or box.y1 > page.y1] == []
    pairs = [(boxes[i], boxes[j]) for i in range(len(boxes)) for j in range(i)]
    # Half a printer's point: the boxes of digits hold a little air.
    air = 0.5 * figure.dpi / 72
    assert [
        (one[0], other[0])
        for one, other in pairs
        if min(one[1].x1, other[1].x1) - max(one[1].x0, other[1].x0) > air
        and min(one[1].y1, other[1].y1) - max(one[1].y0, other[1].y0) > air
    ] == []


@every_drawing
def test_every_point_is_drawn_to_scale(section, rule, numbers):
    axes = drawn(section, rule, numbers).axes[0]
    wall = next(one for one in axes.patches if isinstance(one, Polygon)).get_xy()
    (left, bottom), (right, top) = wall.min(axis=0), wall.max(axis=0)
    assert (right - left) / (top - bottom) == pytest.approx(section.width / section.height)
    dots = np.concatenate([np.column_stack(one.get_data()) for one in axes.lines if one.get_marker() == "o"])
    scale = (right - left) / section.width
    places = [(one.x * scale, one.y * scale) for one in points_of(section, rule, numbers)]
    assert dots - (left, bottom) == pytest.approx(np.array(places))


def test_the_wall_of_a_flat_oval_is_half_circles_and_straight_lines():
    section = Section(FLAT_OVAL, 1.2, 0.4)
    axes = drawn(section, EQUAL_AREA, None).axes[0]
    wall = next(one for one in axes.patches if isinstance(one, Polygon)).get_xy()
    x, y = ((wall - wall.min(axis=0)) / np.ptp(wall[:, 1]) * 0.4).T
    assert np.hypot(x - np.clip(x, 0.2, 1.0), y - 0.2) == pytest.approx(0.2)
    assert (x.max(), y.max()) == pytest.approx((1.2, 0.4))


@every_drawing
def test_a_line_is_drawn_from_wall_to_wall(section, rule, numbers):
    axes = drawn(section, rule, numbers).axes[0]
    wall = next(one for one in axes.patches if isinstance(one, Polygon)).get_xy()
    scale = np.ptp(wall[:, 0]) / section.width
    radius = 0 if section.shape == RECTANGULAR else section.height / 2
    for one in axes.lines:
        if one.get_marker() == "o":
            continue
        x, y = (np.column_stack(one.get_data()) - wall.min(axis=0)).T / scale
        if radius:
            distance = np.hypot(x - np.clip(x, radius, section.width - radius), y - radius)
            assert distance == pytest.approx(radius)
        else:
            assert y == pytest.approx([0, section.height], abs=1e-9)


def numbers_of_points(figure):
    """What is written within the walls."""
    axes = figure.axes[0]
    wall = next(one for one in axes.patches if isinstance(one, Polygon)).get_path()
    return [one.get_text() for one in texts(figure) if wall.contains_point(one.get_position())]


def test_every_point_has_its_number_where_there_is_room():
    figure = drawn(Section(RECTANGULAR, 1.2, 0.5), LOG_TCHEBYCHEFF, (6, 5))
    assert sorted(numbers_of_points(figure)) == sorted("12345" * 6)


def test_where_there_is_no_room_the_drawing_says_how_points_are_numbered():
    figure = drawn(Section(RECTANGULAR, 1.5, 1.5), EQUAL_AREA, (20, 20))
    assert numbers_of_points(figure) == []
    assert "equal-area; 20 lines with 20 points, 400 in all; numbered from the arrow on" in written(figure)


def test_the_marks_stand_below():
    # Log-linear, 8 points on 400 mm, by the printed positions 0.0209, 0.1172, 0.1838, 0.3448 to a tenth of a millimetre.
    shown = written(drawn(Section(ROUND, 0.4, 0.4), LOG_LINEAR, (2, 8)))
    assert {"every line", "8.3", "46.9", "73.5", "137.9", "Ø 400 mm", "point: mark [mm]"} <= set(shown)
    assert not any(text.startswith("line:") for text in shown)


def test_what_lies_before_the_inner_wall_is_in_the_marks_and_is_said():
    shown = written(drawn(Section(ROUND, 0.4, 0.4), LOG_LINEAR, (2, 8), insertion=0.025))
    assert {"33.3", "71.9", "25 mm of every mark lies before the inner wall"} <= set(shown)


def test_lines_that_are_marked_alike_stand_in_one_row():
    shown = written(drawn(Section(FLAT_OVAL, 1.2, 0.4), LOG_TCHEBYCHEFF, (8, 5)))
    assert {"lines 1, 8", "lines 2 to 7", "line: from the left [mm]"} <= set(shown)


@pytest.mark.parametrize("ending", ["svg", "png", "pdf"])
def test_a_drawing_can_be_written(ending, tmp_path):
    section = Section(ROUND, 0.4, 0.4)
    save_all([section_chart(section, LOG_LINEAR, points_of(section, LOG_LINEAR, None), MM)], tmp_path / f"a.{ending}")
    assert (tmp_path / f"a.{ending}").stat().st_size > 1000


# --- words -----------------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("length", "unit", "text"),
    [(0.0073576, MM, "7.4"), (0.0073576, METRE, "0.0074"), (0.0254, INCH, "1.00"), (0.3048, FOOT, "1.000")],
)
def test_a_length_is_written_to_what_can_be_marked(length, unit, text):
    assert length_text(length, unit) == text


@pytest.mark.parametrize(
    ("section", "unit", "text"),
    [
        (Section(RECTANGULAR, 1.2, 0.5), MM, "1200 × 500 mm"),
        (Section(ROUND, 0.3175, 0.3175), INCH, "Ø 12.5 in"),
        (Section(FLAT_OVAL, 1.0005, 0.5), MM, "1000.5 × 500 mm"),
    ],
)
def test_a_size_is_written_as_it_is_said(section, unit, text):
    assert size_text(section, unit) == text


@pytest.mark.parametrize(
    ("rule", "numbers", "text"),
    [
        (LOG_LINEAR, (4, 7), "4 lines with 7 and 6 points, 26 in all"),
        (EQUAL_AREA, (1, 1), "1 line with 1 point, 1 in all"),
        (EQUAL_AREA, (5, 4), "5 lines with 4 points, 20 in all"),
    ],
)
def test_lines_and_points_are_counted_in_words(rule, numbers, text):
    assert lines_text(traverse(Section(RECTANGULAR, 1.0, 1.0), rule, *numbers)) == text


# --- in signs --------------------------------------------------------------------------------------------------------------------


def test_a_rectangle_in_signs():
    section = Section(RECTANGULAR, 0.5, 0.18)
    # 61 signs by 11 rows, at the shares 1/6, 1/2, 5/6 across and 1/4, 3/4 up.
    blank, wall = "." + " " * 61 + ".", "." * 63
    row = "." + " " * 10 + "1" + " " * 19 + "2" + " " * 19 + "3" + " " * 10 + "."
    drawing = section_text(section, traverse(section, EQUAL_AREA, 3, 2)).split("\n")
    assert drawing[0] == drawing[-1] == wall
    assert drawing.count(row) == 2
    assert set(drawing[1:-1]) == {row, blank}


@every_drawing
def test_signs_are_the_same_from_the_left_and_from_the_right(section, rule, numbers):
    rows = section_text(section, points_of(section, rule, numbers)).split("\n")
    width = max(len(row) for row in rows)
    walls = ["".join("." if sign == "." else " " for sign in row.ljust(width)) for row in rows]
    assert walls == [row[::-1] for row in walls]
    assert walls == walls[::-1]


def test_every_line_is_told_by_its_number():
    section = Section(FLAT_OVAL, 1.2, 0.4)
    drawing = section_text(section, traverse(section, LOG_TCHEBYCHEFF, 8, 5))
    assert [drawing.count(str(line)) for line in range(1, 9)] == [5] * 8


@every_drawing
def test_signs_stay_within_a_terminal(section, rule, numbers):
    rows = section_text(section, points_of(section, rule, numbers)).split("\n")
    assert max(len(row) for row in rows) <= 63
    assert len(rows) <= 27
