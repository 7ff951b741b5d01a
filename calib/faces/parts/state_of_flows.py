"""The states in which flows are compared, as every answer says them: at a density, or as measured."""

from collections.abc import Iterator, Sequence

from calib.arrays import finite
from calib.faces.parts.reading_in_full import state_text
from calib.faces.written import Content, names_text
from calib.procedures.measure.compared import stated_density
from calib.procedures.measure.evaluate import Evaluation
from calib.records.words import NET


def state_document(evaluation: Evaluation) -> Content:
    """The density of a job's totals, and the outlets of which the air is not known, where that is asked for."""
    states = evaluation.compared
    density = None if states is None else states.density
    unknown = {} if states is None or states.unknown is None else states.unknown
    asked = finite(stated_density(evaluation.job))
    outlets: dict[str, tuple[str, ...]] = {}
    if states is not None:
        for row, reasons in unknown.items():
            counts = asked is not None and bool(evaluation.in_totals[row])
            if counts or states.not_comparable[row]:
                outlets.setdefault(evaluation.measured[row].outlet.outlet, reasons)
    return {
        "density_kg_per_m3": density,
        "stated_density_kg_per_m3": asked,
        "state": state_text(density),
        "air_not_known": [{"outlet": outlet, "reasons": list(reasons)} for outlet, reasons in outlets.items()],
    }


def state_lines(states: Content, totals: Sequence[Content]) -> Iterator[str]:
    """The state of the totals in words, and what to declare; once for all of them."""
    density, asked = states["density_kg_per_m3"], states["stated_density_kg_per_m3"]
    if density is not None:
        yield (
            f"Totals and their designs are volume flows {state_text(density)}, so that masses are summed. A design that states "
            "no density is one as measured: it is taken there by the air of its outlets."
        )
    elif asked is not None:
        yield f"Totals are as measured, each flow in its own air, and not {state_text(asked)}: some air is not known."
    elif any(total["service"] == NET and total["flow"] for total in totals):
        yield (
            "Flows and designs are summed as measured, each in the air that was there; air that is 8 °C warmer takes 2.8 % more "
            "room. Where a job states the density of the air that its flows are meant in, sums are masses."
        )
    yield from unknown_lines(states)


def unknown_lines(states: Content) -> Iterator[str]:
    """Outlets whose air is not known, by the reason."""
    by_reason: dict[str, list[str]] = {}
    for each in states["air_not_known"]:
        by_reason.setdefault("; ".join(each["reasons"]), []).append(each["outlet"])
    for reason, outlets in by_reason.items():
        yield f"{names_text(outlets)}: {reason}"


def design_state_lines(readings: Sequence[Content]) -> Iterator[str]:
    """Flows of outlets whose design states a density, as they are judged."""
    for reading in readings:
        design = reading["design"]
        if design is None or design["density_kg_per_m3"] is None:
            continue
        name, flow = reading["outlet"], design["flow"]
        if flow is None:
            yield f"{name}: not judged, since its design is one {design['state']} and its air is not known"
        else:
            yield f"{name}: {flow['statement']}, as its design is stated"
