"""Every number of the demo's report can be worked out from its paper: the text of the PDF goes into an independent program.

The program is tests/independent_paper.py, which has nothing of `calib`; what it says must be what the paper says, to the digits
printed: half a unit of the last one (GUM 7.2.6). Flows "unrounded" have six digits.
"""

import math
import re
from dataclasses import replace

import pytest

from tests.independent_paper import SI, FromPaper
from tests.paper import Paper, number

SIGN = {"supply": 1, "return": -1, "exhaust": -1}
ROUNDING = 1 + 1e-6  # of floats, where a number lies just between two that can be printed


def agrees(value, printed, unit=None):
    """Whether a number is printed rounded to a unit, or to that of its last digit."""
    last = 10.0 ** -len(printed.partition(".")[2]) if unit is None else unit
    return abs(value - number(printed)) <= last / 2 * ROUNDING


def digits(value, count):
    """The unit of the last of so many digits."""
    return 10.0 ** (math.floor(math.log10(abs(value))) - count + 1) if value else 1.0


def agrees_to(value, printed, count):
    """Whether a number is printed with so many digits, zeros at their end left out."""
    return agrees(value, printed, digits(number(printed), count))


@pytest.fixture(scope="module")
def paper(demo_folder):
    return Paper(demo_folder / "LM-27-r2.pdf")


@pytest.fixture(scope="module")
def worked_out(paper):
    return FromPaper(paper)


def results(paper, worked_out):
    """Every reading as it is printed, and what was worked out for it."""
    for place, reading in enumerate(paper.readings):
        yield reading, paper.stated[place], paper.budgets[place], worked_out.result(reading.number)


def total(paper, worked_out, where, what, unit):
    """A total of the readings that belong to it."""
    signs = {}
    for reading, stated in zip(paper.readings, paper.stated, strict=True):
        in_room = where == "room" and reading.outlet in paper.rooms[what]
        in_system = where in ("All systems", stated.system) and what in ("net", stated.service)
        if stated.is_in_totals and (in_room or in_system):
            signs[reading.number] = SIGN[stated.service] if in_room or what == "net" else 1
    return worked_out.total(signs, unit)


def misfits_of_budget(name, printed, result):
    """Lines of a budget, u and degrees of freedom that differ from what was worked out."""
    parts, u, dof = printed
    own = [each for each, _ in result.parts.values()]
    if len(own) != len(parts):
        yield f"{name}: {len(parts)} lines for {list(result.parts)}"
    for line, value, text in zip(result.parts, own, parts, strict=False):
        if not agrees_to(value, text, 2):
            yield f"{name}, {line}: {value} is printed {text}"
    if not agrees_to(result.u, u, 2):
        yield f"{name}, u: {result.u} is printed {u}"
    is_beyond = dof == "> 9999" and result.dof > 9999
    if not is_beyond and not agrees_to(result.dof, dof, max(3, len(dof.partition(".")[0]))):
        yield f"{name}, degrees of freedom: {result.dof} are printed {dof}"


def misfits_of_flow(name, value, expanded, k, result):
    """Value, U and k that differ from what was worked out; both are rounded to the place of two digits of U."""
    place = digits(number(expanded), 2)
    u = result.k * result.u
    shown = (("flow", result.value, value, place), ("U", u, expanded, place), ("k", result.k, k, None))
    yield from (
        f"{name}, {what}: {own} is printed {text}" for what, own, text, unit in shown if not agrees(own, text, unit)
    )


def misfits_of_flows(paper, worked_out):
    """Flows with six digits that differ from what was worked out."""
    for reading, _, _, result in results(paper, worked_out):
        if not agrees_to(result.value, reading.flow, 6):
            yield f"reading {reading.number}: {result.value} is printed {reading.flow} {reading.flow_unit}"


def test_a_unit_is_not_broken_at_the_end_of_a_line(paper):
    assert [line for line in paper.whole.lines if re.search(r"[a-zA-Z3]/$", line)] == []


def test_every_reading_of_the_job_stands_in_the_evidence(paper):
    assert sorted(int(reading.number) for reading in paper.readings) == list(range(1, 30))
    assert {reading.taken for reading in paper.readings} == set(paper.taken)


def test_every_flow_can_be_worked_out_from_the_paper(paper, worked_out):
    assert list(misfits_of_flows(paper, worked_out)) == []


def test_every_line_of_every_budget_can_be_worked_out_from_the_paper(paper, worked_out):
    rows = list(results(paper, worked_out))
    assert [
        each for reading, _, budget, result in rows for each in misfits_of_budget(reading.number, budget, result)
    ] == []


def test_every_stated_flow_with_its_u_and_k_can_be_worked_out_from_the_paper(paper, worked_out):
    misfits = []
    for reading, stated, _, result in results(paper, worked_out):
        in_unit = replace_value(result, SI[reading.flow_unit] / SI[stated.unit])
        misfits += misfits_of_flow(reading.number, stated.value, stated.expanded, stated.k, in_unit)
    assert misfits == []


def replace_value(result, factor):
    """A result in another unit."""
    parts = {name: (u * factor, dof) for name, (u, dof) in result.parts.items()}
    return replace(
        result, value=result.value * factor, parts=parts, series=[(u * factor, dof) for u, dof in result.series]
    )


def test_every_total_can_be_worked_out_from_the_paper(paper, worked_out):
    assert len(paper.totals) == 14
    misfits = []
    for (where, what), budget in zip(paper.totals, paper.budgets_of_totals, strict=True):
        value, expanded, unit, k = paper.totals[where, what]
        result = total(paper, worked_out, where, what, unit)
        misfits += misfits_of_flow(f"{where}, {what}", value, expanded, k, result)
        misfits += misfits_of_budget(f"{where}, {what}", budget, result)
    assert misfits == []


def test_every_curve_can_be_worked_out_from_the_paper(worked_out):
    misfits = []
    for tag, curve in worked_out.curves.items():
        values, u, correlations = curve.in_powers_of_x()
        printed = curve.paper.coefficients
        if len(printed) != u.size or not agrees_to(curve.dof, f"{curve.paper.degrees_of_freedom:g}", 3):
            misfits.append(f"{tag}: {len(printed)} coefficients, {curve.paper.degrees_of_freedom} degrees of freedom")
        if abs(curve.scale - curve.paper.enlarged) > 0.005:
            misfits.append(f"{tag}: its scatter is enlarged by {curve.scale}")
        for place, (value, own_u, *with_others) in enumerate(printed):
            is_right = agrees_to(values[place], value, 7) and agrees_to(u[place], own_u, 5)
            pairs = zip(correlations[place], with_others, strict=False)
            if not is_right or len(with_others) != place or not all(agrees_to(r, text, 7) for r, text in pairs):
                misfits.append(f"{tag}, coefficient {place}: {values[place]}, {u[place]}, {correlations[place]}")
    assert misfits == []


def test_every_density_of_the_air_can_be_worked_out_from_the_paper(paper, worked_out):
    assert [
        name for name, (printed, _) in paper.airs.items() if not agrees(worked_out.densities[name][0], printed)
    ] == []


def test_a_factor_found_on_site_can_be_worked_out_from_the_paper(paper, worked_out):
    (factor,) = paper.factors.values()
    own = worked_out.of_factor
    assert all(agrees_to(k, pair[3], 7) for k, pair in zip(own["each"], factor["pairs"], strict=True))
    shown = {"spread of the pairs": "spread", "what their traverses share": "reference", "combined": "u"}
    assert all(agrees_to(100 * own[part], factor[name], 4) for name, part in shown.items())


@pytest.mark.parametrize("place", range(29))
def test_another_digit_on_the_paper_gives_another_flow(paper, place):
    reading = paper.readings[place]
    if reading.number in paper.points:
        changed, points = paper.readings, dict(paper.points)
        points[reading.number] = ([["9.9"] * len(points[reading.number][0][0]), *points[reading.number][0][1:]], "")
    else:
        values = [f"{float(reading.values[0]) * 1.01:.4f}", *reading.values[1:]]
        changed, points = (
            [*paper.readings[:place], replace(reading, values=values), *paper.readings[place + 1 :]],
            paper.points,
        )
    other = object.__new__(Paper)
    other.__dict__.update(vars(paper), readings=changed, points=points)
    assert any(each.startswith(f"reading {reading.number}: ") for each in misfits_of_flows(other, FromPaper(other)))
