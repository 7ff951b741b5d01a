"""Units as typeset. Source: SI Brochure, 9th edition (2019), 5.2 and 5.4.3: exponents raised, the degree sign, its space."""

import pytest

from calib.faces.written import all_digits, risk_text, unit_text
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


@pytest.mark.parametrize(
    ("value", "digits", "text"),
    [
        (3249.9016, 6, "3249.90"),
        (231.18, 6, "231.180"),
        (610.288, 6, "610.288"),
        (0.8249350, 7, "0.8249350"),
        (1.75, 7, "1.750000"),
        (-0.003, 3, "−0.00300"),
        (0.0, 3, "0.00"),
        (123.4, 3, "123"),
        (2.6458e-7, 3, "2.65 × 10⁻⁷"),
    ],
)
def test_numbers_of_one_column_have_as_many_significant_digits(value, digits, text):
    assert all_digits(value, digits) == text


@pytest.mark.parametrize(("risk", "text"), [(0.019, "1.9 %"), (0.02, "2.0 %"), (0.16, "16 %"), (0.00005, "< 0.01 %")])
def test_a_risk_has_two_digits(risk, text):
    assert risk_text(risk) == text
