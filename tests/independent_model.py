"""The measurement model written a second time: from the cells of an import, one reading at a time, with uncertain numbers.

How far readings share what a method adds is not known: one error for the supply, another for what leaves the rooms, which makes
P^2 + N^2 of a difference. The error of a calibration is one for all readings: in the small job no comparison is worth less than
nothing to any total, where not known means common.

Nothing of `calib` is used. `number(value, u, dof, name)` makes an uncertain number of some library, and
`numbers(values, covariance, dof, name)` correlated ones. The certificates' corrections are taken as straight lines.
"""

import math
from decimal import Decimal

import numpy as np
from statsmodels.regression.linear_model import OLS

SI = {
    "m/s": 1.0,
    "fpm": 0.00508,
    "mm": 0.001,
    "in": 0.0254,
    "m2": 1.0,
    "ft2": 0.3048**2,
}  # by definition of foot and inch


def averaged_line(x, y, least):
    """A line with the scatter of all polynomials that leave two degrees of freedom: coefficients in powers of x, covariance, nu."""
    n, highest = x.size, min(3, x.size - 3)
    fits = [OLS(y, np.vander(x, degree + 1, increasing=True)).fit() for degree in range(highest + 1)]
    squares = np.array([max(fit.ssr, fit.df_resid * least**2) for fit in fits])
    dof = np.array([fit.df_resid for fit in fits])
    bic = n * np.log(squares / n) + (n - dof + 1) * math.log(n)
    weights = np.exp(-(bic - bic.min()) / 2)
    weights /= weights.sum()
    padded = [np.pad(fit.params, (0, highest + 1 - fit.params.size)) for fit in fits]
    covariance = sum(
        weight
        * (
            np.pad(fit.normalized_cov_params * square / nu, (0, own.size - fit.params.size))
            + np.outer(own - padded[1], own - padded[1])
        )
        for weight, fit, square, nu, own in zip(weights, fits, squares, dof, padded, strict=True)
    )
    return padded[1], covariance, float(1 / np.sum(weights / dof))


class Model:
    """Flows [m3/s] of a job's readings as uncertain numbers, what they share being one number for all of them."""

    def __init__(self, sheets, number, numbers):
        self.number, self.numbers = number, numbers
        self.instruments = {row["tag"]: row for row in sheets["instruments.csv"]}
        self.outlets = {row["outlet"]: row for row in sheets["outlets.csv"]}
        self.methods = {row["method"]: row for row in sheets["methods.csv"]}
        self.comparisons = sheets["comparisons.csv"]
        self.shared = {}
        self.rows = sheets["readings.csv"]
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
        """Coefficients of the correction in powers of the indication, and the reference part at an indication.

        The degree is 1; without stated repeatability its scatter is that of all candidates about it, by BIC.
        """
        rows = [row for row in self.comparisons if row["tag"] == tag]
        unit = SI[rows[0]["unit"]]
        x, y, u = (
            unit * np.array([float(row[column]) for row in rows])
            for column in ("indication", "reference", "expanded_uncertainty")
        )
        k = np.array([float(row["coverage_factor"]) for row in rows])
        if rows[0]["repeatability"]:
            s, n = (np.array([float(row[column]) for row in rows]) for column in ("repeatability", "observations"))
            step = SI[self.instruments[tag]["unit"]] * float(self.instruments[tag]["resolution"])
            weights = 1 / np.sqrt((unit * s) ** 2 / n + step**2 / 12)
            found, covariance = np.polyfit(x, y - x, 1, w=weights, cov="unscaled")
            found, covariance, dof = found[::-1], covariance[::-1, ::-1], len(rows) - 2
        else:
            steps = [
                unit * 10.0 ** min(Decimal(row[column]).as_tuple().exponent for row in rows)
                for column in ("reference", "indication")
            ]
            found, covariance, dof = averaged_line(x, y - x, math.hypot(*steps) / math.sqrt(12))
        numbers = self.numbers(list(found), covariance, dof, "calibration scatter")
        return numbers, lambda indication: float(np.interp(indication, x, u / k))

    def indication(self, row):
        """Mean of the observations, and the same as an uncertain number."""
        unit, instrument = SI[row["unit"]], self.instruments[row["instrument"]]
        values = [unit * float(one) for one in row["observations"].split(";") if one] or [
            unit * float(row["indication"])
        ]
        mean, u, dof = sum(values) / len(values), SI[instrument["unit"]] * float(instrument["repeatability"]), math.inf
        if len(values) > 1:
            u, dof = self.repeated(row, values, u)
        return mean, self.number(mean, u, dof, "repeatability")

    def repeated(self, row, values, declared):
        """u of the mean of two to four values and its degrees of freedom: the largest s of three."""
        alike = [
            [float(one) for one in other["observations"].split(";")]
            for other in self.rows
            if (other["instrument"], other["method"]) == (row["instrument"], row["method"])
            and ";" in other["observations"]
        ]
        own, dof, pooled = float(np.std(values, ddof=1)), len(values) - 1, 0.0
        if len(alike) >= 5:
            dof = sum(len(each) - 1 for each in alike)
            squares = sum((len(each) - 1) * (np.std(each, ddof=1) / np.mean(each)) ** 2 for each in alike)
            pooled = math.sqrt(squares / dof) * abs(sum(values) / len(values))
        return max(own, declared, pooled) / math.sqrt(len(values)), dof

    def velocity(self, row):
        tag, mine = row["instrument"], (row["outlet"], row["observed_at"])
        instrument = self.instruments[tag]
        unit = SI[instrument["unit"]]
        mean, x = self.indication(row)
        x += unit * float(instrument["resolution"]) / math.sqrt(12) * self.error("resolution", *mine)
        coefficients, reference = self.once(("line", tag), lambda: self.line(tag))
        correction = sum(coefficient * x**power for power, coefficient in enumerate(coefficients))
        limit = float(instrument["mpe_percent"]) / 100 * mean + unit * float(instrument["mpe_absolute"])
        drift = limit / math.sqrt(3) * self.error("stability", tag)
        return x + correction + reference(mean) * self.error("reference standard", tag) + drift

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
