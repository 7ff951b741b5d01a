"""The measurement model written a third time: from what a report says on paper, in the units of the instruments' certificates.

Each reading becomes its flow and its lines: what an influence does to the flow, with its sign, and what it is shared with. Lines of
one pool and group are added up in a total by their rule (JCGM 100:2008, 5.2.2): common errors with their signs; where it is not
known what readings share, P^2 + N^2 of the positive and negative sums at each comparison of the calibration, and of a change since
the calibration (P + N)^2, but never less than independent errors would give. Nothing of `calib` is used; the formula of moist air
is that of tests/independent_ways.py.
"""

import math
from dataclasses import dataclass, field
from decimal import Decimal
from functools import cached_property

import numpy as np
from scipy.optimize import brentq
from scipy.special import chdtrc, gamma, kve
from scipy.stats import t as students_t

from tests.independent_ways import cipm_2007

SI = {
    "m/s": 1.0, "fpm": 0.3048 / 60, "Pa": 1.0, "m3/h": 1 / 3600, "L/s": 0.001, "cfm": 0.3048**3 / 60, "m3/s": 1.0, "mm": 0.001,
    "in": 0.0254, "ft2": 0.3048**2,
}  # fmt: skip
COVERAGE = 0.9545
WITHOUT_THE_SPREAD = ("repeatability", "resolution")  # what the spread of the pairs of a factor shows
# Where a comparison has no repeatability, and where comparisons scatter more than theirs: 5 %.
SIGNIFICANCE = 0.05


@dataclass
class Line:
    """What one influence does to a flow: parts in orthogonal directions, and what each is worth at a calibration's comparisons."""

    name: str
    parts: np.ndarray
    dof: float = math.inf
    rule: str = "common"
    group: tuple = ()  # with what it is shared; empty: with nothing
    nodes: dict = field(default_factory=dict)
    series: list = field(default_factory=list)  # u [SI] and degrees of freedom of series that it is made of
    dof_of_whole: float | None = None  # of the line of the budget that it is a part of, where that has its own

    @property
    def variance(self):
        return float(self.parts @ self.parts)

    def times(self, factor):
        """The line of a flow that is larger by a factor."""
        nodes = {node: factor * worth for node, worth in self.nodes.items()}
        return Line(
            self.name, factor * self.parts, self.dof, self.rule, self.group, nodes, self.series, self.dof_of_whole
        )


class Curve:
    """The correction of a certificate: fitted to its comparisons, powers of x over the largest indication."""

    def __init__(self, paper):
        self.paper, self.tag, self.unit = paper, paper.tag, SI.get(paper.unit, 1.0)
        reference, self.x, big_u, k = (np.array([float(row[column]) for row in paper.rows]) for column in range(4))
        self.u, self.largest = big_u / k, self.x.max() if self.x.size > 1 else 1.0
        self.y = reference - self.x
        self.coefficients, self.covariance, self.dof = self._stated() if paper.rows[0][4] else self._not_stated()
        self.root = np.linalg.cholesky(self.covariance)

    def powers(self, x, size=None):
        return np.power.outer(np.asarray(x, float) / self.largest, np.arange(size or self.covariance.shape[0]))

    def _stated(self):
        s, n = (np.array([float(row[column]) for row in self.paper.rows]) for column in (4, 5))
        d = np.sqrt(s**2 / n + self.paper.step**2 / 12)
        rows = self.powers(self.x, self.paper.degree + 1) / d[:, np.newaxis]
        fitted, covariance = np.linalg.lstsq(rows, self.y / d, rcond=None)[0], np.linalg.inv(rows.T @ rows)
        dof = self.x.size - self.paper.degree - 1
        chi_squared = float(np.sum((self.y / d - rows @ fitted) ** 2))
        self.scale = chi_squared / dof if chdtrc(dof, chi_squared) < SIGNIFICANCE else 1.0
        return fitted, self.scale * covariance, dof

    def _not_stated(self):
        """The scatter of all polynomials that leave two degrees of freedom, weighted by BIC, about the one that was chosen."""
        self.scale, n, size = 1.0, self.x.size, min(3, self.x.size - 3) + 1
        digits = [min(Decimal(row[column]).as_tuple().exponent for row in self.paper.rows) for column in (0, 1)]
        least = math.hypot(*(10.0**digit for digit in digits)) / math.sqrt(12)
        fits = []
        for degree in range(size):
            rows = self.powers(self.x, degree + 1)
            fitted = np.linalg.lstsq(rows, self.y, rcond=None)[0]
            dof = n - degree - 1
            square = max(float(np.sum((self.y - rows @ fitted) ** 2)), dof * least**2)
            padded = np.zeros((size, size))
            padded[: degree + 1, : degree + 1] = square / dof * np.linalg.inv(rows.T @ rows)
            fits.append(
                (
                    np.pad(fitted, (0, size - degree - 1)),
                    padded,
                    dof,
                    n * math.log(square / n) + (degree + 2) * math.log(n),
                )
            )
        weights = np.exp([-(each[3] - min(fit[3] for fit in fits)) / 2 for each in fits])
        weights /= weights.sum()
        chosen = fits[self.paper.degree][0]
        covariance = sum(
            weight * (own + np.outer(fitted - chosen, fitted - chosen))
            for weight, (fitted, own, *_) in zip(weights, fits, strict=True)
        )
        return (
            chosen[: self.paper.degree + 1],
            covariance,
            float(1 / sum(w / fit[2] for w, fit in zip(weights, fits, strict=True))),
        )

    def in_powers_of_x(self):
        """Coefficients, standard uncertainties and correlations as the paper prints them."""
        scale = self.largest ** -np.arange(self.covariance.shape[0])
        u = np.sqrt(np.diag(self.covariance))
        fitted = np.pad(self.coefficients, (0, u.size - self.coefficients.size))
        return fitted * scale, u * scale, self.covariance / np.outer(u, u)

    def correction(self, x):
        return float(self.powers(x, self.coefficients.size) @ self.coefficients)

    def slope(self, x):
        """Derivative of the corrected indication by the indication."""
        powers = np.arange(1, self.coefficients.size)
        return 1 + float(np.sum(powers * self.coefficients[1:] * (x / self.largest) ** (powers - 1)) / self.largest)

    def scatter(self, x):
        """Parts of the scatter of the correction, in orthogonal directions."""
        return self.powers(x) @ self.root

    def reference(self, x):
        return float(np.interp(x, self.x, self.u))

    def limit(self, x):
        return self.paper.percent / 100 * x + self.paper.absolute

    def near(self, x, worth):
        """What an error at the comparisons is worth at an indication: shares by nearness and by `worth` at each."""
        nodes = np.sort(self.x)
        of_each = [
            float(np.interp(x, nodes, row)) * worth(node) for node, row in zip(nodes, np.eye(nodes.size), strict=True)
        ]
        return {(self.tag, float(node)): each / sum(of_each) for node, each in zip(nodes, of_each, strict=True) if each}


def of_calibration(curve, points, laboratory, names=("calibration scatter", "reference standard", "stability")):
    """Lines of a calibration at points (sensitivity, indication): scatter, reference part, change since."""
    scatter = sum(c * curve.scatter(x) for c, x in points)
    along = []
    for of in (curve.reference, lambda x: curve.limit(x) / math.sqrt(3)):
        part, nodes = sum(c * of(x) for c, x in points), {}
        weight = [abs(c * of(x)) for c, x in points]
        for (_, x), own in zip(points, weight, strict=True):
            for node, share in curve.near(x, of).items():
                nodes[node] = nodes.get(node, 0.0) + part * own / sum(weight) * share
        along.append((np.array([part]), nodes))
    return [
        Line(names[0], scatter, curve.dof, "common", ("scatter", curve.tag)),
        Line(names[1], along[0][0], math.inf, "not known", ("reference", laboratory), along[0][1]),
        Line(names[2], along[1][0], math.inf, "change", ("stability", curve.tag), along[1][1]),
    ]


class FromPaper:
    """Flows [m3/s] and lines of every reading of a paper, by its number."""

    def __init__(self, paper):
        self.paper = paper
        self.curves = {tag: Curve(each) for tag, each in paper.certificates.items()}
        self.by_number = {reading.number: reading for reading in paper.readings}
        self.densities = {name: self._density(name) for name in paper.airs}
        self.without_factor = {number: self._velocity(reading) for number, reading in self.by_number.items()}
        self.flows = {number: self._flow(reading) for number, reading in self.by_number.items()}

    def taken(self, reading):
        return self.paper.taken[reading.taken]

    def laboratory(self, tag):
        """Whose standards stand behind a calibration, and for what: in house those of its own standard."""
        certificate = self.paper.certificates[tag]
        standard = certificate.standards.partition(",")[0]
        if standard in self.paper.certificates:
            return self.laboratory(standard)
        return certificate.laboratory, "velocity" if certificate.unit in ("m/s", "fpm") else certificate.unit

    # --- the air ---

    def _density(self, name):
        """Density [kg/m3] and its relative u."""
        observed, values, u = self.paper.airs[name][1], {}, {}
        for quantity, (typed, unit, tag, stated) in observed.items():
            x, scale = float(typed.replace("−", "-")), {"kPa": 1000.0, "%": 0.01}.get(unit, 1.0)
            if tag in self.curves:
                curve = self.curves[tag]
                own = curve.slope(x) * math.hypot(curve.paper.repeatability, curve.paper.step / math.sqrt(12))
                of_curve = (np.linalg.norm(curve.scatter(x)), curve.reference(x), curve.limit(x) / math.sqrt(3))
                values[quantity], u[quantity] = scale * (x + curve.correction(x)), scale * math.hypot(own, *of_curve)
            else:
                values[quantity], u[quantity] = scale * x, scale * float(stated)
        rho = self._moist(values)
        steps = {
            quantity: self._moist(values | {quantity: values[quantity] + each}) - rho for quantity, each in u.items()
        }
        # Limits of the formula's own error: CIPM-2007 against real gas, and carbon dioxide in rooms.
        return rho, math.hypot(*steps.values(), *(rho * a / math.sqrt(3) for a in (6.0e-4, 6.6e-4))) / rho

    @staticmethod
    def _moist(values):
        pressure = values["barometric pressure"] + values.get("static pressure", 0.0)
        return float(cipm_2007(values["temperature"], pressure, values["relative humidity"]))

    # --- velocities, or the flow of a hood ---

    def _velocity(self, reading):
        """Mean velocity [m/s] and its lines; of a hood its flow [m3/s]."""
        if reading.number in self.paper.points:
            return self._traverse(reading)
        if reading.throttled:
            return self._hood(reading)
        tag = self.taken(reading)[0]
        curve, scale = self.curves[tag], SI[reading.unit]
        values = np.array([float(each) for each in reading.values])
        x = float(values.mean())
        u, dof = self._repeatability(reading, values)
        lines = [
            Line("repeatability", np.array([curve.slope(x) * u]), dof),
            Line("resolution", np.array([curve.slope(x) * curve.paper.step / math.sqrt(12)])),
            *of_calibration(curve, [(1.0, x)], self.laboratory(tag)),
        ]
        return scale * (x + curve.correction(x)), [line.times(scale) for line in lines]

    def _repeatability(self, reading, values):
        tag, _, method, _ = self.taken(reading)
        declared = self.curves[tag].paper.repeatability
        if values.size == 1:
            return declared, math.inf
        if reading.logged:
            return logged_series(values)
        alike = [
            np.array([float(value) for value in each.values])
            for each in self.paper.readings
            if len(each.values) > 1 and not each.logged and not each.throttled
            and (self.taken(each)[0], self.taken(each)[2]) == (tag, method)
        ]  # fmt: skip
        own, pooled, dof = float(np.std(values, ddof=1)), 0.0, values.size - 1
        if values.size <= 4 and len(alike) >= 5:
            dof = sum(each.size - 1 for each in alike)
            squares = sum((each.size - 1) * (np.std(each, ddof=1) / each.mean()) ** 2 for each in alike)
            pooled = math.sqrt(squares / dof) * values.mean()
        return (max(own, declared, pooled) if values.size <= 4 else own) / math.sqrt(values.size), dof

    def _traverse(self, reading):
        tag, probe, _, air = self.taken(reading)
        curve, through = self.curves[tag], self.curves.get(probe)
        places, _ = self.paper.points[reading.number]
        rho, relative = self.densities[air]
        passes = np.array([[float(value) for value in place] for place in places]).T
        velocity, slope, pitot = (np.zeros_like(passes) for _ in range(3))
        for at, x in np.ndenumerate(passes):
            y = x + curve.correction(x)
            if through is None:
                state = float(cipm_2007(curve.paper.state[0], 1000 * curve.paper.state[1], 0.0))
                velocity[at], slope[at] = y * state / rho, state / rho
            else:
                pitot[at] = math.sqrt(2 * y / rho)
                velocity[at] = pitot[at] + through.correction(pitot[at])
                slope[at] = through.slope(pitot[at]) * pitot[at] / (2 * y)
        count = passes.size
        mean = float(velocity.mean())
        by_reading = slope * np.vectorize(curve.slope)(passes) / count
        points = [(float(slope[at]) / count, float(x)) for at, x in np.ndenumerate(passes)]
        lines = [
            self._of_passes(velocity, by_reading, curve),
            Line("resolution", curve.paper.step / math.sqrt(12) * by_reading.sum(axis=0)),
            *of_calibration(curve, points, self.laboratory(tag)),
        ]
        if through is None:
            return mean, [*lines, Line("density", np.array([mean * relative]))]
        of_probe = [(1 / count, float(at)) for at in pitot.ravel()]
        of_density = sum(through.slope(float(at)) * at for at in pitot.ravel()) / count / 2
        return mean, [
            *lines,
            Line("density", np.array([of_density * relative])),
            *of_calibration(through, of_probe, self.laboratory(probe), ("probe",) * 3),
        ]

    @staticmethod
    def _of_passes(velocity, by_reading, curve):
        """Repeatability as the passes show it; of one pass that of the instrument at each point."""
        passes = velocity.shape[0]
        if passes == 1:
            return Line("repeatability", curve.paper.repeatability * by_reading.ravel())
        u = float(np.std(velocity.mean(axis=1), ddof=1)) / math.sqrt(passes)
        return Line("repeatability", np.array([u]), passes - 1)

    def _hood(self, reading):
        """The flow without the hood: 1/q^2 is linear in its resistance."""
        tag, scale = self.taken(reading)[0], SI[reading.unit]
        curve = self.curves[tag]
        series = [np.array([float(value) for value in values]) for values in (reading.values, reading.throttled)]
        x = [float(values.mean()) for values in series]
        q = np.array([each + curve.correction(each) for each in x])
        r, u_r = curve.paper.ratio

        def flow(q_1, q_2, ratio):
            return ((ratio / q_1**2 - 1 / q_2**2) / (ratio - 1)) ** -0.5

        value = flow(*q, r)
        c = [r / (r - 1) * (value / q[0]) ** 3, -1 / (r - 1) * (value / q[1]) ** 3]
        c_r = (flow(*q, r * (1 + 1e-6)) - flow(*q, r * (1 - 1e-6))) / (2e-6 * r)
        own = [c_k * curve.slope(x_k) for c_k, x_k in zip(c, x, strict=True)]
        u = np.array(
            [c_k * np.std(values, ddof=1) / math.sqrt(values.size) for c_k, values in zip(own, series, strict=True)]
        )
        dof = float((u @ u) ** 2 / sum(each**4 / (values.size - 1) for each, values in zip(u, series, strict=True)))
        lines = [
            Line(
                "repeatability",
                u,
                dof,
                series=[(scale * abs(each), values.size - 1) for each, values in zip(u, series, strict=True)],
            ),
            Line("resolution", curve.paper.step / math.sqrt(12) * np.array(own)),
            *of_calibration(curve, list(zip(c, x, strict=True)), self.laboratory(tag)),
            Line("back pressure", np.array([c_r * u_r])),
        ]
        return scale * value, [line.times(scale) for line in lines]

    # --- flows ---

    def _flow(self, reading):
        relative, dof = self.paper.methods[self.taken(reading)[2]]
        value, lines = self.without_factor[reading.number]
        if reading.throttled:
            flow, of_opening = value, [Line("dimension", np.zeros(1)), Line("outlet factor", np.zeros(1))]
        else:
            area, dimension = self.area(reading.outlet)
            factor, of_factor, cancelling = self._factor(reading)
            flow = value * area * factor
            lines = [_without(line.times(area * factor), cancelling, flow) for line in lines]
            of_opening = [
                Line("dimension", flow * dimension),
                *(line.times(flow) for line in of_factor),
            ]
        way = ("method", self.taken(reading)[2])
        return flow, [*lines, *of_opening, Line("method", np.array([flow * relative]), dof, "not known", way)]

    def area(self, outlet):
        """Area of an opening [m2] and the relative u that each dimension makes; of an effective area none."""
        shape, first, second, unit, limit, value, in_unit, *_ = self.paper.openings[outlet]
        if in_unit:
            return SI[in_unit.strip()] * float(value), np.zeros(1)
        w, u = float(first), float(limit) / math.sqrt(3)
        h = float(second or first)
        if shape == "round":
            area, by_each = math.pi / 4 * w**2, [math.pi / 2 * w]
        elif shape == "flat-oval":
            area, by_each = h * (w - h) + math.pi / 4 * h**2, [h, w - 2 * h + math.pi / 2 * h]
        else:
            area, by_each = w * h, [h, w]
        return SI[unit] ** 2 * area, u * np.array(by_each) / area

    def _factor(self, reading):
        """Factor, its lines relative to the flow, and what the calibration of the reading loses by it."""
        *_, value, in_unit, u, source = self.paper.openings[reading.outlet]
        if not value:
            return 1.0, [Line("outlet factor", np.zeros(1))], {}
        if in_unit:
            return (
                1.0,
                [Line("outlet factor", np.array([float(u) / float(value)]), math.inf, "common", ("source", source))],
                {},
            )
        if source.startswith("found on site: "):
            return self.found(source.removeprefix("found on site: "))
        return (
            float(value),
            [Line("outlet factor", np.array([float(u) / float(value)]), math.inf, "common", ("source", source))],
            {},
        )

    def found(self, name):
        """A factor of its pairs, for a type of outlet: what the traverses share is carried along their calibration."""
        pairs = [(self.by_number[duct], self.by_number[face]) for duct, face, *_ in self.paper.factors[name]["pairs"]]
        each, of_pairs, of_faces, shared = [], [], [], []
        for duct, face in pairs:
            flow, lines = self._duct(duct)
            velocity, of_face = self.without_factor[face.number]
            area, dimension = self.area(face.outlet)
            each.append(flow / (velocity * area))
            lines = [line.times(1 / flow) for line in lines]
            of_pairs.append(lines)
            of_faces.append([line.times(1 / velocity) for line in of_face])
            shared.append(
                math.sqrt(
                    sum(line.variance for line in lines if line.name not in WITHOUT_THE_SPREAD) + dimension @ dimension
                )
            )
        n = len(each)
        k = float(np.mean(each))
        spread, reference = float(np.std(each, ddof=1)) * math.sqrt(1 + 1 / n) / k, float(np.mean(shared))
        u = math.hypot(spread, reference)
        dof = (n - 1) * (u / spread) ** 4
        carried = [
            _mean_of(lines)
            for lines in zip(*of_pairs, strict=True)
            if lines[0].group[:1] in (("scatter",), ("reference",), ("stability",))
        ]
        whole = math.sqrt(sum(line.variance for line in carried))
        carried = [line.times(min(1.0, reference / whole)) for line in carried]
        rest = math.sqrt(u**2 - sum(line.variance for line in carried))
        lines = [Line("outlet factor", np.array([rest]), dof * (rest / u) ** 4, "common", ("source", name)), *carried]
        self.of_factor = {"spread": spread, "reference": reference, "u": u, "each": each, "dof": dof}
        for line in (*lines, *carried):
            line.name, line.dof_of_whole = "outlet factor", dof
        for line in carried:
            line.dof = dof
        cancelling = {
            line.name: _mean_of(of).parts for line, of in zip(of_faces[0], zip(*of_faces, strict=True), strict=True)
            if line.name in ("calibration scatter", "reference standard")
        }  # fmt: skip
        return k, lines, cancelling

    def _duct(self, reading):
        """Flow in a duct with its lines: no factor."""
        return self.flows[reading.number] if reading.number in getattr(self, "flows", {}) else self._flow(reading)

    # --- results ---

    def result(self, number):
        """Flow, u, effective degrees of freedom, and u of each line by its name, in the unit of the paper."""
        flow, lines = self.flows[number]
        unit = SI[self.by_number[number].flow_unit]
        parts = {}
        for name in dict.fromkeys(line.name for line in lines):
            mine = [line for line in lines if line.name == name]
            variance = sum(line.variance for line in mine)
            below = sum(line.variance**2 / line.dof for line in mine)
            parts[name] = (
                math.sqrt(variance) / unit,
                mine[0].dof_of_whole or (variance**2 / below if below else math.inf),
            )
        series = next((line.series for line in lines if line.series), ())
        return Result(flow / unit, parts, [(u / unit, dof) for u, dof in series], RECTANGULAR)

    def total(self, signs, unit):
        """Sum of sign times flow over readings, with u and degrees of freedom."""
        groups = {}
        for number, sign in signs.items():
            for place, line in enumerate(self.flows[number][1]):
                groups.setdefault(line.group or (number, place), []).append(line.times(sign))
        variance, below = {}, {}
        for lines in groups.values():
            whole, fewest, squares = (
                shared(lines),
                min(line.dof for line in lines),
                sum(line.variance for line in lines),
            )
            for name in {line.name for line in lines}:
                mine = whole * sum(line.variance for line in lines if line.name == name) / squares if squares else 0.0
                variance[name] = variance.get(name, 0.0) + mine
                below[name] = below.get(name, 0.0) + mine**2 / fewest
        value = sum(sign * self.flows[number][0] for number, sign in signs.items())
        parts = {
            name: (math.sqrt(mine) / SI[unit], mine**2 / below[name] if below[name] else math.inf)
            for name, mine in sorted(variance.items(), key=lambda line: LINES.index(line[0]))
            if mine
        }
        return Result(value / SI[unit], parts)


def shared(lines):
    """Variance of lines of one group in a total."""
    rule = lines[0].rule
    if rule == "common":
        whole = sum(line.parts for line in lines)
        return float(whole @ whole)
    at = {}
    for line in lines:
        for node, worth in (line.nodes or {"everywhere": float(line.parts[0])}).items():
            at.setdefault(node, []).append(worth)
    worths = [sum(each) for each in at.values()] if lines[0].nodes else at["everywhere"]
    above, under = (sum(max(sign * worth, 0.0) for worth in worths) for sign in (1, -1))
    of_rule = (above + under) ** 2 if rule == "change" else above**2 + under**2
    return max(of_rule, sum(line.variance for line in lines)) if lines[0].nodes else of_rule


def _without(line, cancelling, flow):
    """A line of the reading's calibration less what the factor carries of it, which cancels."""
    if line.name not in cancelling:
        return line
    parts = line.parts - flow * cancelling[line.name]
    ratio = float(parts[0] / line.parts[0])
    nodes = {node: ratio * worth for node, worth in line.nodes.items()}
    return Line(line.name, parts, line.dof, line.rule, line.group, nodes)


def _mean_of(lines):
    """The mean of one line over pairs."""
    nodes = {}
    for line in lines:
        for node, worth in line.nodes.items():
            nodes[node] = nodes.get(node, 0.0) + worth / len(lines)
    parts = sum(line.parts for line in lines) / len(lines)
    return Line(lines[0].name, parts, lines[0].dof, lines[0].rule, lines[0].group, nodes)


LINES = (
    "repeatability", "resolution", "calibration scatter", "reference standard", "stability", "density", "probe", "back pressure",
    "dimension", "outlet factor", "method",
)  # fmt: skip
RECTANGULAR = ("stability",)  # known by limits
NEARLY_NORMAL = 60  # degrees of freedom
POINTS, HIGHEST = 20_000, 12.0  # of an integral over t u


@dataclass
class Result:
    """A flow or a total, and u with degrees of freedom of each of its lines."""

    value: float
    parts: dict
    series: list = field(default_factory=list)  # of the repeatability, where it is made of several
    rectangular: tuple = ()

    @property
    def u(self):
        return math.sqrt(sum(u**2 for u, _ in self.parts.values()))

    @property
    def law(self):
        """Effective degrees of freedom by Welch and Satterthwaite."""
        below = sum(u**4 / dof for u, dof in self.parts.values())
        return self.u**4 / below if below else math.inf

    @cached_property
    def k(self):
        """Of the law; of the distributions of the lines, added, where these give more than 5 % more.

        The probability of an error within +- k u is 2/pi times the integral of phi(t) sin(k u t)/t (J. Gil-Pelaez, 1951).
        """
        law = coverage_factor(self.law)
        t = (np.arange(POINTS) + 0.5) * HIGHEST / POINTS
        phi = np.ones_like(t)
        for name, (u, dof) in self.parts.items():
            for own, own_dof in self.series if name == "repeatability" and self.series else [(u, dof)]:
                phi *= characteristic(own / self.u * t, own_dof, name in self.rectangular)
        weight = 2 / math.pi * phi / t * HIGHEST / POINTS
        added = brentq(lambda k: float(weight @ np.sin(k * t)) - COVERAGE, 1.5, 50.0)
        return added if added > 1.05 * law else law

    @property
    def dof(self):
        """Degrees of freedom that give k."""
        if self.k == coverage_factor(self.law):
            return self.law
        return brentq(lambda dof: coverage_factor(dof) - self.k, 1.0, 1e6)


def characteristic(t, dof, is_rectangular):
    """Characteristic function of a distribution whose standard uncertainty is 1, at t."""
    if dof < NEARLY_NORMAL:
        z = np.maximum(math.sqrt(dof) * np.abs(t), 1e-3)
        return kve(dof / 2, z) * np.exp(-z) * z ** (dof / 2) / (gamma(dof / 2) * 2 ** (dof / 2 - 1))
    return np.sinc(math.sqrt(3) * t / math.pi) if is_rectangular else np.exp(-(t**2) / 2)


def coverage_factor(dof):
    """Of Student's t for the coverage probability of the report."""
    return float(students_t.ppf((1 + COVERAGE) / 2, dof))


def logged_series(values):
    """u of the mean of a logged series and its degrees of freedom: a first-order autoregression, also of means of 2, 3 and 5."""
    fits = []
    for block in (1, 2, 3, 5):
        if block > 1 and values.size // block < 8:
            continue
        x = values[: values.size // block * block].reshape(-1, block).mean(axis=1)
        n, away = x.size, x - x.mean()
        r = float(away[1:] @ away[:-1] / (away @ away))
        r = min(max(r + (1 + 4 * r) / n, 0.0), 0.99)
        r = min(r + 0.5 * math.sqrt((1 - r**2) / n), 0.99)
        effective = max(n / (1 + 2 * sum((1 - lag / n) * r**lag for lag in range(1, n))), 1.15)
        u = math.sqrt(float(away @ away) / (n - n / effective) / effective)
        fits.append((u, max(1.0, effective - 1)))
    return max(fits, key=lambda fit: fit[0] * coverage_factor(fit[1]))
