"""Sheets with headings of their own, read with a map: which heading is which column, in which unit, what is the same in each row.

    [readings]                        # what the sheet holds: any file of an import
    sheet = "March"                   # of a workbook; left out: each sheet that has the headings
    zone = "+01:00"                   # of its times, where they have none
    [readings.headings]               # column = their heading, or several whose cells belong together
    outlet = "Grille"
    observed_at = ["Date", "Time"]
    observations = ["R1", "R2", "R3"]
    [readings.units]                  # column = their unit
    observations = "fpm"
    [readings.constants]              # column = what stands in each row
    job = "FQ-204"

The map turns the sheet into one with this program's headings; everything else is read as of any sheet (`as_people_write`).

Decision (2026-11-29). TOML by the standard library's reader. Options: a sheet of two columns (no place for units and constants); a
map in the records (a map is the company's file, like the sheet it is for). Cost: a file beside the sheet.
"""

import tomllib
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from calib.counted import count_of
from calib.errors import Finding
from calib.procedures.typed.cells import numbers, time_with_zone, whole
from calib.procedures.typed.columns import NAMES_OF_FILES, declared_as
from calib.procedures.typed.days_and_times import zone_meant
from calib.procedures.typed.declaration import Check, Declaration, TypedColumn
from calib.procedures.typed.headings import LOOKED_AT, fixed_unit, is_unit_of, may_have_unit, unit_column
from calib.procedures.typed.spelling import did_you_mean, spelled_alike
from calib.procedures.typed.unit_spelling import unit_meant

_PARTS = ("headings", "units", "constants")
_WORDS = ("sheet", "zone")
_A_TABLE = f"a table of what a sheet holds: one of {', '.join(NAMES_OF_FILES)}"
_JOINED: Mapping[Check, int] = {
    numbers: 999,
    time_with_zone: 2,
}  # checks of columns whose cells may stand in several: passes; the day and the time


@dataclass(frozen=True)
class SheetMap:
    """How one kind of foreign sheet is read."""

    source: str  # the file of the map
    declared: Declaration
    headings: Mapping[str, tuple[str, ...]]  # column -> their headings
    units: Mapping[str, str] = field(default_factory=dict)
    constants: Mapping[str, str] = field(default_factory=dict)
    sheet: str | None = None  # of a workbook
    zone: str | None = None

    @property
    def foreign(self) -> list[str]:
        """Every heading of the sheet that the map names."""
        return [heading for own in self.headings.values() for heading in own]


def read_map(source: str, content: bytes) -> tuple[list[SheetMap], list[Finding]]:
    """The maps of a file, one for each kind of sheet, and everything that is wrong with it."""
    try:
        typed = tomllib.loads(content.decode("utf-8-sig"))
    except (UnicodeDecodeError, tomllib.TOMLDecodeError, RecursionError) as error:
        return [], [Finding(source, None, None, None, f"a map as TOML ({error})")]
    maps: list[SheetMap] = []
    findings: list[Finding] = []
    for name, table in typed.items():
        declared = declared_as(name)
        if declared is None or not isinstance(table, dict):
            findings.append(Finding(source, None, name, None, f"{_A_TABLE}{did_you_mean(name, NAMES_OF_FILES)}"))
            continue
        wrong = list(_findings_of(source, name, declared, table))
        findings += wrong
        if not wrong:
            maps.append(_map_of(source, declared, table))
    if not typed:
        findings.append(Finding(source, None, None, None, _A_TABLE))
    return maps, findings


def _map_of(source: str, declared: Declaration, table: Mapping[str, Any]) -> SheetMap:
    headings = {column: (own,) if isinstance(own, str) else tuple(own) for column, own in table["headings"].items()}
    zone = zone_meant(table["zone"]) if "zone" in table else None
    units = {column: unit_meant(unit) or unit for column, unit in table.get("units", {}).items()}
    return SheetMap(source, declared, headings, units, table.get("constants", {}), table.get("sheet"), zone)


def _findings_of(source: str, name: str, declared: Declaration, table: Mapping[str, Any]) -> Iterator[Finding]:
    """Everything that is wrong with one table of a map."""
    for part, of_part in table.items():
        yield from _findings_of_part(source, f"{name}.{part}", declared, part, of_part, table)
    headings = table.get("headings")
    if not headings or not isinstance(headings, dict):
        yield Finding(source, None, f"{name}.headings", None, "a heading for one column at least")
        return
    every = Counter(spelled_alike(str(each)) for own in headings.values() for each in _several(own))
    for heading, count in every.items():
        if count > 1:
            yield Finding(source, None, f"{name}.headings", heading, f"each heading once; it stands {count} times")


def _findings_of_part(
    source: str, place: str, declared: Declaration, part: str, typed: Any, table: Mapping[str, Any]
) -> Iterator[Finding]:
    known = (*_PARTS, *_WORDS)
    if part not in known:
        yield Finding(source, None, place, None, f"one of {', '.join(known)}{did_you_mean(part, known)}")
    elif not isinstance(typed, str if part in _WORDS else dict):
        wanted = "text in quotation marks" if part in _WORDS else "a table: column = ..."
        yield Finding(source, None, place, str(typed), wanted)
    elif part == "zone" and zone_meant(str(typed)) is None:
        yield Finding(source, None, place, str(typed), "a zone like +01:00 or Z")
    elif isinstance(typed, dict):
        for column, cell in typed.items():
            expected = _expected(declared, part, column, cell, table)
            if expected is not None:
                yield Finding(source, None, f"{place}.{column}", cell if isinstance(cell, str) else None, expected)


def _several(own: Any) -> Sequence[Any]:
    return own if isinstance(own, list) else [own]


def _expected(declared: Declaration, part: str, column: str, typed: Any, table: Mapping[str, Any]) -> str | None:
    """What was expected of one line of a map; None where it is right."""
    own = declared.by_name.get(column)
    if own is None:
        return f"one of the columns {', '.join(declared.by_name)}{did_you_mean(column, declared.by_name)}"
    if part == "headings":
        return _expected_heading(own, typed)
    if not isinstance(typed, str):
        return "text in quotation marks"
    headings = table.get("headings")
    headings = headings if isinstance(headings, dict) else {}
    if part == "units":
        return _expected_unit(declared, column, typed, table) if column in headings else "a column that has a heading"
    taken = f"nothing: the column has the heading {headings.get(column)!r} already"
    return taken if column in headings else own.check(typed)


def _expected_heading(own: TypedColumn, typed: Any) -> str | None:
    several = _several(typed)
    if not several or not all(isinstance(each, str) and each.strip() for each in several):
        return "their heading in quotation marks, or a list of several"
    most = _JOINED.get(own.check, 1)
    return None if len(several) <= most else f"{count_of(most, 'heading', 'headings')} at most, found {len(several)}"


def _expected_unit(declared: Declaration, column: str, typed: str, table: Mapping[str, Any]) -> str | None:
    fixed, of = fixed_unit(column), unit_column(column, declared.by_name)
    if fixed is not None:
        return None if is_unit_of(fixed, typed) else f"the unit of this column, {fixed}: it can be no other"
    own = declared.by_name[column]
    if of is None or not may_have_unit(own) or own.check in (whole, time_with_zone):
        return "nothing: this column has no unit"
    if unit_meant(typed) is None:
        return "a unit, like m/s or cfm"
    constants = table.get("constants")
    constant = constants.get(of) if isinstance(constants, dict) else None
    return None if constant in (None, unit_meant(typed)) else f"the unit that the constant {of} has, {constant}"


def mapped_lines(
    sheet_map: SheetMap, source: str, lines: Sequence[Sequence[str]], maps: Sequence[SheetMap]
) -> tuple[list[list[str]], list[str], list[Finding]]:
    """A foreign sheet with this program's headings, what is said of it, and what is wrong with it; rows keep their places.

    `maps` are all that the sheet is read with: it may hold outlets and their readings in one row.
    """
    wanted = {spelled_alike(heading): heading for heading in sheet_map.foreign}
    row = _header_row(lines, wanted)
    header = list(lines[row]) if lines else []
    places = {spelled_alike(cell): place for place, cell in reversed([*enumerate(header)]) if cell.strip()}
    absent = [heading for spelled, heading in wanted.items() if spelled not in places]
    if absent:
        there = [cell.strip() for cell in header if cell.strip()]
        return (
            [],
            [],
            [
                Finding(
                    source,
                    row + 1,
                    heading,
                    None,
                    f"this heading, which {sheet_map.source} names{did_you_mean(heading, there)}",
                )
                for heading in absent
            ],
        )
    repeated = [h for s, h in wanted.items() if sum(spelled_alike(cell) == s for cell in header) > 1]
    if repeated:
        return [], [], [Finding(source, row + 1, heading, None, "this heading once") for heading in repeated]
    taken = [
        (places[spelled_alike(heading)], _own_heading(sheet_map, column, rank, len(own)), column)
        for column, own in sheet_map.headings.items()
        for rank, heading in enumerate(own, start=1)
    ]
    constants = dict(sheet_map.constants)
    own_header = [heading for _, heading, _ in taken] + list(constants)
    beforehand = {column.name for column in sheet_map.declared if column.beforehand}
    written: list[list[str]] = [[] for _ in range(row)] + [own_header]
    for line in lines[row + 1 :]:
        cells = [line[place] if place < len(line) else "" for place, _, _ in taken]
        is_filled = any(cell.strip() and of not in beforehand for cell, (_, _, of) in zip(cells, taken, strict=True))
        written.append([*cells, *(constants.values() if is_filled else [""] * len(constants))])
    named = {spelled_alike(heading) for each in maps for heading in each.foreign}
    others = [cell.strip() for cell in header if cell.strip() and spelled_alike(cell) not in named]
    said = [f"{source} is read with {sheet_map.source} as {sheet_map.declared.file}"]
    said += [f"{source}: headings that the map does not name are left out: {', '.join(others)}"] if others else []
    return written, said, []


def _header_row(lines: Sequence[Sequence[str]], wanted: Mapping[str, str]) -> int:
    """The line that has the most of the headings."""
    counts = [len({spelled_alike(cell) for cell in line} & wanted.keys()) for line in lines[:LOOKED_AT]]
    return counts.index(max(counts)) if counts else 0


def _own_heading(sheet_map: SheetMap, column: str, rank: int, several: int) -> str:
    own = sheet_map.declared.by_name[column]
    if own.check is time_with_zone:
        name = column if several == 1 else "date" if rank == 1 else "time"
        return f"{name} [{sheet_map.zone}]" if sheet_map.zone is not None and rank == several else name
    name = column if several == 1 else f"pass {rank}"
    return f"{name} [{sheet_map.units[column]}]" if column in sheet_map.units else name


def has_headings(sheet_map: SheetMap, lines: Sequence[Sequence[str]]) -> bool:
    """Whether a sheet has every heading that a map names."""
    wanted = {spelled_alike(heading) for heading in sheet_map.foreign}
    return any(wanted <= {spelled_alike(cell) for cell in line} for line in lines[:LOOKED_AT])
