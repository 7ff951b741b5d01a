"""What a flow was worked out from, as a report answers: numbers that somebody typed with the digits that were typed."""

from collections.abc import Mapping

from calib.faces.written import Content
from calib.procedures.measure.evaluate import Evaluation
from calib.procedures.measure.standing import Standing, section_of
from calib.procedures.report.collect import instruments_of
from calib.records.record import typed
from calib.records.tables.factors import Source

FOUND = "found factor"

_DIMENSIONS = ("shape", "width", "height", "diameter", "dimension_unit", "dimension_limit")
_OF_METHOD = (
    "method", "pattern", "basis", "relative_standard_uncertainty_percent", "degrees_of_freedom",
    "common_standard_uncertainty_percent", "common_degrees_of_freedom", "own_standard_uncertainty_percent",
    "own_degrees_of_freedom",
)  # fmt: skip


def evidence(evaluation: Evaluation, row: int, sources: Mapping[str, Source]) -> Content:
    """What one flow was worked out from; `sources` are those declared, by the names that outlets have for them."""
    measured = evaluation.measured[row]
    declared = sources.get(measured.outlet.outlet_factor_source or "")
    return {
        "indications": _indications(measured),
        "throttled_indications": _parted(measured.reading.throttled_observations),
        "unit": measured.reading.unit,
        "dimensions": _dimensions(measured),
        "factor": _factor(evaluation, row),
        "method": {name: getattr(measured.method, name) for name in _OF_METHOD},
        "sources": [typed(declared, "id")] if declared is not None and not measured.way.is_flow else [],
        "instruments": [
            {"tag": tag, "certificate": certificate, "calibrated_on": str(decision.calibration.calibrated_on)}
            for (tag, certificate), decision in instruments_of(measured).items()
            if decision.calibration is not None
        ],
    }


def _indications(measured: Standing) -> list[str]:
    """As typed: each observation, or LINE/POINT=VALUES of a traverse; of a log with the decimals of its finest value."""
    traversed = measured.observed.traversed
    if traversed is not None:
        places = traversed.places(section_of(measured.outlet))
        return [f"{at.line}/{at.point}={values}" for at, values in zip(places, traversed.typed, strict=True)]
    if measured.observed.logged:
        decimals = max(len(repr(value).partition(".")[2]) for value in measured.observed.values)
        return [f"{value:.{decimals}f}" for value in measured.observed.values]
    return _parted(measured.reading.observations or measured.reading.indication)


def _parted(cell: str | None) -> list[str]:
    """Values joined by semicolons, each as typed."""
    return [] if cell is None else [each.strip() for each in cell.split(";")]


def _dimensions(measured: Standing) -> Content | None:
    """Of the opening or of the duct; none where the flow rests on none."""
    outlet = measured.outlet
    if measured.way.is_flow or outlet.shape is None:
        return None
    return {name: getattr(outlet, name) for name in _DIMENSIONS}


def _factor(evaluation: Evaluation, row: int) -> Content | None:
    """The factor or the effective area, with u and source; none of a duct, and none of a hood."""
    outlet, on_site = evaluation.measured[row].outlet, evaluation.measured[row].factor
    if evaluation.measured[row].way.is_flow:
        return None
    if on_site is not None:
        assert evaluation.readings is not None  # noqa: S101 (the reading stands)
        relative = float(evaluation.readings.outlet_factor_relative[row])
        is_area = on_site.effective_area is not None
        value = on_site.value if on_site.effective_area is None else on_site.effective_area
        return {
            "kind": FOUND,
            "value": value,
            "unit": "m2" if is_area else "1",
            "standard_uncertainty": relative * value,
            "source": f"{on_site.factor}, revision {on_site.revision}",
        }
    if outlet.effective_area is None and outlet.outlet_factor is None:
        return None
    kind = "outlet_factor" if outlet.effective_area is None else "effective_area"
    return {
        "kind": kind.replace("_", " "),
        "value": getattr(outlet, kind),
        "unit": "1" if outlet.effective_area is None else outlet.effective_area_unit,
        "standard_uncertainty": getattr(outlet, f"{kind}_standard_uncertainty"),
        "source": outlet.outlet_factor_source,
    }
