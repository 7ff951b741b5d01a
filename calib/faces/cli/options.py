"""Options and small ways of speaking that the commands share."""

import getpass
import json
import re
import sys
from collections.abc import Sequence
from datetime import UTC, date, datetime, time
from enum import StrEnum
from typing import Annotated, Any

import typer

from calib.errors import BadInputError, Finding
from calib.faces.plain_text import harmless, one_line
from calib.records.ledger import Signature

DEFAULT_RECORDS = "calibration.sqlite"


class Units(StrEnum):
    """Systems of units for what is printed."""

    SI = "si"
    IP = "ip"


Records = Annotated[
    str,
    typer.Option(
        "--records",
        envvar="CALIB_RECORDS",
        show_envvar=True,
        metavar="FILE|URL",
        help="The records: a file, or a database as postgresql://user@host/database.",
        show_default=True,
    ),
]
By = Annotated[
    str | None,
    typer.Option("--by", envvar="CALIB_OPERATOR", metavar="NAME", help="Who writes; the login name if not given."),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON document.")]
InUnits = Annotated[
    Units | None, typer.Option("--units", help="Print flows in L/s (si) or cfm (ip); as they were typed if not given.")
]
OnDate = Annotated[str | None, typer.Option("--on", metavar="DATE", help="The day asked about; today if not given.")]
Coverage = Annotated[
    float,
    typer.Option(
        "--coverage-probability", metavar="PERCENT", help="Coverage probability of every U, above 50 and below 100."
    ),
]
AtTime = Annotated[
    str | None,
    typer.Option("--at", metavar="TIME", help="When it happened, like 2026-03-05T14:30+01:00; now if not given."),
]


def clock() -> datetime:
    """The time now, in the zone of this machine: the one place where a clock is read."""
    return datetime.now(UTC).astimezone().replace(microsecond=0)


def signature(by: str | None, action: str) -> Signature:
    """Who writes, now; raises BadInputError where nobody is named."""
    person = (by if by is not None else _login_name()).strip()
    if not person:
        raise BadInputError([Finding("command line", None, "--by", person, "a name: who writes")])
    return Signature(person, clock(), action, as_login=by is None)


def _login_name() -> str:
    try:
        return getpass.getuser()
    except (KeyError, OSError, ImportError):  # a machine without a name for its user
        return ""


def day_of(typed: str | None, option: str = "--on") -> date:
    """The day that was typed, or today; raises BadInputError."""
    if typed is None:
        return clock().date()
    from calib.procedures.typed import cells

    _checked(typed, cells.day(typed), option)
    return date.fromisoformat(typed)


def time_of(typed: str | None, option: str = "--at") -> datetime:
    """The time that was typed with its zone, or now; raises BadInputError."""
    if typed is None:
        return clock()
    from calib.procedures.typed import cells

    _checked(typed, cells.time_with_zone(typed), option)
    return datetime.fromisoformat(typed)


def _checked(typed: str, expected: str | None, option: str) -> None:
    if expected is not None:
        raise BadInputError([Finding("command line", None, option, typed, expected)])


def days_of(typed: str, option: str = "--within") -> int:
    """A number of days that was typed in days or weeks; raises BadInputError."""
    found = re.fullmatch(r"(\d{1,4})([dw]?)", typed)
    if found is None:
        raise BadInputError([Finding("command line", None, option, typed, "a number of days or weeks, like 60d or 8w")])
    return int(found[1]) * (7 if found[2] == "w" else 1)


def end_of(day: date) -> datetime:
    """The last moment of a day in the zone of this machine, but not later than now on the present day."""
    now = clock()
    return now if day == now.date() else datetime.combine(day, time(23, 59, 59), now.tzinfo)


DEFAULT_COVERAGE = 95.45


def probability_of(percent: float) -> float:
    """The coverage probability that was typed in percent, as a number below 1; raises BadInputError."""
    if not 50 < percent < 100:
        expected = "a percentage above 50 and below 100"
        raise BadInputError([Finding("command line", None, "--coverage-probability", f"{percent:g}", expected)])
    return round(percent / 100, 12)


def print_json(document: Any) -> None:
    """One JSON document on stdout."""
    print(json.dumps(document, indent=2, ensure_ascii=False))


def print_table(header: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """Columns under their headings, as wide as they need to be."""
    lines = [list(header), *([one_line(cell) for cell in row] for row in rows)]
    widths = [max(len(line[column]) for line in lines) for column in range(len(header))]
    for line in lines:
        print("  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip())


def tell(text: str) -> None:
    """An answer for people, on stdout."""
    print(harmless(text))


def say(text: str) -> None:
    """A message for people, on stderr."""
    print(harmless(text), file=sys.stderr)


def stop(status: int) -> None:
    """End with an exit status other than 0."""
    raise typer.Exit(status)
