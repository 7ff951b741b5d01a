"""Numbers of a report as they are written, and the cells that hold them."""

from collections.abc import Mapping
from typing import Any

from calib.faces.curve_answer import Content
from calib.faces.reading_answer import probability_text
from calib.faces.report.blocks import Cell, Mark, Run, runs
from calib.uncertainty.statement import plain, round_result, round_uncertainty

NOTHING = Cell()


def rounded(flow: Mapping[str, Any]) -> str:
    """A flow with its expanded uncertainty, rounded: 412 ± 23."""
    return rounded_text(flow["value"], flow["expanded_uncertainty"])


def rounded_text(value: float, expanded_uncertainty: float) -> str:
    """Value and expanded uncertainty to the place of two digits of it, with a minus sign where it is negative."""
    return str(round_result(value, expanded_uncertainty)).replace("-", "−")


def significant(value: float, digits: int) -> str:
    """Significant digits, trailing zeros left out, with a minus sign where it is negative."""
    return format(value, f".{digits}g").replace("-", "−").replace("e−", "e-")


def two_digits(uncertainty: float) -> str:
    """An uncertainty with two digits (GUM 7.2.6)."""
    return plain(round_uncertainty(uncertainty))


def moment(typed_time: str) -> str:
    """2026-10-14 09:12+01:00"""
    return typed_time.replace("T", " ")


def risk_text(probability: float) -> str:
    """A risk is small: two digits in percent."""
    return "< 0.01 %" if probability < 0.0001 else f"{100 * probability:.2g} %"


def degrees_text(degrees_of_freedom: float | None) -> str:
    """Whole degrees of freedom, rounded down (GUM G.4.1)."""
    if degrees_of_freedom is None:
        return "∞"
    if degrees_of_freedom > 9999:
        return "> 9999"
    return f"{int(degrees_of_freedom + 1e-6)}"  # 1.9999999999999998 are 2


def signed_percent(percent: float | None) -> str:
    """+3 %, −4 %, or – where there is none."""
    return "–" if percent is None else f"{percent:+.0f} %".replace("-", "−")


def count_of(number: int, one: str, several: str) -> str:
    """1 reading, 2 readings."""
    return f"{number} {one if number == 1 else several}"


# --- cells -----------------------------------------------------------------------------------------------------------------------


def words(*parts: str | Run) -> Cell:
    """A cell of text; parts are set apart, so that typed text does not turn the direction of what follows."""
    return Cell(runs(*parts))


def number(value: float | None, form: str, unit: str | None = None) -> Cell:
    """A cell with a number as `format` writes it, and its unit."""
    if value is None:
        return NOTHING
    text = format(value, form)
    return Cell((Run(f"{text} {unit}" if unit else text),), float(value), unit)


def flow_cell(flow: Content | None, to: str | None = None, otherwise: str = "not measured") -> Cell:
    """A flow with its expanded uncertainty, leading to what it rests on."""
    if flow is None:
        return Cell((Run(otherwise),))
    text = (Run(f"{rounded(flow)} {flow['unit']}", to=to),)
    return Cell(text, flow["value"], flow["unit"], flow["expanded_uncertainty"])


def factor_cell(flow: Content | None) -> Cell:
    """Its coverage factor."""
    return NOTHING if flow is None else number(flow["coverage_factor"], ".2f")


def probability(value: float | None) -> Cell:
    """A probability of conformity."""
    return NOTHING if value is None else Cell((Run(probability_text(value)),), value, None)


def statement(word: str | None) -> Cell:
    """A statement of conformity."""
    return Cell((Run(word, Mark.STATEMENT),)) if word else NOTHING


def digits_cell(value: float, digits: int, unit: str | None = None) -> Cell:
    """A cell with a number of so many significant digits; the unit stands in another column."""
    return Cell((Run(significant(value, digits)),), value, unit)
