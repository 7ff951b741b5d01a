"""The outlets of a job as pictures show them: what is drawn of each, how many a figure holds, and the text that stands for it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import ceil
from typing import Any

from calib.faces.drawings.style import short
from calib.faces.written import SIGNS, rounded, rounded_text
from calib.quantities import unit

OutletReading = Mapping[str, Any]  # one of the content's readings

MOST_NAMED = 60  # more outlets are thin lines
MOST_ROWS, MOST_THIN = 44, 500  # in one figure: what a page holds
_MOST_TOLD = 12  # outlets that a text names


@dataclass(frozen=True)
class OutletDrawing:
    """One outlet, as it is drawn."""

    name: str
    system: str
    value: float  # [% of design], or the flow where there is no design
    expanded_uncertainty: float  # in the same unit
    tolerance: float | None  # [% of design]
    statement: str | None  # of conformity
    flow: str  # as it is told, with its U


Outlets = tuple[OutletDrawing, ...]


@dataclass(frozen=True)
class OutletsDrawing:
    """The outlets of a job: against their designs, and those that have none."""

    against_design: Outlets
    without_design: Outlets  # in `unit`
    unit: str


def outlets_of(readings: Sequence[OutletReading]) -> OutletsDrawing:
    """The latest reading of each outlet or station, its systems together in the order of their first one."""
    latest = [one for one in readings if one["latest"]]
    systems = _places([one["system"] for one in latest])
    ordered = sorted(latest, key=lambda one: systems[one["system"]])
    without = [one for one in ordered if one["design"] is None]
    symbols = {one["flow"]["unit"] for one in without}
    symbol = symbols.pop() if len(symbols) == 1 else "L/s"
    return OutletsDrawing(
        tuple(_against_design(one) for one in ordered if one["design"] is not None),
        tuple(_without_design(one, symbol) for one in without),
        symbol,
    )


def _against_design(one: OutletReading) -> OutletDrawing:
    flow, design = one["flow"], one["design"]
    return OutletDrawing(
        one["outlet"],
        one["system"],
        design["percent_of_design"],
        100.0 * flow["expanded_uncertainty"] / design["value"],
        design["tolerance_percent"],
        design["conformity"] or None,
        flow_text(flow),
    )


def _without_design(one: OutletReading, symbol: str) -> OutletDrawing:
    value, expanded = in_unit(one["flow"], symbol)
    return OutletDrawing(one["outlet"], one["system"], value, expanded, None, None, flow_text(one["flow"]))


def in_unit(flow: Mapping[str, Any], symbol: str) -> tuple[float, float]:
    """A flow of the content and its U, on an axis in another unit."""
    typed, axis = unit("volume flow", flow["unit"]), unit("volume flow", symbol)
    value, expanded = flow["value"], flow["expanded_uncertainty"]
    if typed == axis:
        return value, expanded
    return axis.from_si(typed.to_si(value)), axis.difference_from_si(typed.difference_to_si(expanded))


def flow_text(flow: Mapping[str, Any]) -> str:
    """A flow of the content with its U and its unit: 412 ± 23 m3/h."""
    return f"{rounded(flow)} {flow['unit']}"


def is_named(shown: OutletsDrawing) -> bool:
    """Whether each outlet has a row with its name."""
    return len(shown.against_design) + len(shown.without_design) <= MOST_NAMED


def parts_of(shown: OutletsDrawing) -> list[tuple[OutletsDrawing, int, int]]:
    """What stands in each figure, the figure's number, and how many there are."""
    named = is_named(shown)
    judged, apart = (
        _pages(lot) if named else _chunks(_sorted(lot), MOST_THIN)
        for lot in (shown.against_design, shown.without_design)
    )
    pairs = [*((one, ()) for one in judged), *(((), one) for one in apart)]
    if named and len(judged) == len(apart) == 1 and rows_of(judged[0]) + rows_of(apart[0]) <= MOST_ROWS:
        pairs = [(judged[0], apart[0])]
    return [
        (OutletsDrawing(first, second, shown.unit), number, len(pairs))
        for number, (first, second) in enumerate(pairs, start=1)
    ]


def _sorted(outlets: Outlets) -> Outlets:
    """Outlets by their value within each system."""
    systems = _places([one.system for one in outlets])
    return tuple(sorted(outlets, key=lambda one: (systems[one.system], one.value)))


def rows_of(outlets: Sequence[OutletDrawing]) -> int:
    """Rows of outlets with a name each: one more for each system."""
    return len(outlets) + len({one.system for one in outlets})


def _pages(outlets: Outlets) -> list[Outlets]:
    """Outlets with a row each, as many as a page holds."""
    pages: list[list[OutletDrawing]] = []
    for one in outlets:
        if not pages or rows_of([*pages[-1], one]) > MOST_ROWS:
            pages.append([])
        pages[-1].append(one)
    return [tuple(page) for page in pages]


def _chunks(outlets: Outlets, most: int) -> list[Outlets]:
    """Outlets evenly over as few figures as hold them."""
    each = max(1, ceil(len(outlets) / max(1, ceil(len(outlets) / most))))
    return [outlets[start : start + each] for start in range(0, len(outlets), each)]


def _places(systems: Sequence[str]) -> dict[str, int]:
    """The place of each system: that of its first outlet."""
    return {name: place for place, name in enumerate(dict.fromkeys(systems))}


def title_of(number: int, count: int) -> str:
    """The title of a figure."""
    return "Outlets against their design" + ("" if count == 1 else f", {number} of {count}")


def overview_texts_of(shown: OutletsDrawing) -> list[str]:
    """What each figure shows, in words with the numbers that matter."""
    return [_text(one, number, count) for one, number, count in parts_of(shown)]


def _text(shown: OutletsDrawing, number: int, count: int) -> str:
    sentences = [f"Picture {number} of {count}."] if count > 1 else []
    lot = shown.against_design
    if lot:
        least, most = min(lot, key=lambda one: one.value), max(lot, key=lambda one: one.value)
        words = [one.statement or "not judged" for one in lot]
        counted = ", ".join(f"{words.count(name)} {name}" for name in (*SIGNS, "not judged") if name in words)
        sentences.append(
            f"Flow of {_several(lot)} in percent of design with its expanded uncertainty and tolerance: {counted}. "
            f"From {_percent(least)} at {short(least.name, 40)} to {_percent(most)} at {short(most.name, 40)}."
        )
        sentences += _told("Fail", [one for one in lot if one.statement == "fail"])
        sentences += _told("Conditional fail", [one for one in lot if one.statement == "conditional fail"])
    if shown.without_design:
        flows = [f"{short(one.name, 40)} {one.flow}" for one in shown.without_design]
        sentences.append(f"Without a design, {_several(shown.without_design)}: {_list(flows)}.")
    return " ".join(sentences)


def _several(lot: Sequence[OutletDrawing]) -> str:
    return "1 outlet" if len(lot) == 1 else f"{len(lot)} outlets"


def _percent(one: OutletDrawing) -> str:
    return f"({rounded_text(one.value, one.expanded_uncertainty)}) %"


def _told(word: str, lot: Sequence[OutletDrawing]) -> list[str]:
    return [f"{word}: {_list([f'{short(one.name, 40)} {_percent(one)}' for one in lot])}."] if lot else []


def _list(items: Sequence[str]) -> str:
    more = len(items) - _MOST_TOLD
    return ", ".join(items[:_MOST_TOLD]) + (f" and {more} more" if more > 0 else "")
