"""Pictures of a job: every outlet against its design, and the balance of its systems.

Each takes what the report's content holds (`faces.document`, unrounded) and does no more than scale it to its axes; the texts that
stand for the pictures where they cannot be seen are written here too.
"""

from collections.abc import Sequence

from matplotlib.figure import Figure

from calib.faces.drawings.balance import balance_alternatives, balance_charts
from calib.faces.drawings.outlet_lines import outlet_lines
from calib.faces.drawings.outlet_rows import outlet_rows
from calib.faces.drawings.outlets import OutletReading, is_named, outlets_of, overview_texts_of, parts_of
from calib.faces.drawings.style import house_style
from calib.faces.written import Content


def overview_charts(readings: Sequence[OutletReading]) -> list[Figure]:
    """Every outlet's flow with its U, in percent of design, with tolerance and statement; grouped by system.

    The latest reading of each outlet or station stands in it; those without a design are drawn apart, as flows. Up to 60 outlets
    have a named row each, about 40 in a figure. More are drawn as thin lines, sorted by percent of design within each system, 500
    in a figure. No reading, no figure.
    """
    with house_style():
        return [
            outlet_rows(*part) if is_named(part[0]) else outlet_lines(*part) for part in parts_of(outlets_of(readings))
        ]


def overview_alternatives(readings: Sequence[OutletReading]) -> list[str]:
    """The text of each picture of `overview_charts`, in the same order."""
    return overview_texts_of(outlets_of(readings))


def balance_chart(content: Content) -> Figure:
    """Supply, return, exhaust and net flow of each system and of the job, with U and design.

    `content` is a report's content, or the answer of `calib balance --json`. A job with more systems than one picture holds has
    several: this is the first, and its title says so; `balance_charts` gives all. Raises CalibError where there is no total.
    """
    return balance_charts(content)[0]


def balance_alternative(content: Content) -> str:
    """The text of `balance_chart`."""
    return balance_alternatives(content)[0]


__all__ = [
    "balance_alternative",
    "balance_alternatives",
    "balance_chart",
    "balance_charts",
    "overview_alternatives",
    "overview_charts",
]
