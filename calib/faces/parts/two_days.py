"""A record that holds from before the day on which it was recorded: it is said wherever its day stands."""

from datetime import date

from calib.faces.written import Content

_DAY = len("2026-03-05")


def day_recorded(recorded_at: str) -> str:
    """The day of a time in the ledger."""
    return recorded_at[:_DAY]


def recorded_later(holds_from: str, recorded_at: str, reason: str | None) -> str | None:
    """When a record that holds from an earlier day or time was recorded, and why so; None where both are of one day.

    What an import brought without a reason was taken over as it was stated.
    """
    day = day_recorded(recorded_at)
    if date.fromisoformat(holds_from[:_DAY]) >= date.fromisoformat(day):
        return None
    return f"taken over on {day}" if reason is None else f"recorded on {day}: {reason}"


def accepted_later(calibration: Content) -> str | None:
    """The same of the acceptance of a calibration."""
    on, recorded_at = calibration["accepted_on"], calibration["acceptance_recorded_at"]
    if on is None or recorded_at is None:
        return None
    return recorded_later(on, recorded_at, calibration["acceptance_reason"])


def accepted_on(calibration: Content) -> str:
    """The day of a calibration's acceptance, with the day on which that was recorded where it is a later one."""
    later = accepted_later(calibration)
    if calibration["accepted_on"] is None:
        return "not yet"
    return f"{calibration['accepted_on']}{'' if later is None else f' ({later})'}"


def from_when(at: str, recorded_at: str) -> str:
    """`recorded, from TIME` of what has just been recorded, with the day of it where that time is of an earlier one."""
    earlier = at[:_DAY] < recorded_at[:_DAY]
    return f"recorded on {recorded_at[:_DAY]}, from {at}" if earlier else f"recorded, from {at}"
