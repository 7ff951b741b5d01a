"""How far the flow of a reading is correlated with others of its job, as an engineer reads it beside its budget."""

from collections.abc import Sequence

from calib.arrays import finite
from calib.faces.plain_text import table_text
from calib.faces.written import Content
from calib.procedures.measure.correlated_flows import CorrelatedFlow
from calib.procedures.measure.reading_in_job import ReadingInJob

CORRELATION_HEADINGS = ("outlet", "reading", "r", "what both share")


def document(reading: ReadingInJob, flows: Sequence[CorrelatedFlow]) -> Content:
    """Each other flow with the bounds of r, and the contributions that both share."""
    measured = reading.evaluation.measured
    return {
        "reading": measured[reading.row].reading.id,
        "outlet": measured[reading.row].outlet.outlet,
        "others": [
            {
                "reading": measured[each.row].reading.id,
                "outlet": measured[each.row].outlet.outlet,
                "r_low": finite(each.low),
                "r_high": finite(each.high),
                "shared": list(each.shared),
            }
            for each in flows
        ],
    }


def text(answer: Content) -> str:
    """The same for people."""
    return "\n".join([*words(answer), table_text(CORRELATION_HEADINGS, [*map(cells, answer["others"])])])


def cells(other: Content) -> tuple[str, ...]:
    """Another flow as a row of the table."""
    return (other["outlet"], str(other["reading"]), _r_text(other), ", ".join(other["shared"]) or "nothing")


def _r_text(other: Content) -> str:
    if other["r_low"] is None:
        return "–"
    low, high = (f"{other[name]:.2f}".replace("-0.00", "0.00").replace("-", "−") for name in ("r_low", "r_high"))
    return low if low == high else f"{low} to {high}"


def words(answer: Content) -> list[str]:
    """How r is read."""
    lines = [
        "r = 1: both flows are wrong by the same error; 0: by errors that have nothing in common; below 0: by opposed ones.",
        "A sum of flows is less sure the larger r is, and a difference surer; totals and nets are worked out with it.",
    ]
    ranges = sum(each["r_low"] != each["r_high"] for each in answer["others"])
    if ranges:
        lines.append(
            "Where two values stand it is not known how far both share an influence: a sum takes the upper one, a "
            "difference the lower."
        )
    return lines
