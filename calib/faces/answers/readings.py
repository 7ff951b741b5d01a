"""A job's readings, each flow with its expanded uncertainty, as `calib reading list` answers."""

from collections.abc import Iterator, Sequence

from calib.faces.parts.not_measured import not_measured, not_measured_lines
from calib.faces.parts.reading_in_full import reading_content
from calib.faces.parts.state_of_flows import design_state_lines
from calib.faces.plain_text import table_text
from calib.faces.written import Content
from calib.procedures.measure.evaluate import Evaluation, Refused
from calib.procedures.on_record.withdrawn_readings import WithdrawnTyped

_HEADER = ("reading", "outlet", "system", "service", "instrument", "observed", "flow ± U", "% of design", "conformity")


def document(evaluation: Evaluation, units: str | None, withdrawn: Sequence[WithdrawnTyped] = ()) -> Content:
    """Readings of a job that stand, those that are refused, and those that were taken back."""
    rows = range(len(evaluation.measured))
    return {
        "job": evaluation.job.job,
        "readings": [reading_content(evaluation, row, units) for row in rows],
        "refused": [_refused(each) for each in evaluation.refused],
        "withdrawn": [
            {
                "refusal" if each.was_refused else "reading": each.typed.id,
                "outlet": each.outlet,
                "observed_at": each.typed.observed_at,
                "withdrawn": each.taken_back.document(),
            }
            for each in withdrawn
        ],
        "not_measured": not_measured(evaluation, units),
    }


def _refused(refused: Refused) -> Content:
    return {
        "reading" if refused.stood else "refusal": refused.typed.id,
        "outlet": refused.outlet.outlet,
        "observed_at": refused.typed.observed_at,
        "reasons": list(refused.reasons),
    }


def without_flow(answer: Content) -> Iterator[str]:
    """What yields no flow: a line each, and one for the outlets that are left."""
    for each in answer["refused"]:
        yield f"refused: {each['outlet']}, {each['observed_at']}: {'; '.join(each['reasons'])} ({_numbered(each)})"
    for each in answer["withdrawn"]:
        by = each["withdrawn"]["replaced_by"]
        said = "dismissed" if "refusal" in each else "withdrawn" if by is None else f"corrected by reading {by}"
        yield f"{said}: {_numbered(each)} at {each['outlet']}, {each['observed_at']}: {each['withdrawn']['reason']}"
    yield from not_measured_lines(answer["not_measured"])


def _numbered(each: Content) -> str:
    return f"refused reading {each['refusal']}" if "refusal" in each else f"reading {each['reading']}"


def text(answer: Content) -> str:
    """The same for people."""
    readings = answer["readings"]
    states = list(design_state_lines(readings))
    rows = [*map(_row, readings), *map(_row_of_none, answer["not_measured"])]
    return "\n".join([table_text(_HEADER, rows), *(["", *states] if states else [])])


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


def _row_of_none(outlet: Content) -> tuple[str, ...]:
    return ("-", outlet["outlet"], outlet["system"], outlet["service"], "-", "-", "not measured", "-", "-")
