"""The due list as an iCalendar file (RFC 5545), which calendars import: an all-day event for each calibration and check.

The same records, day and number of days make the same bytes. An event keeps its UID as long as the instrument, and its SEQUENCE
grows with the day asked about: what is imported later takes the place of what was imported before.
"""

import uuid
from collections.abc import Iterable, Sequence
from datetime import UTC, date, datetime, time, timedelta

from icalendar import Alarm, Calendar, Event

from calib.confirmation.due import CHECK
from calib.faces.plain_text import one_line
from calib.procedures.fleet.recalibration_round import DueInstrument

CALENDAR_BEGINS = b"BEGIN:VCALENDAR"
_ALARMS = (30, 7)  # days before


def as_calendar(instruments: Sequence[DueInstrument], on: date, identity: str) -> bytes:
    """The calendar of a due list; `identity` tells these records from others, which may have the same tags.

    An instrument without an accepted calibration has no due date, and so no event.
    """
    calendar = Calendar()
    calendar.add("prodid", "-//calib//calibration due dates//EN")
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    for instrument in instruments:
        if instrument.entry.due_on is not None:
            calendar.add_component(_event(instrument, instrument.entry.due_on, on, identity))
    return bytes(calendar.to_ical())


def _event(instrument: DueInstrument, due_on: date, on: date, identity: str) -> Event:
    event = Event()
    of_check = f"/{CHECK}" if instrument.entry.what == CHECK else ""
    event.add("uid", f"{uuid.uuid5(uuid.NAMESPACE_OID, f'{identity}/{instrument.entry.tag}{of_check}')}@calib")
    event.add("dtstamp", datetime.combine(on, time(), UTC))
    event.add("sequence", on.toordinal())
    event.add("dtstart", due_on)
    event.add("dtend", due_on + timedelta(days=1))
    event.add("transp", "TRANSPARENT")  # a day on which something is due is a day like any other
    event.add("categories", ["calibration"])
    event.add("summary", _summary(instrument))
    event.add("description", "\n".join(_description(instrument)))
    if instrument.location:
        event.add("location", one_line(instrument.location))
    for days in _ALARMS:
        event.add_component(_alarm(instrument, days))
    return event


def _summary(instrument: DueInstrument) -> str:
    what = (
        f"{CHECK} due"
        if instrument.entry.what == CHECK
        else f"calibration due (certificate {instrument.entry.certificate})"
    )
    return one_line(f"{instrument.entry.tag}: {what}")


def _description(instrument: DueInstrument) -> Iterable[str]:
    yield one_line(f"{instrument.name}, serial number {instrument.serial}")
    if instrument.entry.what == CHECK:
        yield f"Without another check it may not be used after {instrument.entry.due_on}."
    else:
        yield one_line(f"Certificate {instrument.entry.certificate} is valid through {instrument.entry.due_on}.")
    yield from (one_line(reason) for reason in instrument.entry.reasons)


def _alarm(instrument: DueInstrument, days: int) -> Alarm:
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("trigger", -timedelta(days=days))
    alarm.add("description", _summary(instrument))
    return alarm
