"""`calib help python`: each example runs as it stands and prints what the page says, and that is right.

Sources: the GUM Workbench's rules by the library GTC for the budget; GUM H.3 (reference_data/gum_h3) for the curve;
tests/worked_cases/pitot_traverse_round and reference_data/traverse_positions for the traverse.
"""

import contextlib
import io
import re

import GTC
import pytest

from calib.faces.manual.pages import source
from tests.reference import agrees, printed

EXAMPLES = re.findall(r"```python\n(.*?)```\n\nprints\n\n```\n(.*?)```", source("python"), flags=re.DOTALL)
BUDGET, CURVE, TRAVERSE = [shown for _, shown in EXAMPLES]


@pytest.mark.parametrize(("code", "shown"), EXAMPLES, ids=["budget", "curve", "traverse"])
def test_an_example_prints_what_the_page_says(code, shown):
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        exec(code, {})  # noqa: S102 (it is the page's own)
    assert out.getvalue() == shown


def test_the_budget_is_that_of_another_library():
    velocity = GTC.type_a.estimate([2.41, 2.38, 2.44])
    certificate, method = GTC.ureal(0, 0.025), GTC.ureal(1, 0.025)
    side = 0.001 / 3**0.5
    flow = (
        3600 * (velocity + certificate) * GTC.ureal(0.4, side) * GTC.ureal(0.2, side) * GTC.ureal(0.85, 0.02) * method
    )
    k = GTC.reporting.k_factor(flow.df, 95.45)
    value, expanded, factor = re.search(r"\((\d+) ± (\d+)\) m3/h, k = ([\d.]+)", BUDGET).groups()
    assert agrees(flow.x, value)
    assert agrees(k * flow.u, expanded)
    assert agrees(k, factor)
    assert float(re.search(r"method +([\d.]+) %", BUDGET)[1]) == pytest.approx(
        100 * (0.025 * flow.x / flow.u) ** 2, abs=0.051
    )


def test_the_curve_is_that_of_the_gum():
    published = printed("gum_h3", "published")
    assert re.findall(r"(-?[\d.]+) degC", CURVE) == [published["b(30)"], published["u(b(30))"]]


def test_the_traverse_is_that_of_the_independent_case():
    result = printed("pitot_traverse_round", "results")
    velocity, flow = re.search(r"([\d.]+) m/s, (\d+) m3/h", TRAVERSE).groups()
    assert agrees(float(result["v"]), velocity)
    assert agrees(float(result["q hourly"]), flow)
