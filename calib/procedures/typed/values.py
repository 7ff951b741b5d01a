"""Values as a person types them in a line: parted by blanks or semicolons, with a decimal point or a decimal comma.

What two things may be meant by (412,418 is a decimal comma or two values) is refused, with both.
"""

import re
from collections.abc import Sequence

from calib.errors import BadInputError, Finding
from calib.procedures.typed.as_people_write import habits_of, with_point
from calib.quantities import COMMA_OR_THOUSANDS, finite_number

_PARTED = re.compile(r"[\s;]+")


def values_typed(line: str) -> list[str]:
    """The values of a line, each as the records keep it; raises BadInputError with every one that is none."""
    parts = [part.removesuffix(",") for part in _PARTED.split(line) if part.removesuffix(",")]
    habits = habits_of(parts)
    values = [with_point(part, habits) or part for part in parts]
    findings = [
        Finding.typed("value", part, _expected(part))
        for part, value in zip(parts, values, strict=True)
        if finite_number(value) is not None
    ]
    if not parts:
        findings = [Finding.typed("value", line.strip(), "values parted by blanks")]
    if findings:
        raise BadInputError(findings)
    return values


def cell_of(values: Sequence[str]) -> dict[str, str]:
    """The cell of readings.csv that values fill: one alone is the mean as shown."""
    return {"indication": values[0]} if len(values) == 1 else {"observations": ";".join(values)}


def _expected(part: str) -> str:
    if COMMA_OR_THOUSANDS.fullmatch(part):
        whole, thousandths = part.split(",")
        return f"{whole}.{thousandths}, or {whole} and {thousandths} parted by a blank: it may mean either"
    return "numbers, parted by blanks"
