"""The sections of a report on its measured flows, system by system, and on their balance."""

from collections import defaultdict
from collections.abc import Iterator

from calib.faces.drawings.balance import balance_charts
from calib.faces.drawings.overview import overview_charts
from calib.faces.parts.not_measured import why_not_measured
from calib.faces.parts.plant_drift import drift_sentence
from calib.faces.parts.reading_in_full import state_text
from calib.faces.parts.sharing import SHARING_COLUMNS, SHARING_TITLE, sharing_rows, what_to_declare
from calib.faces.parts.state_of_flows import design_state_lines, state_lines
from calib.faces.report.anchors import Anchors
from calib.faces.report.blocks import (
    Block,
    Bullets,
    Cell,
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
from calib.faces.report.observed import DayAndZone, common_day, day_sentence, observed_cell
from calib.faces.report.table_cells import (
    NOTHING,
    factor_cell,
    flow_cell,
    number_cell,
    probability_cell,
    row_of,
    statement_cell,
    words_cell,
)
from calib.faces.written import (
    Content,
    coverage_percent_text,
    design_text,
    tolerance_text,
    total_name,
    unit_text,
)
from calib.records.words import DUCT, REPEAT
from calib.uncertainty.coverage import COVERAGE_PROBABILITY
from calib.uncertainty.statement import plain, round_result

# --- flows -----------------------------------------------------------------------------------------------------------------------

_DESIGN_COLUMNS = (
    *number_columns("Design", "Tolerance", "% of design"),
    TableColumn("Conformity", is_short=True),
    TableColumn("Probability", is_number=True),
)
_FLOW_COLUMNS = (
    TableColumn("Outlet"),
    TableColumn("Service", is_short=True),
    TableColumn("Observed"),
    TableColumn("Instrument"),
    *number_columns("Velocity", "Flow ± U", "k"),
    *_DESIGN_COLUMNS,
)


def flows_section(report: Content, anchors: Anchors) -> Iterator[Block]:
    """Every flow that was measured, system by system, with the totals."""
    first = report["readings"][0]["flow"]["coverage_probability"] if report["readings"] else COVERAGE_PROBABILITY
    percent = f"{coverage_percent_text(first)}\N{NO-BREAK SPACE}%"
    day = common_day(report["readings"])
    yield Heading(2, "Measured flows", "flows")
    yield paragraph(
        f"Each flow is given as value ± expanded uncertainty U = k·u, with its coverage factor k for a coverage probability of "
        f"{percent}. {day_sentence(day)} A design that states no density is compared as measured, in the air that "
        "is at the outlet."
        f"{_about_intervals(report)}"
    )
    yield from _overview(report["readings"], report["not_measured"])
    readings, totals = _by_system(report["readings"]), _by_system(report["totals"])
    left = _by_system(report["not_measured"])
    for system in dict.fromkeys((*readings, *left, *totals)):
        yield Heading(3, f"System {system}")
        rows = [_reading(reading, day, anchors) for reading in readings.get(system, ())]
        rows += map(_not_measured, left.get(system, ()))
        if rows:
            yield Table(f"Flows of {system}", _FLOW_COLUMNS, tuple(rows))
        if system in totals:
            yield _totals(f"Total of {system}{_named_state(report)}", totals[system])
    flagged = tuple(runs(each["outlet"], f": {why_not_measured(each)}.") for each in report["not_measured"])
    flagged += tuple(
        runs(each["outlet"], f": {'; '.join(each['flags'])}.") for each in report["readings"] if each["flags"]
    ) + tuple(runs(f"{line}.") for line in design_state_lines(report["readings"]))
    if flagged:
        yield Bullets(flagged)


def _about_intervals(report: Content) -> str:
    stated = [*report["readings"], *report["totals"], *report["job_totals"], *report["rooms"]]
    if not any(each["flow"] and each["flow"]["interval"] for each in stated):
        return ""
    return (
        " Where the middle of that interval lies beside the value by more than 5 % of U, since uncertain factors are multiplied "
        "or a root is taken, its ends stand in brackets."
    )


_MOST_DRAWN = 1000  # outlets in the overview: two figures of thin lines


def _overview(readings: list[Content], left: list[Content]) -> Iterator[Picture]:
    """Every outlet against its design; of a very large job those that are least surely within their tolerance."""
    caption = (
        "Latest flow of each outlet with its U, in percent of design and in the state of that, with the tolerance."
    )
    shown = readings
    if len(readings) > _MOST_DRAWN:
        surely = sorted(readings, key=lambda reading: _probability(reading["design"]))
        shown = surely[:_MOST_DRAWN]
        caption = f"The {_MOST_DRAWN} of {len(readings)} readings with the lowest probability of conformity. {caption}"
    for place, chart in enumerate(overview_charts(shown, left)):
        yield Picture(f"overview-{place}", chart.figure, chart.words, runs(caption))


def _probability(design: Content | None) -> float:
    probability = None if design is None else design["probability_of_conformity"]
    return 1.0 if probability is None else float(probability)


def _named_state(report: Content) -> str:
    """The density of totals behind their names; as measured nothing, as it is said once."""
    density = report["compared"]["density_kg_per_m3"]
    return "" if density is None else f" {state_text(density)}"


def _by_system(records: list[Content]) -> dict[str, list[Content]]:
    of_system: dict[str, list[Content]] = defaultdict(list)
    for record in records:
        of_system[record["system"]].append(record)
    return of_system


def _reading(reading: Content, day: DayAndZone | None, anchors: Anchors) -> TableRow:
    design, velocity, key = reading["design"], reading["velocity"], reading["reading"]
    used: list[str | Run] = [
        Run(reading["instrument"], to=anchors.of("instrument", reading["instrument"], reading["certificate"]))
    ]
    if reading["probe"]:
        probe = reading["probe"]
        used += [" with ", Run(probe["tag"], to=anchors.of("instrument", probe["tag"], probe["certificate"]))]
    return row_of(
        words_cell(reading["outlet"], *_remarked(reading)),
        words_cell(reading["service"]),
        observed_cell(reading, day),
        words_cell(*used),
        NOTHING if velocity is None else _velocity(velocity),
        flow_cell(reading["flow"], to=anchors.of("budget", key)),
        factor_cell(reading["flow"]),
        *_judged(design),
        anchor=anchors.of("reading", key),
    )


def _not_measured(outlet: Content) -> TableRow:
    """The row of an outlet or a duct that no reading stands of."""
    design = outlet["design"]
    is_duct = (Run(" (duct)", Mark.SOFT),) if outlet["place"] == DUCT else ()
    return row_of(
        words_cell(outlet["outlet"], *is_duct),
        words_cell(outlet["service"]),
        *[NOTHING] * 3,
        words_cell(Run("not measured", Mark.STRONG)),
        NOTHING,
        *_judged(None if design is None else design | dict.fromkeys(_WHEN_MEASURED)),
    )


_WHEN_MEASURED = ("percent_of_design", "conformity", "probability_of_conformity")


def _remarked(reading: Content) -> Iterator[Run]:
    if reading["place"] == DUCT:
        yield Run(" (duct)", Mark.SOFT)
    if reading["stage"]:
        yield Run(f" ({reading['stage']})", Mark.SOFT)
    if not reading["latest"] and reading["stage"] != REPEAT:
        yield Run(" (a later reading counts)", Mark.SOFT)


def _velocity(velocity: Content) -> Cell:
    text = plain(round_result(velocity["value"], velocity["standard_uncertainty"]).value)
    return Cell((Run(f"{text} {unit_text(velocity['unit'])}"),), velocity["value"], velocity["unit"])


def _judged(design: Content | None) -> tuple[Cell, ...]:
    """Design, tolerance, share of the design, statement and probability."""
    if design is None:
        return (words_cell("none"), *[NOTHING] * 4)
    limits = tolerance_text(design)
    return (
        Cell(
            (
                Run(f"{design_text(design['value'])} {unit_text(design['unit'])}{_at_density(design)}"),
                *_as_typed(design),
            ),
            design["value"],
            design["unit"],
        ),
        _limits(limits, design["tolerance_percent"]),
        number_cell(design["percent_of_design"], ".1f"),
        statement_cell(design["conformity"]),
        probability_cell(design["probability_of_conformity"]),
    )


def _as_typed(design: Content) -> Iterator[Run]:
    """The design in the unit in which it was typed, where the report has another."""
    typed = design.get("typed")
    if typed is not None and typed["unit"] != design["unit"]:
        yield Run(f"\n{typed['value']} {unit_text(typed['unit'])}", Mark.SOFT)


def _at_density(design: Content) -> str:
    """The density that an outlet's design states."""
    density = design.get("density_kg_per_m3")
    return "" if density is None else f" {state_text(density)}"


def _limits(text: str, tolerance: float | None) -> Cell:
    """The limits as they are said; one number where they are equal on both sides."""
    if not text:
        return NOTHING
    return words_cell(text) if tolerance is None else Cell((Run(text),), tolerance, "%")


# --- balance ---------------------------------------------------------------------------------------------------------------------


def _totals(title: str, totals: list[Content]) -> Table:
    columns = (
        TableColumn(title),
        *number_columns("Flow ± U", "k"),
        *_DESIGN_COLUMNS,
        TableColumn("Measured", is_number=True),
    )
    rows = (
        row_of(
            words_cell(total_name(total)),
            flow_cell(total["flow"]),
            factor_cell(total["flow"]),
            *(_judged(total["design"]) if total["design"] else [NOTHING] * 5),
            _measured(total),
            is_total=True,
        )
        for total in totals
    )
    return Table(title, columns, tuple(rows), is_compact=True)


def _measured(total: Content) -> Cell:
    said = f"{total['outlets_measured']} of {total['outlets']}"
    return words_cell(said if total["outlets_measured"] == total["outlets"] else f"{said}, incomplete")


def balance_section(report: Content) -> Iterator[Block]:
    """Totals of the job, and net flows of the rooms."""
    if report["job_totals"] or report["rooms"]:
        yield Heading(2, "Balance", "balance")
    if report["job_totals"]:
        yield from _balance_pictures(report)
        yield _totals(f"All systems{_named_state(report)}", report["job_totals"])
    if report["rooms"]:
        yield _rooms(report["rooms"], _named_state(report))
        yield paragraph(
            "The sign of the net flow says which way air leaks through a room's openings; the pressure itself was not measured.",
            soft=True,
        )
    yield paragraph(
        "Totals take the latest reading of each outlet and carry what their readings share: the errors of one calibration, one "
        "outlet or one source of outlet factors add up before they are squared.",
        soft=True,
    )
    for drift in report["plant_drift"]:
        told = drift_sentence(drift)
        yield paragraph(f"{told[0].upper()}{told[1:]}.")
    every = [*report["totals"], *report["job_totals"], *report["rooms"]]
    states = tuple(runs(line) for line in state_lines(report["compared"], every))
    if states:
        yield Bullets(states)
    shared = sharing_rows(every)
    if shared:
        columns = (
            TableColumn(SHARING_COLUMNS[0].capitalize()),
            *number_columns(*SHARING_COLUMNS[1:-1]),
            TableColumn("Unit", is_short=True),
        )
        yield paragraph(f"{SHARING_TITLE}. More closely it is said by:")
        yield Bullets(tuple(runs(line) for line in what_to_declare(every)))
        yield Table(
            "Sharing not known",
            columns,
            tuple(row_of(*map(words_cell, (*row[:-1], unit_text(row[-1])))) for row in shared),
            is_compact=True,
        )


_MOST_BALANCES = 4  # figures; `calib balance --plot` draws all


def _balance_pictures(report: Content) -> Iterator[Picture]:
    for place, chart in enumerate(balance_charts(report, _MOST_BALANCES)):
        caption = "Supply, return, exhaust and net flow with U; the mark is the design."
        yield Picture(f"balance-{place}", chart.figure, chart.words, runs(caption))


_WANTED = {"positive": "a surplus of supply", "negative": "a surplus of extract"}


def _rooms(rooms: list[Content], state: str) -> Table:
    columns = (
        TableColumn("Room"),
        *number_columns("Supply less extract ± U", "k"),
        TableColumn("The design asks for"),
        *number_columns("Probability that it is so", "Measured"),
    )
    rows = (
        row_of(
            words_cell(room["room"]),
            flow_cell(room["flow"]),
            factor_cell(room["flow"]),
            words_cell(_WANTED.get(room["wanted"] or "", "nothing")),
            probability_cell(room["probability_as_wanted"]),
            _measured(room),
            is_total=True,
        )
        for room in rooms
    )
    return Table(f"Rooms{state}", columns, tuple(rows), is_compact=True)
