"""The section of a report on what its flows were worked out from: every reading in a line, and what readings share once."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import groupby
from string import ascii_lowercase

from calib.faces.parts.reading_evidence import FOUND
from calib.faces.report.anchors import Anchors
from calib.faces.report.blocks import Block, Cell, Heading, Run, Table, TableColumn, number_columns, paragraph
from calib.faces.report.flows_section import earlier_flows
from calib.faces.report.observed import DayAndZone, common_day, day_sentence, observed_cell
from calib.faces.report.table_cells import NOTHING, leading_cell, row_of, words_cell
from calib.faces.report.traverses_and_air import air_named
from calib.faces.written import Content, all_digits, significant, unit_text
from calib.uncertainty.statement import plain, round_result

_TakenWith = tuple[str, ...]

_MOST_LISTED = 120  # values of a log on paper; JSON and workbook have all


def evidence_section(report: Content, anchors: Anchors) -> Iterator[Block]:
    """What each flow was worked out from; nothing where no reading stands."""
    readings = report["readings"]
    if not readings:
        return
    yield Heading(2, "What each flow was worked out from", "worked-out")
    yield paragraph(
        "Each number stands as it was typed; semicolons part the observations of one reading. A velocity is their mean with the "
        "correction of the curve in ",
        Run("Appendix B", to="calibrations"),
        "; flow = velocity × area of the opening × factor, or velocity × effective area. A hood indicates the flow itself.",
    )
    sets = {each: _letters(place) for place, each in enumerate(dict.fromkeys(map(_taken_with, readings)))}
    yield _sets(sets)
    yield _methods(readings)
    if any(_opening(reading) for reading in readings):
        yield _openings(readings)
    day = common_day(readings)
    yield paragraph(day_sentence(day))
    rooms = list(_rooms(readings))
    if rooms:
        yield paragraph("Rooms: ", *rooms, ".")
    yield _readings(readings, sets, day, anchors)
    yield from earlier_flows(readings, anchors)
    traversed = [reading for reading in readings if reading["traverse"] is not None]
    if traversed:
        yield _points(traversed, anchors)


def _letters(place: int) -> str:
    """Letters in order: a to z, then aa."""
    before, last = divmod(place, len(ascii_lowercase))
    return (_letters(before - 1) if before else "") + ascii_lowercase[last]


# --- what readings share ---------------------------------------------------------------------------------------------------------


def _taken_with(reading: Content) -> _TakenWith:
    """With what a reading was taken, by what method, in what air, by whom."""
    probe, air = reading["probe"], reading["conditions"] or reading["air"]
    return (
        f"{reading['instrument']}, certificate {reading['certificate']}",
        f"{probe['tag']}, certificate {probe['certificate']}" if probe else "",
        reading["method"],
        air_named(air) if air else "",
        reading["operator"] or "",
        reading["averaging_s"] or "",
    )


def _sets(sets: Mapping[_TakenWith, str]) -> Table:
    labels = ("Instrument", "Probe", "Method", "Air", "Operator", "Averaged over [s]")
    shown = [place for place in range(len(labels)) if any(each[place] for each in sets)]
    columns = (TableColumn("Taken with", is_short=True), *(TableColumn(labels[place]) for place in shown))
    rows = tuple(
        row_of(words_cell(letter), *(words_cell(each[place]) for place in shown)) for each, letter in sets.items()
    )
    return Table("With what readings were taken", columns, rows, is_compact=True)


def _methods(readings: Sequence[Content]) -> Table:
    """Each method once, its figures as declared."""
    methods = {reading["method"]: reading["evidence"]["method"] for reading in readings}
    columns = (
        TableColumn("Method"),
        *number_columns("u of a reading [%]", "ν"),
        TableColumn("Basis", is_wordy=True),
    )
    rows = tuple(
        row_of(words_cell(name), *map(words_cell, _figures(declared)), words_cell(declared["basis"]))
        for name, declared in methods.items()
    )
    return Table("Methods", columns, rows, is_compact=True)


def _figures(declared: Content) -> tuple[str, str]:
    """The figure of a method with its degrees of freedom, or both: what its readings share, and what each has by itself."""
    single = declared["relative_standard_uncertainty_percent"]
    if single is not None:
        return str(single), declared["degrees_of_freedom"] or "∞"
    both = [f"{declared[f'{part}_standard_uncertainty_percent']} {said}" for part, said in _PARTS]
    return "; ".join(both), "; ".join(declared[f"{part}_degrees_of_freedom"] or "∞" for part, _ in _PARTS)


_PARTS = (("common", "shared by all"), ("own", "of each by itself"))


def _openings(readings: Sequence[Content]) -> Table:
    """Each opening with its factor, the outlets that have the same together."""
    outlets: dict[tuple[str, ...], dict[str, None]] = {}
    for reading in readings:
        if _opening(reading):
            outlets.setdefault(_opening(reading), {})[reading["outlet"]] = None
    columns = (
        TableColumn("Outlets and ducts", is_wordy=True),
        TableColumn("Opening", is_short=True),
        *number_columns("Sides ±", "K or A_e", "u"),
        TableColumn("Source of the factor", is_wordy=True),
    )
    rows = tuple(row_of(words_cell("; ".join(names)), *map(words_cell, opening)) for opening, names in outlets.items())
    return Table("Openings and factors", columns, rows)


def _opening(reading: Content) -> tuple[str, ...]:
    """Opening, limits of its sides, factor or effective area, its u, its source; empty of a hood."""
    size, factor = reading["evidence"]["dimensions"], reading["evidence"]["factor"]
    if size is None and factor is None:
        return ()
    is_area = factor is not None and factor["unit"] != "1"
    said = ("", "") if size is None or is_area else (_size(size), f"{size['dimension_limit']} {size['dimension_unit']}")
    return (*said, *(("", "", "") if factor is None else _factor(reading["evidence"], factor)))


def _rooms(readings: Sequence[Content]) -> Iterator[str]:
    """The outlets that the net flow of each room takes."""
    outlets: dict[str, dict[str, None]] = {}
    for reading in readings:
        if reading["room"]:
            outlets.setdefault(reading["room"], {})[reading["outlet"]] = None
    for place, (room, names) in enumerate(outlets.items()):
        yield from ("; " if place else "", room, " with ", ", ".join(names))


def _size(size: Content) -> str:
    sides = [size[side] for side in ("width", "height", "diameter") if size[side] is not None]
    return f"{size['shape']} {'Ø ' if size['shape'] == 'round' else ''}{' × '.join(sides)} {size['dimension_unit']}"


def _factor(evidence: Content, factor: Content) -> tuple[str, str, str]:
    unit = "" if factor["unit"] == "1" else f" {unit_text(factor['unit'])}"
    declared = "".join(
        f" ({', '.join(each[name] for name in ('document', 'edition', 'basis') if each[name])})"
        for each in evidence["sources"]
    )
    if factor["kind"] != FOUND:
        u = f"{factor['standard_uncertainty'] or '0'}{unit}"
        return f"{factor['value']}{unit}", u, f"{factor['source'] or 'not stated'}{declared}"
    value, u = all_digits(factor["value"], 7), all_digits(factor["standard_uncertainty"], 5)
    return f"{value}{unit}", f"{u}{unit}", f"found on site: {factor['source']}"


# --- each reading ----------------------------------------------------------------------------------------------------------------


def _readings(
    readings: Sequence[Content], sets: Mapping[_TakenWith, str], day: DayAndZone | None, anchors: Anchors
) -> Table:
    has_remarks = any(reading["remarks"] for reading in readings)
    columns = (
        TableColumn("Reading", is_short=True),
        TableColumn("Outlet", is_short=True),
        TableColumn("Observed", is_short=day is not None),
        TableColumn("Taken with", is_short=True),
        TableColumn("Indications as typed", is_wordy=True),
        *((TableColumn("Remarks", is_wordy=True),) if has_remarks else ()),
        *number_columns("Velocity", "Flow, unrounded"),
    )
    rows = tuple(
        row_of(
            leading_cell(str(reading["reading"]), anchors.of("budget", reading["reading"])),
            words_cell(reading["outlet"]),
            observed_cell(reading, day),
            words_cell(sets[_taken_with(reading)]),
            words_cell(_indications(reading)),
            *((words_cell(reading["remarks"] or ""),) if has_remarks else ()),
            NOTHING if reading["velocity"] is None else _velocity(reading["velocity"]),
            _unrounded(reading["flow"]),
        )
        for reading in readings
    )
    return Table("Readings as typed", columns, rows)


def _velocity(velocity: Content) -> Cell:
    text = plain(round_result(velocity["value"], velocity["standard_uncertainty"]).value)
    return Cell((Run(f"{text} {unit_text(velocity['unit'])}"),), velocity["value"], velocity["unit"])


def _unrounded(flow: Content) -> Cell:
    """A flow with digits beyond those that mean something, for whoever works it out."""
    return Cell((Run(f"{all_digits(flow['value'], 6)} {unit_text(flow['unit'])}"),), flow["value"], flow["unit"])


def _indications(reading: Content) -> str:
    evidence = reading["evidence"]
    typed, unit = evidence["indications"], unit_text(evidence["unit"])
    if reading["traverse"] is not None:
        return "below, point by point"
    if evidence["throttled_indications"]:
        return f"open {'; '.join(typed)} {unit}, throttled {'; '.join(evidence['throttled_indications'])} {unit}"
    if not reading["logged"]:
        return f"{'; '.join(typed)} {unit}"
    worth = f"worth {reading['effective_observations']:.4g} independent ones"
    if len(typed) > _MOST_LISTED:
        return f"{len(typed)} logged values of mean {reading['indication']} {unit}, {worth}"
    return f"{len(typed)} logged: {'; '.join(typed)} {unit}, {worth}"


def _points(traversed: Sequence[Content], anchors: Anchors) -> Table:
    """Points of the traverses: strokes part them, double strokes their lines, semicolons the passes."""
    is_weighted = any(len({each["weight"] for each in reading["traverse"]["velocities"]}) > 1 for reading in traversed)
    columns = (
        TableColumn("Reading", is_short=True),
        TableColumn(
            "Points of the traverse | with semicolons between passes ‖ and double strokes between lines", is_wordy=True
        ),
        TableColumn("Unit", is_short=True),
        *((TableColumn("Weights of the points", is_wordy=True),) if is_weighted else ()),
    )
    rows = tuple(
        row_of(
            leading_cell(str(reading["reading"]), anchors.of("reading", reading["reading"])),
            words_cell(_by_line(reading, lambda point: "; ".join(point["indications_as_typed"].split(";")))),
            words_cell(unit_text(reading["evidence"]["unit"])),
            *((words_cell(_by_line(reading, lambda point: significant(point["weight"], 6))),) if is_weighted else ()),
            anchor=anchors.of("points", reading["reading"]),
        )
        for reading in traversed
    )
    return Table("Points of the traverses", columns, rows)


def _by_line(reading: Content, said: Callable[[Content], str]) -> str:
    """What is said of each point of a traverse, line by line."""
    lines = groupby(reading["traverse"]["velocities"], key=lambda point: point["line"])
    return " ‖ ".join(" | ".join(map(said, points)) for _, points in lines)
