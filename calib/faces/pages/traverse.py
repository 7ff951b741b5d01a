"""A traverse, point by point: where to hold the probe, and what the meter shows there.

Decision (2026-11-29). What is typed of a traverse stands in the address of its next point until it is written whole: a page that is
loaded anew goes on where it was, and a step back takes a point back. The address of the point that comes next is kept beside the
sessions, and outlet and job lead to it. Options: fields of the form alone (lost with the page), values kept on the server and not
in the address (what the page shows and what is kept may differ). Cost: a traverse of some 500 values is too long for an address,
and is typed at a keyboard.
"""

from dataclasses import replace
from datetime import datetime
from urllib.parse import urlencode

from sqlmodel import Session

from calib.airflow.traverse import POINT_RULES, traverse
from calib.errors import BadInputError, DoubtError, Finding
from calib.faces.answers import job_on_site
from calib.faces.drawings.probe_place import probe_place
from calib.faces.pages.frame.form import choices
from calib.faces.pages.frame.routes import Filled, Goto, Pages, address
from calib.faces.pages.frame.visit import Visit
from calib.faces.pages.measured_with import BESIDE, chosen, measured_with
from calib.faces.pages.outlet import AN_OUTLET, entry_written
from calib.faces.written import Content
from calib.procedures.enter.on_site import (
    against_setup,
    asks_of_setup,
    doubts_of_points,
    half_traversed,
    is_traversed,
    job_listed,
    last_traversed,
)
from calib.procedures.enter.sitting import SETUP, HalfTraversed, Sitting
from calib.procedures.measure.duct_section import from_the_wall, section_on_record
from calib.procedures.on_record.jobs_by_name import outlet_named
from calib.procedures.typed.cells import time_with_zone
from calib.procedures.typed.values import values_typed
from calib.records.credentials import TraverseBegun

pages = Pages()
_TRAVERSE = f"{AN_OUTLET}/traverse"
_PLANNED = ("rule", "lines", "points", "passes")
_CARRIED = (*_PLANNED, *SETUP, *BESIDE, "client_key", "began", "values")
_USUAL = {"rule": "log-Tchebycheff", "passes": "2"}  # where the duct was never traversed


@pages.shows(_TRAVERSE, again=True)
def points(visit: Visit, job: str, outlet: str) -> Filled | Goto:
    """How the duct is traversed, once more where that cannot be; its next point, or all of them once they are typed."""
    session = visit.reading()
    here = job_listed(session, job).outlets.get(outlet) or outlet_named(session, job, outlet)
    if not is_traversed(here):
        raise BadInputError([Finding.typed("outlet", outlet, "a duct with a shape on record: amend it first")])
    content = {**job_on_site.of_outlet(here), "job": job, "with": measured_with(session, visit, job, here)}
    carried = _carried(visit)
    if visit.form.wrong("client_key"):  # it was written, and a point was changed since: another reading, taken now
        carried |= {"client_key": content["with"]["client_key"], "began": visit.at.isoformat()}
    if "client_key" not in carried or (visit.form.findings and not visit.is_change):
        planned = _USUAL | last_traversed(session, here)
        content |= {"planned": planned, "rules_shown": choices(POINT_RULES), "step": None}
        content |= {"typed": "" if visit.form.wrong("values") else carried.get("values", "")}
        content |= {"begun": visit.served.credentials.traverses_begun(visit.person, job).get(outlet)}
    elif "began" not in carried:
        return Goto(_at(job, outlet, carried | {"began": visit.at.isoformat()}))
    else:
        sitting = _sitting(session, visit, job, outlet)
        content |= {"step": _step(session, visit, sitting)}
        content |= {"carried": carried, "back": _back(job, outlet, carried)}
    return Filled("traverse.html", content, title=f"Traverse of {outlet}, {job}")


@pages.takes(_TRAVERSE, again=points, act="record")
def take(visit: Visit, job: str, outlet: str) -> Goto:
    """Take the next points; written as a whole once all of them are typed and looked at."""
    with visit.reading_first() as session:
        sitting = _sitting(session, visit, job, outlet)
        if sitting.as_whole().entry is None:
            return _next_point(visit, job, outlet, _with_next(session, visit, sitting))
    entry = sitting.as_whole().entry
    assert entry is not None  # noqa: S101 (every point is typed)
    beside = {name: cell for name, cell in chosen(visit).items() if name in BESIDE}
    written = entry_written(visit, job, outlet, replace(entry, cells={**entry.cells, **beside}))
    visit.served.credentials.end_traverse(visit.person, job, outlet)
    return written


def _next_point(visit: Visit, job: str, outlet: str, further: HalfTraversed) -> Goto:
    """The page of the point that comes next, to which outlet and job lead until the traverse is written."""
    here = _at(job, outlet, _carried(visit) | {"values": " ".join(further.values)})
    begun = TraverseBegun(here, len(further.values), further.passes * len(further.places))
    visit.served.credentials.leave_traverse(visit.person, job, outlet, begun, visit.at)
    return Goto(here)


def _with_next(session: Session, visit: Visit, sitting: Sitting) -> HalfTraversed:
    """What is typed with the values of the next points; raises BadInputError, and DoubtError for what is unusual of them."""
    further = sitting.with_values(values_typed(visit.form["value"]), visit.at)
    assert sitting.traverse is not None and further.traverse is not None  # noqa: S101, PT018 (it was just planned)
    asks = asks_of_setup(session, sitting.setup["instrument"], visit.at)
    doubts = doubts_of_points(further, len(sitting.traverse.values), asks)
    if doubts and not visit.form.is_sure:
        raise DoubtError(doubts)
    return further.traverse


def _carried(visit: Visit) -> dict[str, str]:
    """What an address, or the form of a point, carries of the traverse."""
    cells = {name: visit.form[name] or visit.asked.get(name, "") for name in _CARRIED}
    return {name: cell for name, cell in cells.items() if cell.strip()}


def _at(job: str, outlet: str, carried: dict[str, str]) -> str:
    return f"{address('/jobs/{}/outlets/{}/traverse', job, outlet)}?{urlencode(carried)}"


def _back(job: str, outlet: str, carried: dict[str, str]) -> str | None:
    """The address without the point typed last; None where none is."""
    values = carried.get("values", "").split()
    return _at(job, outlet, carried | {"values": " ".join(values[:-1])}) if values else None


def _sitting(session: Session, visit: Visit, job: str, outlet: str) -> Sitting:
    """The sitting that an address tells of; raises BadInputError, CalibError where it can be none."""
    carried = _carried(visit)
    began = visit.at if "began" not in carried else _moment(carried["began"])
    planned = {name: carried[name] for name in _PLANNED if name in carried}
    half, _ = half_traversed(session, job, outlet, _USUAL | planned, began)
    values = values_typed(carried["values"]) if "values" in carried else []
    if len(values) > half.passes * len(half.places):
        raise BadInputError([Finding.typed("values", None, f"at most {half.passes * len(half.places)} values")])
    said = chosen(visit)
    needs = asks_of_setup(session, said["instrument"], visit.at).columns if "instrument" in said else ()
    return Sitting(
        job, {name: said[name] for name in SETUP if name in said}, ("instrument", *needs), outlet,
        stage=said.get("stage"), remarks=said.get("remarks"), traverse=replace(half, values=tuple(values)),
    )  # fmt: skip


def _moment(typed: str) -> datetime:
    wrong = time_with_zone(typed)
    if wrong is not None:
        raise BadInputError([Finding.typed("began", typed, wrong)])
    return datetime.fromisoformat(typed)


def _step(session: Session, visit: Visit, sitting: Sitting) -> Content:
    """The point that comes next, drawn and in words; or all that was typed."""
    half = sitting.traverse
    assert half is not None and sitting.outlet is not None  # noqa: S101, PT018 (it was just planned)
    section, in_unit = section_on_record(session, sitting.job, sitting.outlet)
    places = traverse(section, half.rule, half.lines, half.points)
    run, place = half.wanted
    wanted = None if half.is_whole else places[place]
    against = [] if half.values or sitting.missing() else against_setup(session, sitting, visit.person, visit.at)
    return {
        "missing": sitting.missing(),
        "against": against,
        "passes": half.passes,
        "run": run + 1,
        "of": half.passes * len(places),
        "typed": len(half.values),
        "wanted": wanted,
        "mark": None if wanted is None else from_the_wall(wanted.along, in_unit),
        "drawing": probe_place(section, places, place if wanted is not None else None),
        "values": [(line, point, typed.split(";")) for (line, point), typed in half.of_points().items()],
    }
