"""The bar of the verdict: a part for each statement, as wide as its share; nothing of it is cut."""

from itertools import pairwise

import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg

from calib.faces.drawings import as_png
from calib.faces.drawings.verdict_bar import verdict_bar

ALL = {"pass": 230, "conditional pass": 41, "conditional fail": 17, "fail": 9, "not measured": 2, "not judged": 1}
FIVE = {"pass": 99, "conditional pass": 5, "conditional fail": 1, "fail": 1, "not measured": 1}


def test_each_statement_has_a_part_as_wide_as_its_share_and_none_that_nothing_has():
    (axes,) = verdict_bar(ALL | {"not judged": 0}).figure.axes

    assert [part.get_width() for part in axes.patches] == [230, 41, 17, 9, 2]
    assert axes.get_xlim() == (0, 299)


def test_where_nothing_was_to_be_judged_there_is_no_bar():
    assert verdict_bar({}) is None


def test_the_words_say_every_count():
    assert verdict_bar({"pass": 13, "fail": 1}).words == "Design flows by statement: 13 pass, 1 fail."


@pytest.mark.parametrize("counts", [ALL, FIVE, {"fail": 1}, {"pass": 13, "conditional pass": 5, "not measured": 1}])
def test_the_legend_names_every_count_within_the_picture(counts):
    figure = verdict_bar(counts).figure
    as_png(figure, 60)
    renderer = FigureCanvasAgg(figure).get_renderer()
    (legend,) = figure.legends

    assert [text.get_text().lstrip("●◐◔✘ ") for text in legend.get_texts()] == [
        f"{count} {word}" for word, count in counts.items()
    ]
    box = legend.get_window_extent(renderer)
    assert box.x0 >= 0
    assert box.x1 <= figure.bbox.x1
    assert all(text.get_window_extent(renderer).x1 <= figure.bbox.x1 for text in legend.get_texts())
    (axes,) = figure.axes
    assert box.y1 <= axes.get_window_extent(renderer).y0 + 1


def test_numbers_lie_neither_upon_one_another_nor_upon_the_whole_of_a_narrow_part():
    figure = verdict_bar(ALL).figure
    as_png(figure, 60)
    renderer = FigureCanvasAgg(figure).get_renderer()
    boxes = [text.get_window_extent(renderer) for text in figure.axes[0].texts]

    assert len(boxes) == 2
    assert all(left.x1 <= right.x0 for left, right in pairwise(boxes))


def test_its_letters_are_as_large_as_text_on_a_telephone():
    figure = verdict_bar(ALL).figure
    (legend,) = figure.legends
    texts = [*legend.get_texts(), *figure.axes[0].texts]

    enlarged = 360 / (72 * figure.get_figwidth())  # of 390 px the margins of the page take 30
    assert min(text.get_fontsize() for text in texts) * enlarged >= 12  # [px]
