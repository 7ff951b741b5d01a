"""One reading of a job as an answer: flow, budget, conformity, and all that it rests on."""

import math

from calib.faces.written import Content
from calib.procedures.measure.air import MEASURED_AS, ConditionFound
from calib.procedures.measure.budget import rectangular_names
from calib.procedures.measure.evaluate import Evaluation, Measured, Results
from calib.procedures.measure.gate_reading import air_of_reading
from calib.procedures.measure.reading_in_job import ReadingInJob
from calib.procedures.measure.stability import limits_basis
from calib.procedures.measure.standing import section_of
from calib.quantities import UNITS, Unit, preferred, unit
from calib.records import tables
from calib.uncertainty.budget import dominant
from calib.uncertainty.propagation import Contribution
from calib.uncertainty.statement import statement

# Lines of every budget; the others stand in those in which they contribute.
ALWAYS_LISTED = (
    "repeatability", "resolution", "calibration scatter", "reference standard", "stability", "dimension", "outlet factor",
    "method",
)  # fmt: skip


def flow_unit(outlet: tables.Outlet, units: str | None) -> Unit:
    """Unit in which an outlet's flow is printed."""
    return preferred("volume flow", units) if units else unit("volume flow", outlet.flow_unit or "L/s")


def velocity_unit(reading: tables.Reading, units: str | None) -> Unit:
    """Unit in which a reading's velocity is printed."""
    if units:
        return preferred("air velocity", units)
    # A reading in volts or pascals is a velocity in m/s.
    return unit("air velocity", reading.unit if reading.unit in UNITS["air velocity"] else "m/s")


def _finite(number: float) -> float | None:
    """JSON knows no infinity: what is infinite, or not there, is null."""
    return float(number) if math.isfinite(number) else None


def reading_content(found: Evaluation, row: int, units: str | None) -> Content:
    """One reading of a job with its flow, its budget and its conformity."""
    assert found.velocity is not None and found.flow is not None and found.flows is not None  # noqa: S101, PT018
    one = found.measured[row]
    in_flow = flow_unit(one.outlet, units)
    return {
        "reading": one.reading.id,
        "outlet": one.outlet.outlet,
        "system": one.outlet.system,
        "service": one.outlet.service,
        "place": one.outlet.place or tables.OUTLET,
        "room": one.outlet.room,
        "instrument": one.instrument.tag,
        "certificate": one.calibration.certificate,
        "probe": _probe(one),
        "conditions": _density(one),
        "observed_at": one.reading.observed_at,
        "indication": _shown(one),
        "observations": one.reading.observations,
        "throttled_observations": one.reading.throttled_observations,
        "traverse": _traverse(found, row, units),
        "observations_counted": one.indication.observations,
        "effective_observations": one.indication.effective_observations,
        "logged": one.observed.logged,
        "indication_unit": one.reading.unit,
        "method": one.method.method,
        "operator": one.reading.operator,
        "remarks": one.reading.remarks,
        "averaging_s": one.reading.averaging_s,
        "latest": one.latest,
        "in_totals": one.in_totals,
        "found_factor": None if one.factor is None else {"factor": one.factor.factor, "revision": one.factor.revision},
        "flags": list(one.flags),
        "velocity": _velocity(found, row, units),
        "flow": result(found.flow, row, in_flow),
        "dominant_contribution": dominant(
            tuple(each.name for each in found.flows.contributions),
            found.flow.combined.uncertainties[row],
            rectangular_names(found.flows.contributions, row),
        ),
        "contributions": [
            _contribution(contribution, number, found, row, in_flow)
            for number, contribution in enumerate(found.flows.contributions)
            if contribution.name in ALWAYS_LISTED or found.flow.combined.uncertainties[row, number] > 0
        ],
        "design": _design(found, row, in_flow),
    }


def _shown(one: Measured) -> str | None:
    """The mean indication; of a traverse there is none to show, since its velocities are averaged."""
    return None if one.observed.traversed is not None else one.reading.indication or f"{one.observed.mean:.6g}"


def _velocity(found: Evaluation, row: int, units: str | None) -> Content | None:
    """Corrected mean velocity; none of a hood, which indicates the flow."""
    one = found.measured[row]
    if one.is_flow or found.velocity is None:
        return None
    in_velocity = velocity_unit(one.reading, units)
    u = float(found.velocity.combined.standard_uncertainty[row])
    return {
        "value": float(in_velocity.from_si(found.velocity.value[row])),
        "unit": in_velocity.symbol,
        "standard_uncertainty": float(in_velocity.difference_from_si(u)),
    }


def _probe(one: Measured) -> Content | None:
    decision = one.probe_decision
    if one.probe is None or decision is None or decision.calibration is None:
        return None
    return {"tag": one.probe.tag, "certificate": decision.calibration.certificate}


def _density(one: Measured) -> Content | None:
    """The air that counts in a reading."""
    air = air_of_reading(one)
    if air is None:
        return None
    return {
        "name": air.name,
        "density": {"value": air.density, "unit": "kg/m3", "standard_uncertainty": air.standard_uncertainty},
        "contributions": [{"name": name, "standard_uncertainty": u} for name, u in air.parts.items()],
        "observed": [_condition(each) for each in air.rows],
    }


def _condition(one: ConditionFound) -> Content:
    row = one.condition
    return {
        "quantity": row.quantity,
        "value": row.value,
        "unit": row.unit,
        "observed_at": row.observed_at,
        "instrument": None if one.instrument is None else one.instrument.tag,
        "standard_uncertainty": unit(MEASURED_AS[row.quantity], row.unit).difference_from_si(one.standard_uncertainty),
        "source": row.source,
    }


def _traverse(found: Evaluation, row: int, units: str | None) -> Content | None:
    one = found.measured[row]
    traversed, profile = one.observed.traversed, found.profiles.get(row)
    if traversed is None or profile is None:
        return None
    in_velocity = velocity_unit(one.reading, units)
    return {
        "rule": traversed.rule,
        "lines": traversed.lines,
        "points": traversed.points,
        "passes": traversed.passes,
        "velocity_unit": in_velocity.symbol,
        "velocities": [
            {
                "line": place.line,
                "point": place.point,
                "weight": place.weight,
                "indications": list(indications),
                "velocity": float(in_velocity.from_si(velocity)),
            }
            for place, indications, velocity in zip(
                traversed.places(section_of(one.outlet)),
                traversed.indications,
                found.point_velocities(row),
                strict=True,
            )
        ],
        "profile": {
            "low_share_percent": 100.0 * profile.low_share,
            "skew_across_percent": _percent(profile.skew_across),
            "skew_up_percent": _percent(profile.skew_up),
            "largest_over_mean": profile.peak_ratio,
            "without_pressure_above_0": profile.nonpositive,
            "findings": list(profile.findings),
        },
    }


def _percent(share: float | None) -> float | None:
    return None if share is None else 100.0 * share


def result(results: Results, row: int, in_unit: Unit) -> Content:
    """One value with its uncertainty, in a unit."""
    value = float(in_unit.from_si(results.value[row]))
    expanded = float(in_unit.difference_from_si(results.expanded_uncertainty[row]))
    k = float(results.coverage_factor[row])
    return {
        "value": value,
        "unit": in_unit.symbol,
        "standard_uncertainty": float(in_unit.difference_from_si(results.combined.standard_uncertainty[row])),
        "expanded_uncertainty": expanded,
        "coverage_factor": k,
        "coverage_probability": results.coverage_probability,
        "effective_degrees_of_freedom": _finite(results.combined.degrees_of_freedom[row]),
        "statement": statement(value, expanded, in_unit.symbol, k),
    }


def _contribution(one: Contribution, number: int, found: Evaluation, row: int, in_unit: Unit) -> Content:
    assert found.flow is not None  # noqa: S101
    combined, measured = found.flow.combined, found.measured[row]
    basis = {"basis": _stability_basis(one, found, row)} if one.name == "stability" else {}
    return {
        "name": one.name,
        "evaluation": "A" if one.type_a[row] else "B",
        "standard_uncertainty": float(in_unit.difference_from_si(combined.uncertainties[row, number])),
        "degrees_of_freedom": _finite(one.degrees_of_freedom[row]),
        "variance_percent": float(combined.variance_percent[row, number]),
        "shared_with": shared_with(one.name, measured),
        **basis,
    }


def _stability_basis(one: Contribution, found: Evaluation, row: int) -> str:
    measured = found.measured[row]
    return found.histories[measured.calibration.record_id] if one.type_a[row] else limits_basis(measured.instrument)


def shared_with(name: str, measured: Measured) -> str:
    """Which other readings carry the same error."""
    certificate = f"readings with certificate {measured.calibration.certificate}"
    sharing = {
        "calibration scatter": certificate,
        "reference standard": certificate,
        "stability": certificate,
        "density": "" if measured.air is None else f"readings with the conditions {measured.air.name}",
        "probe": "" if measured.probe is None else f"readings with the probe {measured.probe.tag}",
        "back pressure": f"readings with {measured.instrument.tag}",
        "dimension": f"readings at {measured.outlet.outlet}",
        "outlet factor": _sharing_factor(measured),
    }
    return sharing.get(name) or "this reading alone"


def _sharing_factor(measured: Measured) -> str:
    if measured.factor is not None:
        return f"outlets with the factor {measured.factor.factor}"
    source = measured.outlet.outlet_factor_source
    return "" if measured.is_flow or source is None else f"outlets whose factor comes from: {source}"


def _design(found: Evaluation, row: int, in_unit: Unit) -> Content | None:
    assert found.judgement is not None  # noqa: S101
    outlet = found.measured[row].outlet
    if outlet.design_flow is None:
        return None
    typed = unit("volume flow", str(outlet.flow_unit))
    return {
        "value": float(in_unit.from_si(typed.to_si(float(outlet.design_flow)))),
        "unit": in_unit.symbol,
        "tolerance_percent": float(str(outlet.tolerance_percent)),
        "percent_of_design": float(found.judgement.percent_of_design[row]),
        "conformity": str(found.judgement.statement[row]),
        "probability_of_conformity": float(found.judgement.probability[row]),
        "consumer_risk": float(found.judgement.consumer_risk[row]),
        "producer_risk": float(found.judgement.producer_risk[row]),
    }


def readings(found: Evaluation, units: str | None) -> list[Content]:
    """Readings of a job that stand."""
    return [reading_content(found, row, units) for row in range(len(found.measured))]


def reading(found: ReadingInJob, units: str | None) -> Content:
    """One reading with its budget."""
    return reading_content(found.evaluation, found.row, units)
