"""A measuring range in one cell, and the quantity that a unit says. How people write a range: common practice, no source."""

import pytest

from calib.procedures.typed.measuring_range import high_end, low_end, quantity_of, unit_of_range
from calib.quantities import INSTRUMENT_QUANTITIES, UNITS


def read(cell, **others):
    cells = {"range_low": cell} | others
    return low_end(cells), high_end(cells), unit_of_range(cells)


@pytest.mark.parametrize(
    ("cell", "ends"),
    [
        ("0.4-25 m/s", ("0.4", "25", "m/s")),
        ("0,4 \u2013 25 m/s", ("0.4", "25", "m/s")),
        ("0.4 To 25m/s", ("0.4", "25", "m/s")),
        ("80...5000 fpm", ("80", "5000", "fpm")),
        ("40 \u2014 4000 m\u00b3/h", ("40", "4000", "m3/h")),
        ("-20 to +60 \u00b0C", ("-20", "60", "degC")),
        ("-20-60 \u00b0C", ("-20", "60", "degC")),
        ("\u221240 - \u22125 \u00b0C", ("-40", "-5", "degC")),
        ("0~100 %RH", ("0", "100", "%")),
        ("\u00b12500 Pa", ("-2500", "2500", "Pa")),
        ("+/- 2.5 kPa", ("-2.5", "2.5", "kPa")),
        ("0.4-25", ("0.4", "25", None)),
    ],
)
def test_both_ends_and_their_unit_are_read_from_one_cell(cell, ends):
    assert read(cell) == ends


@pytest.mark.parametrize(
    "cell",
    ["0.4", "", "0.4 m/s", "0-5,000 fpm", "0.4-25 knots", "up to 25 m/s", "0.4-25-30 m/s", "1 to", "0..3", "fine"],
)
def test_what_is_no_range_or_may_mean_two_is_left_alone(cell):
    assert read(cell) == (None, None, None)


def test_a_range_in_another_unit_than_the_row_has_is_left_alone():
    assert read("0.4-25 m/s", unit="fpm") == (None, None, None)
    assert read("0.4-25 m/s", unit="m/sec") == ("0.4", "25", "m/s")


def test_beside_an_upper_end_of_its_own_a_range_is_a_slip():
    assert read("0-3 m/s", range_high="20") == (None, None, None)


def test_a_unit_says_the_quantity():
    """Every unit of the vocabulary is of one quantity alone."""
    for quantity in INSTRUMENT_QUANTITIES:
        for symbol in UNITS[quantity]:
            assert quantity_of({"unit": symbol}) == quantity
    assert quantity_of({"range_low": "0.4-25 m/s"}) == "air velocity"
    assert quantity_of({"unit": "mm"}) is None
    assert quantity_of({}) is None


def test_a_quantity_that_was_typed_stands_right_or_wrong():
    assert quantity_of({"unit": "Pa", "quantity": "presure"}) == "presure"


def test_a_meter_that_indicates_another_quantity_measures_a_velocity():
    assert quantity_of({"unit": "Pa", "indication_quantity": "pressure"}) == "air velocity"
