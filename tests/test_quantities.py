"""The units of the trade, both ways, against published factors: reference_data/units.

Printed factors: NIST SP 811, class C, from memory, recomputed. Exact ones follow from the definitions, class D.
"""

from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.errors import UnitError
from calib.quantities import INSTRUMENT_QUANTITIES, UNITS, known_units, preferred, read, unit
from tests.reference import agrees, last_digit, rows

FACTORS = rows("units", "factors")
PRINTED = [row for row in FACTORS if row["printed factor"]]
EXACT = [row for row in FACTORS if row["exact factor"]]
INEXACT = [row for row in PRINTED if not row["exact factor"]]
# Exception: the package takes 249.089 Pa, the printed 249.0889 Pa rounded to six digits; the difference is 0.4 parts in 10^6.
UNITS_OF_LAST_DIGIT = {"inH2O(4degC)": "1"}
ALL = [(quantity, symbol) for quantity, symbols in UNITS.items() for symbol in symbols]


def of(row):
    return unit(row["quantity"], row["unit"])


def named(row):
    return row["unit"]


def test_every_unit_has_a_factor_to_check_it_by():
    assert {(row["quantity"], row["unit"]) for row in FACTORS} == set(ALL)


@pytest.mark.parametrize("row", PRINTED, ids=named)
def test_a_unit_has_the_printed_factor(row):
    one = of(row).to_si(1.0) - of(row).to_si(0.0)
    assert agrees(one, row["printed factor"], UNITS_OF_LAST_DIGIT.get(row["unit"], "0.5"))


@pytest.mark.parametrize("row", INEXACT, ids=named)
def test_as_many_pascals_as_are_printed_are_one_unit(row):
    # Units without an exact factor, from SI: 1 within half a unit of the printed factor's last digit, exception as above.
    printed = row["printed factor"]
    allowed = float(Decimal(UNITS_OF_LAST_DIGIT.get(row["unit"], "0.5")) * last_digit(printed) / Decimal(printed))
    assert of(row).from_si(float(printed)) == pytest.approx(1.0, rel=allowed)


@pytest.mark.parametrize("row", EXACT, ids=named)
def test_a_unit_has_its_exact_factor_and_offset(row):
    factor, offset = Fraction(row["exact factor"]), Fraction(row["exact offset"])
    assert of(row).to_si(7.5) == pytest.approx(float(Fraction(15, 2) * factor + offset), rel=1e-14)
    assert of(row).from_si(7.5) == pytest.approx(float((Fraction(15, 2) - offset) / factor), rel=1e-14)


@pytest.mark.parametrize("row", EXACT, ids=named)
def test_a_difference_has_the_factor_and_no_offset(row):
    factor = Fraction(row["exact factor"])
    assert of(row).difference_to_si(0.3) == pytest.approx(0.3 * float(factor), rel=1e-14)
    assert of(row).difference_from_si(0.3) == pytest.approx(0.3 / float(factor), rel=1e-14)


@pytest.mark.parametrize(("quantity", "symbol"), ALL)
def test_there_and_back_is_the_same_value(quantity, symbol):
    one = unit(quantity, symbol)
    values = np.array([-40.0, 0.0, 0.1, 21.5, 1e5])
    assert one.from_si(one.to_si(values)) == pytest.approx(values, rel=1e-12, abs=1e-9)
    assert one.difference_from_si(one.difference_to_si(values)) == pytest.approx(values, rel=1e-12)


@pytest.mark.parametrize("quantity", UNITS)
def test_the_first_unit_of_a_quantity_is_that_of_si(quantity):
    first = unit(quantity, known_units(quantity)[0])
    assert (first.scale, first.offset) == (1.0, 0.0)


@pytest.mark.parametrize(
    ("quantity", "symbol", "value", "si"),
    [
        ("temperature", "degC", 20.0, 293.15),
        ("temperature", "degC", -40.0, 233.15),
        ("temperature", "degF", -40.0, 233.15),
        ("temperature", "degF", 32.0, 273.15),
        ("temperature", "degF", 212.0, 373.15),
        ("relative humidity", "%", 45.0, 0.45),
        ("air velocity", "km/h", 36.0, 10.0),
        ("volume flow", "m3/h", 3600.0, 1.0),
        ("voltage", "mV", 250.0, 0.25),
        ("pressure", "kPa", 101.325, 101325.0),
        # An inch is 25.4 mm, a foot 12 inches, and a pound 0.45359237 kg.
        ("length", "in", 12.0, 0.3048),
        ("length", "mm", 25.4, 0.0254),
        ("area", "ft2", 1.0, 0.3048**2),
        ("density", "lb/ft3", 1.0, 0.45359237 / 0.3048**3),
    ],
)
def test_well_known_values(quantity, symbol, value, si):
    assert unit(quantity, symbol).to_si(value) == pytest.approx(si, rel=1e-14)


def test_an_uncertainty_of_a_temperature_is_a_difference():
    assert unit("temperature", "degC").difference_to_si(0.3) == pytest.approx(0.3, rel=1e-15)
    assert unit("temperature", "degF").difference_to_si(0.9) == pytest.approx(0.5, rel=1e-15)


def test_cfm_is_cubic_feet_per_minute():
    # 1000 cubic feet of 0.3048 m in 60 s; a centifermi would be 1e-17 m.
    assert unit("volume flow", "cfm").to_si(1000.0) == pytest.approx(1000 * 0.3048**3 / 60, rel=1e-14)


def test_standard_air_has_the_same_density_in_either_unit():
    # 0.075 lb/ft3 is printed as 1.2014 kg/m3 (reference_data/velocity_pressure, from memory).
    assert agrees(unit("density", "lb/ft3").to_si(0.075), "1.2014")
    assert agrees(unit("density", "lb/ft3").from_si(1.2014), "0.0750")


def test_the_standard_atmosphere_in_inches_of_mercury():
    # 29.921 inHg is printed for 101,325 Pa (from memory).
    assert agrees(unit("pressure", "inHg(0degC)").from_si(101325.0), "29.921")


def test_the_two_ways_to_write_feet_per_minute_are_one():
    assert unit("air velocity", "fpm").scale == unit("air velocity", "ft/min").scale


@pytest.mark.parametrize(
    ("quantity", "symbol"), [("volume flow", "fpm"), ("air velocity", "cfm"), ("pressure", "inH2O")]
)
def test_an_unknown_unit_is_refused_with_those_that_are_known(quantity, symbol):
    with pytest.raises(UnitError) as refusal:
        unit(quantity, symbol)
    assert str(refusal.value) == f"{symbol!r} is not a unit of {quantity}: use one of {', '.join(UNITS[quantity])}"


@pytest.mark.parametrize("symbol", ["CFM", "m/S", " m/s", "", "meter/second", "m/s; drop"])
def test_a_unit_must_be_written_exactly(symbol):
    with pytest.raises(UnitError):
        unit("air velocity", symbol)


def test_every_instrument_measures_a_quantity_that_has_units():
    assert set(INSTRUMENT_QUANTITIES) <= set(UNITS)


@pytest.mark.parametrize(
    ("quantity", "si", "ip"),
    [
        ("air velocity", "m/s", "fpm"),
        ("volume flow", "L/s", "cfm"),
        ("temperature", "degC", "degF"),
        ("pressure", "Pa", "inH2O(4degC)"),
        ("relative humidity", "%", "%"),
        ("length", "mm", "in"),
        ("area", "m2", "ft2"),
        ("density", "kg/m3", "lb/ft3"),
        ("voltage", "V", "V"),
    ],
)
def test_each_system_prints_its_own_units(quantity, si, ip):
    assert (preferred(quantity, "si").symbol, preferred(quantity, "ip").symbol) == (si, ip)


@pytest.mark.parametrize(
    ("text", "quantity", "si"),
    [
        ("2.5 m/s", "air velocity", 2.5),
        ("  2.5m/s ", "air velocity", 2.5),
        ("+1e2 fpm", "air velocity", 0.508),
        ("-.5 Pa", "pressure", -0.5),
        ("1 inH2O(60degF)", "pressure", 248.84),
        ("45 %", "relative humidity", 0.45),
        ("0.45 1", "relative humidity", 0.45),
        ("21 degC", "temperature", 294.15),
    ],
)
def test_a_typed_value_is_read_with_its_unit(text, quantity, si):
    value, typed = read(text, quantity)
    assert value == pytest.approx(si, rel=1e-14)
    assert text.strip().endswith(typed.symbol)


@pytest.mark.parametrize(
    "text", ["", "m/s", "fast", "2,5,3 m/s", "2.5,3 m/s", "1.2.3 m/s", "nan m/s", "inf m/s", "1e999 m/s", "2.5 mph"]
)
def test_what_cannot_be_read_is_refused(text):
    with pytest.raises(UnitError):
        read(text, "air velocity")


@pytest.mark.parametrize(
    ("comma", "point"), [("2,5 m/s", "2.5 m/s"), ("0,125 m/s", "0.125 m/s"), (",5 m/s", "0.5 m/s")]
)
def test_a_decimal_comma_is_read_as_a_decimal_point(comma, point):
    assert read(comma, "air velocity") == read(point, "air velocity")


def test_what_may_be_a_decimal_comma_or_thousands_is_refused_with_both():
    with pytest.raises(UnitError, match=r"1\.250 or 1250, written without a comma"):
        read("1,250 fpm", "air velocity")


@pytest.mark.parametrize("text", ["0.51", "51", "0,51"])
def test_a_value_without_unit_is_refused_even_where_1_is_a_unit(text):
    with pytest.raises(UnitError, match="not a value with a unit"):
        read(text, "relative humidity")


@given(st.floats(0.01, 100.0), st.floats(0.001, 1.0), st.sampled_from(sorted(UNITS["air velocity"])))
def test_a_change_of_unit_leaves_a_relative_uncertainty_alone(value, relative, symbol):
    one = unit("air velocity", symbol)
    assert one.difference_to_si(relative * value) / one.to_si(value) == pytest.approx(relative)
