"""What was observed, as typed: repeated values in a cell, a file that the meter logged, or the mean alone."""

import csv
import io
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from typing import NamedTuple

from calib.airflow.traverse import Section, TraversePlace, traverse
from calib.errors import BadInputError, Finding
from calib.procedures.typed import cells as checks
from calib.quantities import finite_number
from calib.uncertainty.series import FEWEST_OF_A_SERIES

LOG_COLUMNS = ("time", "value")
MOST_OF_A_LOG = 500_000  # values: five days at one a second
_UNEVEN = 0.5  # a step of time may differ from the usual one by half of it before the series is no series


@dataclass(frozen=True)
class Traversed:
    """A traverse as typed: indications of the points in the order of `calib.airflow.traverse.traverse`."""

    rule: str
    lines: int
    points: int  # on each line
    indications: tuple[tuple[float, ...], ...]  # for each point those of its passes, as many for each
    typed: tuple[str, ...] = ()  # the same as somebody typed them, joined by ;

    @property
    def passes(self) -> int:
        """Number of passes."""
        return len(self.indications[0])

    def places(self, section: Section) -> tuple[TraversePlace, ...]:
        """Where the points lie in a section."""
        return traverse(section, self.rule, self.lines, self.points)


class Observed(NamedTuple):
    """Observations of one reading, in the unit typed."""

    mean: float
    values: tuple[float, ...]  # empty where only the mean was typed, or the duct was traversed
    logged: bool = False  # successive values of a log, which are correlated
    traversed: Traversed | None = None
    throttled: tuple[float, ...] = ()  # of a hood with its throttle set

    @property
    def indications(self) -> tuple[float, ...]:
        """Every indication that the calibration has to cover."""
        if self.traversed is not None:
            return tuple(value for point in self.traversed.indications for value in point)
        return (self.mean, mean_of(self.throttled)) if self.throttled else (self.mean,)


def points_typed(typed: Sequence[str]) -> dict[tuple[int, int], str]:
    """Values at points of a traverse, each typed as LINE/POINT=VALUES; raises BadInputError with every one that is not."""
    points: dict[tuple[int, int], str] = {}
    findings = []
    for each in typed:
        place = re.fullmatch(r"([0-9]{1,4})/([0-9]{1,4})=(.*)", each.strip())
        if place is None:
            findings.append(Finding.typed("point", each, "a point and its values as LINE/POINT=VALUES"))
        else:
            points[int(place[1]), int(place[2])] = place[3].strip()
    if findings:
        raise BadInputError(findings)
    return points


def observed_values(cell: str) -> tuple[float, ...]:
    """Observations joined by semicolons."""
    return tuple(map(float, cell.split(";")))


def mean_of(values: Sequence[float]) -> float:
    """Arithmetic mean, correctly rounded."""
    return math.fsum(values) / len(values)


def observed(cells: Mapping[str, object], log: bytes | None = None, traversed: Traversed | None = None) -> Observed:
    """Observations of a reading from its cells, from its log file or its traverse where it has one."""
    indication, observations, throttled = (
        None if cell is None else str(cell)
        for cell in map(cells.get, ("indication", "observations", "throttled_observations"))
    )
    return observed_of(indication, observations, throttled, log, traversed)


def observed_of(
    indication: str | None,
    observations: str | None,
    throttled_observations: str | None,
    log: bytes | None = None,
    traversed: Traversed | None = None,
) -> Observed:
    """The same from the cells by themselves."""
    if traversed is not None:
        values = tuple(value for point in traversed.indications for value in point)
        return Observed(mean_of(values), (), traversed=traversed)
    if log is not None:
        values = tuple(logged_values(log))
        return Observed(mean_of(values), values, logged=True)
    throttled = () if throttled_observations is None else observed_values(throttled_observations)
    if observations is None:
        return Observed(float(str(indication)), (), throttled=throttled)
    values = observed_values(observations)
    return Observed(mean_of(values), values, False, None, throttled)


def logged_values(log: bytes) -> list[float]:
    """Values of a log file that `log_findings` found nothing wrong with."""
    return [float(line["value"]) for line in csv.DictReader(io.StringIO(log.decode("utf-8-sig"), newline=""))]


def log_findings(name: str, log: bytes) -> list[Finding]:
    """Everything wrong with a log file: a header `time,value`, times rising in even steps, at least 10 values."""
    try:
        lines = list(csv.reader(io.StringIO(log.decode("utf-8-sig"), newline=""), strict=True))
    except (UnicodeDecodeError, csv.Error) as error:
        return [Finding(name, None, None, None, f"comma-separated UTF-8 text ({error})")]
    if len(lines) - 1 > MOST_OF_A_LOG:
        return [Finding(name, None, None, None, f"at most {MOST_OF_A_LOG:,} values; found {len(lines) - 1:,}")]
    if not lines or tuple(cell.strip() for cell in lines[0]) != LOG_COLUMNS:
        return [Finding(name, 1, None, None, "the header time,value")]
    findings = []
    for row, line in enumerate(lines[1:], start=2):
        findings += _line_findings(name, row, line)
    if findings:
        return findings
    if len(lines) - 1 < FEWEST_OF_A_SERIES:
        return [
            Finding(
                name,
                None,
                None,
                None,
                f"at least {FEWEST_OF_A_SERIES} values, to see how they are correlated; found {len(lines) - 1}",
            )
        ]
    return _step_findings(name, [line[0].strip() for line in lines[1:]])


def _line_findings(name: str, row: int, line: Sequence[str]) -> list[Finding]:
    if len(line) != len(LOG_COLUMNS):
        return [Finding(name, row, None, None, f"two cells, time and value, found {len(line)}")]
    findings = []
    when, value = (cell.strip() for cell in line)
    if finite_number(when) and checks.time_with_zone(when):
        findings.append(
            Finding(name, row, "time", when, "seconds, or a time with its zone like 2026-03-05T14:30:01+01:00")
        )
    if finite_number(value):
        findings.append(Finding(name, row, "value", value, str(finite_number(value))))
    return findings


def _step_findings(name: str, times: Sequence[str]) -> list[Finding]:
    seconds = [_seconds(time) for time in times]
    steps = [after - before for before, after in pairwise(seconds)]
    usual = sorted(steps)[len(steps) // 2]
    for row, step in enumerate(steps, start=3):
        if step <= 0:
            return [Finding(name, row, "time", times[row - 2], "a time after the one before")]
        if abs(step - usual) > _UNEVEN * usual:
            expected = f"a step of about {usual:g} s as between the others (it is {step:g} s); log without gaps"
            return [Finding(name, row, "time", times[row - 2], expected)]
    return []


def _seconds(time: str) -> float:
    return float(time) if re.match(r"\d{4}-", time) is None else datetime.fromisoformat(time).timestamp()


def result_of(low: str, value: str, high: str) -> str:
    """What came of an intermediate check: passed where low <= value <= high, the limits included."""
    return "passed" if float(low) <= float(value) <= float(high) else "failed"
