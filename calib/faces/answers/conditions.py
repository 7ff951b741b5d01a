"""A job's conditions of the air with their density, as `calib conditions list` answers."""

from collections.abc import Sequence

from calib.faces.parts.reading_in_full import declared_air
from calib.faces.plain_text import table_text
from calib.faces.written import Content
from calib.procedures.measure.air import AirFound


def document(job: str, airs: Sequence[AirFound]) -> Content:
    """Each set of conditions: its density [kg/m3], or why there is none."""
    return {"job": job, "conditions": [_conditions(air) for air in airs]}


def _conditions(air: AirFound) -> Content:
    refused = bool(air.reasons)
    return {
        "name": air.name,
        "density": None if refused else air.density,
        "standard_uncertainty": None if refused else air.standard_uncertainty,
        "contributions": dict(air.parts),
        "observed": [f"{row.condition.quantity} {row.condition.value} {row.condition.unit}" for row in air.rows],
        "declared": None if air.declared is None else declared_air(air.declared),
        "reasons": list(air.reasons),
    }


def text(answer: Content) -> str:
    """The same for people."""
    return table_text(("conditions", "density", "u", "observed"), [_row(air) for air in answer["conditions"]])


def _row(air: Content) -> tuple[str, ...]:
    density, u = air["density"], air["standard_uncertainty"]
    return (
        air["name"],
        "-" if density is None else f"{density:.4f} kg/m3",
        "-" if density is None else f"{u:.4f}",
        "; ".join(air["reasons"] or [*air["observed"], *declared_texts(air["declared"])]),
    )


def declared_texts(declared: Content | None, celsius: str = "degC") -> list[str]:
    """A declared range in words, with its unit as a face writes it."""
    if declared is None:
        return []
    low, high = declared["temperature_low_degC"], declared["temperature_high_degC"]
    return [f"{declared['service']} air {low} to {high} {celsius}, declared: {declared['basis']}"]
