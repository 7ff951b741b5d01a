"""Every way of measuring written a second time: from the cells of an import, one reading at a time, with uncertain numbers.

Nothing of `calib` is used. `number(value, u, dof, name)` makes an uncertain number of some library, or an array of draws, and
`numbers(values, covariance, dof, name)` correlated ones; `root` is the square root of such numbers. The corrections are taken as
straight lines, and as constants where a certificate has three comparisons. The density is CIPM-2007, its formula and coefficients
written again (from memory). The points of every traverse here stand for equal shares of the section: that is what the
log-linear rule on diameters, log-Tchebycheff and equal areas (also of a flat oval) are defined by.

What one instrument brings in all that it is used for is one number: a manometer that reads the probe and gives the static pressure
of the air, a thermometer in several sets of conditions. What was stated for the air, and the formula's error, is one error for all
readings that it moves the same way in a total (`WITHIN_A_SIGN`).
"""

import math
from itertools import chain

import numpy as np
from scipy.special import chdtri, ndtr, pbdv

SI = {
    "m/s": 1.0,
    "Pa": 1.0,
    "hPa": 100.0,
    "kPa": 1000.0,
    "m3/h": 1 / 3600,
    "mm": 0.001,
    "m2": 1.0,
    "degC": 1.0,  # of a difference
    "%": 0.01,
}
ZERO_CELSIUS = 273.15
# Influences that are known by their limits: the others have normal distributions, or those of t.
RECTANGULAR = {"resolution", "stability", "probe stability", "dimension", "formula"}
# Line of the budget that an influence belongs to, where it is not its own.
LINE = {
    "probe scatter": "probe",
    "probe reference": "probe",
    "probe stability": "probe",
    "conditions": "density",
    "conditions reference": "density",
    "conditions stability": "density",
    "relative humidity": "density",
    "barometric pressure": "density",
    "formula": "density",
}
OF_CALIBRATION = ("calibration scatter", "reference standard", "stability")
WITHIN_A_SIGN = ("relative humidity", "formula")  # stated, or of a formula


def line_of(name, tag=None):
    """Line of a reading's budget that an influence stands in; `tag` is the reading's instrument, None: that of the influence."""
    of, _, its = name.partition(" of ")
    return "density" if of in OF_CALIBRATION and tag not in (None, its) else LINE.get(of, of)


def cipm_2007(t, p, h):
    """Density of moist air [kg/m3] from t [degC], p [Pa] and relative humidity [1]; A. Picard et al., Metrologia 45 (2008) 149."""
    big = t + ZERO_CELSIUS
    saturation = math.e ** (1.2378847e-5 * big * big - 1.9121316e-2 * big + 33.93711047 - 6.3431645e3 / big)
    x = h * (1.00062 + 3.14e-8 * p + 5.6e-7 * t * t) * saturation / p
    first = 1.58123e-6 - 2.9331e-8 * t + 1.1043e-10 * t * t + (5.707e-6 - 2.051e-8 * t) * x
    first += (1.9898e-4 - 2.376e-6 * t) * x * x
    z = 1 - p / big * first + (p / big) ** 2 * (1.83e-11 - 0.765e-8 * x * x)
    return p * 28.96546e-3 / (z * 8.314472 * big) * (1 - x * (1 - 18.01528 / 28.96546))


def value_alone(value, _u, _dof, _name):
    """A number without its uncertainty."""
    return value


def values_alone(values, _covariance, _dof, _name):
    """Numbers without their uncertainty."""
    return values


def drawn(generator, trials):
    """`number` and `numbers` that draw from the distributions that JCGM 101 assigns."""

    def number(value, u, dof, name):
        if name.partition(" of ")[0] in RECTANGULAR:
            return value + u * math.sqrt(3) * generator.uniform(-1, 1, trials)
        return value + u * (generator.normal(size=trials) if math.isinf(dof) else generator.standard_t(dof, trials))

    def numbers(values, covariance, dof, _name):
        normal = np.linalg.cholesky(covariance) @ generator.normal(size=(len(values), trials))
        if not math.isinf(dof):
            normal *= np.sqrt(dof / generator.chisquare(dof, trials))
        return np.asarray(values)[:, np.newaxis] + normal

    return number, numbers


def root_of_draws(values):
    """Square root; 0 where a draw is below 0: standing air."""
    return np.sqrt(np.maximum(values, 0.0))


def near_zero(y, u, rho):
    """Mean velocity over a normal distribution of the pressure, 0 below 0, and its u (DLMF 12.5.1, from memory)."""
    m, scale = y / u, math.sqrt(2 * u / rho)
    mean = math.gamma(1.5) * math.exp(-(m**2) / 4) * pbdv(-1.5, -m)[0] / math.sqrt(2 * math.pi)
    second = m * ndtr(m) + math.exp(-(m**2) / 2) / math.sqrt(2 * math.pi)
    return float(scale * mean), float(scale * max(math.sqrt(second - mean**2), 0.6))


class Ways:
    """Flows [m3/s] of a job's readings as uncertain numbers, by outlet; what they share is one number for all of them."""

    def __init__(self, sheets, number, numbers, root=lambda y: y**0.5, *, along=False):
        self.number, self.numbers, self.root = number, numbers, root
        self.sheets, self.along = sheets, along
        self.showing = {row[column] for row in sheets["readings.csv"] for column in ("instrument", "probe")}
        self.nodes = {}  # errors at the comparisons, by influence, tag, and number of the comparison
        self.instruments = {row["tag"]: row for row in sheets["instruments.csv"]}
        self.certificates = {row["tag"]: row for row in sheets["calibrations.csv"]}
        self.outlets = {row["outlet"]: row for row in sheets["outlets.csv"]}
        self.methods = {row["method"]: row for row in sheets["methods.csv"]}
        self.shared = {}
        # The same model in plain numbers: where an uncertainty depends on a value, it is that of the estimates.
        self.plain = self if number is value_alone else Ways(sheets, value_alone, values_alone)
        self.flows = {row["outlet"]: self.flow(row) for row in sheets["readings.csv"]}

    def total(self, signs):
        """Sum of sign times flow over outlets."""
        return sum(sign * self.flows[outlet] for outlet, sign in signs.items())

    def once(self, key, make):
        """The same uncertain number wherever the same influence comes in."""
        if key not in self.shared:
            self.shared[key] = make()
        return self.shared[key]

    def error(self, name, *sharing, dof=math.inf):
        """An error of mean 0 and u = 1, one for all that share it."""
        return self.once((name, *sharing), lambda: self.number(0.0, 1.0, dof, self.named(name, *sharing)))

    def named(self, name, *sharing):
        """The name with the instrument that it is of, where others use that too."""
        return f"{name} of {sharing[0]}" if name in OF_CALIBRATION else name

    # --- certificates ---

    def comparisons(self, tag):
        """Indication, reference, u of the reference and u of the scatter of each comparison, in SI."""
        rows = [row for row in self.sheets["comparisons.csv"] if row["tag"] == tag]
        columns = (
            "indication",
            "reference",
            "expanded_uncertainty",
            "coverage_factor",
            "repeatability",
            "observations",
        )
        x, y, big_u, k, s, n = (np.array([float(row[column]) for row in rows]) for column in columns)
        unit, step = SI[rows[0]["unit"]], self.step(tag)
        return unit * x, unit * y, unit * big_u / k, np.sqrt((unit * s) ** 2 / n + step**2 / 12)

    def fit(self, tag):
        """Intercept and slope of the correction, their covariance and its degrees of freedom.

        Where chi-squared is beyond its 95 % quantile, the scatter is as large as the comparisons show it.
        """
        x, y, _, d = self.comparisons(tag)
        degree = 0 if len(x) < 4 else 1
        found, covariance = np.polyfit(x, y - x, degree, w=1 / d, cov="unscaled")
        dof = len(x) - degree - 1
        chi_squared = float(np.sum(((y - x - np.polyval(found, x)) / d) ** 2))
        scale = chi_squared / dof if chi_squared > chdtri(dof, 0.05) else 1.0
        return found[::-1], scale * covariance[::-1, ::-1], dof

    def line(self, tag, name):
        """Intercept and slope of the correction as uncertain numbers."""
        found, covariance, dof = self.fit(tag)
        if len(found) == 1:
            return self.number(found[0], math.sqrt(covariance[0, 0]), dof, name), 0.0
        return tuple(self.numbers(found.tolist(), covariance, dof, name))

    def scatter(self, tag, at):
        """Standard uncertainty of the correction at an indication from the scatter of the comparisons."""
        found, covariance, _ = self.fit(tag)
        j = np.array([1.0, at][: len(found)])
        return math.sqrt(j @ covariance @ j)

    def reference(self, tag, at):
        """The certificate's U/k at an indication."""
        x, _, u, _ = self.comparisons(tag)
        return float(np.interp(at, x, u))

    def step(self, tag):
        """Digital step."""
        return SI[self.instruments[tag]["unit"]] * float(self.instruments[tag]["resolution"])

    def declared(self, tag):
        """Standard deviation of one indication that is declared for the instrument."""
        return SI[self.instruments[tag]["unit"]] * float(self.instruments[tag]["repeatability"])

    def limit(self, tag, at):
        """Maximum permissible error at an indication."""
        row = self.instruments[tag]
        return float(row["mpe_percent"]) / 100 * at + SI[row["unit"]] * float(row["mpe_absolute"])

    def corrected(self, tag, x, at, names=("calibration scatter", "reference standard")):
        """Corrected indication: `at` is the indication as a plain number."""
        intercept, slope = self.once(("line", tag), lambda: self.line(tag, self.named(names[0], tag)))
        return (
            x + intercept + slope * x + self.reference(tag, at) * self.of_calibration(names[1], tag, at, self.reference)
        )

    def drift(self, tag, x, at, name="stability"):
        """Change since the calibration: within its limit at x, where the curve is asked at `at`."""
        return self.limit(tag, x) / math.sqrt(3) * self.of_calibration(name, tag, at, self.limit)

    def of_calibration(self, name, tag, at, u):
        """Error of a calibration at an indication: one for all of it, or one at each comparison and straight between them."""
        if not self.along or tag not in self.showing:
            return self.error(name, tag)
        x = self.comparisons(tag)[0].tolist()
        worth = [float(np.interp(at, x, np.eye(len(x))[j])) * u(tag, x[j]) for j in range(len(x))]
        return sum(part / sum(worth) * self.node(name, tag, j) for j, part in enumerate(worth) if part)

    def node(self, *key):
        if key not in self.nodes:
            self.nodes[key] = self.number(0.0, 1.0, math.inf, self.named(*key))
        return self.nodes[key]

    # --- the air ---

    def density(self, name):
        """Density of the air of one set of conditions [kg/m3]."""
        return self.once(("density", name), lambda: self.made_density(name))

    def made_density(self, name):
        rows = {row["quantity"]: row for row in self.sheets["conditions.csv"] if row["conditions"] == name}
        found = {quantity: self.condition(row) for quantity, row in rows.items()}
        pressure = found["barometric pressure"] + found.get("static pressure", 0.0)
        rho = cipm_2007(found["temperature"], pressure, found["relative humidity"])
        # Limits of the formula's error: its difference from the real-gas equations, and carbon dioxide in rooms.
        errors = (a / math.sqrt(3) * self.stated("formula", a) for a in (6.0e-4, 6.6e-4))
        return rho * (1 + sum(errors))

    def stated(self, name, number):
        """An error that was stated for the air, or of its formula."""
        return self.node(name, number, 0) if self.along and name in WITHIN_A_SIGN else self.error(name, number)

    def condition(self, row):
        """One quantity of the conditions [SI, degC]: known to a standard uncertainty, or observed."""
        tag, x, u = row["instrument"], SI[row["unit"]] * float(row["value"]), row["standard_uncertainty"]
        if not tag:
            return x + SI[row["unit"]] * float(u) * self.stated(row["quantity"], 0)
        own = self.number(0.0, math.hypot(self.declared(tag), self.step(tag) / math.sqrt(12)), math.inf, "conditions")
        if tag in self.showing:
            return self.corrected(tag, x + own, x) + self.drift(tag, x, x)
        alone = ("conditions", "conditions reference")
        return self.corrected(tag, x + own, x, alone) + self.drift(tag, x, x, "conditions stability")

    def density_of_calibration(self, tag):
        row = self.certificates[tag]
        t, p, h = (float(row[column]) for column in ("temperature_degC", "pressure_kPa", "humidity_percent"))
        return cipm_2007(t, 1000 * p, h / 100)

    def density_of_reference_state(self, tag):
        row = self.instruments[tag]
        return cipm_2007(float(row["reference_temperature_degC"]), 1000 * float(row["reference_pressure_kPa"]), 0.0)

    # --- velocities ---

    def passes(self, row):
        """Indications [SI] of each point of each pass."""
        unit, key = SI[row["unit"]], (row["outlet"], row["instrument"], row["observed_at"])
        if row["traverse_rule"]:
            points = [
                one["indications"].split(";")
                for one in self.sheets["traverses.csv"]
                if (one["outlet"], one["instrument"], one["observed_at"]) == key
            ]
            return [[unit * float(one) for one in of_pass] for of_pass in zip(*points, strict=True)]
        values = [unit * float(one) for one in (row["observations"] or row["indication"]).split(";")]
        if self.instruments[row["instrument"]]["quantity"] == "pressure":
            return [[one] for one in values]
        return [[sum(values) / len(values)]]

    def repeatability(self, values, tag, least=0.0):
        """Error of the mean of repeated values, s of one at least so much; or of one value alone."""
        if len(values) == 1:
            return self.number(0.0, self.declared(tag), math.inf, "repeatability")
        u = max(float(np.std(values, ddof=1)), least) / math.sqrt(len(values))
        return self.number(0.0, u, len(values) - 1, "repeatability")

    def velocity(self, row):
        """Mean of the velocities of all points: those of a pass, then of the passes."""
        passes = self.passes(row)
        places = range(len(passes[0]))
        own = [0.0 for _ in places]
        if len(passes) == 1:
            values = [SI[row["unit"]] * float(one) for one in row["observations"].split(";") if one]
            tag = row["instrument"]
            own = [self.repeatability(values or [x], tag, self.declared(tag)) for x in passes[0]]
        points = chain.from_iterable(((x, own[place], place) for place, x in enumerate(of_pass)) for of_pass in passes)
        mean = sum(self.at_point(row, *one) for one in points) / (len(passes) * len(places))
        if len(passes) == 1:
            return mean
        means = [sum(self.plain.at_point(row, x, 0.0, 0) for x in of_pass) / len(places) for of_pass in passes]
        return mean + self.repeatability(means, row["instrument"])

    def at_point(self, row, x, own, place):
        """Velocity at a point: `x` a plain number, `own` its repeatability; rounding is the same in each pass."""
        tag = row["instrument"]
        instrument = self.instruments[tag]
        if instrument["quantity"] == "pressure":
            return self.at_pressure(row, x, own, place)
        rounding = self.step(tag) / math.sqrt(12) * self.error("resolution", row["outlet"], row["observed_at"], place)
        with_errors = x + own + rounding
        if instrument["density_effect"] == "vane friction" and row["conditions"]:
            scale = (self.density(row["conditions"]) / self.density_of_calibration(tag)) ** 0.5
            at = x * (self.plain.density(row["conditions"]) / self.density_of_calibration(tag)) ** 0.5
            return (self.corrected(tag, with_errors * scale, at) + self.drift(tag, x, at)) / scale
        velocity = self.corrected(tag, with_errors, x) + self.drift(tag, x, x)
        if instrument["density_effect"] == "thermal":
            velocity *= self.density_of_reference_state(tag) / self.density(row["conditions"])
        return velocity

    def at_pressure(self, row, x, own, place):
        """Velocity from a velocity pressure; below the lowest comparison the correction of that is held.

        Where u(y)/(2 y) is above 10 % the value is the mean over what y may be, and all such points of a reading err as one.
        """
        tag, rho = row["instrument"], self.density(row["conditions"])
        at = max(x, float(self.comparisons(tag)[0][0]))
        y, rho_0 = float(self.plain.corrected(tag, at, at)) - at + x, float(self.plain.density(row["conditions"]))
        slope = 1.0 if x < at else 1.0 + sum(self.fit(tag)[0][1:])
        u = math.hypot(
            slope * self.declared(tag), slope * self.step(tag) / math.sqrt(12), self.scatter(tag, at),
            self.reference(tag, at), self.limit(tag, at) / math.sqrt(3),
        )  # fmt: skip
        near, are_draws = y <= 0 or u / (2 * y) > 0.1, self.root is root_of_draws
        reading = (row["outlet"], row["observed_at"])
        if near and not are_draws:
            own, place = self.declared(tag) * self.error("repeatability", *reading, "near zero"), "near zero"
        with_errors = x + own + self.step(tag) / math.sqrt(12) * self.error("resolution", *reading, place)
        above = self.corrected(tag, with_errors, x) if x >= at else with_errors + self.corrected(tag, at, at) - at
        pressure = above + self.drift(tag, at, at)
        if not near or are_draws:
            return self.through_probe(row, self.root(2 * pressure / rho), math.sqrt(2 * max(y, 0.0) / rho_0))
        mean, u_mean = near_zero(y, u, rho_0)
        return self.through_probe(row, mean * (rho / rho_0) ** -0.5 + u_mean / u * (pressure - y), mean)

    def through_probe(self, row, velocity, at):
        """What the probe's own curve makes of the velocity that a coefficient of 1 gives; `at` is that velocity as a plain number.

        Below the lowest comparison the coefficient of that is held, and its errors.
        """
        tag, names = row["probe"], ("probe scatter", "probe reference")
        lowest = float(self.comparisons(tag)[0][0])
        if at >= lowest:
            return self.corrected(tag, velocity, at, names) + self.drift(tag, at, at, "probe stability")
        of_lowest = float(self.plain.corrected(tag, lowest, lowest, names))
        errors = (
            self.corrected(tag, lowest, lowest, names) - of_lowest + self.drift(tag, lowest, lowest, "probe stability")
        )
        through = of_lowest / lowest * velocity + errors
        return np.where(velocity > 0, through, 0.0) if self.root is root_of_draws else through

    # --- flows ---

    def flow(self, row):
        method = self.methods[row["method"]]
        dof = float(method["degrees_of_freedom"] or "inf")
        relative = float(method["relative_standard_uncertainty_percent"]) / 100
        side = int(self.outlets[row["outlet"]]["service"] == "supply")
        # Not known how much readings share: one error for the supply, one for what leaves the rooms, both of one evaluation.
        both = self.once(("method", row["method"]), lambda: self.numbers([0.0, 0.0], np.eye(2), dof, "method"))
        with_method = 1 + relative * both[side]
        if self.instruments[row["instrument"]]["quantity"] == "volume flow":
            return self.hood(row) * with_method
        return self.velocity(row) * self.opening(self.outlets[row["outlet"]]) * with_method

    def hood(self, row):
        """Flow that the hood shows, or that there was without it (1/q^2 is linear in its resistance)."""
        first = self.through_hood(row, "observations")
        if not row["throttled_observations"]:
            return first
        tag, second = row["instrument"], self.through_hood(row, "throttled_observations")
        ratio, u = (
            float(self.instruments[tag][one]) for one in ("resistance_ratio", "resistance_ratio_standard_uncertainty")
        )
        r = ratio + u * self.error("back pressure", tag)
        return ((r / first**2 - 1 / second**2) / (r - 1)) ** -0.5

    def through_hood(self, row, column):
        tag, unit = row["instrument"], SI[row["unit"]]
        values = [unit * float(one) for one in row[column].split(";")]
        x = sum(values) / len(values)
        rounding = self.error("resolution", row["outlet"], row["observed_at"], column)
        least = 0.0 if row["throttled_observations"] else self.declared(tag)
        with_errors = x + self.repeatability(values, tag, least) + self.step(tag) / math.sqrt(12) * rounding
        return self.corrected(tag, with_errors, x) + self.drift(tag, x, x)

    def dimension(self, row, column):
        """A dimension within its limits, the same at every reading of the place."""
        unit = SI[row["dimension_unit"]]
        u = unit * float(row["dimension_limit"]) / math.sqrt(3)
        return self.once(
            (row["outlet"], column), lambda: self.number(unit * float(row[column]), u, math.inf, "dimension")
        )

    def opening(self, row):
        """Area times factor."""
        if row["shape"] == "round":
            area = math.pi / 4 * self.dimension(row, "diameter") ** 2
        else:
            width, height = self.dimension(row, "width"), self.dimension(row, "height")
            oval = row["shape"] == "flat-oval"
            area = height * (width - height) + math.pi / 4 * height**2 if oval else width * height
        if row["place"] == "duct":
            return area
        u = float(row["outlet_factor_standard_uncertainty"])
        return area * (float(row["outlet_factor"]) + u * self.error("outlet factor", row["outlet_factor_source"]))
