"""The clock: below the faces, which alone may read it; everything else is told the time."""

from datetime import UTC, date, datetime, time


def clock() -> datetime:
    """The time now, in the zone of this machine, in whole seconds."""
    return datetime.now(UTC).astimezone().replace(microsecond=0)


def end_of(day: date) -> datetime:
    """The last moment of a day in the zone of this machine, but not later than now on the present day."""
    return last_of(day, clock())


def last_of(day: date, now: datetime) -> datetime:
    """The last moment of a day in the zone of now, but not later than now on the present day."""
    return now if day == now.date() else datetime.combine(day, time(23, 59, 59), now.tzinfo)
