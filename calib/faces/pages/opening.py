"""The opening of an outlet or duct, measured where it is: amended with the reason, and what it was stays on record."""

from calib.faces.pages.frame.form import choices
from calib.faces.pages.frame.routes import Filled, Goto, Pages, address
from calib.faces.pages.frame.visit import Visit
from calib.faces.pages.outlet import AN_OUTLET
from calib.procedures.enter.amend_outlet import amend_outlet
from calib.procedures.on_record.outlets import outlet_history
from calib.procedures.typed.declared.outlets import OUTLETS_CSV
from calib.quantities import known_units
from calib.records.words import SHAPES

pages = Pages()
_SIDES = ("shape", "width", "height", "diameter", "dimension_unit", "dimension_limit")
_COLUMNS = tuple(OUTLETS_CSV.by_name[name] for name in _SIDES)


@pages.shows(f"{AN_OUTLET}/opening")
def opening(visit: Visit, job: str, outlet: str) -> Filled:
    """The opening as it counts now."""
    cells = outlet_history(visit.reading(), job, outlet).cells
    content = {
        "job": job,
        "outlet": outlet,
        "cells": {name: cells[name] or "" for name in _SIDES},
        "shapes_shown": choices(SHAPES, may_be_blank=True),
        "units_shown": choices(known_units("length"), may_be_blank=True),
    }
    return Filled("opening.html", content, title=f"Opening of {outlet}, {job}")


@pages.takes(f"{AN_OUTLET}/opening", again=opening, act="record")
def amend(visit: Visit, job: str, outlet: str) -> Goto:
    """Amend what was typed otherwise than it stands."""
    form = visit.form
    with visit.writing_last() as session:
        cells = outlet_history(session, job, outlet).cells
        sides = dict.fromkeys(_SIDES, "") | form.meant(_COLUMNS)
        changes = [f"{name}={cell}" for name, cell in sides.items() if cell != (cells[name] or "")]
        signature = visit.signature("page amendment")
        revision = amend_outlet(session, job, outlet, changes, form["reason"], signature, sure=form.is_sure).revision
    return Goto(address("/jobs/{}/outlets/{}", job, outlet), f"{outlet} is amended: revision {revision}")
