"""The outlets of a job as pictures show them: what is drawn of each, how many a figure holds, and the text that stands for it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import ceil, inf, nan
from typing import Any

from calib.counted import count_of
from calib.faces.drawings.style import in_lines, short, stacked
from calib.faces.written import SIGNS, Content, ends_of_interval, flow_limits_of, rounded, rounded_text, unit_text
from calib.procedures.on_record.flow_unit import common_flow_unit
from calib.procedures.report.summary import NOT_MEASURED
from calib.quantities import unit

MOST_NAMED = 60  # more outlets are thin lines
MOST_ROWS, MOST_THIN = 34, 500  # in one figure: what a page holds
ROW = 0.19  # [in]
_LONGEST_LABEL = 26  # signs on a line
_MOST_TOLD = 12  # outlets that a text names


@dataclass(frozen=True)
class OutletDrawing:
    """One outlet, as it is drawn."""

    name: str
    system: str
    value: float  # [% of design], or the flow where there is no design; NaN: not measured
    expanded_uncertainty: float  # in the same unit
    tolerance: tuple[float, float] | None  # between which it conforms [% of design]; infinite: no limit on that side
    statement: str | None  # of conformity, or that it was not measured
    flow: str  # as it is told, with its U

    @property
    def is_measured(self) -> bool:
        """Whether it has a flow."""
        return self.statement != NOT_MEASURED


OutletDrawings = tuple[OutletDrawing, ...]


@dataclass(frozen=True)
class OutletsDrawing:
    """The outlets of a job: against their designs, and those that have none."""

    against_design: OutletDrawings
    without_design: OutletDrawings  # in `unit`
    unit: str
    left: OutletDrawings = ()  # not measured, and not drawn

    @property
    def not_measured(self) -> OutletDrawings:
        """Those without a flow, drawn or not."""
        every = (*self.against_design, *self.without_design, *self.left)
        return tuple(outlet for outlet in every if not outlet.is_measured)


def outlets_of(readings: Sequence[Content], left: Sequence[Content] = ()) -> OutletsDrawing:
    """The latest reading of each outlet or station, and those `left` unmeasured, its systems in the order of their first one."""
    latest = [reading for reading in readings if reading["latest"]]
    systems = _places([each["system"] for each in (*latest, *left)])
    ordered = sorted(latest, key=lambda reading: systems[reading["system"]])
    without = [reading for reading in ordered if not _is_compared(reading)]
    symbol = common_flow_unit(reading["flow"]["unit"] for reading in without).symbol
    judged = [_against_design(reading) for reading in ordered if _is_compared(reading)]
    apart = [_without_design(reading, symbol) for reading in without]
    judged += [_left(outlet) for outlet in left if outlet["design"]]
    apart += [_left(outlet) for outlet in left if not outlet["design"]]
    drawn = [tuple(sorted(lot, key=lambda outlet: systems[outlet.system])) for lot in (judged, apart)]
    return OutletsDrawing(drawn[0], drawn[1], symbol)


def _left(outlet: Content) -> OutletDrawing:
    tolerance = _tolerance(outlet["design"]) if outlet["design"] else None
    return OutletDrawing(outlet["outlet"], outlet["system"], nan, 0.0, tolerance, NOT_MEASURED, NOT_MEASURED)


def measured_of(lot: OutletDrawings) -> OutletDrawings:
    """Those that have a flow."""
    return tuple(outlet for outlet in lot if outlet.is_measured)


def _is_compared(reading: Content) -> bool:
    """Whether it has a design, in a state in which its flow is known."""
    return reading["design"] is not None and reading["design"]["percent_of_design"] is not None


def _against_design(reading: Content) -> OutletDrawing:
    design = reading["design"]
    flow = design.get("flow") or reading["flow"]
    return OutletDrawing(
        reading["outlet"],
        reading["system"],
        design["percent_of_design"],
        100.0 * flow["expanded_uncertainty"] / design["value"],
        _tolerance(design),
        design["conformity"] or None,
        flow_text(flow),
    )


def _tolerance(design: Content) -> tuple[float, float] | None:
    lower, upper = flow_limits_of(design)
    if lower is None and upper is None:
        return None
    value = design["value"]
    return -inf if lower is None else 100.0 * lower / value, inf if upper is None else 100.0 * upper / value


def drawn_limits(outlet: OutletDrawing, widest: float) -> tuple[float, float]:
    """The limits of an outlet as they are drawn: what has none goes to the edge; without any there is nothing to draw."""
    low, high = outlet.tolerance or (100.0, 100.0)
    return max(low, 0.0), min(high, widest)


def _without_design(reading: Content, symbol: str) -> OutletDrawing:
    value, expanded = in_unit(reading["flow"], symbol)
    return OutletDrawing(reading["outlet"], reading["system"], value, expanded, None, None, flow_text(reading["flow"]))


def in_unit(flow: Mapping[str, Any], symbol: str) -> tuple[float, float]:
    """A flow of the content and its U, on an axis in another unit."""
    typed, axis = unit("volume flow", flow["unit"]), unit("volume flow", symbol)
    value, expanded = flow["value"], flow["expanded_uncertainty"]
    if typed == axis:
        return value, expanded
    return axis.from_si(typed.to_si(value)), axis.difference_from_si(typed.difference_to_si(expanded))


def flow_text(flow: Mapping[str, Any]) -> str:
    """A flow of the content with its U and its unit: 412 ± 23 m³/h; behind it its interval where that lies unsymmetrically."""
    beside = f" ({ends_of_interval(flow)})" if flow.get("interval") else ""
    return f"{rounded(flow)} {unit_text(flow['unit'])}{beside}"


def is_named(shown: OutletsDrawing) -> bool:
    """Whether each outlet has a row with its name."""
    return len(shown.against_design) + len(shown.without_design) <= MOST_NAMED


def parts_of(shown: OutletsDrawing) -> list[tuple[OutletsDrawing, int, int]]:
    """What stands in each figure, which of the figures it is, and how many there are."""
    named = is_named(shown)
    judged, apart = (
        _pages(lot) if named else _chunks(_sorted(measured_of(lot)), MOST_THIN)
        for lot in (shown.against_design, shown.without_design)
    )
    pairs = [*((lot, ()) for lot in judged), *(((), lot) for lot in apart)]
    if named and len(judged) == len(apart) == 1 and rows_with_names(judged[0]) + rows_with_names(apart[0]) <= MOST_ROWS:
        pairs = [(judged[0], apart[0])]
    left = () if named else shown.not_measured
    return [
        (OutletsDrawing(first, second, shown.unit, left if place == 1 else ()), place, len(pairs))
        for place, (first, second) in enumerate(pairs, start=1)
    ]


def _sorted(outlets: OutletDrawings) -> OutletDrawings:
    """Outlets by their value within each system."""
    systems = _places([outlet.system for outlet in outlets])
    return tuple(sorted(outlets, key=lambda outlet: (systems[outlet.system], outlet.value)))


def named_rows(outlets: Sequence[OutletDrawing]) -> list[tuple[str, OutletDrawing | None]]:
    """The names of outlets in their rows, each system's in one above its own, with the outlet of each."""
    labels: list[tuple[str, OutletDrawing | None]] = []
    system: str | None = None
    for outlet in outlets:
        if outlet.system != system:
            system = outlet.system
            labels.append((in_lines(system, _LONGEST_LABEL), None))
        labels.append((in_lines(outlet.name, _LONGEST_LABEL), outlet))
    return labels


def rows_with_names(outlets: Sequence[OutletDrawing]) -> float:
    """Rows of outlets with a name each: one more for each system, and more for long names."""
    return stacked([label for label, _ in named_rows(outlets)], ROW)[1]


def _pages(outlets: OutletDrawings) -> list[OutletDrawings]:
    """Outlets with a row each, as many as a page holds."""
    pages: list[list[OutletDrawing]] = []
    for outlet in outlets:
        if not pages or rows_with_names([*pages[-1], outlet]) > MOST_ROWS:
            pages.append([])
        pages[-1].append(outlet)
    return [tuple(page) for page in pages]


def _chunks(outlets: OutletDrawings, most: int) -> list[OutletDrawings]:
    """Outlets evenly over as few figures as hold them."""
    each = max(1, ceil(len(outlets) / max(1, ceil(len(outlets) / most))))
    return [outlets[start : start + each] for start in range(0, len(outlets), each)]


def _places(systems: Sequence[str]) -> dict[str, int]:
    """The place of each system: that of its first outlet."""
    return {name: place for place, name in enumerate(dict.fromkeys(systems))}


def title_of(place: int, count: int) -> str:
    """The title of a figure."""
    return "Outlets against their design" + ("" if count == 1 else f", {place} of {count}")


def outlets_words(shown: OutletsDrawing, place: int, count: int) -> str:
    """What a figure shows, in words with the numbers that matter."""
    sentences = [f"Picture {place} of {count}."] if count > 1 else []
    lot = measured_of(shown.against_design)
    if lot:
        least, most = min(lot, key=lambda outlet: outlet.value), max(lot, key=lambda outlet: outlet.value)
        words = [outlet.statement or "not judged" for outlet in lot]
        counted = ", ".join(f"{words.count(name)} {name}" for name in (*SIGNS, "not judged") if name in words)
        sentences.append(
            f"Flow of {count_of(len(lot), 'outlet', 'outlets')} in percent of design with its expanded uncertainty and tolerance: "
            f"{counted}. "
            f"From {_percent(least)} at {short(least.name, 40)} to {_percent(most)} at {short(most.name, 40)}."
        )
        sentences += _told("Fail", [outlet for outlet in lot if outlet.statement == "fail"])
        sentences += _told("Conditional fail", [outlet for outlet in lot if outlet.statement == "conditional fail"])
    apart = measured_of(shown.without_design)
    if apart:
        flows = [f"{short(outlet.name, 40)} {outlet.flow}" for outlet in apart]
        sentences.append(f"Without a design, {count_of(len(apart), 'outlet', 'outlets')}: {_list(flows)}.")
    if shown.not_measured:
        sentences.append(f"Not measured: {_list([short(outlet.name, 40) for outlet in shown.not_measured])}.")
    return " ".join(sentences)


def _percent(outlet: OutletDrawing) -> str:
    return f"({rounded_text(outlet.value, outlet.expanded_uncertainty)}) %"


def _told(word: str, lot: Sequence[OutletDrawing]) -> list[str]:
    return [f"{word}: {_list([f'{short(outlet.name, 40)} {_percent(outlet)}' for outlet in lot])}."] if lot else []


def _list(items: Sequence[str]) -> str:
    more = len(items) - _MOST_TOLD
    return ", ".join(items[:_MOST_TOLD]) + (f" and {more} more" if more > 0 else "")
