"""Outlets and ducts of a job that no reading stands of."""

from collections import defaultdict
from collections.abc import Iterator, Sequence

from calib.counted import count_of
from calib.faces.parts.reading_in_full import stated_design
from calib.faces.plain_text import one_line
from calib.faces.written import Content
from calib.procedures.measure.evaluate import Evaluation
from calib.procedures.on_record.flow_unit import flow_unit
from calib.records.record import key
from calib.records.words import OUTLET


def not_measured(evaluation: Evaluation, units: str | None = None) -> list[Content]:
    """Each with its place, its design and why its readings were refused, in the order in which they were recorded."""
    reasons: dict[int, dict[str, None]] = defaultdict(dict)
    for refused in evaluation.refused:
        reasons[key(refused.outlet.id)] |= dict.fromkeys(refused.reasons)
    return [
        {
            "outlet": outlet.outlet,
            "system": outlet.system,
            "service": outlet.service,
            "place": outlet.place or OUTLET,
            "room": outlet.room,
            "reasons": list(reasons[key(outlet.id)]),
            "design": None if outlet.design_flow is None else stated_design(outlet, flow_unit(outlet, units)),
        }
        for outlet in evaluation.not_measured
    ]


def not_measured_lines(outlets: Sequence[Content]) -> Iterator[str]:
    """That there are some, in one line; nothing where every outlet is measured."""
    if outlets:
        names = ", ".join(one_line(each["outlet"]) for each in outlets)
        yield f"{count_of(len(outlets), 'outlet is', 'outlets are')} not measured: {names}"


def why_not_measured(outlet: Content) -> str:
    """That an outlet was not measured, and why where a reading was refused."""
    return "not measured" + (f": a reading was refused: {'; '.join(outlet['reasons'])}" if outlet["reasons"] else "")
