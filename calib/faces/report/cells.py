"""Numbers of a report as they are written, and the cells that hold them."""

from calib.faces.report.blocks import Cell, Mark, Run, runs
from calib.faces.written import Content, probability_text, rounded, significant

NOTHING = Cell()


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
