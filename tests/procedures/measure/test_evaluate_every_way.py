"""A job measured in every way, beside the same model written independently with uncertain numbers.

Sources: the packages GTC and `uncertainties`, which propagate uncertain numbers without anything of `calib`
(tests/independent_ways.py); JCGM 100:2008, 5.2.2 (correlated inputs) and G.4 (effective degrees of freedom).
Flows, uncertainties and degrees of freedom agree to 1e-9. What deviates, and why, stands beside the last tests.
"""

import math
from collections import defaultdict

import GTC
import numpy as np
import pytest
import uncertainties
from GTC import rp

from calib.procedures.measure.evaluate import evaluate
from calib.records import database
from tests.command import calib
from tests.every_way import every_way
from tests.folders import NOW, records_of
from tests.independent_sharing import squares_along_calibrations, variances_along_calibrations
from tests.independent_ways import LINE, Ways

SAME = 1e-9

# What a second party would write down by hand: outlet -> sign in each total.
SUPPLY = {"D-1": 1, "S-1": 1, "S-2": 1, "S-3": 1}  # the duct says that it belongs to the totals
SYSTEMS = {
    ("AH-1", "supply"): SUPPLY,
    ("AH-1", "return"): {"D-2": 1},  # a duct whose system has no outlet of this service
    ("AH-1", "exhaust"): {"X-1": 1},
    ("AH-1", "net"): SUPPLY | {"D-2": -1, "X-1": -1},
    ("AH-2", "supply"): {"D-3": 1},
    ("AH-3", "supply"): {"S-4": 1, "S-5": 1},
    ("AH-3", "return"): {"D-4": 1, "R-1": 1, "R-2": 1},
    ("AH-3", "net"): {"S-4": 1, "S-5": 1, "D-4": -1, "R-1": -1, "R-2": -1},
}
ALL_SUPPLY = SUPPLY | {"D-3": 1, "S-4": 1, "S-5": 1}
JOB = {
    "supply": ALL_SUPPLY,
    "return": {"D-2": 1, "D-4": 1, "R-1": 1, "R-2": 1},
    "exhaust": {"X-1": 1},
    "net": ALL_SUPPLY | {"D-2": -1, "D-4": -1, "R-1": -1, "R-2": -1, "X-1": -1},
}
ROOMS = {"Store": {"S-1": 1, "S-2": 1}, "Wash": {"S-3": 1, "X-1": -1}}


def more_ways():
    """The job with a third system, whose readings share instruments, probe, conditions and hood with the others.

    D-4: one pass with the same manometer and probe, no pressure at two points. S-4: four velocity pressures at one place.
    S-5: a second pair of the hood. R-1, R-2: the thermal anemometer and the vane in the air of the plant room. The thermometer's
    maximum permissible error has a percentage too: of degrees Celsius.
    """
    sheets = every_way()
    (thermometer,) = [row for row in sheets["instruments.csv"] if row["tag"] == "TH-1"]
    thermometer["mpe_percent"] = "0.2"
    for row in (
        {
            "outlet": "D-4",
            "service": "return",
            "place": "duct",
            "in_totals": "yes",
            "shape": "round",
            "diameter": "315",
        },
        {"outlet": "S-4", "service": "supply", "shape": "rectangular", "width": "300", "height": "250"} | OWN_FACTOR,
        {"outlet": "S-5", "service": "supply"},
        {"outlet": "R-1", "service": "return", "shape": "rectangular", "width": "600", "height": "300"} | OWN_FACTOR,
        {"outlet": "R-2", "service": "return", "shape": "round", "diameter": "250"} | OF_DATA_SHEET,
    ):
        blank = dict.fromkeys(sheets["outlets.csv"][0], "")
        sizes = {"dimension_unit": "mm", "dimension_limit": "1.5"} if "shape" in row else {}
        sheets["outlets.csv"].append(blank | {"job": "E-1", "system": "AH-3"} | sizes | row)
    for row in (
        {"outlet": "D-4", "instrument": "DM-1", "unit": "Pa", "method": "traverse", "probe": "PT-1"} | ONE_PASS,
        {"outlet": "S-4", "instrument": "DM-1", "unit": "Pa", "observations": "8.4;8.9;8.2;8.7", "probe": "PT-1"},
        {"outlet": "S-5", "instrument": "FH-1", "unit": "m3/h", "observations": "713;709", "method": "hood"}
        | THROTTLED,
        {"outlet": "R-1", "instrument": "TA-1", "unit": "m/s", "indication": "2.31"},
        {"outlet": "R-2", "instrument": "VF-1", "unit": "m/s", "observations": "0.98;1.02;1.00;1.01"},
    ):
        blank = dict.fromkeys(sheets["readings.csv"][0], "")
        air = {} if row["outlet"] == "S-5" else {"conditions": "plant room"}
        held = {"job": "E-1", "observed_at": "2026-03-05T11:00+01:00", "method": "sweep", "operator": "T. One"}
        sheets["readings.csv"].append(blank | held | air | row)
    for number, pressure in enumerate(["0.0", "19.3", "24.0", "18.1", "7.2", "21.4", "23.3", "-0.4"]):
        place = {"line": str(number // 4 + 1), "point": str(number % 4 + 1), "indications": pressure}
        sheets["traverses.csv"].append(
            {"job": "E-1", "outlet": "D-4", "instrument": "DM-1", "observed_at": "2026-03-05T11:00+01:00"} | place
        )
    return sheets


OWN_FACTOR = {
    "outlet_factor": "0.9",
    "outlet_factor_standard_uncertainty": "0.02",
    "outlet_factor_source": "traverses",
}
OF_DATA_SHEET = {
    "outlet_factor": "0.88",
    "outlet_factor_standard_uncertainty": "0.02",
    "outlet_factor_source": "data sheet",
}
ONE_PASS = {"traverse_rule": "log-linear", "traverse_lines": "2", "traverse_points": "4"}
THROTTLED = {"throttled_observations": "652;648"}
OUTLETS = sorted({*ALL_SUPPLY, *JOB["return"], "X-1"})


def gtc_numbers(values, covariance, dof, name):
    u = np.sqrt(np.diag(covariance))
    pair = GTC.multiple_ureal(values, u.tolist(), dof, label_seq=[f"{name} {k}" for k in range(len(values))])
    GTC.set_correlation(float(covariance[0, 1] / u[0] / u[1]), *pair)
    return pair


def gtc_number(value, u, dof, _name):
    return GTC.ureal(value, u, dof)


def linear_number(value, u, _dof, name):
    return uncertainties.ufloat(value, u, tag=name)


def linear_numbers(values, covariance, _dof, name):
    return uncertainties.correlated_values(values, covariance, tags=[name] * len(values))


@pytest.fixture(scope="module")
def records(tmp_path_factory):
    return records_of(tmp_path_factory.mktemp("ways"), more_ways())


@pytest.fixture(scope="module")
def job(records):
    with database.reading(str(records)) as session:
        return evaluate(session, "E-1", NOW)


@pytest.fixture(scope="module")
def by_gtc():
    return Ways(more_ways(), gtc_number, gtc_numbers)


@pytest.fixture(scope="module")
def by_uncertainties():
    return Ways(more_ways(), linear_number, linear_numbers)


@pytest.fixture(scope="module")
def along_by_gtc():
    """The same with an error at each comparison, for totals."""
    return Ways(more_ways(), gtc_number, gtc_numbers, along=True)


@pytest.fixture(scope="module")
def along_by_uncertainties():
    return Ways(more_ways(), linear_number, linear_numbers, along=True)


def gtc_component(y, x):
    return rp.u_component(y, x)


def linear_component(y, x):
    return y.derivatives.get(x, 0.0) * x.std_dev


def gtc_total(ways, signs):
    """Flow, u and degrees of freedom of a total; what rests on certificates and limits has no end of degrees of freedom."""
    y = ways.total(signs)
    along = math.fsum(variances_along_calibrations(ways, signs, gtc_component).values())
    variance = y.u**2 - squares_along_calibrations(ways, signs, gtc_component) + along
    return y.x, math.sqrt(variance), y.df * variance**2 / y.u**4


def row_of(job, outlet):
    return [one.outlet.outlet for one in job.measured].index(outlet)


def parts_of(value):
    """Contribution of each line of the budget to an uncertain number of `uncertainties`."""
    variance = defaultdict(float)
    for variable, part in value.error_components().items():
        variance[LINE.get(variable.tag, variable.tag)] += part**2
    return {name: math.sqrt(one) for name, one in variance.items()}


def lines_of(job, combined, row):
    names = [one.name for one in job.flows.contributions]
    return dict(zip(names, combined.uncertainties[row].tolist(), strict=True))


# --- what the independent model takes for granted --------------------------------------------------------------------------------


@pytest.mark.parametrize("tag", ["DM-1", "PT-1", "TA-1", "VF-1", "FH-1", "TH-1", "BA-1", "HY-1"])
def test_the_corrections_are_straight_lines_or_constants_by_the_rule(records, tag):
    degree = calib("calibration", "show", tag, "--json", records=records).document["curve"]["degree"]
    assert degree == (0 if tag in ("TH-1", "BA-1", "HY-1") else 1)


def test_every_reading_stands(job):
    assert job.refused == ()
    assert sorted(one.outlet.outlet for one in job.measured) == OUTLETS


def test_the_points_stand_for_equal_shares(job):
    """By the definitions of log-linear (on diameters), log-Tchebycheff and equal areas; ISO 3966, from memory."""
    weight, reading = job.readings.points.weight, job.readings.points.reading
    for outlet, count in (("D-1", 12), ("D-2", 25), ("D-3", 12), ("D-4", 8)):
        assert weight[reading == row_of(job, outlet)] == pytest.approx(1 / count, rel=1e-12)


# --- each reading ----------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("outlet", OUTLETS)
def test_each_flow_and_its_uncertainty_are_those_of_gtc(job, by_gtc, outlet):
    row, other = row_of(job, outlet), by_gtc.flows[outlet]
    assert job.flow.value[row] == pytest.approx(other.x, rel=SAME)
    assert job.flow.combined.standard_uncertainty[row] == pytest.approx(other.u, rel=SAME)
    assert job.flow.combined.degrees_of_freedom[row] == pytest.approx(other.df, rel=SAME)


@pytest.mark.parametrize("outlet", OUTLETS)
def test_each_line_of_the_budget_is_that_of_uncertainties(job, by_uncertainties, outlet):
    row, other = row_of(job, outlet), by_uncertainties.flows[outlet]
    assert job.flow.value[row] == pytest.approx(other.nominal_value, rel=SAME)
    expected = dict.fromkeys((one.name for one in job.flows.contributions), 0.0) | parts_of(other)
    assert lines_of(job, job.flow.combined, row) == pytest.approx(expected, rel=SAME, abs=1e-15)


# --- totals ----------------------------------------------------------------------------------------------------------------------


def totals_of(job):
    """Flow, u and degrees of freedom of each total, by what it adds up."""
    for totals in (job.of_systems, job.of_job, job.of_rooms):
        combined = totals.flow.combined
        for row, one in enumerate(totals.totals):
            figures = totals.flow.value[row], combined.standard_uncertainty[row], combined.degrees_of_freedom[row]
            yield (one.system, one.room or one.service), figures, combined.uncertainties[row]


EXPECTED = (
    SYSTEMS
    | {("", service): signs for service, signs in JOB.items()}
    | {("", room): one for room, one in ROOMS.items()}
)


def test_the_totals_are_those_written_down_by_hand(job):
    assert {key for key, *_ in totals_of(job)} == EXPECTED.keys()


@pytest.mark.parametrize("key", EXPECTED)
def test_each_total_is_that_of_gtc(job, along_by_gtc, key):
    figures = {other: found for other, found, _ in totals_of(job)}[key]
    value, u, dof = gtc_total(along_by_gtc, EXPECTED[key])
    # A sum of opposite signs is known to 1e-9 of what it is the difference of.
    assert figures[0] == pytest.approx(value, rel=SAME, abs=1e-9)
    assert figures[1] == pytest.approx(u, rel=SAME)
    assert figures[2] == pytest.approx(dof, rel=SAME)


@pytest.mark.parametrize("key", EXPECTED)
def test_each_line_of_a_total_is_that_of_uncertainties(job, along_by_uncertainties, key):
    """Reference standards and probes together: one laboratory stands behind both, and what they share is of neither line."""
    found = {other: parts for other, _, parts in totals_of(job)}[key]
    lines = dict(zip((one.name for one in job.flows.contributions), found.tolist(), strict=True))
    ways, signs = along_by_uncertainties, EXPECTED[key]
    expected = dict.fromkeys(lines, 0.0) | parts_of(ways.total(signs))
    along = variances_along_calibrations(ways, signs, linear_component)
    scatter = math.fsum(
        part**2 for variable, part in ways.total(signs).error_components().items() if variable.tag == "probe scatter"
    )
    of_probe = math.fsum(variance for group, variance in along.items() if group[0] == "probe stability")
    of_reference = math.fsum(variance for group, variance in along.items() if group[0] == "reference standard")
    expected["stability"] = math.sqrt(math.fsum(v for group, v in along.items() if group[0] == "stability"))
    both = math.sqrt(scatter + of_probe + of_reference)
    assert math.hypot(lines.pop("reference standard"), lines.pop("probe")) == pytest.approx(both, rel=SAME)
    del expected["reference standard"], expected["probe"]
    assert lines == pytest.approx(expected, rel=SAME, abs=1e-15)


# --- what the model leaves out ---------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def all_shared():
    """The same with what the conditions of the air share: with one another, and with the readings of the same instrument."""
    return Ways(more_ways(), gtc_number, gtc_numbers, conditions_apart=False)


@pytest.mark.parametrize("key", EXPECTED)
def test_what_the_conditions_share_is_lost_in_the_rounding_of_u(job, key):
    """DM-1 gives the static pressure too, TH-1 all temperatures, the formula's error is one: below 0.05 % of u."""
    ways = Ways(more_ways(), gtc_number, gtc_numbers, conditions_apart=False, along=True)
    figures = {other: found for other, found, _ in totals_of(job)}[key]
    _, u, dof = gtc_total(ways, EXPECTED[key])
    assert figures[1] == pytest.approx(u, rel=5e-4)
    assert figures[2] == pytest.approx(dof, rel=3e-3)


@pytest.mark.parametrize("outlet", OUTLETS)
def test_the_same_holds_for_each_reading(job, all_shared, outlet):
    row, other = row_of(job, outlet), all_shared.flows[outlet]
    assert job.flow.combined.standard_uncertainty[row] == pytest.approx(other.u, rel=5e-4)
    assert job.flow.combined.degrees_of_freedom[row] == pytest.approx(other.df, rel=2e-3)


# --- what sharing does -----------------------------------------------------------------------------------------------------------


def test_two_readings_in_the_same_air_share_its_density(job):
    """GUM 5.2.2: one error of the density moves both flows the same way."""
    density = {one.name: one for one in job.flows.contributions}["density"]
    in_plant_room = [row_of(job, outlet) for outlet in ("D-1", "D-2", "D-4", "S-4", "R-1")]
    assert len({int(density.source[row]) for row in in_plant_room}) == 1
    assert density.source[row_of(job, "D-3")] != density.source[in_plant_room[0]]
    assert all(density.parts[row, 0] < 0 for row in in_plant_room)
