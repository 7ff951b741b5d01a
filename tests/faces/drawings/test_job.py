"""The pictures of a job: what they draw is what the content says, and what hand-calculation gives.

Percent of design and U in percent are worked out in the comments of tests/pictures.py.
"""

import numpy as np
import pytest
from matplotlib.collections import LineCollection
from matplotlib.text import Text

from calib.errors import CalibError
from calib.faces import drawings
from calib.faces.drawings.balance import balance_charts
from calib.faces.drawings.outlets import MOST_NAMED
from calib.faces.drawings.overview import overview_charts
from calib.faces.drawings.style import HIGHEST_FIGURE
from tests import pictures
from tests.pictures import BALANCE, FORMULA, JOB, reading, total


def figures_of(charts):
    return [chart.figure for chart in charts]


def words_of(charts):
    return [chart.words for chart in charts]


def bars_of_u(axes):
    """Middle and half-length of every bar of U, by its row."""
    segments = [one for each in axes.collections if isinstance(each, LineCollection) for one in each.get_segments()]
    level = [one for one in segments if one[0][1] == one[1][1]]
    return {float(one[0][1]): ((one[0][0] + one[1][0]) / 2, abs(one[1][0] - one[0][0]) / 2) for one in level}


def rows_of(axes):
    """Name of each row by its place."""
    return {place: label.get_text() for place, label in zip(axes.get_yticks(), axes.get_yticklabels(), strict=True)}


def by_name(axes, found):
    return {rows_of(axes)[place]: what for place, what in found.items()}


def rectangles(axes):
    """(row, left, right, height) of every bar."""
    return [
        (round(one.get_y() + one.get_height() / 2, 6), one.get_x(), one.get_x() + one.get_width(), one.get_height())
        for one in axes.patches
    ]


# --- outlets against their design ------------------------------------------------------------------------------------------------


@pytest.fixture
def overview():
    (figure,) = figures_of(overview_charts(JOB))
    return figure


def test_every_outlet_stands_in_its_system_and_the_latest_reading_counts(overview):
    judged, apart = overview.axes
    assert list(rows_of(judged).values()) == ["AHU-1", "S1", "S2", "R1", "EF-3", "E1"]
    assert list(rows_of(apart).values()) == ["AHU-1", "B1"]


def test_the_bars_are_u_in_percent_of_design(overview):
    found = by_name(overview.axes[0], bars_of_u(overview.axes[0]))
    expected = {"S1": (90, 6), "S2": (80, 12), "R1": (113, 5), "E1": (107.5, 10)}
    assert found == {name: pytest.approx(pair) for name, pair in expected.items()}


def test_the_band_is_the_tolerance_about_the_design(overview):
    axes = overview.axes[0]
    found = by_name(axes, {row: (left, right) for row, left, right, _ in rectangles(axes)})
    assert found == {
        name: pytest.approx(ends)
        for name, ends in {"S1": (90, 110), "S2": (85, 115), "R1": (90, 110), "E1": (90, 110)}.items()
    }


def test_what_has_no_design_is_drawn_as_a_flow(overview):
    axes = overview.axes[1]
    assert by_name(axes, bars_of_u(axes)) == {"B1": pytest.approx((36, 2))}
    assert axes.get_xlabel() == "flow [L/s]"


def test_flows_without_design_in_several_units_share_one_axis():
    mixed = [reading("A", value=36.0, expanded=3.6, design=None, unit="m3/h"), reading("B", value=20.0, design=None)]
    (figure,) = figures_of(overview_charts(mixed))
    # 36 m3/h are 10 L/s.
    assert by_name(figure.axes[0], bars_of_u(figure.axes[0])) == {
        "A": pytest.approx((10, 1)),
        "B": pytest.approx((20, 6)),
    }


def test_each_statement_has_a_sign_of_its_own():
    signs = {}
    for statement in ("pass", "conditional pass", "conditional fail", "fail", None):
        (figure,) = figures_of(overview_charts([reading("S1", statement=statement)]))
        drawn = [one for one in figure.axes[0].lines if len(one.get_xdata()) == 1]
        signs[statement] = tuple((str(one.get_marker()), one.get_markerfacecolor()) for one in drawn)
    assert len(set(signs.values())) == 5
    assert all(signs.values())


def test_the_words_beside_the_rows_are_flows_with_u(overview):
    words = {one.get_text() for one in overview.axes[0].texts}
    assert {"90.0 ± 6.0 L/s", "60.0 ± 9.0 L/s, fail", "113.0 ± 5.0 L/s", "43.0 ± 4.0 L/s"} <= words


def test_what_lies_far_out_stands_at_the_edge_with_its_number():
    (figure,) = figures_of(overview_charts([reading("S1", value=912.0, statement="fail"), reading("S2")]))
    axes = figure.axes[0]
    assert axes.get_xlim()[1] == 200
    assert "912 % ✘" in {one.get_text() for one in axes.texts}
    assert [tuple(one.get_xdata()) for one in axes.lines if one.get_marker() == ">"] == [(200,)]


def test_a_job_without_readings_has_no_picture():
    assert overview_charts([]) == []
    assert overview_charts([], [left("S9")]) == []


def left(outlet, system="AHU-1", design=100.0):
    """An outlet that was not measured, as a report's content has it."""
    wanted = None if design is None else {"value": design, "unit": "L/s", "tolerance_percent": 10.0}
    return {"outlet": outlet, "system": system, "design": wanted}


def test_an_outlet_that_was_not_measured_has_a_row_in_its_system_and_no_flow():
    (figure,) = figures_of(overview_charts(JOB, [left("S3"), left("B2", design=None)]))
    judged, apart = figure.axes
    assert list(rows_of(judged).values()) == ["AHU-1", "S1", "S2", "R1", "S3", "EF-3", "E1"]
    assert list(rows_of(apart).values()) == ["AHU-1", "B1", "B2"]
    for axes, name in ((judged, "S3"), (apart, "B2")):
        row = next(place for place, label in rows_of(axes).items() if label == name)
        assert row not in bars_of_u(axes)
        assert [one.get_text() for one in axes.texts].count("not measured") == 1
    bands = by_name(judged, {row: (a, b) for row, a, b, _ in rectangles(judged)})
    assert bands["S3"] == pytest.approx((90, 110))
    labels = {one.get_text() for one in figure.legends[0].get_texts()}
    assert not {"not judged", "not measured"} & labels


def test_a_system_that_was_not_measured_at_all_has_its_rows():
    (figure,) = figures_of(overview_charts([reading("B1", design=None)], [left("S1", "AHU-9"), left("S2", "AHU-9")]))
    assert list(rows_of(figure.axes[0]).values()) == ["AHU-9", "S1", "S2"]
    (text,) = words_of(overview_charts([reading("B1", design=None)], [left("S1", "AHU-9")]))
    assert text.endswith("Not measured: S1.")


def test_among_many_outlets_those_not_measured_are_counted_and_named():
    chart = overview_charts(pictures.many(120, 5), [left(f"X{n}") for n in range(15)])[0]
    assert len(bars_of_u(chart.figure.axes[0])) == 120
    assert any("15 more not measured" in one.get_text() for one in chart.figure.findobj(Text))
    assert "Not measured: X0, X1," in chart.words
    assert chart.words.endswith("and 3 more.")


# A system's name is a row too, and a page has 34.
@pytest.mark.parametrize(
    ("count", "systems", "figures"), [(1, 1, 1), (31, 3, 1), (32, 3, 2), (MOST_NAMED, 3, 2), (35, 35, 3)]
)
def test_up_to_sixty_outlets_have_a_row_each_as_many_as_a_page_holds(count, systems, figures):
    drawn = figures_of(overview_charts(pictures.many(count, systems)))
    assert len(drawn) == figures
    names = [name for figure in drawn for name in rows_of(figure.axes[0]).values() if name.startswith("S-")]
    assert names == [f"S-{number}" for number in range(count)]
    assert sum(len(bars_of_u(figure.axes[0])) for figure in drawn) == count
    assert max(figure.get_size_inches()[1] for figure in drawn) <= HIGHEST_FIGURE


def test_those_without_a_design_have_a_figure_of_their_own_where_one_does_not_hold_both():
    judged, apart = pictures.many(20), [reading(f"B-{n}", design=None) for n in range(20)]
    first, second = figures_of(overview_charts([*judged, *apart]))
    assert (len(bars_of_u(first.axes[0])), len(bars_of_u(second.axes[0]))) == (20, 20)
    assert second.axes[0].get_xlabel() == "flow [L/s]"


def test_a_thousand_outlets_are_thin_lines_sorted_within_their_systems():
    readings = pictures.many(1000)
    figures = figures_of(overview_charts(readings))
    assert len(figures) == 2
    found = [bars_of_u(figure.axes[0]) for figure in figures]
    assert [len(one) for one in found] == [500, 500]
    assert max(figure.get_figheight() for figure in figures) <= HIGHEST_FIGURE
    middles = [middle for each in found for _, (middle, _) in sorted(each.items())]
    systems = sorted({one["system"] for one in readings}, key=lambda name: int(name.partition("-")[2]))
    expected = [
        value
        for system in systems
        for value in sorted(one["design"]["percent_of_design"] for one in readings if one["system"] == system)
    ]
    assert middles == pytest.approx(expected)


def test_each_of_a_thousand_outlets_is_marked_in_the_lane_of_its_statement():
    readings = pictures.many(1000)
    lanes = [figure.axes[1] for figure in figures_of(overview_charts(readings))]
    # A lane is 0.76 wide about its number.
    counts = np.zeros(4, int)
    for axes in lanes:
        for lane, each in enumerate(each for each in axes.collections if isinstance(each, LineCollection)):
            segments = each.get_segments()
            counts[lane] += len(segments)
            assert all(np.mean([one[0][0], one[1][0]]) == pytest.approx(lane) for one in segments)
    words = [one["design"]["conformity"] for one in readings]
    assert counts.tolist() == [words.count(name) for name in ("pass", "conditional pass", "conditional fail", "fail")]


def test_the_text_of_the_overview_tells_its_numbers():
    (text,) = words_of(overview_charts(JOB))
    assert text == (
        "Flow of 4 outlets in percent of design with its expanded uncertainty and tolerance: 1 pass, 1 conditional pass, "
        "1 conditional fail, 1 fail. From (80 ± 12) % at S2 to (113.0 ± 5.0) % at R1. Fail: S2 (80 ± 12) %. "
        "Conditional fail: R1 (113.0 ± 5.0) %. Without a design, 1 outlet: B1 36.0 ± 2.0 L/s."
    )


def test_there_is_a_text_for_each_figure_and_a_long_list_is_cut():
    readings = pictures.many(1000)
    texts = words_of(overview_charts(readings))
    assert len(texts) == len(overview_charts(readings))
    assert texts[1].startswith("Picture 2 of 2. Flow of 500 outlets")
    assert all(len(text) < 1500 for text in texts)
    failed = sum(one["design"]["conformity"] == "fail" for one in readings[:500])
    assert f"and {failed - 12} more." in texts[0]


# --- balance ---------------------------------------------------------------------------------------------------------------------


@pytest.fixture
def balance():
    return balance_charts(BALANCE)[0].figure.axes[0]


def test_every_total_has_its_row_below_its_system(balance):
    names = list(rows_of(balance).values())
    assert names == [
        "AHU-1", "supply", "return", "net", "EF-3", "exhaust", "EF-4", "exhaust", "all systems", "supply", "net",
    ]  # fmt: skip


def test_a_bar_is_as_long_as_the_flow_on_the_axis_of_one_unit(balance):
    # 360 m3/h are 100 L/s.
    found = {row: right for row, left, right, height in rectangles(balance) if height == 0.5 and left == 0}
    assert found == {
        row: pytest.approx(value) for row, value in {1: 900, 2: 800, 3: 100, 5: 100, 9: 900, 10: 0}.items()
    }
    assert balance.get_xlabel() == "flow [L/s]"


def test_the_bars_of_u_stand_about_the_flows(balance):
    # 36 m3/h are 10 L/s.
    expected = {1: (900, 45), 2: (800, 60), 3: (100, 75), 5: (100, 10), 9: (900, 45), 10: (0, 76)}
    assert bars_of_u(balance) == {row: pytest.approx(pair) for row, pair in expected.items()}


def test_the_marks_are_the_designs_and_the_pale_bars_their_tolerances(balance):
    marks = {
        round(float(np.mean(upright[:, 1])), 6): upright[0, 0]
        for one in balance.collections
        if one.get_linewidth()[0] == 2.0
        for upright in one.get_segments()
        if upright[0, 0] == upright[1, 0] and upright[0, 1] != upright[1, 1]
    }
    expected = {1: 1000, 2: 780, 3: 220, 7: 50, 9: 1000, 10: 108.9}  # none of row 5, a part of the outlets
    assert marks == {row: pytest.approx(value) for row, value in expected.items()}
    pale = {row: (left, right) for row, left, right, height in rectangles(balance) if height == 0.94}
    assert pale == {1: pytest.approx((900, 1100)), 2: pytest.approx((702, 858))}


def test_a_sum_of_a_part_of_the_outlets_is_hatched_and_says_so(balance):
    hatches = {
        round(one.get_y() + one.get_height() / 2): one.get_hatch() for one in balance.patches if one.get_height() == 0.5
    }
    assert [row for row, hatch in hatches.items() if hatch == hatches[5]] == [5]
    assert set(hatches[5]) == {"\\"}
    assert "a part of the outlets" in {one.get_text() for one in balance.figure.legends[0].get_texts()}


def test_what_is_measured_in_part_or_not_at_all_is_told_in_words(balance):
    words = [one.get_text() for one in balance.texts]
    assert "360 ± 36 m³/h, 2 of 3" in words
    assert "not measured" in words


def test_a_total_that_fails_says_so_in_bold():
    failed = total("AHU-1", "supply", 700.0, 45.0, 1000.0, 10.0)
    failed["design"]["conformity"] = "fail"
    (axes,) = figures_of(balance_charts({"totals": [failed], "job_totals": []}))[0].axes
    assert [(one.get_text(), one.get_fontweight()) for one in axes.texts] == [("700 ± 45 L/s, fail", "bold")]


def test_the_text_of_the_balance_tells_its_numbers():
    text = balance_charts(BALANCE)[0].words
    assert "AHU-1: supply 900 ± 45 L/s against 1000 L/s (90.0 % of design), pass; return 800 ± 60 L/s" in text
    assert "EF-3: exhaust 360 ± 36 m³/h, 2 of 3 outlets (the design of all is 400 m³/h)." in text
    assert "EF-4: exhaust not measured against 50 L/s." in text
    assert "all systems: supply 900 ± 45 L/s" in text


def test_many_systems_are_several_pictures_and_none_is_parted():
    totals = [total(f"AHU-{n}", service, 100.0, 9.0) for n in range(30) for service in ("supply", "return", "net")]
    content = {"totals": totals, "job_totals": [total("", "net", 10.0, 5.0)]}
    figures, texts = figures_of(balance_charts(content)), words_of(balance_charts(content))
    assert len(figures) == len(texts) == 4
    names = [name for figure in figures for name in rows_of(figure.axes[0]).values()]
    assert [name for name in names if name.startswith("AHU")] == [f"AHU-{n}" for n in range(30)]
    assert all(list(rows_of(figure.axes[0]).values())[-1] == "net" for figure in figures)
    assert figures[0].axes[0].get_title(loc="left") == "Balance of the systems, 1 of 4"
    assert max(figure.get_figheight() for figure in figures) <= HIGHEST_FIGURE


def test_a_single_system_is_not_told_twice():
    content = {"totals": [total("AHU-1", "supply", 9.0, 1.0)], "job_totals": [total("", "supply", 9.0, 1.0)]}
    assert list(rows_of(balance_charts(content)[0].figure.axes[0]).values()) == ["AHU-1", "supply"]


def test_without_totals_there_is_nothing_to_draw():
    with pytest.raises(CalibError, match="no totals to draw"):
        balance_charts({"totals": [], "job_totals": []})


# --- typed text ------------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("typed", [FORMULA, "=1+1", "\u202egnp.exe", "測風口 🌬", "x" * 10_000, "a\tb\nc"])
def test_typed_text_is_text_in_every_picture(typed):
    readings = [reading(typed, typed), reading("S2", typed, design=None)]
    charts = [*overview_charts(readings), drawings.budget_bars(readings[0])]
    charts += balance_charts({"totals": [total(typed, "supply", 9.0, 1.0)], "job_totals": []})
    for chart in charts:
        drawn = drawings.as_svg(chart.figure, "typed")
        assert "<b>" not in drawn
        assert len(drawn) < 100_000
    assert len(words_of(overview_charts(readings))[0]) < 1000


def test_a_formula_is_not_set_as_one():
    drawn = drawings.as_svg(drawings.budget_bars(reading("$a^2$")).figure, "formula")
    assert "$a^2$, reading 1: budget" in drawn
