"""Every picture of the program by name, drawn from what tests/pictures.py holds."""

from functools import cache

from calib.airflow.traverse import LOG_TCHEBYCHEFF, RECTANGULAR, Section, traverse
from calib.faces import drawings
from calib.faces.drawings.balance import balance_charts
from calib.faces.drawings.duct_section import section_chart
from calib.faces.drawings.due import due_chart
from calib.faces.drawings.over_time import control_chart, history_chart
from calib.faces.drawings.overview import overview_charts
from calib.quantities import unit
from tests import pictures

DPI = 60

_SECTION = Section(RECTANGULAR, 1.2, 0.5)
DRAWN = {
    "curve": lambda: drawings.curve_chart(pictures.CURVE),
    "small-curve": lambda: drawings.small_curve_chart(pictures.CURVE),
    "budget": lambda: drawings.budget_bars(pictures.JOB[0]),
    "budget-and-distribution": lambda: drawings.budget_bars(pictures.JOB[0], pictures.DISTRIBUTION),
    "overview": lambda: overview_charts(pictures.JOB)[0],
    "overview-of-many": lambda: overview_charts(pictures.many(120, 5))[0],
    "balance": lambda: balance_charts(pictures.BALANCE)[0],
    "history": lambda: history_chart(pictures.HISTORY),
    "history-of-one": lambda: history_chart(pictures.ONE_CALIBRATION),
    "checks-in-a-trend": lambda: control_chart("VA-11", pictures.RISING),
    "checks": lambda: control_chart("VA-11", pictures.CHECKS),
    "due": lambda: due_chart(pictures.FLEET),
    "section": lambda: section_chart(
        _SECTION, LOG_TCHEBYCHEFF, traverse(_SECTION, LOG_TCHEBYCHEFF, 6, 5), unit("length", "mm")
    ),
}


@cache
def figure_of(name):
    """The figure, drawn once."""
    figure = DRAWN[name]().figure
    drawings.as_png(figure, DPI)
    return figure


@cache
def svg_of(name):
    return drawings.as_svg(figure_of(name), "a")
