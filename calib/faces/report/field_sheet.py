"""The field sheet of a job: to print (PDF), by the same blocks and typesetter as a report, and as a workbook to fill in.

Decision (2026-11-29). What is written is asked for by the file's name: .pdf, .xlsx, .ods, each once or several together. Options:
both always (a second file that nobody named). Cost: two options for who wants paper and workbook.
"""

from collections.abc import Iterator, Sequence

from calib.airflow.traverse import ROUND, TraversePlace
from calib.faces.parts.duct_section_text import length_text, lines_of, lines_text
from calib.faces.report.blocks import (
    Block,
    Cell,
    Heading,
    Layout,
    Mark,
    Run,
    Strip,
    Table,
    TableColumn,
    TableRow,
    Title,
    paragraph,
    runs,
)
from calib.procedures.enter.blank_sheet import BlankColumn, BlankSheet
from calib.procedures.plan.field_sheet import PASSES_OF_TRAVERSE, PASSES_ON_SHEET, FieldPlace, FieldTraverse
from calib.procedures.typed.columns import FILES
from calib.quantities import UNITS
from calib.records.tables.jobs import Job

_TO_WRITE = "\u2007" * 12  # room for a hand
_UNITS = tuple(symbol for quantity in ("air velocity", "volume flow", "pressure") for symbol in UNITS[quantity])
_READINGS, _TRAVERSES = (FILES[file].by_name for file in ("readings.csv", "traverses.csv"))


# --- to fill in ------------------------------------------------------------------------------------------------------------------


def field_workbook(
    job: str, places: Sequence[FieldPlace], zone: str, tags: Sequence[str], methods: Sequence[str]
) -> list[BlankSheet]:
    """Sheets of a workbook that an import reads: a line for each place, its passes side by side, and the points of traverses."""
    columns = [
        BlankColumn("job", _READINGS["job"].meaning, must=True),
        BlankColumn("outlet", _READINGS["outlet"].meaning, must=True),
        BlankColumn("(system)", "for people alone"),
        BlankColumn("(design)", "for people alone"),
        BlankColumn("instrument", _READINGS["instrument"].meaning, must=True, choices=tags),
        BlankColumn("method", _READINGS["method"].meaning, must=True, choices=methods),
        BlankColumn("unit", _READINGS["unit"].meaning, must=True, choices=_UNITS),
        BlankColumn("date", "the day, like 2026-03-05", must=True),
        BlankColumn(f"time [{zone}]", "the time, like 14:30, in the zone that stands in the heading", must=True),
        *(
            BlankColumn(f"pass {count}", "a repeated pass over the same outlet")
            for count in range(1, PASSES_ON_SHEET + 1)
        ),
        *(
            BlankColumn(name, _READINGS[name].meaning)
            for name in ("traverse_rule", "traverse_lines", "traverse_points")
        ),
        BlankColumn("conditions", _READINGS["conditions"].meaning),
        BlankColumn("operator", _READINGS["operator"].meaning, must=True),
        BlankColumn("remarks", _READINGS["remarks"].meaning),
    ]
    rows = [
        [
            job,
            place.outlet.outlet,
            place.system,
            place.design,
            *[""] * (5 + PASSES_ON_SHEET),
            *_traverse(place),
            "",
            "",
            "",
        ]
        for place in places
    ]
    sheets = [BlankSheet("readings", columns, rows, is_of_example=False)]
    blank = [""] * (PASSES_OF_TRAVERSE + 2)
    points = [
        [job, place.outlet.outlet, str(point.line), str(point.point), _from_wall(place.traverse, point), *blank]
        for place in places
        if place.traverse is not None
        for point in place.traverse.places
    ]
    if points:
        of_points = [
            *map(_of_traverses, ("job", "outlet", "line", "point")),
            BlankColumn("(from the wall)", "for people alone"),
            *(
                BlankColumn(f"pass {count}", "what the meter shows there in this pass", must=count == 1)
                for count in range(1, PASSES_OF_TRAVERSE + 1)
            ),
            *map(_of_traverses, ("instrument", "observed_at")),
        ]
        sheets.append(BlankSheet("traverses", of_points, points, is_of_example=False))
    return sheets


def _traverse(place: FieldPlace) -> list[str]:
    by = place.traverse
    return ["", "", ""] if by is None else [by.rule, str(by.lines), str(by.points)]


def _of_traverses(name: str) -> BlankColumn:
    return BlankColumn(name, _TRAVERSES[name].meaning, _TRAVERSES[name].required)


def _from_wall(by: FieldTraverse, point: TraversePlace) -> str:
    return f"{length_text(point.along, by.length_unit)} {by.length_unit.symbol}"


# --- to print --------------------------------------------------------------------------------------------------------------------


def field_pdf(job: Job, places: Sequence[FieldPlace], at: str, digest: str) -> bytes:
    """The sheet as PDF; `at` is when it is written, ISO 8601 with its zone, `digest` that of the ledger."""
    from calib.faces.report.pdf import begin_pdf  # noqa: PLC0415 (the typesetter)

    layout = Layout(
        job=job.job,
        title="Field sheet",
        revision=None,
        is_draft=False,
        issued=at,
        ledger_digest=digest,
        blocks=tuple(_blocks(job, places)),
        kind="field sheet",
    )
    return begin_pdf(layout, {}).result()


def _blocks(job: Job, places: Sequence[FieldPlace]) -> Iterator[Block]:
    yield Title(f"Field sheet, job {job.job}", job.title or "")
    yield Strip(
        (("Date", _TO_WRITE), ("Operator", _TO_WRITE), ("Method", _TO_WRITE), ("Air: temperature, pressure", _TO_WRITE))
    )
    outlets = [place for place in places if place.traverse is None]
    if outlets:
        yield Heading(2, "Outlets")
        yield _table_of(outlets)
    if len(outlets) < len(places):
        yield Heading(2, "Ducts")
    for place in places:
        if place.traverse is not None:
            yield from _of_duct(place, place.traverse)
    yield paragraph(
        "Passes are repeated over the same outlet; a value that looks wrong is written down and said.", soft=True
    )


def _table_of(places: Sequence[FieldPlace]) -> Table:
    labels = ["Meter", "Time", *(f"Pass {count}" for count in range(1, PASSES_ON_SHEET + 1)), "Unit"]
    columns = (
        TableColumn("Outlet"),
        TableColumn("Design", is_number=True),
        *(TableColumn(label, is_short=True) for label in labels),
        TableColumn("Remarks", is_wordy=True),
    )
    rows = tuple(
        TableRow(
            (
                Cell(runs(Run(place.outlet.outlet, Mark.STRONG), "\n", Run(place.system, Mark.SOFT))),
                Cell(runs(place.design)),
                *[Cell(runs("\u2007" * 8))] * len(labels),
                Cell(),
            )
        )
        for place in places
    )
    return Table("Outlets", columns, rows, is_to_fill=True)


def _of_duct(place: FieldPlace, by: FieldTraverse) -> Iterator[Block]:
    yield Heading(3, f"{place.outlet.outlet}, {place.system}")
    design = f", design {place.design}" if place.design else ""
    before = ", as it was traversed last" if by.as_before else ""
    symbol = by.length_unit.symbol
    where = f"Beside each point its distance [{symbol}] from the wall where the probe goes in"
    where += "" if by.section.shape == ROUND else "; beside each line its distance from the left"
    yield paragraph(f"Traverse by {by.rule}, {lines_text(by.places)}{before}{design}. {where}. Meter, time, unit:")
    for count in range(1, PASSES_OF_TRAVERSE + 1):
        yield _grid(f"Traverse of {place.outlet.outlet}, pass {count}", f"Pass {count}", by)


def _grid(name: str, label: str, by: FieldTraverse) -> Table:
    """A cell for each point, its distance from the wall above room for a hand."""
    lines = lines_of(by.places)
    most = max(map(len, lines))
    columns = (TableColumn(label), *(TableColumn(f"Point {point}") for point in range(1, most + 1)))
    rows = []
    for points in lines:
        at = [] if by.section.shape == ROUND else [Run(f" at {length_text(points[0].x, by.length_unit)}", Mark.SOFT)]
        cells = [Cell(runs(Run(length_text(point.along, by.length_unit), Mark.SOFT), "\n\u2007")) for point in points]
        rows.append(TableRow((Cell(runs(f"Line {points[0].line}", *at)), *cells, *[Cell()] * (most - len(points)))))
    return Table(name, columns, tuple(rows), is_to_fill=True)
