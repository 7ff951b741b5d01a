"""Plan a job before it is measured: which instruments in calibration can prove each outlet's tolerance."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime

from sqlmodel import Session, col, select

from calib.errors import Finding
from calib.measurement.ways import WAYS, flow_meters_at
from calib.procedures.measure.air import AirFound, air_of, without_temperature
from calib.procedures.measure.gate_reading import makes_a_flow
from calib.procedures.measure.totals import design_of, limits_of
from calib.procedures.on_record.in_force import OnRecord, on_record, outlets_in_force
from calib.procedures.on_record.jobs_by_name import job_named
from calib.procedures.on_record.serves_as import probes_of
from calib.procedures.on_record.way_of_instrument import way_of_instrument
from calib.procedures.plan.gear import gear_on, standards_among
from calib.procedures.plan.planned import (
    EXPECTED,
    TRAVERSE,
    ExpectedAir,
    Gear,
    JobPlan,
    OutletPlan,
    Predicted,
    Unusable,
    Wish,
    planned_half_width,
)
from calib.procedures.plan.predicted_reading import Asked, predicted, usual_traverse
from calib.records.record import key, moment
from calib.records.tables.conditions import Condition
from calib.records.tables.instruments import Instrument
from calib.records.tables.methods import Method
from calib.records.tables.outlets import Outlet
from calib.records.words import DUCT, OUTLET

# Standard uncertainties with which expected conditions will be measured: temperature [K], pressure [Pa], relative humidity [1].
# Common practice, no source.
EXPECTED_WITHIN = {
    "temperature": ("K", 0.5),
    "barometric pressure": ("Pa", 100.0),
    "relative humidity": ("1", 0.03),
}


def plan_job(session: Session, name: str, wish: Wish) -> JobPlan:
    """Plan a job; raises NotInRecordsError for a job that is not there. Unknown methods are left to `method_findings`."""
    job = job_named(session, name)
    records = on_record(session)
    air, reasons = latest_air(records, key(job.id), wish)
    if wish.air is not None:
        expected = {(key(job.id), EXPECTED): _conditions(key(job.id), wish.air, wish.at)}
        records = replace(records, conditions={**records.conditions, **expected}, worked_out={})
        air = air_of(records, key(job.id), EXPECTED, wish.known)
    gear, left_out = gear_on(records, probes_of(session, records.instruments, records.pairs), wish)
    asked = Asked(records, wish, gear, left_out, air)
    outlets = outlets_in_force(session, [key(job.id)])
    planned = tuple(plan_outlet(asked, outlets[outlet_id]) for outlet_id in sorted(outlets))
    return JobPlan(job, wish, planned, left_out, standards_among(records, gear), air, reasons)


def method_findings(session: Session, methods: Iterable[str]) -> list[Finding]:
    """What is wrong with methods that were named."""
    known = list(session.exec(select(Method.method).order_by(col(Method.id))))
    expected = f"a method in the records: there is {', '.join(known) or 'none'}"
    return [Finding.typed("method", method, expected) for method in methods if method not in known]


# --- the air ---------------------------------------------------------------------------------------------------------------------


def latest_air(records: OnRecord, job: int, wish: Wish) -> tuple[AirFound | None, tuple[str, ...]]:
    """The job's latest conditions on record that give a density; the reasons against those that are later."""
    if wish.air is not None:
        return None, ()
    reasons: list[str] = []
    for name in _latest_first(records, job, wish.known):
        if without_temperature(records, job, name):
            continue  # it tells the pressure of a service's air
        air = air_of(records, job, name, wish.known)
        if not air.reasons:
            return air, tuple(reasons)
        reasons += air.reasons
    return None, tuple(reasons)


def _latest_first(records: OnRecord, job: int, by: datetime) -> list[str]:
    times = {
        name: max(moment(row.observed_at) for row in rows)
        for (of, name), rows in records.conditions.items()
        if of == job
    }
    return sorted((name for name, time in times.items() if time <= by), key=lambda name: times[name], reverse=True)


def _conditions(job: int, air: ExpectedAir, at: datetime) -> tuple[Condition, ...]:
    values = (air.temperature, air.pressure, air.humidity)
    return tuple(
        Condition(
            job_id=job,
            conditions=EXPECTED,
            observed_at=at.isoformat(),
            quantity=quantity,
            value=repr(value),
            unit=symbol,
            standard_uncertainty=repr(u),
        )
        for (quantity, (symbol, u)), value in zip(EXPECTED_WITHIN.items(), values, strict=True)
    )


# --- one outlet ------------------------------------------------------------------------------------------------------------------


def plan_outlet(asked: Asked, outlet: Outlet) -> OutletPlan:
    """What can prove the tolerance of one outlet or duct."""
    design = design_of(outlet)
    limits = limits_of(outlet, design)
    half_width = planned_half_width(design, limits)
    if half_width == 0:
        return OutletPlan(
            outlet, math.nan, remarks=("its one limit is the design flow itself: no flow there is proved",)
        )
    if not math.isfinite(half_width):
        return OutletPlan(outlet, math.nan)
    gear, remarks = _fitting(asked, outlet)
    tried = [_by_the_best_method(asked, outlet, each, half_width) for each in gear]
    candidates = sorted(
        (prediction for prediction in tried if isinstance(prediction, Predicted)),
        key=lambda prediction: prediction.over_tolerance,
    )
    unusable = tuple(prediction for prediction in tried if isinstance(prediction, Unusable))
    traversed = usual_traverse(outlet) if outlet.place == DUCT else None
    away = tuple(left_out.instrument.tag for left_out in asked.left_out if _fits(left_out.instrument, outlet))
    return OutletPlan(outlet, design, half_width, limits, tuple(candidates), unusable, remarks, traversed, away)


def _fitting(asked: Asked, outlet: Outlet) -> tuple[list[Gear], tuple[str, ...]]:
    """What may be used at a place, and what is to be said of the place."""
    gear = [gear for gear in asked.gear if _fits(gear.instrument, outlet)]
    if makes_a_flow(outlet):
        return gear, ()
    takes_the_flow = " or ".join(way.name for way in flow_meters_at(outlet.place or OUTLET))
    why = f"only a {takes_the_flow} can measure here: no outlet factor, effective area or found factor is on record"
    return gear, (why if gear else f"{why}, and no {takes_the_flow} is in calibration",)


def _fits(instrument: Instrument, outlet: Outlet) -> bool:
    """Whether an instrument can be held at a place: where a velocity makes no flow it must take the flow itself."""
    way = way_of_instrument(instrument)
    return (outlet.place or OUTLET) not in way.not_at and (way.is_flow or makes_a_flow(outlet))


def _by_the_best_method(asked: Asked, outlet: Outlet, gear: Gear, half_width: float) -> Predicted | Unusable:
    """The prediction with the smallest U among the methods that suit, or the reasons why there is none."""
    is_traversed = outlet.place == DUCT and gear.way.not_traversed is None
    pattern = TRAVERSE if is_traversed else gear.way.pattern
    methods = [method for method in asked.records.methods.values() if _suits(method, pattern, asked.wish.methods)]
    if not methods:
        which = "no method named suits" if asked.wish.methods else "no method is on record"
        return Unusable(gear, (f"{which} for it here{f' (pattern {pattern})' if pattern else ''}",))
    tried = [predicted(asked, outlet, gear, method, half_width) for method in methods]
    predictions = [prediction for prediction in tried if isinstance(prediction, Predicted)]
    if predictions:
        return min(predictions, key=lambda prediction: prediction.of_one.expanded_uncertainty)
    reasons = [reason for prediction in tried if isinstance(prediction, Unusable) for reason in prediction.reasons]
    return Unusable(gear, tuple(dict.fromkeys(reasons)))


def _suits(method: Method, pattern: str | None, named: Sequence[str]) -> bool:
    """Whether a method is one for a place. One without a pattern may be any: in a duct or with a hood it must be named."""
    if named and method.method not in named:
        return False
    if pattern is None:
        return method.pattern not in (TRAVERSE, *(way.pattern for way in WAYS if way.pattern is not None))
    return method.pattern == pattern or (method.pattern is None and bool(named))
