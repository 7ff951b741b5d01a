"""A long list in portions, of which the address names the one that is shown: ?after=200."""

from collections.abc import Mapping
from urllib.parse import urlencode

from calib.faces.pages.frame.visit import Visit
from calib.faces.written import Content
from calib.procedures.typed.cells import whole


def start_of(visit: Visit) -> int:
    """How many stand before the portion that is asked for; none where the address names none."""
    asked = visit.asked.get("after", "")
    return 0 if whole(asked) is not None else int(asked)


def portions_shown(place: str, asked: Mapping[str, str], count: int, most: int, first: int) -> list[Content]:
    """The portions of a list of some length, with the address of each; none where one portion is all."""
    asked_for = {name: typed for name, typed in asked.items() if typed}
    starts = range(0, count, most) if count > most else ()
    return [
        {
            "link": f"{place}?{urlencode(asked_for | {'after': start})}",
            "said": f"{start + 1} to {min(start + most, count)}",
            "is_shown": start == first,
        }
        for start in starts
    ]
