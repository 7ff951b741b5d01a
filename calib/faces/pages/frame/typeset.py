"""A text as a person reads it in a page: units typeset, a day that is not broken at its hyphens, a time to the minute.

A time keeps the offset that it was typed or recorded with; that offset is said where this machine had another one then.
"""

import re
from datetime import datetime

from markupsafe import Markup, escape

from calib.faces.written import with_units

_DAY_OR_TIME = re.compile(
    r"(?<![\w-])(\d{4}-\d\d-\d\d)(?:[T ](\d\d:\d\d)(?::\d\d(?:\.\d+)?)?(Z|[+-]\d\d:\d\d))?(?![\w-])"
)


def typeset(text: object) -> Markup:
    """A text for a template, whatever signs it holds."""
    return Markup(_DAY_OR_TIME.sub(_as_read, str(escape(with_units(str(text))))))  # noqa: S704 (escaped before)


def _as_read(written: re.Match[str]) -> str:
    day, minute, offset = written.groups()
    if minute is None:
        return f"<time>{day}</time>"
    try:
        at = datetime.fromisoformat(written[0])
        is_of_here = at.astimezone().utcoffset() == at.utcoffset()
    except (ValueError, OverflowError):  # no time, or one before or after all years
        return written[0]
    zone = "" if is_of_here else f" ({offset})"
    return f'<time datetime="{at.isoformat()}">{day} {minute}{zone}</time>'
