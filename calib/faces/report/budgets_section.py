"""The section of a report on its uncertainty budgets: what each influence contributes to each flow, and a picture of it."""

from collections.abc import Iterator, Mapping, Sequence

from calib.faces import drawings
from calib.faces.report.anchors import Anchors
from calib.faces.report.blocks import (
    Block,
    Bullets,
    Heading,
    Mark,
    Picture,
    Run,
    Table,
    TableColumn,
    TableRow,
    number_columns,
    paragraph,
    runs,
)
from calib.faces.report.found_factors_section import cancelling_lines
from calib.faces.report.table_cells import NOTHING, degrees_cell, leading_cell, row_of, uncertainty_cell, words_cell
from calib.faces.written import Content


def budgets_section(report: Content, anchors: Anchors) -> Iterator[Block]:
    """What each influence contributes to the uncertainty of each flow."""
    readings = report["readings"]
    if not readings:
        return
    yield Heading(2, "Uncertainty budgets", "budgets")
    yield paragraph(
        "What each influence contributes to the standard uncertainty u of each flow, in the unit of the flow; u² is the sum of "
        "their squares. One budget of each kind of measurement stands in full in the ",
        Run("appendix", to="in-full"),
        ".",
    )
    listed = {each["name"] for reading in readings for each in reading["contributions"]}
    names = [name for name in drawings.CONTRIBUTIONS if name in listed]
    columns = (
        TableColumn("Outlet"),
        TableColumn("Unit", is_short=True),
        *(TableColumn(name.capitalize(), is_number=True) for name in names),
        *number_columns("u", "ν"),
    )
    yield Table("Uncertainty budgets", columns, tuple(_budget(reading, names, anchors) for reading in readings))
    cancelling = cancelling_lines(readings)
    if cancelling:
        yield Bullets(
            tuple(runs(line, ", see ", Run("Factors found on site", to="found-factors"), ".") for line in cancelling)
        )
    yield from _dominated(readings, anchors)
    yield paragraph(_SHARED, soft=True)
    yield from _shares(readings)


_SHARED = (
    "Repeatability is evaluated from the observations (Type A) where a reading has several, else from the instrument's declared "
    "repeatability (Type B). Calibration scatter is shared by all readings with one calibration. How far such readings share "
    "reference standard and stability is not known, nor how far readings by one method share its uncertainty where a single figure "
    "is declared: totals take that as far as it could make their uncertainty larger. Shared are "
    "dimension by the readings at one outlet; outlet factor, with which an effective area is listed, by all outlets whose factor "
    "or area has the same source; density by the readings "
    "with the same conditions of the air; probe by the readings with one probe; back pressure by the readings with one hood; plant "
    "drift by the readings of one system and service."
)


def _budget(reading: Content, names: Sequence[str], anchors: Anchors) -> TableRow:
    flow, key = reading["flow"], reading["reading"]
    parts: Mapping[str, float] = {each["name"]: each["standard_uncertainty"] for each in reading["contributions"]}
    return row_of(
        leading_cell(reading["outlet"], anchors.of("reading", key)),
        words_cell(flow["unit"]),
        *(uncertainty_cell(parts[name]) if name in parts else NOTHING for name in names),
        uncertainty_cell(flow["standard_uncertainty"]),
        degrees_cell(flow["effective_degrees_of_freedom"]),
        anchor=anchors.of("budget", key),
    )


def _dominated(readings: Sequence[Content], anchors: Anchors) -> Iterator[Block]:
    dominated = tuple(
        runs(
            "At ",
            Run(reading["outlet"], to=anchors.of("reading", reading["reading"])),
            f" the contribution {reading['dominant_contribution']} dominates all others and is rectangular: k of a normal "
            "distribution overstates U there (EA-4/02, S9). ",
            Run(f"calib budget {reading['reading']}", Mark.CODE),
            " gives its own k by propagation of distributions.",
        )
        for reading in readings
        if reading["dominant_contribution"]
    )
    if dominated:
        yield Bullets(dominated)


def _shares(readings: Sequence[Content]) -> Iterator[Block]:
    shown = drawings.most_bars(readings)
    chosen = f"The {len(shown)} readings with the largest relative uncertainty. " if len(shown) < len(readings) else ""
    caption = runs(f"{chosen}Each bar is one flow: what share of its variance u² comes from where.")
    chart = drawings.budget_chart(shown)
    yield Picture("budget", chart.figure, chart.words, caption)
