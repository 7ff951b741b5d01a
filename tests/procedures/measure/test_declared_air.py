"""Readings whose value hangs on the density, in air of which the temperature was declared and not observed."""

import math

import numpy as np
import pytest
from CoolProp.HumidAirProp import HAPropsSI

from calib.procedures.measure.budgets_in_full import in_full
from calib.procedures.measure.distributions import model_of
from calib.procedures.measure.evaluate import evaluate
from calib.records import database
from calib.uncertainty.distributions import Rectangular
from tests.every_way import NOW, every_way
from tests.folders import records_of

NAME = "air temperature not observed"
RANGES = (("supply", "18", "26"), ("return", "20", "24"))
MIDDLE, HALF_WIDTH = 22.0 + 273.15, 4.0


def evaluated(folder, *ranges):
    """The plant room's conditions with its pressures alone, and ranges of temperature."""
    sheets = every_way()
    sheets["conditions.csv"] = [
        row
        for row in sheets["conditions.csv"]
        if row["conditions"] == "rooms" or row["quantity"] not in ("temperature", "relative humidity")
    ]
    names = ("job", "service", "temperature_low_degC", "temperature_high_degC", "basis")
    sheets["air.csv"] = [dict(zip(names, ("E-1", *each, "set point"), strict=True)) for each in ranges]
    if not ranges:
        del sheets["air.csv"]
    with database.reading(str(records_of(folder, sheets))) as session:
        found = evaluate(session, "E-1", NOW)
        session.expunge_all()
        return found


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    return evaluated(tmp_path_factory.mktemp("declared"), *RANGES)


def row_of(job, outlet):
    return next(row for row, one in enumerate(job.measured) if one.outlet.outlet == outlet)


def contributed(job, outlet, name):
    row = row_of(job, outlet)
    (line,) = [each for each in job.flows.contributions if each.name == name]
    return float(np.linalg.norm(line.parts[row])) / job.flow.value[row]


def relative_slope():
    """d ln rho/dT by CoolProp, half saturated at the plant room's pressure."""
    above, below = (1 / HAPropsSI("Vha", "T", MIDDLE + step, "P", 97_740, "R", 0.5) for step in (0.5, -0.5))
    return (below - above) / ((above + below) / 2)


def test_a_velocity_pressure_bears_half_the_declared_range(job):
    expected = 0.5 * relative_slope() * HALF_WIDTH / math.sqrt(3)
    assert contributed(job, "D-1", NAME) == pytest.approx(expected, rel=2e-3)


def test_a_thermal_anemometer_bears_the_whole_range_of_its_own_service(job):
    expected = relative_slope() * 2.0 / math.sqrt(3)
    assert contributed(job, "D-2", NAME) == pytest.approx(expected, rel=2e-3)


def test_humidity_of_which_nothing_is_known_stays_with_the_density(job):
    """From dry to saturated, over sqrt(3): by CoolProp the difference of 0 and 100 %, halved."""
    dry, wet = (1 / HAPropsSI("Vha", "T", MIDDLE, "P", 97_740, "R", h) for h in (0.0, 1.0))
    of_humidity = (dry - wet) / (dry + wet) / math.sqrt(3)
    assert contributed(job, "D-1", "density") == pytest.approx(0.5 * of_humidity, rel=0.12)


def test_readings_in_observed_air_bear_none_of_it(job):
    assert contributed(job, "S-1", NAME) == 0.0


def test_the_distribution_of_a_declared_range_is_rectangular(job):
    row = row_of(job, "D-1")
    inputs, _ = model_of(job.readings, row, job.measured[row].air)
    half_widths = [each.half_width for each in inputs if isinstance(each, Rectangular)]
    assert pytest.approx(relative_slope() * HALF_WIDTH, rel=2e-3) in half_widths


def test_the_budget_in_full_has_the_range_as_a_quantity_of_its_own(job):
    (budget,) = [each for each in in_full(job) if each.row == row_of(job, "D-1")]
    (quantity,) = [each for each in budget.quantities if each.name == NAME]
    assert (quantity.symbol, quantity.distribution, quantity.estimate) == ("δ_ρ", "rectangular", 0.0)
    assert quantity.contribution == pytest.approx(abs(quantity.sensitivity) * quantity.standard_uncertainty, rel=1e-12)


def test_without_a_range_such_a_reading_is_refused_with_what_is_missing(tmp_path):
    found = evaluated(tmp_path)
    refused = {one.outlet.outlet: one.reasons for one in found.refused}
    assert set(refused) == {"D-1", "D-2"}
    assert refused["D-1"] == (
        "conditions plant room: no temperature, and none is declared for supply air: observe it, or declare its range in air.csv",
    )
