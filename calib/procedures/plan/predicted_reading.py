"""The reading that an outlet's design flow would give, and its uncertainty.

The measurement model is gone through backwards, from the design flow to the indication that it would give:

    v = q/(A K)                      a hood: its flow q
    v' = f_probe^-1(v)               where a probe stands before a manometer
    y                                the corrected indication that v' has in the air, by the way of measuring
    x = f^-1(y)                      by the calibration curve

Then a reading with that indication, one observation, goes the way of every reading: the gate, the arrays, the flows. So its U is
the one that the report would give. More observations than one are evaluated by their scatter (Type A, n-1 degrees of freedom),
which is taken to be the instrument's declared repeatability; of a traverse that is the scatter of its passes. A duct is
traversed by the log-Tchebycheff rule with its usual points, the same indication at each, since its profile is not known before.
Vanes are predicted without correction for density: the correction is small, and a reading may be taken without it.

A design that states its density rho_d is Q = q rho/rho_d: the volume flow to be measured is q = Q rho_d/rho, in the air that the
evaluation takes, and U is that of Q (`calib.measurement.at_density`).
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from calib.airflow.traverse import LOG_TCHEBYCHEFF, usual
from calib.confirmation.interval import CalibrationOnRecord
from calib.curves.curve import Curve
from calib.errors import CalibError, CurveError
from calib.measurement import Flows, at_density, flows, influences_of_air
from calib.measurement.way import ReferenceAir
from calib.procedures.measure.air import AirFound, air_by_declaration, calibration_density
from calib.procedures.measure.air_of_readings import arrays_of_air
from calib.procedures.measure.arrays import arrays_of
from calib.procedures.measure.compared import stated_density
from calib.procedures.measure.gate_reading import gate_reading
from calib.procedures.measure.indicated import unit_of_value
from calib.procedures.measure.results import budget_of_result
from calib.procedures.measure.standing import MeasuringSystem, Standing, section_of
from calib.procedures.measure.totals import design_of
from calib.procedures.on_record.in_force import OnRecord
from calib.procedures.plan.planned import ON_THE_MARK, Gear, LeftOut, Predicted, Unusable, Wish
from calib.procedures.typed.observations import Observed, Traversed
from calib.quantities import unit
from calib.records.record import key
from calib.records.tables.instruments import Instrument
from calib.records.tables.methods import Method
from calib.records.tables.outlets import Outlet
from calib.records.tables.readings import Reading
from calib.records.words import DUCT
from calib.uncertainty.budget import Budget, Repeatability, observations_needed
from calib.uncertainty.propagation import combine

# What is expected of the air where a design states a density.
NEEDS_ITS_AIR = "the design is stated at {:g} kg/m3: declare the range of its air, or state the expected conditions"
NEEDS_AIR = "needs the expected conditions: temperature, pressure and humidity of the air"


@dataclass(frozen=True)
class Asked:
    """What all outlets of a plan have in common."""

    records: OnRecord
    wish: Wish
    gear: tuple[Gear, ...]
    left_out: tuple[LeftOut, ...]
    air: AirFound | None


def predicted(asked: Asked, outlet: Outlet, gear: Gear, method: Method, half_width: float) -> Predicted | Unusable:
    """The reading that the design flow would give, if the gate would let it stand."""
    stated, air = stated_density(outlet), _air_of_design(asked, outlet, gear)
    why_not = [*_held_by_the_factor(asked.records, outlet, gear, method), *_without_air(asked, gear)]
    if math.isfinite(stated) and air is None:
        why_not.append(NEEDS_ITS_AIR.format(stated))
    if why_not:
        return Unusable(gear, tuple(why_not))
    ratio = 1.0 if air is None else air.density / stated
    try:
        indication = _indication(asked.records, _placed(asked, outlet, gear, method), design_of(outlet) / ratio)
        reading, observed = _reading(asked, outlet, gear, method, indication)
        gated = gate_reading(asked.records, reading, observed, outlet, asked.wish.known)
    except CalibError as error:
        return Unusable(gear, (str(error),))
    if gated.standing is None:
        return Unusable(gear, gated.reasons)
    arrays = arrays_of([gated.standing], asked.records)
    evaluated = flows(arrays)
    if air is not None:
        influences = influences_of_air(arrays_of_air([air]), arrays)
        evaluated = at_density(evaluated, influences, np.array([stated]))
    return _evaluated(asked, gear, gated.standing, evaluated, half_width, ratio)


def _air_of_design(asked: Asked, outlet: Outlet, gear: Gear) -> AirFound | None:
    """The air by which the flow is taken to the density of its design; None where that states none, or it is not known.

    As the evaluation takes it: the conditions that the reading names, else what is declared; else those that it might name.
    """
    if not math.isfinite(stated_density(outlet)):
        return None
    if _air_name(asked, gear) is not None or asked.wish.air is not None:
        return asked.air
    declared = air_by_declaration(asked.records, outlet.job_id, outlet.service, asked.wish.at, asked.wish.known)
    return asked.air if declared.reasons else declared


def indication_of(records: OnRecord, prediction: Predicted, flow: float) -> float:
    """Indication that a flow as measured [m3/s] gives [unit of the instrument]; raises CurveError outside its calibration."""
    instrument = prediction.gear.instrument
    return unit(instrument.indicated, instrument.unit).from_si(_indication(records, prediction.standing, flow))


def _held_by_the_factor(records: OnRecord, outlet: Outlet, gear: Gear, method: Method) -> Iterable[str]:
    """A factor found in the field holds for its instrument and method only: the gate's rule, said once for all others."""
    factor = None if gear.way.is_flow or outlet.found_factor is None else records.factors.get(outlet.found_factor)
    if factor is not None and (factor.instrument_id, factor.method_id) != (gear.instrument.id, method.id):
        found_with = records.instruments[factor.instrument_id].tag
        yield f"factor {factor.factor} holds for {found_with}, {records.methods[factor.method_id].method} only"


def _without_air(asked: Asked, gear: Gear) -> Iterable[str]:
    if gear.way.needs_air and asked.air is None:
        yield NEEDS_AIR


def _air_name(asked: Asked, gear: Gear) -> str | None:
    """Conditions that the reading will name; none for a vane, nor for a pair whose certificate states no density."""
    in_air, calibration = gear.way.in_air, gear.decision.calibration
    if asked.air is None or in_air is None or in_air.corrected is None or calibration is None:
        return None
    if in_air.reference is not ReferenceAir.CALIBRATION:
        return asked.air.name
    stated = calibration_density(asked.records.calibrations[calibration.record_id])
    return None if stated is None else asked.air.name


def _reading(asked: Asked, outlet: Outlet, gear: Gear, method: Method, indication: float) -> tuple[Reading, Observed]:
    """One observation at an indication [SI], or one pass of a traverse, as it would be typed."""
    shown = unit(gear.instrument.indicated, gear.instrument.unit).from_si(indication)
    reading = Reading(
        outlet_id=key(outlet.id),
        instrument_id=key(gear.instrument.id),
        method_id=key(method.id),
        observed_at=asked.wish.at.isoformat(),
        indication=repr(shown),
        unit=gear.instrument.unit,
        operator="",
        probe_id=None if gear.probe is None else gear.probe.id,
        conditions=_air_name(asked, gear),
    )
    if outlet.place != DUCT or gear.way.not_traversed is not None:
        return reading, Observed(shown, ())
    rule, lines, points = usual_traverse(outlet)
    everywhere = Traversed(rule, lines, points, ((shown,),))
    count = len(everywhere.places(section_of(outlet)))
    return reading, Observed(shown, (), traversed=replace(everywhere, indications=((shown,),) * count))


def _placed(asked: Asked, outlet: Outlet, gear: Gear, method: Method) -> Standing:
    """The reading before its indication is known: at some indication, for the opening and the air that go with it."""
    calibration = gear.decision.calibration
    assert calibration is not None  # noqa: S101 (the gate lets nothing pass without one)
    reading, observed = _reading(asked, outlet, gear, method, asked.records.curve(calibration.record_id).high)
    air = None if reading.conditions is None else asked.air
    return Standing(
        reading,
        asked.wish.at,
        observed,
        outlet,
        MeasuringSystem(gear.instrument, method, gear.decision, gear.probe, gear.probe_decision, air),
        None if gear.way.is_flow or outlet.found_factor is None else asked.records.factors.get(outlet.found_factor),
    )


def _indication(records: OnRecord, placed: Standing, flow: float) -> float:
    """Indication [SI] that a flow [m3/s] gives; raises CurveError where it lies outside a calibration."""
    arrays = arrays_of([placed], records)
    value = flow / float(arrays.area[0] * arrays.outlet_factor[0])
    if placed.probe is not None and placed.system.probe_calibration is not None:
        value = _inverse(records, placed.probe, placed.system.probe_calibration, value)
    air, in_air = arrays.air, placed.way.in_air
    if air is not None and in_air is not None and in_air.corrected is not None:
        value = in_air.corrected(value, float(air.density[0]), float(air.reference_density[0]))
    return _inverse(records, placed.instrument, placed.calibration, value)


def _inverse(records: OnRecord, instrument: Instrument, calibration: CalibrationOnRecord, value: float) -> float:
    curve = records.curve(calibration.record_id)
    try:
        return curve.indication(value)
    except CurveError as error:
        raise CurveError(_outside(instrument, calibration.certificate, curve, value)) from error


def _outside(instrument: Instrument, certificate: str, curve: Curve, value: float) -> str:
    own = unit_of_value(instrument)
    low, high = sorted(own.from_si(float(curve.value(end))) for end in (curve.low, curve.high))
    return (
        f"{instrument.tag}: {own.from_si(value):.4g} {own.symbol} lies outside its calibrated measuring interval, "
        f"{low:.4g} to {high:.4g} {own.symbol} (certificate {certificate})"
    )


def _evaluated(
    asked: Asked, gear: Gear, standing: Standing, evaluated: Flows, half_width: float, density_ratio: float
) -> Predicted:
    own = budget_of_result(evaluated.contributions, combine(evaluated.contributions), 0)
    place = own.names.index("repeatability")
    declared = not math.isnan(own.uncertainties[place])
    own = own if declared else own.with_contribution(place, 0.0, math.inf)
    observations = _needed(own, place, asked.wish.at_most * half_width) if declared else None
    return Predicted(
        gear,
        standing.method,
        standing,
        float(evaluated.velocity[0]),
        half_width,
        density_ratio,
        asked.wish.at_most,
        own,
        observations,
        with_observations(own, place, observations or 1),
    )


def _needed(own: Budget, place: int, wanted: float) -> int | None:
    """Fewest observations that bring U to a wanted one. One alone has the declared repeatability, more show it (Type A)."""
    if own.expanded_uncertainty <= wanted * ON_THE_MARK:
        return 1
    return observations_needed(own, place, Repeatability(float(own.uncertainties[place]), type_a=True), wanted)


def with_observations(of_one: Budget, place: int, observations: int) -> Budget:
    """A budget with more observations than one, which scatter as the repeatability at `place` of the budget says."""
    if observations == 1:
        return of_one
    u = float(of_one.uncertainties[place]) / math.sqrt(observations)
    return of_one.with_contribution(place, u, observations - 1.0)


def usual_traverse(outlet: Outlet) -> tuple[str, int, int]:
    """Rule, lines and points with which a duct is planned."""
    return LOG_TCHEBYCHEFF, *usual(section_of(outlet), LOG_TCHEBYCHEFF)
