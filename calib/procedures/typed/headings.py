"""The header of a sheet: the column that each heading means, and what stands with it.

A heading is known without regard to case, spaces and underscores. In brackets behind it stands its unit (Flow [L/s]) or, behind a
time, the zone of all (observed_at [+01:00]). Passes may stand side by side (Pass 1, Pass 2), and the day apart from the time. A
heading that stands in brackets as a whole, (System), is for people alone.
"""

import re
from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from calib.errors import Finding, Step
from calib.procedures.typed.cells import AmongWords, any_text, day, json_text, numbers, time_with_zone, whole
from calib.procedures.typed.days_and_times import with_zone, zone_meant
from calib.procedures.typed.declaration import TypedColumn
from calib.procedures.typed.spelling import spelled_alike
from calib.procedures.typed.synonyms import column_meant
from calib.procedures.typed.unit_spelling import unit_meant

LOOKED_AT = 30  # lines in which a header is looked for, below a title
_MOST_UNKNOWN = 20  # columns that are named each by itself
_LONGEST = 200  # signs of a heading that can be known
_LONGEST_NAME = 60  # signs of a column's name in a message
_PASS = re.compile(
    r"(?:pass(?:es)?|(?:reading|observation|value|measurement|run|point)s?|obs)?\s*(?:no\.?|nr\.?|#)?\s*\d{1,3}",
    re.IGNORECASE,
)
_DAYS, _CLOCKS = frozenset({"date", "day"}), frozenset({"time", "clock", "timeofday"})
_BRACKETS = re.compile(r"\s*[\[(]([^\])]*)[\])]\s*$")
_OF_NO_UNIT = (any_text, day, json_text)  # checks of columns that have none
PERCENT = "percent"
# Units that stand in the names of columns, and how else people write them.
_FIXED = {
    "s": {"s", "sec", "second", "seconds"},
    PERCENT: {"%", "percent", "pct", "% rh", "%rh"},
    "degC": {"degc", "\u00b0c", "\u00b0 c", "c"},
    "kPa": {"kpa"},
    "months": {"months", "month", "mo"},
    "m3": {"kg/m3", "kg/m\u00b3"},
}


@dataclass(frozen=True)
class SheetHeading:
    """A heading of a sheet: the column that it is meant to be, and the unit that stands with it."""

    typed: str
    column: str  # as it was typed where it is none that is known
    unit: str | None = None  # in brackets
    part: str | None = None  # of the column: a pass, the day, the clock


_ASIDE, _A_PASS, _THE_DAY, _THE_CLOCK = "aside", "pass", "day", "clock"


def bare(heading: str) -> str:
    """A heading without what stands in brackets behind it."""
    return _BRACKETS.sub("", heading)


def in_brackets(heading: str) -> str | None:
    """What stands in brackets behind a heading."""
    brackets = _BRACKETS.search(heading)
    return brackets and brackets[1].strip()


def header_place(lines: Sequence[Sequence[str]], columns: Collection[TypedColumn]) -> int:
    """Place of the line that is the header: the first with two known headings or more, that are at least half of its cells."""
    known = {column.name for column in columns}
    for place, line in enumerate(lines[:LOOKED_AT]):
        filled = [cell for cell in line if cell.strip()]
        headings = sum(heading.column in known or heading.part == _ASIDE for heading in headings_of(filled, columns))
        if headings >= 2 and 2 * headings >= len(filled):
            return place
    return 0


def headings_of(header: Sequence[str], columns: Collection[TypedColumn]) -> list[SheetHeading]:
    """The headings of a sheet, each by the column that it means."""
    known = {spelled_alike(column.name): column.name for column in columns}
    passes = next((column.name for column in columns if column.check is numbers), None)
    moments = [column.name for column in columns if column.check is time_with_zone]
    moment = moments[0] if len(moments) == 1 else None
    headings = [_heading(typed.strip(), known, passes, moment) for typed in header]
    halves = {heading.part for heading in headings} & {_THE_DAY, _THE_CLOCK}
    if len(halves) == 1:  # one alone holds both
        return [replace(each, part=None) if each.part in halves else each for each in headings]
    return headings


def _heading(typed: str, known: Mapping[str, str], passes: str | None, moment: str | None) -> SheetHeading:
    if typed.startswith("(") and typed.endswith(")"):
        return SheetHeading(typed, "", None, _ASIDE)
    if len(typed) > _LONGEST:
        return SheetHeading(typed, known.get(spelled_alike(typed), typed))
    name, unit = spelled_alike(bare(typed).replace("%", PERCENT)), in_brackets(typed)
    exact = None if unit and name == spelled_alike(typed) else known.get(spelled_alike(typed))  # " and % are no letters
    if "%" in typed and (exact is None or fixed_unit(exact) != PERCENT):
        exact = known.get(spelled_alike(typed.replace("%", PERCENT)))
    if exact is not None:
        return SheetHeading(typed, exact)
    if name in known:
        heading = SheetHeading(typed, known[name], unit)
    elif passes is not None and _PASS.fullmatch(bare(typed)):
        heading = SheetHeading(typed, passes, unit, _A_PASS)
    elif moment is not None and name in _DAYS | _CLOCKS:
        heading = SheetHeading(typed, moment, unit, _THE_DAY if name in _DAYS else _THE_CLOCK)
    else:
        heading = SheetHeading(typed, typed)
    return heading


def unit_column(column: str, names: Collection[str]) -> str | None:
    """The column that holds the unit of another."""
    of_dimension = "dimension_unit" if column in {"width", "height", "diameter", "dimension_limit"} else ""
    of_flow = "flow_unit" if column.endswith("flow") else ""
    return next((name for name in (f"{column}_unit", of_dimension, of_flow, "unit") if name in names), None)


def may_have_unit(column: TypedColumn) -> bool:
    """Whether a unit may stand behind the values of a column."""
    return column.check not in _OF_NO_UNIT and not isinstance(column.check, AmongWords)


def fixed_unit(column: str) -> str | None:
    """The unit that a column has by its name; None where another column says it, or there is none."""
    name, _, unit = column.rpartition("_")
    return unit if name and unit in _FIXED else None


def is_unit_of(fixed: str, typed: str) -> bool:
    """Whether a unit as people write it is the one that a column's name has."""
    return typed.strip().casefold() in _FIXED[fixed]


@dataclass(frozen=True)
class Header:
    """The header of one sheet."""

    headings: Sequence[SheetHeading]
    given: Mapping[str, str]  # column -> unit, of those that stand in headings
    zone: str | None  # of the times

    def cells(self, line: Sequence[str]) -> dict[str, str]:
        """The cells of a line by their columns, without those that are blank."""
        cells: dict[str, str] = {}
        passes: dict[str, list[str]] = {}
        halves: dict[str, dict[str, str]] = {}
        for heading, cell in zip(self.headings, map(str.strip, line), strict=False):
            if not cell or heading.part == _ASIDE:
                continue
            if heading.part == _A_PASS:
                passes.setdefault(heading.column, []).append(cell)
            elif heading.part is not None:
                halves.setdefault(heading.column, {})[heading.part] = cell
            else:
                cells[heading.column] = cell
        cells |= {column: ";".join(each) for column, each in passes.items()}
        cells |= {column: _joined(each) for column, each in halves.items()}
        if self.zone is not None:
            cells |= {column: with_zone(cells[column], self.zone) for column in self._moments() if column in cells}
        return cells

    def _moments(self) -> Iterator[str]:
        return (heading.column for heading in self.headings if heading.unit is not None and zone_meant(heading.unit))

    def is_repeated(self, line: Sequence[str]) -> bool:
        """Whether a line is the header once more."""
        typed = [heading.typed.casefold() for heading in self.headings]
        return [cell.strip().casefold() for cell in line[: len(typed)]] == typed

    @property
    def aside(self) -> list[str]:
        """Headings of columns that are for people alone."""
        return [heading.typed for heading in self.headings if heading.part == _ASIDE]


def _joined(halves: Mapping[str, str]) -> str:
    on, clock = halves.get(_THE_DAY, ""), halves.get(_THE_CLOCK, "")
    midnight = on.removesuffix("T00:00:00").removesuffix(" 00:00:00")  # of a spreadsheet that shows a day so
    return f"{midnight} {clock}".strip()


def header_of(
    source: str, row: int, typed: Sequence[str], below: Sequence[str] | None, columns: Collection[TypedColumn]
) -> tuple[Header, bool, list[Finding]]:
    """The header of a sheet, whether the line below has its units, and what is wrong with it."""
    headings, units_below = _with_units_below(headings_of(typed, columns), below)
    given, zone, findings = _units_of(source, row, headings, columns)
    findings += _header_findings(source, row, headings, columns, given)
    return Header(headings, given, zone), units_below, findings


def headings_in(lines: Sequence[Sequence[str]], columns: Collection[TypedColumn]) -> list[SheetHeading]:
    """The headings of a sheet, wherever its header stands, with the units that stand below them."""
    place = header_place(lines, columns)
    below = lines[place + 1] if len(lines) > place + 1 else None
    return _with_units_below(headings_of(lines[place], columns) if lines else [], below)[0]


def _with_units_below(headings: list[SheetHeading], below: Sequence[str] | None) -> tuple[list[SheetHeading], bool]:
    """Headings with the units of the line below them, and whether it has units."""
    if below is None or not _are_units(headings, below):
        return headings, False
    cells = [*below, *[""] * len(headings)]
    return [
        replace(each, unit=cell.strip("[]() ") or each.unit) for each, cell in zip(headings, cells, strict=False)
    ], True


def _are_units(headings: Sequence[SheetHeading], below: Sequence[str]) -> bool:
    """Whether every filled cell of the line below is a unit, and some heading has none there."""
    filled = [cell.strip("[]() ") for cell in below if cell.strip("[]()- ")]
    return bool(filled) and len(filled) < len(headings) and all(unit_meant(cell) is not None for cell in filled)


def _units_of(
    source: str, row: int, headings: Sequence[SheetHeading], columns: Collection[TypedColumn]
) -> tuple[dict[str, str], str | None, list[Finding]]:
    """Column -> unit and the zone, of those that stand in headings; and what is wrong with them."""
    by_name = {column.name: column for column in columns}
    units: dict[str, str] = {}
    zone: str | None = None
    findings = []
    for heading in headings:
        own = by_name.get(heading.column)
        if heading.unit is None or own is None or not may_have_unit(own):
            continue
        if own.check is time_with_zone:
            zone = zone_meant(heading.unit) or zone
            expected = None if zone_meant(heading.unit) else "a zone like +01:00 or Z"
        else:
            expected = _unit_into(units, heading.unit, own, by_name)
        if expected is not None:
            findings.append(Finding(source, row, heading.typed, heading.unit, expected))
    return units, zone, findings


def _unit_into(units: dict[str, str], typed: str, own: TypedColumn, by_name: Mapping[str, TypedColumn]) -> str | None:
    """Put a heading's unit to those of the sheet; what was expected where it is none, or another than before."""
    fixed = fixed_unit(own.name)
    if fixed is not None:
        return None if is_unit_of(fixed, typed) else f"the unit of this column, {fixed}: it can be no other"
    unit, column = unit_meant(typed), unit_column(own.name, by_name)
    if own.check is whole or column is None:
        return None if unit is None else "no unit: it is a number without one"
    if unit is None:
        return "a unit in the brackets, like m/s or cfm, or nothing"
    expected = by_name[column].check(unit)
    if expected is None and units.setdefault(column, unit) != unit:
        return f"one unit for all that stand in {column}: another heading has {units[column]}"
    return expected


def _header_findings(
    source: str, row: int, headings: Sequence[SheetHeading], columns: Iterable[TypedColumn], units: Collection[str]
) -> Iterator[Finding]:
    columns = tuple(columns)
    known = {column.name for column in columns}
    own = [heading for heading in headings if heading.part != _ASIDE]
    counts = Counter(heading.column for heading in own)
    unknown = [name for name in counts if name not in known]
    expected = f"one of the columns {', '.join(column.name for column in columns)}"
    if len(unknown) > _MOST_UNKNOWN:  # another file: one line says so
        yield Finding(source, row, _shown(unknown[0]), None, f"{expected}; {len(unknown) - 1} more are none of them")
    else:
        for name in unknown:
            near = column_meant(bare(name), [column.name for column in columns])
            asked = "a heading that is known" if near is None else f"a heading that is known (did you mean {near}?)"
            rest = f"; {expected}; or {Step.MAP_HEADINGS}" if name == unknown[-1] else ""  # the long list once
            yield Finding(source, row, _shown(name), None, f"{asked}{rest}")
    times = Counter((heading.column, heading.part, heading.typed.casefold() if heading.part else "") for heading in own)
    kinds: dict[str, set[str | None]] = {}
    for (name, part, _), repeated in times.items():
        kinds.setdefault(name, set()).add("twice" if repeated > 1 else part)
    for name in known & kinds.keys():
        if "twice" in kinds[name] or (None in kinds[name] and len(kinds[name]) > 1):
            yield Finding(source, row, name, None, f"the column once, found {counts[name]} times")
    for column in columns:
        if column.needs_heading and column.name not in counts and column.name not in units:
            yield Finding(source, row, column.name, None, "this column, which is missing")


def _shown(name: str) -> str:
    """The name of a column that may be anything."""
    short = name if len(name) <= _LONGEST_NAME else f"{name[: _LONGEST_NAME - 1]}\u2026"
    return short or "(no name)"
