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
    return (
        other["outlet"],
        str(other["reading"]),
        r_text(other["r_low"], other["r_high"]),
        ", ".join(other["shared"]) or "nothing",
    )


def r_text(low: float | None, high: float | None) -> str:
    """A correlation coefficient, or between which it lies; a dash where there is none."""
    if low is None or high is None:
        return "–"
    ends = [f"{end:.2f}".replace("-0.00", "0.00").replace("-", "−") for end in (low, high)]
    return " to ".join(dict.fromkeys(ends))


def words(answer: Content) -> list[str]:
    """How r is read."""
    return r_words(is_unsure=any(each["r_low"] != each["r_high"] for each in answer["others"]))


def r_words(*, is_unsure: bool) -> list[str]:
    """The same, where it is known, or not, how far flows share an influence."""
    lines = [
        "r = 1: both flows are wrong by the same error; 0: by errors that have nothing in common; below 0: by opposed ones.",
        "A sum of flows is less sure the larger r is, and a difference surer; totals and nets are worked out with it.",
    ]
    if is_unsure:
        lines.append(
            "Where two values stand it is not known how far both share an influence: a sum takes the upper one, a "
            "difference the lower."
        )
    return lines
