"""Every outlet of a job against its design."""

from collections.abc import Sequence

from calib.faces.drawings.outlet_lines import outlet_lines
from calib.faces.drawings.outlet_rows import outlet_rows
from calib.faces.drawings.outlets import is_named, outlets_of, outlets_words, parts_of
from calib.faces.drawings.style import Chart, house_style
from calib.faces.written import Content


def overview_charts(readings: Sequence[Content], left: Sequence[Content] = ()) -> list[Chart]:
    """Every outlet's flow with its U, in percent of design, with tolerance and statement; grouped by system.

    `readings` are those of a report's content, unrounded, and `left` its outlets that were not measured. The latest reading of each
    outlet or station stands in it; those without a design are drawn apart, as flows. Up to 60 outlets have a named row each, about
    40 in a figure, also where they were not measured. More are drawn as thin lines, sorted by percent of design within each system,
    500 in a figure; what was not measured is counted there. No reading, no figure.
    """
    if not any(reading["latest"] for reading in readings):
        return []
    with house_style():
        return [
            Chart(outlet_rows(*part) if is_named(part[0]) else outlet_lines(*part), outlets_words(*part))
            for part in parts_of(outlets_of(readings, left))
        ]
