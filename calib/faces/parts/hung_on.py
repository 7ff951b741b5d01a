"""What hung on a record that was taken back or amended, as the answers say it."""

from collections.abc import Iterator
from shlex import quote

from calib.counted import count_of
from calib.faces.written import Content
from calib.procedures.impact.take_back import HungOn

_NAMED = 12  # numbers of readings that are told one by one


def hung_on_document(hung_on: HungOn) -> Content:
    """Readings, factors and issued reports."""
    return {
        "readings": list(hung_on.readings),
        "factors": list(hung_on.factors),
        "issued_reports": list(hung_on.reports),
    }


def hung_on_lines(answer: Content) -> Iterator[str]:
    """The same for people; nothing where nothing hung on it."""
    readings = answer["readings"]
    if readings:
        told = ", ".join(map(str, readings[:_NAMED])) + (", …" if len(readings) > _NAMED else "")
        yield f"{count_of(len(readings), 'reading rests', 'readings rest')} on it and {_is(readings)} evaluated anew: {told}"
    for factor in answer["factors"]:
        yield f"factor {factor} rests on it and keeps its value: find it again"
    for report in answer["issued_reports"]:
        job = report.rpartition(" revision ")[0]
        yield f"report {report} was issued before: look what it says now with calib report {quote(job)}, and issue it again"


def _is(readings: list[int]) -> str:
    return "is" if len(readings) == 1 else "are"
