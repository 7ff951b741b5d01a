"""One reading as typed, with its flow, as `calib reading show` answers."""

from calib.faces.parts.photographs import photograph_lines
from calib.faces.parts.reading_in_full import reading_content
from calib.faces.plain_text import cells_text
from calib.faces.written import Content
from calib.procedures.measure.reading_in_job import ReadingInJob

_SHOWN = (
    "outlet", "system", "service", "instrument", "certificate", "probe", "conditions", "observed_at", "recorded_at", "recorded_by",
    "indication",
    "observations", "throttled_observations", "log", "traverse", "indication_unit", "method", "operator", "averaging_s", "remarks",
)  # fmt: skip


def document(reading: ReadingInJob, units: str | None) -> Content:
    """The reading with its budget."""
    recorded: Content = {"recorded_at": reading.recorded["recorded_at"], "recorded_by": reading.recorded["person"]}
    recorded |= {"photographs": list(reading.photographs)}
    return reading_content(reading.evaluation, reading.row, units) | recorded


def text(answer: Content) -> str:
    """The same for people, without the budget."""
    probe, air, traverse = (answer[name] for name in ("probe", "conditions", "traverse"))
    named = {
        "log": f"{answer['observations_counted']} values" if answer["logged"] else None,
        "probe": probe and probe["tag"],
        "conditions": air and air["name"],
        "traverse": traverse and "{rule}, {lines} × {points} points, {passes} pass(es)".format(**traverse),
    }
    cells = cells_text({name: (answer | named)[name] for name in _SHOWN})
    return "\n".join([f"reading {answer['reading']}: {answer['flow']['statement']}", cells, *photograph_lines(answer)])
