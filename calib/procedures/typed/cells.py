"""What a single cell may hold. Nothing heavy is imported here: the commands check their dates with it."""

import json
import re
from dataclasses import dataclass
from datetime import UTC, date, datetime

from calib.procedures.typed.declaration import Check
from calib.quantities import SMALLEST, UNITS, finite_number

_DAY = re.compile(r"(?:19|2\d)\d{2}-\d{2}-\d{2}", re.ASCII)
_MOMENT = re.compile(r"(?:19|2\d)\d{2}-\d{2}-\d{2}T\d{2}:\d{2}(:\d{2})?(Z|[+-]\d{2}:\d{2})?", re.ASCII)


def any_text(_cell: str) -> str | None:
    """Any text."""
    return None


_DITTO = frozenset(
    ['"', "''", "\u3003", "\u2033", "\u201d", '-"-', "-//-", "do.", "dto", "dto.", "ditto", "idem", "as above"]
)


def written_out(cell: str) -> str | None:
    """Text that says by itself what it means: no sign for what stands above it."""
    return "what stands above, written out: the sign for it is not read" if cell.casefold() in _DITTO else None


_NOBODY = frozenset({"-", "\u2013", "\u2014", "?", "n/a", "none", "nil", "tbd"})


def usually_a_person(cell: str) -> str | None:
    """The name of a person; common practice, no source."""
    return "it names nobody" if cell.casefold() in _NOBODY else None


def above_zero(cell: str) -> str | None:
    """A finite number above 0."""
    return "a finite number above 0" if finite_number(cell) or not float(cell) >= SMALLEST else None


def not_negative(cell: str) -> str | None:
    """A finite number, 0 or above."""
    return "a finite number, 0 or above" if finite_number(cell) or float(cell) < 0 else None


def at_least_one(cell: str) -> str | None:
    """A finite number, 1 or above."""
    return "a finite number, 1 or above" if finite_number(cell) or float(cell) < 1 else None


def above_one(cell: str) -> str | None:
    """A finite number above 1."""
    return "a finite number above 1" if finite_number(cell) or float(cell) <= 1 else None


def percent(cell: str) -> str | None:
    """A percentage above 0, up to 100."""
    return "a percentage above 0, up to 100" if finite_number(cell) or not 0 < float(cell) <= 100 else None


def share(cell: str) -> str | None:
    """A percentage, 0 to 100."""
    return "a percentage, 0 to 100" if finite_number(cell) or not 0 <= float(cell) <= 100 else None


def usually(low: float, high: float, what: str) -> Check:
    """What is usual for a number that may be another: from low to high; common practice, no source."""

    def check(cell: str) -> str | None:
        return None if low <= float(cell) <= high else f"{what} is usually {low:g} to {high:g}"

    return check


def between(low: float, high: float, symbol: str) -> Check:
    """A finite number between two that lie in the range of validity of what is computed from it."""

    def check(cell: str) -> str | None:
        sound = finite_number(cell) is None and low <= float(cell) <= high
        return None if sound else f"a finite number from {low:g} to {high:g} {symbol}"

    return check


def correlation(cell: str) -> str | None:
    """A coefficient of correlation, from -1 to 1."""
    sound = finite_number(cell) is None and -1 <= float(cell) <= 1
    return None if sound else "a correlation, from -1 to 1"


def whole(cell: str) -> str | None:
    """A whole number, 1 to 9999."""
    return None if re.fullmatch(r"[0-9]{1,4}", cell) and int(cell) > 0 else "a whole number, 1 to 9999"


def numbers(cell: str) -> str | None:
    """Numbers joined by semicolons."""
    wrong = [part.strip() for part in cell.split(";") if finite_number(part.strip())]
    return f"finite numbers joined by ;, {wrong[0]!r} is none" if wrong else None


def day(cell: str) -> str | None:
    """A day that exists, as YYYY-MM-DD."""
    if _DAY.fullmatch(cell) is None:
        return "a date as YYYY-MM-DD, years 1900 to 2999"
    try:
        date.fromisoformat(cell)
    except ValueError:
        return "a date that exists, as YYYY-MM-DD"
    return None


def time_with_zone(cell: str) -> str | None:
    """A time with its zone, as YYYY-MM-DDTHH:MM+HH:MM."""
    parts = _MOMENT.fullmatch(cell)
    if parts is None:
        return "a date and time as YYYY-MM-DDTHH:MM+HH:MM"
    try:
        datetime.fromisoformat(cell)
    except ValueError:
        return "a date and time that exist, as YYYY-MM-DDTHH:MM+HH:MM"
    return None if parts[2] else "a time with its zone, like 2026-03-05T14:30+01:00 (a local time alone is ambiguous)"


def same_time(typed: str) -> str:
    """A time as it compares with others, whatever zone it was typed in."""
    return datetime.fromisoformat(typed).astimezone(UTC).isoformat()


def same_revision(typed: str) -> str:
    """A revision as it compares with others: a blank one is the first."""
    return str(int(typed or 1))


def same_count(typed: str) -> str:
    """A whole number as it compares with others."""
    return str(int(typed))


def basis(cell: str) -> str | None:
    """What a reference value was worked out from, as `calib` writes it."""
    try:
        parts = json.loads(cell)["contributions"]
        sound = all(isinstance(part["name"], str) and part["standard_uncertainty"] >= 0 for part in parts)
    except (ValueError, TypeError, KeyError, RecursionError):
        sound = False
    return None if sound else "blank, or the JSON that an in-house calibration wrote"


def degree(cell: str) -> str | None:
    """Degree of a polynomial."""
    return None if re.fullmatch(r"[0-9]", cell) else "a degree, 0 to 9"


def json_text(cell: str) -> str | None:
    """A JSON document, as `calib` writes one."""
    try:
        json.loads(cell)
    except (ValueError, RecursionError):
        return "blank, or the JSON that `calib` wrote"
    return None


@dataclass(frozen=True)
class AmongWords:
    """The check of a cell that holds one of a few words."""

    words: tuple[str, ...]

    def __call__(self, cell: str) -> str | None:
        """What was expected of the cell, or None where it is one of them."""
        return None if cell in self.words else f"one of {', '.join(self.words)}"

    def in_any_letters(self, cell: str) -> str | None:
        """The word that a cell is in capital or small letters; None where it is none."""
        small = " ".join(cell.casefold().split())
        return next((word for word in self.words if word.casefold() == small), None)


def one_of(*words: str) -> Check:
    """One of a few words."""
    return AmongWords(words)


def coverage_percent(cell: str) -> str | None:
    """A coverage probability in percent."""
    sound = finite_number(cell) is None and 50 < float(cell) < 100
    return None if sound else "a percentage above 50 and below 100"


def unit_check(quantity: str) -> Check:
    """A unit of one quantity."""
    return one_of(*UNITS[quantity])


# Where the density of the air is known (calib.airflow.air).
AIR_TEMPERATURE = between(-40, 60, "degC")
AIR_PRESSURE = between(60, 110, "kPa")
AIR_HUMIDITY = between(0, 100, "%")
AIR_DENSITY = between(0.5, 1.7, "kg/m3")
