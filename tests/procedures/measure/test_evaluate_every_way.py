"""A job measured in every way, beside the same model written independently with uncertain numbers.

Sources: the packages GTC and `uncertainties`, which propagate uncertain numbers without anything of `calib`
(tests/independent_ways.py); JCGM 100:2008, 5.2.2 (correlated inputs) and G.4 (effective degrees of freedom).
Flows, uncertainties and degrees of freedom agree to 1e-9. What deviates, and why, stands beside the last tests.
"""

import math
from collections import defaultdict
from dataclasses import replace

import GTC
import numpy as np
import pytest
import uncertainties
from GTC import rp

from calib.measurement import flows
from calib.procedures.measure.evaluate import evaluate
from calib.records import database
from calib.uncertainty.propagation import covariance
from tests.command import calib
from tests.every_way import every_way
from tests.folders import NOW, records_of
from tests.independent_sharing import squares_along_calibrations, variances_along_calibrations
from tests.independent_ways import Ways, line_of

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


def parts_of(value, tag=None):
    """Contribution of each line of the budget to an uncertain number of `uncertainties`, of a reading by an instrument."""
    variance = defaultdict(float)
    for variable, part in value.error_components().items():
        variance[line_of(variable.tag, tag)] += part**2
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
    tag = job.measured[row].instrument.tag
    expected = dict.fromkeys((one.name for one in job.flows.contributions), 0.0) | parts_of(other, tag)
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
    """Together: reference standards and probes, since one laboratory stands behind both; and where others read in the plant room's
    air, its density with all that DM-1 is wrong by, which gave its static pressure. What they share is of no one line."""
    found = {other: parts for other, _, parts in totals_of(job)}[key]
    lines = dict(zip((one.name for one in job.flows.contributions), found.tolist(), strict=True))
    ways, signs = along_by_uncertainties, EXPECTED[key]
    expected = dict.fromkeys(lines, 0.0) | parts_of(ways.total(signs))
    along = variances_along_calibrations(ways, signs, linear_component)

    def of(*names):
        return math.fsum(variance for group, variance in along.items() if group[0] in names)

    plain = defaultdict(float)
    for variable, part in ways.total(signs).error_components().items():
        plain[variable.tag] += part**2
    expected["stability"] = math.sqrt(of("stability"))
    expected["reference standard"] = math.sqrt(of("reference standard"))
    expected["probe"] = math.sqrt(plain["probe scatter"] + of("probe stability"))
    observed = ("conditions", "conditions reference", "conditions stability", "barometric pressure")
    expected["density"] = math.sqrt(math.fsum(plain[name] for name in observed) + of("relative humidity", "formula"))
    together = ["reference standard", "probe"]
    if signs.keys() & {"D-2", "R-1", "R-2"}:
        together += ["calibration scatter", "stability", "density"]
    for one in (lines, expected):
        one["together"] = math.hypot(*(one.pop(name) for name in together))
    assert lines == pytest.approx(expected, rel=SAME, abs=1e-15)


# --- what sharing does -----------------------------------------------------------------------------------------------------------


def of_density(job):
    return covariance([{one.name: one for one in job.flows.contributions}["density"]])


def test_two_readings_in_the_same_air_share_its_density(job):
    """GUM 5.2.2: one error of the density moves both flows the same way."""
    in_plant_room = [row_of(job, outlet) for outlet in ("D-1", "D-2", "D-4", "S-4", "R-1")]
    assert np.all(of_density(job)[np.ix_(in_plant_room, in_plant_room)] > 0)


def test_one_thermometer_in_two_sets_of_conditions_is_one_error_of_both(job):
    """D-2 and D-3, read thermally in the plant room and in the rooms: the permissible error of TH-1, 0.3 K + 0.2 %, moves both."""
    first, second = row_of(job, "D-2"), row_of(job, "D-3")
    change = (0.3 + 0.002 * 24.1) / 297.25 * (0.3 + 0.002 * 21.5) / 294.65 / 3
    both = job.flow.value[first] * job.flow.value[second]
    assert of_density(job)[first, second] > change * both


def test_what_a_manometer_shows_of_the_air_stands_in_the_lines_of_its_calibration(records, job):
    """A velocity pressure that is read high makes more flow of D-1, a static pressure that is read high less."""
    row, shared = row_of(job, "D-1"), job.readings.calibrations
    apart = flows(replace(job.readings, calibrations=replace(shared, identifier=())))
    for name in ("reference standard", "stability"):
        once, twice = ({one.name: one for one in each.contributions}[name].parts[row] for each in (apart, job.flows))
        assert 0 < np.linalg.norm(twice) < np.linalg.norm(once)
    answered = calib("budget", job.measured[row].reading.id, records=records)
    assert "readings with certificate E-101; with it the static pressure of plant room" in answered.out
