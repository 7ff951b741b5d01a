"""The measurement model written a second time: from the cells of an import, one reading at a time, with uncertain numbers.

How far readings share what a method adds is not known: one error for the supply, another for what leaves the rooms, which makes
P^2 + N^2 of a difference. The error of a calibration is one for all readings: in the small job no comparison is worth less than
nothing to any total, where not known means common.

Nothing of `calib` is used. `number(value, u, dof, name)` makes an uncertain number of some library, and
`numbers(values, covariance, dof, name)` correlated ones. The certificates' corrections are taken as straight lines.
"""

import math

import numpy as np

SI = {
    "m/s": 1.0,
    "fpm": 0.00508,
    "mm": 0.001,
    "in": 0.0254,
    "m2": 1.0,
    "ft2": 0.3048**2,
}  # by definition of foot and inch


class Model:
    """Flows [m3/s] of a job's readings as uncertain numbers, what they share being one number for all of them."""

    def __init__(self, sheets, number, numbers):
        self.number, self.numbers = number, numbers
        self.instruments = {row["tag"]: row for row in sheets["instruments.csv"]}
        self.outlets = {row["outlet"]: row for row in sheets["outlets.csv"]}
        self.methods = {row["method"]: row for row in sheets["methods.csv"]}
        self.comparisons = sheets["comparisons.csv"]
        self.shared = {}
        self.readings = [(row["outlet"], self.flow(row)) for row in sheets["readings.csv"]]

    def once(self, key, make):
        """The same uncertain number wherever the same influence comes in."""
        if key not in self.shared:
            self.shared[key] = make()
        return self.shared[key]

    def error(self, name, *sharing):
        """An error of mean 0 and u = 1, one for all that share it."""
        return self.once((name, *sharing), lambda: self.number(0.0, 1.0, math.inf, name))

    def line(self, tag):
        """Intercept and slope of the correction, and the reference part at an indication."""
        rows = [row for row in self.comparisons if row["tag"] == tag]
        unit = SI[rows[0]["unit"]]
        x, y, u = (
            unit * np.array([float(row[column]) for row in rows])
            for column in ("indication", "reference", "expanded_uncertainty")
        )
        weights, covariance = None, True
        if rows[0]["repeatability"]:
            s, n = (np.array([float(row[column]) for row in rows]) for column in ("repeatability", "observations"))
            step = SI[self.instruments[tag]["unit"]] * float(self.instruments[tag]["resolution"])
            weights, covariance = 1 / np.sqrt((unit * s) ** 2 / n + step**2 / 12), "unscaled"
        (slope, intercept), found = np.polyfit(x, y - x, 1, w=weights, cov=covariance)
        k = np.array([float(row["coverage_factor"]) for row in rows])
        pair = self.numbers([intercept, slope], found[::-1, ::-1], len(rows) - 2, "calibration scatter")
        return *pair, lambda indication: float(np.interp(indication, x, u / k))

    def indication(self, row):
        """Mean of the observations, and the same as an uncertain number."""
        unit, instrument = SI[row["unit"]], self.instruments[row["instrument"]]
        values = [unit * float(one) for one in row["observations"].split(";") if one] or [
            unit * float(row["indication"])
        ]
        mean, u, dof = sum(values) / len(values), SI[instrument["unit"]] * float(instrument["repeatability"]), math.inf
        if len(values) > 1:
            u, dof = float(np.std(values, ddof=1)) / math.sqrt(len(values)), len(values) - 1
        return mean, self.number(mean, u, dof, "repeatability")

    def velocity(self, row):
        tag, mine = row["instrument"], (row["outlet"], row["observed_at"])
        instrument = self.instruments[tag]
        unit = SI[instrument["unit"]]
        mean, x = self.indication(row)
        x += unit * float(instrument["resolution"]) / math.sqrt(12) * self.error("resolution", *mine)
        intercept, slope, reference = self.once(("line", tag), lambda: self.line(tag))
        limit = float(instrument["mpe_percent"]) / 100 * mean + unit * float(instrument["mpe_absolute"])
        drift = limit / math.sqrt(3) * self.error("stability", tag)
        return x + intercept + slope * x + reference(mean) * self.error("reference standard", tag) + drift

    def dimension(self, row, column):
        unit = SI[row["dimension_unit"]]
        u = unit * float(row["dimension_limit"]) / math.sqrt(3)
        return self.once(
            (row["outlet"], column), lambda: self.number(unit * float(row[column]), u, math.inf, "dimension")
        )

    def opening(self, row):
        """Area times factor."""
        of_source = self.error("outlet factor", row["outlet_factor_source"])
        if row["effective_area"]:
            u = float(row["effective_area_standard_uncertainty"])
            return SI[row["effective_area_unit"]] * (float(row["effective_area"]) + u * of_source)
        factor = float(row["outlet_factor"]) + float(row["outlet_factor_standard_uncertainty"]) * of_source
        if row["shape"] == "round":
            return math.pi / 4 * self.dimension(row, "diameter") ** 2 * factor
        return self.dimension(row, "width") * self.dimension(row, "height") * factor

    def flow(self, row):
        percent = float(self.methods[row["method"]]["relative_standard_uncertainty_percent"])
        is_supply = self.outlets[row["outlet"]]["service"] == "supply"
        method = 1 + percent / 100 * self.error("method", row["method"], is_supply)
        return self.velocity(row) * self.opening(self.outlets[row["outlet"]]) * method

    def total(self, service):
        """Sum of a service, or the net flow."""
        signs = {"supply": 1, "return": -1, "exhaust": -1} if service == "net" else {service: 1}
        return sum(signs.get(self.outlets[outlet]["service"], 0) * flow for outlet, flow in self.readings)
