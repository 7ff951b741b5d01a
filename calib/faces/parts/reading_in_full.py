"""One reading of a job with its flow, budget, conformity and all that it rests on: what every answer on readings says of it."""

from collections.abc import Sequence

from calib.airflow.traverse import TraversePlace
from calib.arrays import finite
from calib.faces.parts.limits import guard_content, limits_content
from calib.faces.parts.value_in_unit import value_in, velocity_unit
from calib.faces.written import Content
from calib.measurement import DECIDED, DENSITY, NOT_OBSERVED
from calib.measurement.standards_behind import REFERENCE_STANDARD, SCATTER
from calib.procedures.measure.air import AirFound, ConditionFound
from calib.procedures.measure.arrays import found_by
from calib.procedures.measure.budget import rectangular_names
from calib.procedures.measure.compared import stated_density
from calib.procedures.measure.evaluate import Evaluation
from calib.procedures.measure.gate_reading import air_of_reading
from calib.procedures.measure.pooled_repeatability import is_repeated
from calib.procedures.measure.results import Results
from calib.procedures.measure.stability import limits_basis
from calib.procedures.measure.standing import Standing, section_of
from calib.procedures.measure.totals import design_of
from calib.procedures.on_record.flow_unit import flow_unit
from calib.quantities import Unit, unit
from calib.records.tables.jobs import DeclaredAir
from calib.records.tables.outlets import Outlet
from calib.records.words import MEASURED_AS, OUTLET
from calib.uncertainty.budget import dominant
from calib.uncertainty.propagation import Contribution
from calib.uncertainty.statement import statement

# Lines that an error of one calibration makes, which a factor found by that calibration has with the other sign.
CANCELLING = (SCATTER, REFERENCE_STANDARD)
# Lines of every budget; the others stand in those in which they contribute.
ALWAYS_LISTED = (
    "repeatability", "resolution", "calibration scatter", "reference standard", "stability", "dimension", "outlet factor",
)  # fmt: skip


def reading_content(evaluation: Evaluation, row: int, units: str | None) -> Content:
    """One reading of a job with its flow, its budget and its conformity."""
    assert evaluation.velocity is not None and evaluation.flow is not None and evaluation.flows is not None  # noqa: S101, PT018
    measured = evaluation.measured[row]
    indication = measured.indication
    in_flow = flow_unit(measured.outlet, units)
    proven = flow_content(evaluation, row, units)
    return {
        "reading": measured.reading.id,
        "outlet": measured.outlet.outlet,
        "system": measured.outlet.system,
        "service": measured.outlet.service,
        "place": measured.outlet.place or OUTLET,
        "room": measured.outlet.room,
        "instrument": measured.instrument.tag,
        "certificate": measured.calibration.certificate,
        "probe": _probe(measured),
        "conditions": _density(measured),
        "air": _air_compared(evaluation, row),
        "observed_at": measured.reading.observed_at,
        "stage": measured.reading.stage,
        "indication": _shown(measured),
        "observations": measured.reading.observations,
        "throttled_observations": measured.reading.throttled_observations,
        "traverse": _traverse(evaluation, row, units),
        "observations_counted": indication.observations,
        "effective_observations": indication.effective_observations,
        "repeatability_is_pooled": is_repeated(measured)
        and _repeatability_dof(evaluation, row) > indication.observations - 1,
        "logged": measured.observed.logged,
        "indication_unit": measured.reading.unit,
        "method": measured.method.method,
        "operator": measured.reading.operator,
        "remarks": measured.reading.remarks,
        "averaging_s": measured.reading.averaging_s,
        "latest": bool(evaluation.latest[row]),
        "in_totals": bool(evaluation.in_totals[row]),
        "found_factor": None
        if measured.factor is None
        else {"factor": measured.factor.factor, "revision": measured.factor.revision},
        "flags": _flags(evaluation, row),
        "velocity": _velocity(evaluation, row, units),
        "flow": proven["flow"],
        "dominant_contribution": dominant(
            tuple(each.name for each in evaluation.flows.contributions),
            evaluation.flow.combined.uncertainties[row],
            rectangular_names(evaluation.flows.contributions, row),
        ),
        "contributions": [
            _contribution(contribution, place, evaluation, row, in_flow)
            for place, contribution in enumerate(evaluation.flows.contributions)
            if contribution.name in (*ALWAYS_LISTED, *_of_method(measured))
            or evaluation.flow.combined.uncertainties[row, place] > 0
        ],
        "design": proven["design"],
    }


def flow_content(evaluation: Evaluation, row: int, units: str | None) -> Content:
    """The flow of a reading and its conformity alone."""
    assert evaluation.flow is not None  # noqa: S101 (the reading stands)
    in_flow = flow_unit(evaluation.measured[row].outlet, units)
    return {"flow": result(evaluation.flow, row, in_flow), "design": _design(evaluation, row, in_flow)}


def _repeatability_dof(evaluation: Evaluation, row: int) -> float:
    """Degrees of freedom of the repeatability: more than a reading's own observations give where it was pooled."""
    assert evaluation.flows is not None  # noqa: S101 (the reading stands)
    return next(
        float(each.degrees_of_freedom[row]) for each in evaluation.flows.contributions if each.name == "repeatability"
    )


def _shown(measured: Standing) -> str | None:
    """The mean indication; of a traverse there is none to show, since its velocities are averaged."""
    return (
        None
        if measured.observed.traversed is not None
        else measured.reading.indication or f"{measured.observed.mean:.6g}"
    )


def _velocity(evaluation: Evaluation, row: int, units: str | None) -> Content | None:
    """Corrected mean velocity; none of a hood, which indicates the flow."""
    measured = evaluation.measured[row]
    if measured.way.is_flow or evaluation.velocity is None:
        return None
    u = float(evaluation.velocity.combined.standard_uncertainty[row])
    return value_in(velocity_unit(measured.reading.unit, units), float(evaluation.velocity.value[row]), u)


def _probe(measured: Standing) -> Content | None:
    calibration = measured.system.probe_calibration
    if measured.probe is None or calibration is None:
        return None
    return {"tag": measured.probe.tag, "certificate": calibration.certificate}


def _density(measured: Standing) -> Content | None:
    """The air that counts in a reading."""
    return _air(air_of_reading(measured))


def _air_compared(evaluation: Evaluation, row: int) -> Content | None:
    """The air by which a flow is compared at a density; none where nobody asks for one, or it is not known."""
    states = evaluation.compared
    return None if states is None or not states.airs else _air(states.airs[row])


def _air(air: AirFound | None) -> Content | None:
    if air is None or air.reasons:
        return None
    return {
        "name": air.name,
        "density": {"value": air.density, "unit": "kg/m3", "standard_uncertainty": air.standard_uncertainty},
        "contributions": [{"name": name, "standard_uncertainty": u} for name, u in air.parts.items()],
        "observed": [_condition(each) for each in air.rows],
        "declared": None if air.declared is None else declared_air(air.declared),
    }


def declared_air(declared: DeclaredAir) -> Content:
    """A range of temperature where none was observed."""
    return {
        "service": declared.service,
        "temperature_low_degC": declared.temperature_low_degC,
        "temperature_high_degC": declared.temperature_high_degC,
        "basis": declared.basis,
    }


def _condition(condition: ConditionFound) -> Content:
    row = condition.condition
    return {
        "quantity": row.quantity,
        "value": row.value,
        "unit": row.unit,
        "observed_at": row.observed_at,
        "instrument": None if condition.instrument is None else condition.instrument.tag,
        "standard_uncertainty": unit(MEASURED_AS[row.quantity], row.unit).difference_from_si(
            condition.standard_uncertainty
        ),
        "source": row.source,
    }


def _traverse(evaluation: Evaluation, row: int, units: str | None) -> Content | None:
    measured = evaluation.measured[row]
    traversed, profile = measured.observed.traversed, evaluation.profiles.get(row)
    if traversed is None or profile is None:
        return None
    in_velocity = velocity_unit(measured.reading.unit, units)
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
                "indications_as_typed": as_typed,
                "velocity": float(in_velocity.from_si(velocity)),
            }
            for place, indications, as_typed, velocity in zip(
                traversed.places(section_of(measured.outlet)),
                traversed.indications,
                traversed.typed,
                evaluation.point_velocities(row),
                strict=True,
            )
        ],
        "profile": {
            "low_share_percent": 100.0 * profile.low_share,
            "skew_across_percent": _percent(profile.skew_across),
            "skew_up_percent": _percent(profile.skew_up),
            "largest_over_mean": profile.peak_ratio,
            "without_pressure_above_0": profile.nonpositive,
            **_below_lowest_comparison(profile.below),
            "findings": list(profile.findings),
        },
    }


def _below_lowest_comparison(places: Sequence[TraversePlace]) -> Content:
    """Points below the lowest comparison; nothing where there are none, as in answers of earlier versions."""
    return {"below_lowest_comparison": [{"line": at.line, "point": at.point} for at in places]} if places else {}


def _percent(share: float | None) -> float | None:
    return None if share is None else 100.0 * share


def state_text(density: float | None) -> str:
    """The state in which a flow is said: "at 1.2 kg/m3", or "as measured"."""
    return "as measured" if density is None else f"at {density:g} kg/m3"


def result(results: Results, row: int, in_unit: Unit, density: float | None = None) -> Content:
    """One value with its uncertainty, in a unit; a flow at a density [kg/m3] says so in its statement."""
    named = in_unit.symbol if density is None else f"{in_unit.symbol} {state_text(density)}"
    value = float(in_unit.from_si(results.value[row]))
    expanded = float(in_unit.difference_from_si(results.expanded_uncertainty[row]))
    k = float(results.coverage_factor[row])
    interval = _interval(results, row, in_unit)
    ends = None if interval is None else (interval["low"], interval["high"])
    return {
        "value": value,
        "unit": in_unit.symbol,
        "standard_uncertainty": float(in_unit.difference_from_si(results.combined.standard_uncertainty[row])),
        "expanded_uncertainty": expanded,
        "coverage_factor": k,
        "coverage_probability": results.coverage_probability,
        "effective_degrees_of_freedom": finite(results.degrees_of_freedom[row]),
        "interval": interval,
        "statement": statement(value, expanded, named, k, ends),
    }


def _interval(results: Results, row: int, in_unit: Unit) -> Content | None:
    """Ends of a coverage interval whose middle lies beside the value, and by how much of U, upwards; None where it is symmetric."""
    above = 0.0 if results.second_order is None else float(results.second_order.above[row])
    if above == 0.0:
        return None
    middle, expanded = results.value[row] + above, results.expanded_uncertainty[row]
    return {
        "low": float(in_unit.from_si(middle - expanded)),
        "high": float(in_unit.from_si(middle + expanded)),
        "by": 100.0 * above / float(expanded),
    }


def _flags(evaluation: Evaluation, row: int) -> list[str]:
    """What is to be borne in mind about a reading: as the gate says, and where terms of second order would change its U."""
    assert evaluation.flow is not None and evaluation.flow.second_order is not None  # noqa: S101, PT018 (the reading stands)
    changed = float(evaluation.flow.second_order.changed[row])
    told = (
        f"terms of second order (GUM 5.1.2) would change U by {100.0 * changed:+.0f} %, which is stated without them: "
        "propagated distributions tell how far its ends are off"
    )
    return [*evaluation.measured[row].flags, *([told] if changed else [])]


def _contribution(contribution: Contribution, place: int, evaluation: Evaluation, row: int, in_unit: Unit) -> Content:
    assert evaluation.flow is not None  # noqa: S101
    combined, measured = evaluation.flow.combined, evaluation.measured[row]
    basis = {"basis": _stability_basis(contribution, evaluation, row)} if contribution.name == "stability" else {}
    return {
        "name": contribution.name,
        "evaluation": "A" if contribution.type_a[row] else "B",
        "standard_uncertainty": float(in_unit.difference_from_si(combined.uncertainties[row, place])),
        "degrees_of_freedom": finite(contribution.degrees_of_freedom[row]),
        "variance_percent": float(combined.variance_percent[row, place]),
        "shared_with": shared_with(contribution.name, measured),
        **basis,
        **_cancels_with(contribution.name, measured),
    }


def _cancels_with(name: str, measured: Standing) -> Content:
    """The found factor that an error of the calibration cancels against; nothing where it counts whole."""
    factor = measured.factor
    cancels = factor is not None and name in CANCELLING and found_by(factor, measured.calibration)
    return {"cancels_with": factor.factor} if factor is not None and cancels else {}


def _stability_basis(contribution: Contribution, evaluation: Evaluation, row: int) -> str:
    measured = evaluation.measured[row]
    return (
        evaluation.histories[measured.calibration.record_id]
        if contribution.type_a[row]
        else limits_basis(measured.instrument)
    )


def _of_method(measured: Standing) -> tuple[str, ...]:
    return (
        ("method",) if measured.method.common_standard_uncertainty_percent is None else ("method common", "method own")
    )


def shared_with(name: str, measured: Standing) -> str:
    """Which other readings carry the same error, or may carry it to an extent that is not known."""
    certificate = f"readings with certificate {measured.calibration.certificate}{_in_the_air(measured)}"
    sharing = {
        "calibration scatter": certificate,
        "reference standard": f"not known, {certificate}",
        "stability": f"not known, {certificate}",
        DECIDED: f"not known, {certificate}",
        DENSITY: ""
        if measured.air is None
        else f"readings with the conditions {measured.air.name}, or by their instruments",
        NOT_OBSERVED: f"readings in {measured.outlet.service} air",
        "probe": "" if measured.probe is None else f"readings with the probe {measured.probe.tag}",
        "back pressure": f"readings with {measured.instrument.tag}",
        "dimension": f"readings at {measured.outlet.outlet}",
        "outlet factor": _sharing_factor(measured),
        "method": f"not known, readings by {measured.method.method}",
        "plant drift": f"readings of {measured.outlet.system}, {measured.outlet.service}",
        "method common": f"readings by {measured.method.method} at such an opening, one way of the air",
    }
    return sharing.get(name) or "this reading alone"


def _in_the_air(measured: Standing) -> str:
    """What the reading's own instrument showed of the air: its errors there are those of the reading."""
    air = air_of_reading(measured)
    own = [
        row.condition.quantity
        for row in (() if air is None else air.rows)
        if row.of_calibration is not None and row.of_calibration.calibration == measured.calibration.record_id
    ]
    return f"; with it the {' and the '.join(own)} of {air.name}" if air is not None and own else ""


def _sharing_factor(measured: Standing) -> str:
    if measured.factor is not None:
        return f"outlets with the factor {measured.factor.factor}"
    source = measured.outlet.outlet_factor_source
    return "" if measured.way.is_flow or source is None else f"outlets whose factor comes from: {source}"


def _design(evaluation: Evaluation, row: int, in_unit: Unit) -> Content | None:
    assert evaluation.judgement is not None  # noqa: S101
    outlet = evaluation.measured[row].outlet
    if outlet.design_flow is None:
        return None
    design = stated_design(outlet, in_unit)
    return {
        **design,
        **guard_content(evaluation.judgement, row, in_unit),
        "percent_of_design": finite(evaluation.judgement.percent_of_design[row]),
        "conformity": str(evaluation.judgement.statement[row]) or None,
        "probability_of_conformity": finite(evaluation.judgement.probability[row]),
        "consumer_risk": finite(evaluation.judgement.consumer_risk[row]),
        "producer_risk": finite(evaluation.judgement.producer_risk[row]),
        "flow": _in_design_state(evaluation, row, in_unit, design["density_kg_per_m3"]),
    }


def stated_design(outlet: Outlet, in_unit: Unit) -> Content:
    """The design flow that an outlet states, with its limits and its state."""
    density = finite(stated_density(outlet))
    return {
        **value_in(in_unit, design_of(outlet)),
        "typed": {"value": outlet.design_flow, "unit": outlet.flow_unit},
        **limits_content(outlet, design_of(outlet), in_unit),
        "state": state_text(density),
        "density_kg_per_m3": density,
    }


def _in_design_state(evaluation: Evaluation, row: int, in_unit: Unit, density: float | None) -> Content | None:
    """The flow as it is judged, where that is another than as measured and its air is known."""
    states, flow = evaluation.compared, evaluation.in_design_state
    if density is None or states is None or flow is None or states.not_comparable[row]:
        return None
    return result(flow, row, in_unit, density)
