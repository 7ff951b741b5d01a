"""Units as typeset. Source: SI Brochure, 9th edition (2019), 5.2 and 5.4.3: exponents raised, the degree sign, its space."""

import pytest

from calib.faces.written import unit_text
from calib.quantities import UNITS

TYPESET = {
    "m3/s": "m³/s",
    "m3/h": "m³/h",
    "m2": "m²",
    "cm2": "cm²",
    "mm2": "mm²",
    "in2": "in²",
    "ft2": "ft²",
    "kg/m3": "kg/m³",
    "lb/ft3": "lb/ft³",
    "degC": "°C",
    "degF": "°F",
    "inH2O(4degC)": "inH₂O (4 °C)",
    "inH2O(60degF)": "inH₂O (60 °F)",
    "inH2O(68degF)": "inH₂O (68 °F)",
    "inHg(0degC)": "inHg (0 °C)",
}


@pytest.mark.parametrize(("typed", "shown"), TYPESET.items())
def test_a_unit_has_its_exponents_raised_and_its_degree_sign(typed, shown):
    assert unit_text(typed) == shown
    assert unit_text(shown) == shown


def test_every_other_unit_is_shown_as_it_is_typed():
    others = {symbol for units in UNITS.values() for symbol in units} - set(TYPESET)
    assert {symbol for symbol in others if unit_text(symbol) != symbol} == set()
    assert not any(sign in symbol for symbol in others for sign in ("deg", "2", "3"))


def test_quotients_of_units_are_typeset_part_by_part():
    assert unit_text("(m3/h)/(m/s)") == "(m³/h)/(m/s)"
    assert unit_text("(m/s)/degC") == "(m/s)/°C"
