"""Days and times as people write them: 5.3.2026, March 5, 2026, 5.3.2026 2:30 pm UTC+1; each means one, or none.

What two days may be meant by (03/04/2026) is read where the sheet, or a person, tells the order. A year of two digits is none.
"""

import re
from collections.abc import Iterable
from datetime import date, timedelta

from calib.errors import Step
from calib.procedures.typed.cells import day, time_with_zone
from calib.procedures.typed.declaration import Check

_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_SLASHES = re.compile(r"(\d{1,2})/(\d{1,2})/(\d{4})(?!\d)")
_SHORT_YEAR = re.compile(r"\d{1,2}([./-])\d{1,2}\1\d{2}(?!\d).*")
_CLOCK = re.compile(r"(\d{1,2})(?:[:.h](\d{2}))?(?::(\d{2}))?\s*([ap])?\.?(?:m\.?)?", re.IGNORECASE)
_MOMENT = re.compile(
    r"(.+?)(?:\s*,\s*|\s+|(?<=\d)T(?=\d))"
    r"(\d{1,2}[:.h]\d{2}(?::\d{2})?(?:\s*[ap]\.?m\.?)?|\d{1,2}\s*[ap]\.?m\.?)\s*(\S.*)?",
    re.IGNORECASE,
)
_ZONE = re.compile(r"(?:UTC|GMT)?\s*([+\u2212-])(\d{1,2})(?::?(\d{2}))?", re.IGNORECASE)
_LONGEST = 60  # signs of a day with its time
_FIRST_DAY = date(1899, 12, 30)  # from which spreadsheets count
_SERIAL = re.compile(r"\d{5}(?:\.\d+)?")


def order_of_days(cells: Iterable[str]) -> bool | None:
    """Whether the day stands before the month, by a cell that can have no other meaning; None where none tells, or two differ."""
    firsts, seconds = [0], [0]
    for cell in cells:
        if "/" in cell and (slashes := _SLASHES.match(cell)):
            firsts.append(int(slashes[1]))
            seconds.append(int(slashes[2]))
    return max(firsts) > 12 if (max(firsts) > 12) != (max(seconds) > 12) else None


def zone_meant(typed: str) -> str | None:
    """A zone as +01:00 or Z; None where it is none. Names such as CET are none: some mean several."""
    if typed.strip().upper() in {"Z", "UTC", "GMT"}:
        return "Z"
    parts = _ZONE.fullmatch(typed.strip())
    if parts is None:
        return None
    return f"{'+' if parts[1] == '+' else '-'}{parts[2]:0>2}:{parts[3] or '00'}"


def with_zone(typed: str, zone: str) -> str:
    """A time as it was typed, in a zone that is said elsewhere where it has none of its own."""
    _, clock, own = _parts(typed)
    if clock is None or own is not None:
        return typed
    return f"{typed}{zone}" if re.fullmatch(r"\S+T\S+", typed) else f"{typed} {zone}"


def moment_meant(typed: str, day_first: bool | None) -> str | None:
    """A day with its time and zone, as an import wants them; None where one of them is missing or none."""
    on, clock, zone = _parts(typed)
    if on is None or clock is None:
        return None
    own = on if day(on) is None else day_meant(on, day_first)
    at = _clock(clock)
    if own is None or at is None:
        return None
    in_zone = "" if zone is None else zone_meant(zone)
    return None if in_zone is None else f"{own}T{at}{in_zone}"


def _parts(typed: str) -> tuple[str | None, str | None, str | None]:
    parts = _MOMENT.fullmatch(typed) if len(typed) <= _LONGEST else None
    return (None, None, None) if parts is None else (parts[1], parts[2], parts[3])


def _clock(typed: str) -> str | None:
    parts = _CLOCK.fullmatch(typed.strip())
    if parts is None:
        return None
    hour, half = int(parts[1]), (parts[4] or "").casefold()
    if half and not 1 <= hour <= 12:
        return None
    if half:
        hour = hour % 12 + (12 if half == "p" else 0)
    seconds = f":{parts[3]}" if parts[3] else ""
    return f"{hour:02d}:{parts[2] or '00'}{seconds}"


def day_meant(typed: str, day_first: bool | None) -> str | None:
    """A day as YYYY-MM-DD; None where it is none, or two may be meant and nobody said which."""
    if dotted := re.fullmatch(r"(\d{1,2})\.\s?(\d{1,2})\.\s?(\d{4})", typed):
        return _iso(int(dotted[3]), int(dotted[2]), int(dotted[1]))
    if turned := re.fullmatch(r"(\d{4})[/.](\d{1,2})[/.](\d{1,2})", typed):
        return _iso(*map(int, turned.groups()))
    if slashes := _SLASHES.fullmatch(typed):
        left, right, year = map(int, slashes.groups())
        return None if day_first is None else _iso(year, right, left) if day_first else _iso(year, left, right)
    return _in_words(typed)


def _in_words(typed: str) -> str | None:
    """5 March 2026, 5th Mar 2026, March 5, 2026."""
    words = re.fullmatch(
        r"(?:(\d{1,2})(?:st|nd|rd|th)?[ .-]+([A-Za-z]{3,9})|([A-Za-z]{3,9})[ .-]+(\d{1,2})(?:st|nd|rd|th)?),?[ .-]+(\d{4})",
        typed,
    )
    if words is None:
        return None
    name = (words[2] or words[3]).casefold()[:3]
    return _iso(int(words[5]), _MONTHS.index(name) + 1, int(words[1] or words[4])) if name in _MONTHS else None


def _iso(year: int, month: int, on: int) -> str | None:
    try:
        return date(year, month, on).isoformat()
    except ValueError:
        return None


def expected_of_time(cell: str, check: Check, day_first: bool | None) -> str | None:
    """What was expected of a wrong day or time, where it can be said what it seems to be; None where nothing can."""
    if check not in (day, time_with_zone):
        return None
    of_day = _expected_of_day(cell, day_first)
    of_clock = _expected_of_clock(cell) if check is time_with_zone else None
    return "; and ".join(said for said in (of_day, of_clock) if said is not None) or None


def _expected_of_day(cell: str, day_first: bool | None) -> str | None:
    if slashes := _SLASHES.match(cell):
        first, second = (day_meant(slashes[0], order) for order in (True, False))
        if day_first is not None:
            exists = (first if day_first else second) is not None
            return None if exists else f"a date that exists, the {'day' if day_first else 'month'} first"
        if None not in (first, second) and first != second:
            return f"{first} or {second}: it may mean either ({Step.ORDER_OF_DATES})"
    if _SHORT_YEAR.fullmatch(cell):
        return "a year of four digits"
    if _SERIAL.fullmatch(cell):
        counted = _FIRST_DAY + timedelta(days=int(float(cell)))
        return f"a date: as spreadsheets count days this is {counted}, show the cell as a date"
    return None


def _expected_of_clock(cell: str) -> str | None:
    _, clock, zone = _parts(cell)
    if clock is None:
        return None
    if clock.startswith("24"):
        return "a time from 00:00 to 23:59: 24:00 is 00:00 of the day after"
    if zone is None:
        return (
            "a time with its zone, like 2026-03-05T14:30+01:00, or a heading with the zone of all: observed_at [+01:00]"
        )
    named = "a zone like +01:00 or Z behind the time: names of zones may mean several"
    return named if zone_meant(zone) is None else None
