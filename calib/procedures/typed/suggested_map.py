"""A map suggested for a foreign sheet (`foreign_sheet`): headings that seem to be columns, what is to be filled in, and the rest.

A suggestion is a text for a person to correct: what was not known stands there as a comment.
"""

import json
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from calib.procedures.typed.cells import numbers, time_with_zone
from calib.procedures.typed.columns import FILES
from calib.procedures.typed.days_and_times import zone_meant
from calib.procedures.typed.declaration import Declaration
from calib.procedures.typed.headings import LOOKED_AT, bare, in_brackets, unit_column
from calib.procedures.typed.synonyms import column_meant
from calib.procedures.typed.unit_spelling import unit_meant

_PASS = re.compile(
    r"(?:r|p|pass|reading|obs|value|v|vel|velocity|speed|flow|measurement|run|trial|point|no|#)\s*[.\-_ ]*\d{1,2}",
    re.IGNORECASE,
)
_UNIT_BEFORE_THE_NUMBER = re.compile(r"(\S.*?)\s*[\s\[(]([^\s\[(\])]+)[\s\])]\s*(\d{1,2})")  # Vel fpm 1
_NAMED_BY = {"traverses.csv": {"line", "point"}}  # without any of these it is a sheet of readings
_VALUES = ("observations", "indication")  # of a reading: one of the two, unless it is a traverse
_UNIT_AT_THE_END = re.compile(
    r"(.*\S)\s*(?:[\[(]\s*([^\])]+?)\s*[\])]|[,\s]\s*([^\s\d]\S*))$"
)  # Pass 1 ends in a number


@dataclass
class _Suggestion:
    declared: Declaration
    headings: dict[str, list[str]] = field(default_factory=dict)
    units: dict[str, str] = field(default_factory=dict)
    others: list[str] = field(default_factory=list)
    zone: str | None = None  # of the times

    @property
    def may_be(self) -> bool:
        """Whether a heading names what the sheet must have to be of this kind."""
        wanted = _NAMED_BY.get(self.declared.file)
        return wanted is None or bool(wanted & self.headings.keys())

    @property
    def fit(self) -> tuple[int, int]:
        """How many required columns were found, less those that are missing, and how many in all."""
        required = [column.name for column in self.declared if column.required]
        there = sum(name in self.headings for name in required)
        return 2 * there + len(self.headings) - (len(required) - there), len(self.headings)


def suggested_map(sheets: Mapping[str, Sequence[Sequence[str]]], *, is_workbook: bool) -> str | None:
    """The text of a map for the sheets of a file, TOML; None where no sheet has a heading that is known."""
    tables = []
    for name, lines in sheets.items():
        header = _header_among(lines)
        suggestions = [_suggestion(header, declared) for declared in FILES.values()]
        best = max((each for each in suggestions if each.may_be), key=lambda each: each.fit)
        beside = _readings_beside(best, suggestions)
        tables += [
            (each, name if is_workbook else None) for each in (best, beside) if each is not None and each.headings
        ]
    kinds: dict[str, tuple[_Suggestion, str | None]] = {}
    for best, sheet in tables:  # a map has each kind once: the sheet that fits it best
        before = kinds.get(best.declared.file)
        if before is None or before[0].fit < best.fit:
            kinds[best.declared.file] = best, sheet
    return "\n".join(_as_toml(best, sheet) for best, sheet in kinds.values()) or None


def _readings_beside(best: _Suggestion, suggestions: Iterable[_Suggestion]) -> _Suggestion | None:
    """Readings in the rows of a sheet of outlets, design beside what was measured; what one table names the other leaves alone."""
    readings = next(each for each in suggestions if each.declared.file == "readings.csv")
    if best.declared.file != "outlets.csv" or not {*_VALUES} & readings.headings.keys():
        return None
    for own, other in ((best, readings), (readings, best)):
        named = {heading for headings in other.headings.values() for heading in headings}
        own.others = [heading for heading in own.others if heading not in named]
    return readings


def _header_among(lines: Sequence[Sequence[str]]) -> list[str]:
    """The line that looks like a header: the most cells that are words, each of them once."""

    def words(line: Sequence[str]) -> int:
        return len({cell.strip().casefold() for cell in line if re.search(r"[^\W\d]", cell)})

    return [cell.strip() for cell in max(lines[:LOOKED_AT], key=words, default=[])]


def _suggestion(header: Iterable[str], declared: Declaration) -> _Suggestion:
    suggestion = _Suggestion(declared)
    passes = next((column.name for column in declared if column.check is numbers), None)
    for typed in header:
        if not typed:
            continue
        heading, unit = _parted(typed)
        column = passes if passes is not None and _PASS.fullmatch(heading) else column_meant(heading, declared.by_name)
        own = None if column is None else declared.by_name[column]
        if own is None or (column in suggestion.headings and own.check not in (numbers, time_with_zone)):
            suggestion.others.append(typed)
            continue
        suggestion.headings.setdefault(own.name, []).append(typed)
        if unit is not None:
            suggestion.units[own.name] = unit
        if own.check is time_with_zone:
            suggestion.zone = zone_meant(in_brackets(typed) or "") or suggestion.zone
    return suggestion


def _parted(typed: str) -> tuple[str, str | None]:
    """A heading and the unit that stands behind it, with brackets or without, or before the number of a pass."""
    within = _UNIT_BEFORE_THE_NUMBER.fullmatch(typed)
    if within is not None and (unit := unit_meant(within[2])) is not None:
        return f"{within[1]} {within[3]}", unit
    parts = _UNIT_AT_THE_END.fullmatch(typed)
    unit = None if parts is None else unit_meant(parts[2] or parts[3])
    return (bare(typed), None) if parts is None or unit is None else (parts[1], unit)


def _as_toml(suggestion: _Suggestion, sheet: str | None) -> str:
    name = suggestion.declared.name
    lines = [f"[{name}]"]
    lines += [f"sheet = {_quoted(sheet)}"] if sheet is not None else []
    if suggestion.zone is not None:
        lines.append(f"zone = {_quoted(suggestion.zone)}")
    elif any(column.check is time_with_zone and column.name in suggestion.headings for column in suggestion.declared):
        lines.append('# zone = "+01:00"  # of the times, where they have none')
    lines += ["", f"[{name}.headings]"]
    for column, own in suggestion.headings.items():
        shown = _quoted(own[0]) if len(own) == 1 else f"[{', '.join(map(_quoted, own))}]"
        lines.append(f"{column} = {shown}")
    if suggestion.declared.file == "readings.csv" and not {*_VALUES} & suggestion.headings.keys():
        lines.append('# observations = ["", ""]  # must be filled, or indication: the headings of the values')
    lines += [f"# left out: {_comment(other)}" for other in suggestion.others]
    if suggestion.units:
        lines += ["", f"[{name}.units]", *(f"{column} = {_quoted(unit)}" for column, unit in suggestion.units.items())]
    names = suggestion.declared.by_name
    given = {*suggestion.headings, *(unit_column(column, names) for column in suggestion.units)}
    missing = [column for column in suggestion.declared if column.required and column.name not in given]
    lines += ["", f"[{name}.constants]"]
    lines += [
        f'# {column.name} = ""  # {"must be filled" if column.needs_heading else "unless each row says it"}: {column.meaning}'
        for column in missing
    ]
    return "\n".join([*lines, ""])


def _comment(text: str) -> str:
    return " ".join(text.split())


def _quoted(text: str) -> str:
    """A text as TOML writes it (a basic string, TOML 1.0)."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
