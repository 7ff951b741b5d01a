"""When readings were observed: the day and the difference from UTC once, where all readings have them in common."""

from collections.abc import Sequence

from calib.faces.report.blocks import Cell
from calib.faces.report.table_cells import words_cell
from calib.faces.written import Content, moment_text

DayAndZone = tuple[str, str]
_DAY, _TIME = slice(10), slice(11, 16)


def zone_of(report: Content) -> str:
    """The difference from UTC that the first page tells with the times of measurement: the other times in it go without."""
    return moment_text(report["summary"]["measured_from"] or report["issued"])[_TIME.stop :]


def common_day(readings: Sequence[Content]) -> DayAndZone | None:
    """The day of all readings and the difference of their times from UTC; None where they differ, or there is no reading."""
    told = {(moment[_DAY], moment[_TIME.stop :]) for moment in (moment_text(each["observed_at"]) for each in readings)}
    return told.pop() if len(told) == 1 else None


def day_sentence(day: DayAndZone | None) -> str:
    """What is said once of the times below."""
    if day is None:
        return "Times are local, with their difference from UTC."
    return f"All readings were observed on {day[0]}; times are local, {day[1]} from UTC."


def observed_cell(reading: Content, day: DayAndZone | None) -> Cell:
    """When a reading was observed: the time alone where the day was said."""
    return words_cell(moment_text(reading["observed_at"])[_TIME if day else slice(None)])
