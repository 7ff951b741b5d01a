"""A time or a day of what has happened is none to come: what is typed so is a mistake, and nothing is written.

Two clocks differ: up to a minute ahead of this one is taken as typed, and said.

Decision (2026-11). A time to come is a mistake of typing, not one of the gate: the gate asks about a time, and what was typed is
looked at where it is typed.
"""

from collections.abc import Iterator
from datetime import date, datetime

from calib.confirmation.interval import CLOCKS_DIFFER_BY
from calib.errors import Finding
from calib.procedures.typed.columns import FILES
from calib.procedures.typed.sheets import Sheets, TypedRow


def expected_of(typed: datetime | date, now: datetime) -> str | None:
    """What was expected instead of a time or a day to come; None where it is none."""
    if isinstance(typed, datetime):
        of_now = now.isoformat(timespec="minutes")
        return f"a time that is not in the future (it is {of_now})" if typed > now + CLOCKS_DIFFER_BY else None
    return f"a date that is not in the future (it is {now.date()})" if typed > (now + CLOCKS_DIFFER_BY).date() else None


def notice_of(typed: datetime, now: datetime) -> str | None:
    """What is said of a time that is taken although it is ahead of this clock."""
    if not now < typed <= now + CLOCKS_DIFFER_BY:
        return None
    return f"{typed.isoformat()} is {(typed - now).total_seconds():.0f} s ahead of this clock; taken as typed"


def findings_of_times(sheets: Sheets, now: datetime) -> list[Finding]:
    """Every time or day of what has happened that is to come."""
    return [
        row.finding(column, expected)
        for row, column, typed in list(_happened(sheets))
        if (expected := expected_of(typed, now)) is not None
    ]


def notices_of_times(sheets: Sheets, now: datetime) -> list[str]:
    """What is said of the times that are ahead of this clock, each by its row."""
    notices = []
    for row, column, typed in _happened(sheets):
        told = notice_of(typed, now) if isinstance(typed, datetime) else None
        if told is not None:
            place = "" if row.row_number is None else f"{row.source} row {row.row_number}, "
            notices.append(f"{place}{column}: {told}")
    return list(dict.fromkeys(notices))  # rows that were typed at a face together have one time


def _happened(sheets: Sheets) -> Iterator[tuple[TypedRow, str, datetime | date]]:
    for file, declaration in FILES.items():
        columns = [column for column in declaration if column.happened is not None]
        for row in sheets[file] if columns else ():
            for column in columns:
                cell = row.get(column.name)
                if cell is not None and column.happened is not None:
                    yield row, column.name, column.happened(cell)
