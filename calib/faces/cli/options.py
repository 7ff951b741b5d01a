"""The options and arguments that several commands have, and how what was typed in them is read."""

import re
from datetime import date, datetime, tzinfo
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any

import typer

from calib.clock import clock
from calib.errors import BadInputError, Finding

DEFAULT_RECORDS = "calibration.sqlite"
DEFAULT_COVERAGE = 95.45


class Units(StrEnum):
    """Systems of units for what is printed."""

    SI = "si"
    IP = "ip"


# --- of every command (the frame adds them) --------------------------------------------------------------------------------------

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
InUnits = Annotated[
    Units | None, typer.Option("--units", help="Print flows in L/s (si) or cfm (ip); as they were typed if not given.")
]
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON document.")]

# --- of several commands ---------------------------------------------------------------------------------------------------------

Tag = Annotated[str, typer.Argument(metavar="TAG", help="The instrument.")]
OneTag = Annotated[str | None, typer.Argument(metavar="TAG", help="One instrument; all if not given.")]
Certificate = Annotated[str, typer.Argument(metavar="CERTIFICATE", help="The certificate's number.")]
LatestCertificate = Annotated[str | None, typer.Argument(metavar="CERTIFICATE", help="The latest if not given.")]
JobNamed = Annotated[str, typer.Argument(metavar="JOB", help="The job.")]
OutletNamed = Annotated[str, typer.Argument(metavar="OUTLET", help="The outlet or duct.")]
ReadingNumbered = Annotated[
    int, typer.Argument(metavar="READING", help="Number of the reading, as `calib reading list` shows it.")
]
EntryNumbered = Annotated[
    int, typer.Argument(metavar="NUMBER", help="Its number, as `calib instrument show` shows it.")
]
FileToKeep = Annotated[Path, typer.Argument(metavar="FILE", help="PDF, PNG, JPEG or XML, at most 25 MB.")]
PhotographToKeep = Annotated[
    Path, typer.Argument(metavar="FILE", help="JPEG or PNG, at most 15 MB and 50 million pixels.")
]
FileDigest = Annotated[str, typer.Argument(metavar="SHA256", help="Its SHA-256, or the first 8 characters or more.")]
Reason = Annotated[str, typer.Option("--reason", metavar="TEXT", help="Why, in a few words; it is kept and shown.")]
SheetMapFile = Annotated[
    Path | None,
    typer.Option("--map", metavar="FILE", help="A TOML file that names the columns of a sheet with other headings."),
]
Sure = Annotated[bool, typer.Option("--sure", help="What is unusual was looked at and is right: do not ask.")]
CellsToSet = Annotated[
    list[str],
    typer.Option("--set", metavar="COLUMN=VALUE", help="A cell that is amended; a blank value takes it out."),
]
Remarks = Annotated[str | None, typer.Option(help="Anything worth keeping.")]
MeterProbe = Annotated[str | None, typer.Option(metavar="TAG", help="The probe before a manometer.")]
Conditions = Annotated[
    str | None, typer.Option(metavar="NAME", help="The conditions of the air, from `calib conditions add`.")
]
OnDate = Annotated[str | None, typer.Option("--on", metavar="DATE", help="The day asked about; today if not given.")]
WHEN = "When, like 2026-03-05T14:30+01:00, or 14:30 for today; now if not given."
AtTime = Annotated[str | None, typer.Option("--at", metavar="TIME", help=WHEN)]
AsOf = Annotated[
    str | None,
    typer.Option("--at", metavar="TIME", help="The time by whose records the gate decides; now if not given."),
]
AT_A_TERMINAL = "asked for at a terminal"  # what must be typed, of commands that ask for it
DEFAULT_DAYS = "60d"
Within = Annotated[
    str | None,
    typer.Option("--within", metavar="DAYS", help="How far to look ahead, like 60d or 8w.", show_default=DEFAULT_DAYS),
]
DEFAULT_RULE = "log-Tchebycheff"
TraverseRule = Annotated[
    str, typer.Option("--rule", help="equal-area, log-Tchebycheff or log-linear (rectangular: its 26 points).")
]
TraverseLines = Annotated[str | None, typer.Option("--lines", help="Number of lines; the usual number if not given.")]
TraversePoints = Annotated[
    str | None, typer.Option("--points", help="Number of points on a line; the usual number if not given.")
]
Coverage = Annotated[
    float,
    typer.Option(
        "--coverage-probability", metavar="PERCENT", help="Coverage probability of every U, above 50 and below 100."
    ),
]


def to_draw(what: str, more: str = "") -> Any:
    """The option of a command that can draw something of what it answers."""
    return typer.Option("--plot", metavar="FILE", help=f"Draw {what} to a .svg, .png or .pdf file{more}.")


def day_of(typed: str | None, column: str = "on") -> date:
    """The day that was typed, or today; raises BadInputError."""
    if typed is None:
        return clock().date()
    from calib.procedures.typed import cells

    _checked(typed, cells.day(typed), column)
    return date.fromisoformat(typed)


def time_of(typed: str | None, column: str = "at") -> datetime:
    """The time that was typed with its zone, or now; raises BadInputError."""
    if typed is None:
        return clock()
    from calib.procedures.typed import cells

    moment = today_at(typed)
    expected = cells.time_with_zone(moment)
    _checked(typed, None if expected is None else f"{expected}, or 14:30 for today", column)
    return datetime.fromisoformat(moment)


def today_at(typed: str, zone: tzinfo | None = None) -> str:
    """A time of day alone, like 14:30, as that time today, in a zone or in that of this machine; anything else as it was typed."""
    if not re.fullmatch(r"([01]?\d|2[0-3]):[0-5]\d", typed.strip()):
        return typed
    hour, minute = map(int, typed.split(":"))
    now = clock() if zone is None else clock().astimezone(zone)
    return now.replace(hour=hour, minute=minute, second=0).isoformat(timespec="minutes")


def begin_of(typed: str) -> str:
    """A day that was typed as the time when it begins here; a time as it was typed."""
    if not re.fullmatch(r"\d{4}-\d{2}-\d{2}", typed.strip()):
        return typed
    try:
        return datetime.fromisoformat(typed.strip()).astimezone().isoformat(timespec="minutes")
    except ValueError:
        return typed


def time_happened(typed: str | None, column: str = "at") -> datetime:
    """The time of what has happened, as it was typed, or now; raises BadInputError for one to come too."""
    at = time_of(typed, column)
    if typed is not None:
        from calib.procedures.typed.time_to_come import expected_of

        _checked(typed, expected_of(at, clock()), column)
    return at


def _checked(typed: str, expected: str | None, column: str) -> None:
    if expected is not None:
        raise BadInputError([Finding.typed(column, typed, expected)])


def days_of(typed: str | None, column: str = "within") -> int:
    """A number of days that was typed in days or weeks, or the usual one; raises BadInputError."""
    typed = DEFAULT_DAYS if typed is None else typed
    count = re.fullmatch(r"(\d{1,4})([dw]?)", typed)
    if count is None:
        raise BadInputError([Finding.typed(column, typed, "a number of days or weeks, like 60d or 8w")])
    return int(count[1]) * (7 if count[2] == "w" else 1)


def probability_of(percent: float) -> float:
    """The coverage probability that was typed in percent, as a number below 1; raises BadInputError."""
    probability = round(percent / 100, 12)
    if not 0.5 < probability < 1:
        expected = "a percentage above 50 and below 100"
        raise BadInputError([Finding.typed("coverage_probability", repr(percent).removesuffix(".0"), expected)])
    return probability
