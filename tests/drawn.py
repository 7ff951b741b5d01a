"""Every picture of the program by name, drawn from what tests/pictures.py holds."""

from functools import cache

from calib.airflow.traverse import LOG_TCHEBYCHEFF, RECTANGULAR, Section, traverse
from calib.faces import charts, job_charts
from calib.faces.due_chart import due_chart
from calib.faces.history_charts import control_chart, history_chart
from calib.faces.section import section_chart
from calib.quantities import unit
from tests import pictures

DPI = 60

_SECTION = Section(RECTANGULAR, 1.2, 0.5)
DRAWN = {
    "curve": lambda: charts.curve_chart(pictures.CURVE),
    "budget": lambda: charts.budget_bars(pictures.JOB[0]),
    "budget-and-distribution": lambda: charts.budget_bars(pictures.JOB[0], pictures.DISTRIBUTION),
    "budgets": lambda: charts.budget_chart(pictures.JOB),
    "distribution": lambda: charts.distribution_chart(pictures.DISTRIBUTION),
    "overview": lambda: job_charts.overview_charts(pictures.JOB)[0],
    "overview-of-many": lambda: job_charts.overview_charts(pictures.many(120, 5))[0],
    "balance": lambda: job_charts.balance_chart(pictures.BALANCE),
    "history": lambda: history_chart(pictures.HISTORY),
    "checks": lambda: control_chart("VA-11", pictures.CHECKS),
    "due": lambda: due_chart(pictures.FLEET),
    "section": lambda: section_chart(
        _SECTION, LOG_TCHEBYCHEFF, traverse(_SECTION, LOG_TCHEBYCHEFF, 6, 5), unit("length", "mm")
    ),
}


@cache
def figure_of(name):
    """The figure, drawn once."""
    figure = DRAWN[name]()
    charts.as_png(figure, DPI)
    return figure


@cache
def svg_of(name):
    return charts.as_svg(figure_of(name), "a")
