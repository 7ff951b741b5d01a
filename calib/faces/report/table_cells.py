"""The cells of a report's tables: a number stands in each as it is written, and unrounded."""

from calib.faces.report.blocks import Cell, Mark, Run, TableRow, runs
from calib.faces.written import (
    Content,
    all_digits,
    degrees_text,
    ends_of_interval,
    probability_text,
    risk_text,
    rounded,
    two_digits,
    unit_text,
)

NOTHING = Cell()


def row_of(*cells: Cell, is_total: bool = False, anchor: str | None = None) -> TableRow:
    """A row of these cells."""
    return TableRow(cells, is_total, anchor)


def words_cell(*parts: str | Run) -> Cell:
    """A cell of text; parts are set apart, so that typed text does not turn the direction of what follows."""
    return Cell(runs(*parts))


def leading_cell(text: str, to: str) -> Cell:
    """A cell whose text leads to another place of the report."""
    return Cell((Run(text, to=to),))


def number_cell(value: float | None, form: str, unit: str | None = None) -> Cell:
    """A cell with a number as `format` writes it, and its unit."""
    return NOTHING if value is None else _written(value, format(value, form), unit)


def digits_cell(value: float, digits: int, unit: str | None = None) -> Cell:
    """A cell with a number of so many significant digits, zeros among them; the unit stands in another column."""
    return Cell((Run(all_digits(value, digits)),), value, unit)


def flow_cell(flow: Content | None, to: str | None = None, otherwise: str = "not measured") -> Cell:
    """A flow with its expanded uncertainty, leading to what it rests on."""
    if flow is None:
        return Cell((Run(otherwise),))
    text = [Run(f"{rounded(flow)} {unit_text(flow['unit'])}".rstrip(), to=to)]
    if flow["interval"]:
        text.append(Run(f" ({ends_of_interval(flow)})", Mark.SOFT))
    return Cell(tuple(text), flow["value"], flow["unit"], flow["expanded_uncertainty"])


def factor_cell(flow: Content | None) -> Cell:
    """Its coverage factor."""
    return NOTHING if flow is None else number_cell(flow["coverage_factor"], ".2f")


def uncertainty_cell(standard_uncertainty: float, unit: str | None = None) -> Cell:
    """A standard uncertainty with two digits."""
    return _written(standard_uncertainty, two_digits(standard_uncertainty), unit)


def degrees_cell(degrees_of_freedom: float | None) -> Cell:
    """Degrees of freedom; without a number where they are without end."""
    return Cell((Run(degrees_text(degrees_of_freedom)),), degrees_of_freedom)


def probability_cell(probability: float | None) -> Cell:
    """A probability of conformity."""
    return NOTHING if probability is None else Cell((Run(probability_text(probability)),), probability)


def risk_cell(risk: float | None) -> Cell:
    """A consumer's or producer's risk."""
    return NOTHING if risk is None else Cell((Run(risk_text(risk)),), risk)


def statement_cell(statement: str | None) -> Cell:
    """A statement of conformity."""
    return Cell((Run(statement, Mark.STATEMENT),)) if statement else NOTHING


def _written(value: float, text: str, unit: str | None) -> Cell:
    return Cell((Run(f"{text} {unit_text(unit)}" if unit else text),), float(value), unit)
