"""The section of a report on its uncertainty budgets: what each influence contributes to each flow."""

from collections.abc import Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import replace

from calib.faces import drawings
from calib.faces.report.anchors import Anchors
from calib.faces.report.blocks import (
    Block,
    Bullets,
    Cell,
    Heading,
    Mark,
    Run,
    Table,
    TableColumn,
    TableRow,
    number_columns,
    paragraph,
    runs,
    unmarked,
)
from calib.faces.report.found_factors_section import cancelling_lines
from calib.faces.report.table_cells import NOTHING, degrees_cell, leading_cell, row_of, uncertainty_cell, words_cell
from calib.faces.written import Content, unit_text


def budgets_section(report: Content, anchors: Anchors) -> Iterator[Block]:
    """What each influence contributes to the uncertainty of each flow."""
    readings = report["readings"]
    if not readings:
        return
    yield Heading(2, "Uncertainty budgets", "budgets")
    totals = [total for total in (*report["totals"], *report["job_totals"], *report["rooms"]) if total["flow"]]
    units = {stated["flow"]["unit"] for stated in (*readings, *totals)}
    in_unit = f"in {unit_text(min(units))}" if len(units) == 1 else "in the unit of the flow"
    yield paragraph(
        f"What each influence contributes to the standard uncertainty u of each flow, {in_unit}; u² is the sum of "
        "their squares, and the largest is set in strong letters. One budget of each kind of measurement stands in full in the ",
        Run("appendix", to="in-full"),
        ".",
    )
    listed = {each["name"] for reading in readings for each in reading["contributions"]}
    names = [name for name in drawings.CONTRIBUTIONS if name in listed]
    columns = _columns(names, units)
    rows = tuple(_budget(reading, names, units, anchors) for reading in readings)
    yield Table("Uncertainty budgets", (TableColumn("Outlet", is_wordy=True), *columns), rows)
    cancelling = cancelling_lines(readings)
    if cancelling:
        yield Bullets(
            tuple(runs(line, ", see ", Run("Factors found on site", to="found-factors"), ".") for line in cancelling)
        )
    yield from _dominated(readings, anchors)
    if totals:
        rows = tuple(row_of(words_cell(_named(total)), *_cells(total, names, units)) for total in totals)
        yield Table("Budgets of the totals", (TableColumn("Total", is_wordy=True), *columns), rows)
    yield paragraph(_SHARED, soft=True)
    yield Bullets(tuple(runs(each) for each in _RULES))


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


# How u, k and totals come about, for whoever works them out.
_RULES = (
    (
        "Of two to four observations the largest counts of their own standard deviation, the declared one and, where five "
        "readings at least were repeated with one instrument by one method, the pooled relative one with the degrees of "
        "freedom of all. A log counts as a first-order autoregression, of its values or of means of 2, 3 or 5 neighbours, "
        "whichever gives the largest U."
    ),
    (
        "k is that of Student's t for ν. Where the distributions of the lines, added, give a U that is larger by more than "
        "5 %, k is theirs, and ν is the one that gives this k."
    ),
    (
        "In totals a shared error adds with the signs of its flows. Where it is not known how far it is shared, its u² is "
        "P² + N², P and N the sums of what is added and of what is subtracted; of a change since one calibration it is (P + "
        "N)². Errors of a calibration are summed so at each of its comparisons, a reading between two of them bearing both "
        "by nearness; they count for no less than independent errors would."
    ),
    (
        "Not known is what one method with a single figure, the change since one calibration, and the reference standards "
        "of one laboratory for one quantity have in common; a calibration in house is one of its standard's laboratory, and "
        "a factor found on site carries the calibration with which its duct was traversed."
    ),
)


def _named(total: Content) -> str:
    return f"room {total['room']}" if "room" in total else f"{total['system'] or 'all systems'}, {total['service']}"


def _columns(names: Sequence[str], units: AbstractSet[str]) -> tuple[TableColumn, ...]:
    """One for the unit only where flows have several."""
    return (
        *((TableColumn("Unit", is_short=True),) if len(units) > 1 else ()),
        *(TableColumn(name.capitalize(), is_number=True) for name in names),
        *number_columns("u", "ν"),
    )


def _cells(stated: Content, names: Sequence[str], units: AbstractSet[str]) -> Iterator[Cell]:
    """Unit, contributions, u and degrees of freedom of a flow or a total."""
    flow = stated["flow"]
    parts: Mapping[str, float] = {each["name"]: each["standard_uncertainty"] for each in stated["contributions"]}
    if len(units) > 1:
        yield words_cell(unit_text(flow["unit"]))
    largest = max(parts.values(), default=0.0)
    yield from (_contribution(parts[name], largest) if name in parts else NOTHING for name in names)
    yield uncertainty_cell(flow["standard_uncertainty"])
    yield degrees_cell(flow["effective_degrees_of_freedom"])


def _contribution(u: float, largest: float) -> Cell:
    cell = uncertainty_cell(u)
    return replace(cell, text=(Run(unmarked(cell.text), Mark.STRONG),)) if u == largest else cell


def _budget(reading: Content, names: Sequence[str], units: AbstractSet[str], anchors: Anchors) -> TableRow:
    key = reading["reading"]
    outlet = leading_cell(reading["outlet"], anchors.of("reading", key))
    return row_of(outlet, *_cells(reading, names, units), anchor=anchors.of("budget", key))


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
