"""A job's outlets and ducts as they count now, as `calib outlet list` answers."""

from collections.abc import Mapping, Sequence

from calib.faces.answers import outlet as of_outlet
from calib.faces.plain_text import table_text
from calib.faces.written import Content, tolerance_text
from calib.procedures.on_record.flow_limits import LIMITS_TYPED
from calib.procedures.on_record.outlets import OutletHistory

_HEADER = ("outlet", "revision", "system", "service", "place", "room", "opening", "factor", "design")


def document(job: str, outlets: Sequence[OutletHistory]) -> Content:
    """Each outlet with its cells and what was amended."""
    return {"job": job, "outlets": [of_outlet.document(outlet) for outlet in outlets]}


def text(answer: Content) -> str:
    """The same for people."""
    return table_text(_HEADER, [_row(outlet) for outlet in answer["outlets"]])


def _row(outlet: Content) -> tuple[str, ...]:
    cells = {name: cell or "" for name, cell in outlet.items()}
    sides = " × ".join(cells[side] for side in ("width", "height", "diameter") if cells[side])
    opening = f"{cells['shape']} {sides} {cells['dimension_unit']}".strip()
    area = f"{cells['effective_area']} {cells['effective_area_unit']}".strip()
    return (
        outlet["outlet"],
        str(outlet["revision"]),
        cells["system"],
        cells["service"],
        cells["place"] or "outlet",
        cells["room"],
        opening,
        cells["outlet_factor"] or area or cells["found_factor"],
        design_of_outlet(outlet),
    )


def design_of_outlet(outlet: Mapping[str, str | None]) -> str:
    """The design flow with its limits as they were typed; blank where there is none."""
    if not outlet["design_flow"]:
        return ""
    density = outlet.get("design_density_kg_per_m3")
    at = f" at {density} kg/m3" if density else ""
    return f"{outlet['design_flow']} {outlet['flow_unit']} {_limits(outlet)}".rstrip() + at


def _limits(outlet: Mapping[str, str | None]) -> str:
    numbers = {name: None if (typed := outlet[name]) is None else float(typed) for name in LIMITS_TYPED}
    return tolerance_text(numbers | {"unit": outlet["flow_unit"]})
