"""A job's readings, each flow with its expanded uncertainty, as `calib reading list` answers."""

from calib.faces.parts.reading_in_full import reading_content
from calib.faces.parts.state_of_flows import design_state_lines
from calib.faces.plain_text import table_text
from calib.faces.written import Content
from calib.procedures.measure.evaluate import Evaluation

_HEADER = ("reading", "outlet", "system", "service", "instrument", "observed", "flow ± U", "% of design", "conformity")


def document(evaluation: Evaluation, units: str | None) -> Content:
    """Readings of a job that stand."""
    rows = range(len(evaluation.measured))
    return {"job": evaluation.job.job, "readings": [reading_content(evaluation, row, units) for row in rows]}


def text(answer: Content) -> str:
    """The same for people."""
    readings = answer["readings"]
    states = list(design_state_lines(readings))
    return "\n".join([table_text(_HEADER, [_row(reading) for reading in readings]), *(["", *states] if states else [])])


def _row(reading: Content) -> tuple[str, ...]:
    design = reading["design"]
    return (
        str(reading["reading"]),
        reading["outlet"],
        reading["system"],
        reading["service"],
        reading["instrument"],
        reading["observed_at"],
        reading["flow"]["statement"],
        f"{design['percent_of_design']:.1f}" if design and design["percent_of_design"] is not None else "-",
        design["conformity"] if design and design["conformity"] else "-",
    )
