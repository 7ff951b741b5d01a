"""Points of traverses that do not say of which reading they are: of the one traverse of their outlet in the same sheets."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence

from calib.procedures.typed.sheets import TypedRow

_OF_READING = ("instrument", "observed_at", "revision")


def name_readings(sheets: Mapping[str, Sequence[TypedRow]]) -> Iterator[str]:
    """Put the meter and the time of the reading into points that have neither; what was put, a line for each outlet."""
    readings: dict[tuple[str | None, str | None], list[TypedRow]] = defaultdict(list)
    for row in sheets.get("readings.csv", ()):
        if row.sound("traverse_rule"):
            readings[row.get("job"), row.get("outlet")].append(row)
    filled: dict[tuple[str | None, str | None], int] = defaultdict(int)
    for row in sheets.get("traverses.csv", ()):
        place = row.get("job"), row.get("outlet")
        if len(readings[place]) == 1 and row.blank("instrument") and row.blank("observed_at"):
            own = readings[place][0]
            row.cells |= {name: own.cells[name] for name in _OF_READING if name in own.cells}
            filled[place] += 1
    for (_, outlet), count in filled.items():
        yield f"traverses.csv: {count} points of {outlet} are those of its one traverse in these sheets"
