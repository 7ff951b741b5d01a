"""Pictures of budgets and of a curve: the bars are the shares of the content, the points and bars of U those of the certificate."""

import numpy as np
import pytest
from matplotlib.collections import LineCollection, PolyCollection

from calib.faces import drawings
from calib.faces.drawings import budget_bars, curve_chart
from calib.faces.drawings.style import EVALUATION_LOOKS
from tests.pictures import CONTRIBUTIONS, CURVE, DISTRIBUTION, JOB, SORTED, contribution, reading

# --- one budget ------------------------------------------------------------------------------------------------------------------


def test_the_bars_are_the_shares_largest_first():
    axes = budget_bars(JOB[0]).figure.axes[0]
    names = [label.get_text() for label in axes.get_yticklabels()]
    assert list(zip(names, [one.get_width() for one in axes.patches], strict=True)) == SORTED
    assert sum(one.get_width() for one in axes.patches) == pytest.approx(100)
    top, bottom = axes.get_ylim()[::-1]
    assert top < 0 < bottom  # the first row is the highest


def test_each_bar_has_its_percentage_beside_it():
    words = [one.get_text() for one in budget_bars(JOB[0]).figure.axes[0].texts]
    assert words[:7] == ["38.2 %", "20.0 %", "20.0 %", "12.2 %", "9.5 %", "< 0.1 %", "0 %"]


def test_type_a_and_type_b_differ_in_hatch():
    axes = budget_bars(JOB[0]).figure.axes[0]
    hatches = {
        label.get_text(): one.get_hatch() for label, one in zip(axes.get_yticklabels(), axes.patches, strict=True)
    }
    assert hatches["repeatability"] == hatches["calibration scatter"] == EVALUATION_LOOKS["A"].sign
    assert {hatches[name] for name in ("method", "stability")} == {EVALUATION_LOOKS["B"].sign}
    assert EVALUATION_LOOKS["A"].sign != EVALUATION_LOOKS["B"].sign


@pytest.mark.parametrize("shares", [[100.0], [0.0, 0.0], [99.99, 0.01]])
def test_budgets_of_few_or_no_shares_are_drawn(shares):
    one = reading("S1", contributions=[contribution(f"part {n}", share) for n, share in enumerate(shares)])
    assert [each.get_width() for each in budget_bars(one).figure.axes[0].patches] == shares


def test_the_distribution_stands_below_the_bars():
    figure = budget_bars(JOB[0], DISTRIBUTION).figure
    above, below = figure.axes
    assert len(above.patches) == len(CONTRIBUTIONS)
    assert below.get_xlabel() == "flow [L/s]"
    ends = [one.get_xdata()[0] for one in below.lines if len(set(one.get_xdata())) == 1]
    assert ends == [84.0, 96.0, 84.1, 95.9]


def test_the_law_is_the_normal_density_of_its_value_and_u():
    axes = budget_bars(JOB[0], DISTRIBUTION).figure.axes[1]
    x, y = axes.lines[0].get_data()
    # The density of N(90, 3) is 1 / (3 sqrt(2 pi)) at 90 and exp(-1/2) of that at 93.
    assert np.interp([90.0, 93.0], x, y) == pytest.approx([0.132981, 0.080657], abs=2e-5)


def test_the_texts_of_the_budget_and_of_the_distribution_tell_their_numbers():
    assert budget_bars(JOB[0]).words.endswith(
        "largest first: outlet factor 38.2 %; stability 20.0 %; method 20.0 %; reference standard 12.2 %; repeatability 9.5 %; "
        "calibration scatter < 0.1 %; resolution 0 %."
    )
    assert "20000 Monte Carlo trials" in budget_bars(JOB[0], DISTRIBUTION).words
    assert "84.1 to 95.9" in budget_bars(JOB[0], DISTRIBUTION).words


# --- a curve ---------------------------------------------------------------------------------------------------------------------


def test_the_curve_has_its_points_their_u_its_band_and_its_residuals():
    upper, lower = curve_chart(CURVE).figure.axes
    points = next(one for one in upper.lines if one.get_marker() == "o")
    assert np.column_stack(points.get_data()) == pytest.approx(np.array([[0.5, -0.03], [5.0, 0.05], [15.0, 0.16]]))
    bars = next(one for one in upper.collections if isinstance(one, LineCollection)).get_segments()
    assert [(one[0][1], one[1][1]) for one in bars] == [
        pytest.approx(ends) for ends in [(-0.045, -0.015), (0.0, 0.1), (0.03, 0.29)]
    ]
    band = next(one for one in upper.collections if isinstance(one, PolyCollection)).get_paths()[0].vertices
    assert (band[:, 1].min(), band[:, 1].max()) == pytest.approx((-0.035, 0.28))
    residuals = next(one for one in lower.lines if one.get_marker() == "o").get_ydata()
    assert residuals == pytest.approx([-0.01, 0.017, 0.01])


def test_the_text_of_the_curve_tells_its_numbers():
    text = curve_chart(CURVE).words
    assert "3 comparisons from 0.5 to 15" in text
    assert "The largest residual is 0.017 at 5, where U of the comparison is 0.05." in text


def test_png_and_svg_are_what_they_say():
    figure = drawings.budget_bars(JOB[0]).figure
    assert drawings.as_png(figure).startswith(b"\x89PNG")
    assert drawings.as_svg(figure, "a").startswith("<svg")
