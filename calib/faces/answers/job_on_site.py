"""A job as whoever measures there sees it: outlet by outlet what was measured and what would pass, the ones that are left first."""

from calib.faces.answers.entered_reading import conformity_said, ends_of_passing, would_pass
from calib.faces.answers.outlets import design_of_outlet
from calib.faces.parts.reading_in_full import reading_content
from calib.faces.plain_text import one_line
from calib.faces.written import Content
from calib.procedures.measure.evaluate import Evaluation
from calib.procedures.measure.verdict import passing_indications
from calib.procedures.on_record.outlets import outlet_cells
from calib.records.record import key
from calib.records.tables.outlets import Outlet

_SHOWN = (
    "reading", "instrument", "observed_at", "stage", "indication_unit", "traverse", "flow", "design", "flags",
)  # fmt: skip


def document(evaluation: Evaluation, units: str | None) -> Content:
    """The outlets and ducts of a job: those that no reading stands of, then the others, each lot in the order of the job."""
    passing = passing_indications(evaluation)
    outlets = [
        {
            **of_outlet(outlet),
            "refused": [list(each.reasons) for each in evaluation.refused if key(each.outlet.id) == outlet_id],
            "reading": None
            if (row := evaluation.counting.get(outlet_id)) is None
            else _reading(evaluation, row, passing[row], units),
        }
        for outlet_id, outlet in evaluation.outlets.items()
    ]
    job = evaluation.job
    return {
        **{name: getattr(job, name) for name in ("job", "title", "site", "client")},
        "left": sum(outlet["reading"] is None for outlet in outlets),
        "outlets": sorted(outlets, key=lambda outlet: outlet["reading"] is not None),
    }


def of_outlet(outlet: Outlet) -> Content:
    """Which outlet it is, and its design as it was typed."""
    own = {name: getattr(outlet, name) for name in ("outlet", "system", "service", "place", "room")}
    return own | {"design": design_of_outlet(outlet_cells(outlet))}


def _reading(evaluation: Evaluation, row: int, passing: tuple[float, float] | None, units: str | None) -> Content:
    reading = reading_content(evaluation, row, units)
    shown = {name: reading[name] for name in _SHOWN} | {"passing_indications": ends_of_passing(passing)}
    return shown | {"would_pass": would_pass(shown)}


def text(answer: Content) -> str:
    """The same for people."""
    left = f"{answer['job']}: {answer['left']} of {len(answer['outlets'])} outlets left"
    return "\n".join([one_line(left), *map(_line, answer["outlets"])])


def _line(outlet: Content) -> str:
    reading = outlet["reading"]
    if reading is None:
        return f"  {one_line(outlet['outlet'])}: not measured"
    judged = "" if reading["design"] is None else f": {conformity_said(reading['design'])}"
    return f"  {one_line(outlet['outlet'])}: {reading['flow']['statement']}{judged}"
