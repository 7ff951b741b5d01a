"""A reader works a flow of each kind and its uncertainty out by hand, from what the demo's page prints and nothing else.

Sources: JCGM 100:2008, 4.2.3, 4.3.7, 5.1.2 and 5.1.3; ISO 3966 for v = sqrt(2 dp/rho); areas by school geometry. Plain Python; no
part of the program computes here.
"""

import math
import re
import statistics
from typing import get_args

import pytest

from calib.faces.report.budgets_appendix import MEANINGS, _quantity
from calib.faces.report.formulas import measurement_function
from calib.measurement.indicated_velocity import INDICATED_VELOCITY
from calib.procedures.measure import budgets_in_full as full
from tests.report_forms import Page

PRINTED = 5e-6  # relative: six to seven digits are printed
OF_U = 5e-5  # relative, at most: five digits of an uncertainty are printed, 1.0000 is rounded the most
KINDS = {
    "Indicated velocity, rectangular opening with an outlet factor",
    "Indicated velocity, rectangular opening with an outlet factor found in the field",
    "Indicated velocity, effective area",
    "Indicated velocity, round opening with an outlet factor",
    "Velocity pressure, with a probe, traverse, round duct",
    "Thermal anemometer with a reference state, traverse, round duct",
    "Thermal anemometer with a reference state, traverse, flat-oval duct",
    "Flow hood, throttle open and set",
}


def number(text):
    """A number with the minus sign and the powers of ten that print has."""
    return float(text.translate(str.maketrans("−⁻⁰¹²³⁴⁵⁶⁷⁸⁹", "--0123456789")).replace(" × 10", "e"))


def parts_of(html):
    """Parts of the page by their headings, each read by itself."""
    cut = re.split(r"<h[23][^>]*>(.*?)</h[23]>", html)
    return {re.sub(r"<.*?>", "", title): Page.of(text) for title, text in zip(cut[1::2], cut[2::2], strict=True)}


@pytest.fixture(scope="module")
def parts(demo_folder):
    return parts_of(max(demo_folder.glob("*.html")).read_text(encoding="utf-8"))


def coefficients(part):
    """Those of the curve of one instrument, as they are printed."""
    return [number(value) for value in re.findall(r"a[₀₁₂₃][^=;]* = ([^,]+), u = ", part.text)]


class Budget:
    """One budget as it is printed."""

    def __init__(self, part, parts):
        self.text, self.parts = part.text, parts
        (head,) = [place for place in part.headings if part.rows[place][0] == "X_i"]
        *rows, self.total = part.rows[head + 1 :]
        self.rows = {row[0]: row for row in rows}
        number_of = re.match(r"Reading (\d+) at", self.text)
        worked_out = parts["What each flow was worked out from"]
        (head,) = [worked_out.rows[n] for n in worked_out.headings if worked_out.rows[n][1].startswith("Points of")]
        traverses = worked_out.under(*head)
        self.points = [point for row in traverses if row[0] == number_of[1] for point in re.split(r" [|‖] ", row[1])]
        appendix = parts["Appendix A: budgets in full"].text
        self.scale = {unit: float(value) for unit, value in re.findall(r"1 (\S+) = ([\d.]+) ", appendix)}

    def si(self, symbol, moved=None):
        """Estimate of a quantity in SI, or another in its place."""
        row = self.rows[symbol]
        value = number(row[1]) if moved is None or moved[0] != symbol else moved[1]
        return value * self.scale.get(row[2], 1.0)

    def has(self, symbol):
        return symbol in self.rows

    def curve(self, tag):
        """c(x) of an instrument in SI, from its coefficients."""
        (part,) = [one for title, one in self.parts.items() if title.startswith(f"{tag}, certificate")]
        powers = coefficients(part)
        unit = re.search(r"in (\S+), for indications", part.text)[1]
        scale = self.scale.get(unit, 1.0)
        return lambda x: scale * sum(a * (x / scale) ** power for power, a in enumerate(powers))

    @property
    def tags(self):
        return re.search(r", by (\S+?)(?: with (\S+?))?, method", self.text).groups()

    def indications(self, pattern):
        values, unit = re.search(pattern, self.text).groups()
        return [float(one) * self.scale.get(unit, 1.0) for one in values.split(";")]

    def flow(self, moved=None):
        """The flow in its unit, with one estimate moved."""
        factor = self.si("M", moved) * (self.si("K", moved) if self.has("K") else 1.0)
        errors = sum(self.si(one, moved) for one in self.rows if one.startswith("δ"))
        return factor * self.area(moved) * (self.value(moved) + errors) / self.scale.get(self.total[2], 1.0)

    def area(self, moved):
        if self.has("A_e"):
            return self.si("A_e", moved)
        if self.has("d"):
            return math.pi * self.si("d", moved) ** 2 / 4
        if not self.has("w"):
            return 1.0
        w, h = self.si("w", moved), self.si("h", moved)
        return h * (w - h) + math.pi * h**2 / 4 if "flat-oval" in self.title else w * h

    def value(self, moved):
        """The mean velocity, or the flow of a hood, from the indications; a mean or a correction may be moved."""
        if moved is not None and moved[0] in ("v̄", "q̄"):
            return self.si(moved[0], moved)
        meter, probe = self.tags
        correction = self.curve(meter)
        if self.has("x̄"):
            observed = statistics.fmean(self.indications(r"; indications ([\d.; ]+) (\S+)\.(?: |$)"))
            x = self.si("x̄", moved) if moved is not None and moved[0] == "x̄" else observed
            c = (
                self.si("c(x̄)", moved)
                if moved is not None and moved[0] == "c(x̄)"
                else correction(x + self.si("δ_res", moved))
            )
            return x + c
        if self.has("r"):
            means = [statistics.fmean(self.indications(rf"{one} ([\d.; ]+) (\S+) \(mean")) for one in ("open", "set")]
            q1, q2 = (x + correction(x) for x in means)
            r = self.si("r", moved)
            return ((r / q1**2 - 1 / q2**2) / (r - 1)) ** -0.5
        return self.mean_velocity(correction, None if probe is None else self.curve(probe), moved)

    def mean_velocity(self, correction, of_probe, moved):
        rho, total = self.si("ρ", moved), 0.0
        reference = re.search(r"ρ_0 = (\S+)", self.text)
        weight = float(re.search(r"each with the weight w_j = ([\d.]+?)[;.](?: |$)", self.text)[1])
        for point in self.points:
            values = [float(one) for one in point.split("; ")]
            if reference:
                single = [(x + correction(x)) * float(reference[1]) / rho for x in values]
            else:
                bare = [math.sqrt(2 * (x + correction(x)) / rho) for x in values]
                single = [v + of_probe(v) for v in bare]
            total += weight * statistics.fmean(single)
        return total


@pytest.fixture(scope="module")
def budgets(parts):
    found = {}
    for title, part in parts.items():
        if re.match(r"A\d+\. ", title):
            name = title.partition(". ")[2]
            found[name] = Budget(part, parts)
            found[name].title = name
    return found


def test_each_kind_of_the_demo_has_one_budget_in_full(budgets):
    assert set(budgets) == KINDS


def test_a_formula_in_one_line_of_text_is_the_same_product():
    """ISO 3966: the mean of the points' means, each with its weight; side by side, "w_j1 / m" would be another index."""
    kind = {
        "measured": INDICATED_VELOCITY.name, "opening": full.DUCT_SECTION, "shape": "round", "is_direct": False,
        "is_traverse": True, "has_probe": False, "is_polynomial": True, "has_two_figures": False,
        "has_drift": False, "is_widened": False,
    }  # fmt: skip
    said = [one.plain for one in measurement_function(kind)]
    assert said[1] == "v̄ = ∑_j w_j · 1 / m · ∑_k v_jk"


def test_every_symbol_that_a_budget_may_use_has_its_meaning():
    assert set(MEANINGS) == set(get_args(full.Symbol))


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_the_flow_is_worked_out_from_the_page(budgets, kind):
    one = budgets[kind]
    assert one.flow() == pytest.approx(number(one.total[1]), rel=PRINTED)


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_the_sensitivity_coefficients_are_the_derivatives_of_that_flow(budgets, kind):
    """GUM 5.1.3, by central differences: a tenth of u(x_i) to either side."""
    one = budgets[kind]
    for symbol, row in one.rows.items():
        estimate, step = number(row[1]), 0.1 * number(row[3])
        derived = (one.flow((symbol, estimate + step)) - one.flow((symbol, estimate - step))) / (2 * step)
        assert derived == pytest.approx(number(row[6]), rel=1e-3), symbol


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_the_uncertainty_is_the_root_of_the_squares(budgets, kind):
    """GUM 5.1.2, equation 10, and 6.2.1."""
    one = budgets[kind]
    u = math.hypot(*(number(row[6]) * number(row[3]) for row in one.rows.values()))
    assert u == pytest.approx(number(one.total[3]), rel=1e-4)
    for row in one.rows.values():
        assert abs(number(row[6])) * number(row[3]) == pytest.approx(number(row[7]), rel=2e-4)
        share = 100 * (number(row[7]) / u) ** 2
        assert number(row[8]) == pytest.approx(share, abs=0.005 + 2 * (OF_U + OF_U) * share)  # of u_i and u, squared
    k, factor = re.search(r"U = k u = (\S+) × (\S+) ", one.text).groups()
    expanded = float(re.search(r"q_V = \(\S+ ± (\S+)\)", one.text)[1])
    assert float(k) * float(factor) == pytest.approx(expanded, rel=0.06)


@pytest.mark.parametrize("kind", sorted(one for one in KINDS if one.startswith("Indicated")))
def test_repeatability_and_resolution_are_worked_out_from_the_page(budgets, kind):
    """GUM 4.2.3: s/sqrt(n), s at least that of the observations (4.2.4: pooled); 4.3.7 and F.2.2.1: a step over the root of 12."""
    one = budgets[kind]
    row = one.rows["x̄"]
    observed = [float(value) for value in re.search(r"; indications ([\d.; ]+) ", one.text)[1].split(";")]
    of_own, degrees = statistics.stdev(observed) / math.sqrt(len(observed)), str(len(observed) - 1)
    assert row[4] == "A, t"
    if "pooled" in one.text:  # the largest of own, declared and pooled, with the pooled degrees of freedom
        assert number(row[3]) >= of_own * (1 - 1e-4)
        assert number(row[5]) > len(observed) - 1
    else:
        assert (number(row[3]), row[5]) == (pytest.approx(of_own, rel=1e-4), degrees)
    (part,) = [each for title, each in one.parts.items() if title.startswith(f"{one.tags[0]}, certificate")]
    step = float(re.search(r"Resolution (\S+) ", part.text)[1])
    assert number(one.rows["δ_res"][3]) == pytest.approx(step / math.sqrt(12), rel=1e-4)


def test_the_curve_leaves_the_residuals_that_are_printed(parts):
    """Residual: reference less indication less c(x); of the comparisons that the curve was made from."""
    of_curves = [one for title, one in parts.items() if ", certificate " in title]
    assert len(of_curves) == 11  # of ten instruments and of a reference standard
    for part in of_curves:
        powers = coefficients(part)
        (head,) = [part.rows[place] for place in part.headings if part.rows[place][-1].startswith("Residual")]
        used = part.under(*head)
        assert len(used) > len(powers)
        for row in used:
            x = float(row[1])
            left = float(row[0]) - x - sum(a * x**power for power, a in enumerate(powers))
            assert number(row[-1]) == pytest.approx(left, rel=0.006, abs=2e-6 * abs(x))


def test_estimates_and_uncertainties_that_were_worked_out_keep_their_zeros():
    """1/2 and 1/4 in seven and five digits; what was typed stays as typed, and an error's 0 is exact."""
    quantity = {
        "unit": "m/s",
        "standard_uncertainty": 0.25,
        "evaluation": "A",
        "distribution": "t",
        "degrees_of_freedom": 5,
    }
    quantity |= {
        "sensitivity_coefficient": 1.0,
        "sensitivity_unit": "1",
        "contribution": 0.25,
        "variance_percent": 100.0,
    }
    shown = [
        _quantity(quantity | {"symbol": symbol, "estimate": estimate}, "m3/h", {"w": "17.0"}).cells
        for symbol, estimate in (("v̄", 0.5), ("w", 17.0), ("δ_res", 0.0))
    ]
    assert [cells[1].text[0].text for cells in shown] == ["0.5000000", "17.0", "0"]
    assert shown[0][3].text[0].text == "0.25000"
