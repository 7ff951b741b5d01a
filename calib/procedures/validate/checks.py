"""The published checks that ship with the program: a few for each kind of figure that a report prints, each with its source.

The suite has more, and the reasons of each exception; these are what a machine can be asked on which no suite is. A number agrees
where it lies within half a unit of the last printed digit, but for certified values of 15 digits (12 are asked) and the humidity
table, whose own coefficient is not known (one unit).
"""

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from calib.airflow.air import density
from calib.airflow.psychrometer import relative_humidity
from calib.airflow.standard_atmosphere import standard_pressure
from calib.airflow.traverse import RECTANGULAR, Section, traverse
from calib.confirmation.conformity import ToleranceIntervals, conformity, probability_of_conformity
from calib.confirmation.normalised_error import agreement
from calib.confirmation.words import DECISION_RULES
from calib.curves.generalised import distance_regression
from calib.curves.regression import unweighted
from calib.procedures.validate.published_digits import PublishedDigits
from calib.uncertainty.coverage import coverage_factor
from calib.uncertainty.estimate import degrees_of_freedom_of, from_expanded, rectangular, type_a_covariance
from calib.uncertainty.propagation import Contribution, combine

_KELVIN = 273.15


@dataclass(frozen=True)
class ComparedNumber:
    """One published number beside what the program makes of it."""

    symbol: str
    computed: float | str
    printed: str
    units: str = "0.5"  # of the last printed digit


@dataclass(frozen=True)
class PublishedCheck:
    """The numbers of one source."""

    source: str  # folder of `reference_data`
    of: str  # what of the program they check
    compared: Callable[[PublishedDigits], Iterator[ComparedNumber]]


def _end_gauge(digits: PublishedDigits) -> Iterator[ComparedNumber]:
    given = {symbol: float(text) for symbol, text in digits.printed("gum_h1", "inputs").items()}
    printed = digits.printed("gum_h1", "published")
    comparison = [
        _line(given["s pooled"] / math.sqrt(given["n"]), given["nu pooled"]),
        _line(from_expanded(given["U random"], given["t95(5)"]), given["nu random"]),
        _line(
            from_expanded(given["U systematic"], given["k systematic"]),
            degrees_of_freedom_of(given["reliability systematic"]),
        ),
    ]
    length = [
        *comparison,
        _line(from_expanded(given["U(lS)"], given["k(lS)"]), given["nu(lS)"]),
        _line(
            -given["lS"] * given["theta"] * rectangular(given["a(delta alpha)"]),
            degrees_of_freedom_of(given["reliability delta alpha"]),
        ),
        _line(
            -given["lS"] * given["alphaS"] * rectangular(given["a(delta theta)"]),
            degrees_of_freedom_of(given["reliability delta theta"]),
        ),
    ]
    of_comparison, of_length = combine(comparison), combine(length)
    u = float(of_length.standard_uncertainty[0])
    cut = np.floor(of_length.degrees_of_freedom)  # as the example takes them
    yield ComparedNumber("u(d)", float(of_comparison.standard_uncertainty[0]), printed["u(d)"])
    yield ComparedNumber("nu(d)", float(of_comparison.degrees_of_freedom[0]), printed["nu(d)"])
    yield ComparedNumber("uc", u, printed["uc"])
    yield ComparedNumber("uc2", u**2, printed["uc2"])
    yield ComparedNumber("veff", float(of_length.degrees_of_freedom[0]), printed["veff"])
    yield ComparedNumber("t99(16)", float(coverage_factor(cut, 0.99)[0]), printed["t99(16)"])


def _line(u: float, degrees_of_freedom: float = math.inf) -> Contribution:
    """A line of the budget of one result."""
    return Contribution("", np.array([False]), np.array([[u]]), np.array([0]), np.array([degrees_of_freedom]))


def _correlated_observations(digits: PublishedDigits) -> Iterator[ComparedNumber]:
    printed = digits.printed("gum_h2", "published")
    means, covariance = type_a_covariance(np.array(digits.numbers("gum_h2", "observations")))
    u = np.sqrt(np.diag(covariance))
    names = ("V", "I", "phi")
    for place, name in enumerate(names):
        yield ComparedNumber(name, float(means[place]), printed[name])
        yield ComparedNumber(f"u({name})", float(u[place]), printed[f"u({name})"])
    for first, second in ((0, 1), (0, 2), (1, 2)):
        symbol = f"r({names[first]},{names[second]})"
        yield ComparedNumber(symbol, float(covariance[first, second] / (u[first] * u[second])), printed[symbol])


def _student(digits: PublishedDigits) -> Iterator[ComparedNumber]:
    for row in digits.rows("gum_table_g2", "table_g2"):
        for percent, text in row.items():
            if percent != "nu" and text:
                factor = coverage_factor(float(row["nu"]), round(float(percent) / 100, 6))
                yield ComparedNumber(f"t {percent} % of {row['nu']}", float(factor), text)


def _one_limit(digits: PublishedDigits) -> Iterator[ComparedNumber]:
    for row in digits.rows("jcgm_106", "clause_7_3_2"):
        limit = np.array([float(row["limit"])])
        unlimited = np.array([math.inf])
        interval = (
            ToleranceIntervals(-unlimited, limit) if row["side"] == "upper" else ToleranceIntervals(limit, unlimited)
        )
        value, u = np.array([float(row["estimate"])]), np.array([float(row["u"])])
        yield ComparedNumber(row["example"], float(probability_of_conformity(value, u, interval)[0]), row["printed pc"])


def _decision_rules(digits: PublishedDigits) -> Iterator[ComparedNumber]:
    for row in digits.rows("ilac_g8", "decisions"):
        value, expanded, low, high = (np.array([float(row[name])]) for name in ("value", "U", "lower", "upper"))
        for rule in DECISION_RULES:
            said = conformity(value, expanded, ToleranceIntervals(low, high), rule)[0]
            yield ComparedNumber(f"{row['value']} ± {row['U']}, {rule}", str(said), row[rule])


def _straight_line(digits: PublishedDigits) -> Iterator[ComparedNumber]:
    x, y = digits.numbers("nist_strd_norris", "data")
    fit = unweighted(x, y, 1)
    coefficients, covariance = fit.in_powers_of_x()
    for place, row in enumerate(row for row in digits.rows("nist_strd_norris", "certified") if row["estimate"]):
        for symbol, value, text in (
            (row["parameter"], coefficients[place], row["estimate"]),
            (f"s({row['parameter']})", math.sqrt(covariance[place, place]), row["standard deviation"]),
        ):
            yield ComparedNumber(symbol, float(value), text, units="1000")  # 12 digits of 15


def _line_with_uncertain_x(digits: PublishedDigits) -> Iterator[ComparedNumber]:
    printed = digits.printed("iso_ts_28037_clause_7", "published")
    x, y, u_x, u_y = digits.numbers("iso_ts_28037_clause_7", "data")
    polynomial = distance_regression(x, y, u_x, u_y, 1).polynomial
    coefficients, covariance = polynomial.in_powers_of_x()
    for place, name in enumerate(("a", "b")):
        yield ComparedNumber(name, float(coefficients[place]), printed[name])
        yield ComparedNumber(f"u({name})", math.sqrt(covariance[place, place]), printed[f"u({name})"])
    yield ComparedNumber("cov(a,b)", float(covariance[0, 1]), printed["cov(a,b)"])
    yield ComparedNumber("chi2", float(polynomial.chi_squared), printed["chi2"])


def _density(digits: PublishedDigits) -> Iterator[ComparedNumber]:
    for row in digits.rows("cipm_2007", "densities"):
        at = float(row["t [degC]"]) + _KELVIN, float(row["p [Pa]"]), float(row["h"])
        yield ComparedNumber(f"rho at {row['t [degC]']} degC", float(density(*at)), row["density [kg/m3]"])


def _atmosphere(digits: PublishedDigits) -> Iterator[ComparedNumber]:
    for row in digits.rows("standard_atmosphere", "iso_2533"):
        yield ComparedNumber(
            f"p at {row['H [m]']} m", float(standard_pressure(float(row["H [m]"]))) / 100, row["p [hPa]"]
        )


def _wet_bulb(digits: PublishedDigits) -> Iterator[ComparedNumber]:
    for row in digits.rows("psychrometer", "table"):
        dry = float(row["t [degC]"]) + _KELVIN
        humidity = 100 * float(relative_humidity(dry, dry - float(row["depression [K]"]), 1e5))
        symbol = f"{row['t [degC]']} degC, {row['depression [K]']} K less"
        yield ComparedNumber(symbol, humidity, row["humidity [%]"], units="1.0")


def _traverse(digits: PublishedDigits) -> Iterator[ComparedNumber]:
    for row in digits.rows("traverse_positions", "positions"):
        lines = 3 if row["shape"] == RECTANGULAR else 2
        places = traverse(Section(row["shape"], 1.0, 1.0), row["rule"], lines, int(row["points_on_line"]))
        own = next(place for place in places if (place.line, place.point) == (1, int(row["index"])))
        symbol = f"{row['rule']}, {row['shape']}, point {row['index']} of {row['points_on_line']}"
        yield ComparedNumber(symbol, own.along, row["position_6"])
        yield ComparedNumber(f"weight of {symbol}", own.weight * lines, row["weight"])


def _normalised_errors(digits: PublishedDigits) -> Iterator[ComparedNumber]:
    for row in digits.rows("kcdb_ccm_ff_k3", "degrees_of_equivalence"):
        judged = agreement(float(row["D"]), float(row["U (k = 2)"]), 0.0, 0.0)
        yield ComparedNumber(f"E_n of {row['laboratory']}", abs(judged.normalised_error), row["|D|/U"])


CHECKS: Sequence[PublishedCheck] = (
    PublishedCheck("gum_h1", "propagation, effective degrees of freedom", _end_gauge),
    PublishedCheck("gum_h2", "correlated observations", _correlated_observations),
    PublishedCheck("gum_table_g2", "coverage factors", _student),
    PublishedCheck("jcgm_106", "probability of conformity", _one_limit),
    PublishedCheck("ilac_g8", "decision rules", _decision_rules),
    PublishedCheck("nist_strd_norris", "straight lines", _straight_line),
    PublishedCheck("iso_ts_28037_clause_7", "lines with uncertain references", _line_with_uncertain_x),
    PublishedCheck("cipm_2007", "density of moist air", _density),
    PublishedCheck("standard_atmosphere", "pressure at an altitude", _atmosphere),
    PublishedCheck("psychrometer", "humidity by the wet bulb", _wet_bulb),
    PublishedCheck("traverse_positions", "traverse points", _traverse),
    PublishedCheck("kcdb_ccm_ff_k3", "normalised errors", _normalised_errors),
)
