"""Plan a job before it is measured: which instruments in calibration can prove each outlet's tolerance.

The measurement model is gone through backwards, from the design flow to the indication that it would give:

    v = q/(A K)                      a hood: its flow q
    v' = f_probe^-1(v)               where a probe stands before a manometer
    y = rho v'^2/2                   a velocity pressure;   y = v rho/rho_ref  thermal;   y = v sqrt(rho/rho_cal)  a calibrated pair
    x = f^-1(y)                      by the calibration curve

Then a reading with that indication, one observation, goes the way of every reading: the gate, the arrays, the flows. So its U is
the one that the report would give. More observations than one are evaluated by their scatter (Type A, n-1 degrees of freedom),
which is taken to be the instrument's declared repeatability; of a traverse that is the scatter of its passes. A duct is
traversed by the log-Tchebycheff rule with its usual points, the same indication at each, since its profile is not known before.
Vanes are predicted without correction for density: the correction is small, and a reading may be taken without it.

What a probe is: a pressure instrument needs one before it, and the register holds no word for it. An instrument that measures and
indicates air velocity, without effect of density, is one if a reading on record names it as its probe; or, as long as no reading
names it at all, if its kind says so: it has the word pitot, tube or probe, and none that belongs to an anemometer. A probe is not
planned for by itself.
"""

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
from sqlmodel import Session, col, select

from calib.airflow.traverse import LOG_TCHEBYCHEFF, usual
from calib.airflow.velocity import similarity_scale, standard_velocity, velocity_pressure
from calib.confirmation.conformity import GUARDED_NON_BINARY, SIMPLE, ToleranceIntervals
from calib.confirmation.interval import RETIREMENT, Decision, gate
from calib.confirmation.risk import capability_index, uncertainty_over_tolerance
from calib.curves.curve import Curve
from calib.errors import CalibError, CurveError, Finding
from calib.measurement import Effect, flows
from calib.procedures.air_of import AirFound, air_of, calibration_density
from calib.procedures.arrays_of import arrays_of
from calib.procedures.find import job_named
from calib.procedures.gate_reading import gate_reading
from calib.procedures.observations import Observed, Traversed
from calib.procedures.on_record import OnRecord, on_record, outlets_in_force
from calib.procedures.register import key, moment
from calib.procedures.standing import Standing, indication_of, section_of
from calib.procedures.totals_of import design_of
from calib.quantities import UNITS, unit
from calib.records import tables
from calib.uncertainty.budget import Budget, Lever, Repeatability, levers, observations_needed
from calib.uncertainty.propagation import combine

YES, NO, NOT_KNOWN = "yes", "no", "not known"
HOOD, TRAVERSE = "hood", "traverse"  # patterns of methods that go with one kind of place only
EXPECTED = "expected"  # name of the conditions that a person expects
NEEDS_AIR = "needs the expected conditions: --temperature, --pressure, --humidity"

# Standard uncertainties with which expected conditions will be measured: temperature [K], pressure [Pa], relative humidity [1].
# Common practice, no source.
EXPECTED_WITHIN = {
    "temperature": ("K", 0.5),
    "barometric pressure": ("Pa", 100.0),
    "relative humidity": ("1", 0.03),
}

# A velocity pressure above it is one of 130 m/s and more, where air is no incompressible fluid: what begins there is a barometer.
_LARGEST_VELOCITY_PRESSURE = 10e3  # [Pa]
_PROBE = re.compile(r"\b(pitot|tube|probe)\b", re.IGNORECASE)
_ANEMOMETER = re.compile(r"anemometer|vane|thermal|wire|film", re.IGNORECASE)
_ON_THE_MARK = 1.0 + 1e-9  # a value on a mark counts as having reached it, as in calib.uncertainty.budget


@dataclass(frozen=True)
class ExpectedAir:
    """Air that is expected where the job will be measured."""

    temperature: float  # [K]
    pressure: float  # absolute [Pa]
    humidity: float  # relative [1]


@dataclass(frozen=True)
class Wish:
    """What is asked of a plan."""

    at: datetime  # when the job is to be measured
    now: datetime
    at_most: float = 1.0  # U over the half-width of the tolerance that counts as proof [1]
    methods: tuple[str, ...] = ()  # by name; empty: those whose pattern suits
    air: ExpectedAir | None = None  # absent: the job's latest conditions on record

    @property
    def known(self) -> datetime:
        """The time by which the gate judges: a day to come is asked about as if it were now."""
        return max(self.at, self.now)


@dataclass(frozen=True)
class Gear:
    """An instrument, with the probe before it where it is a manometer."""

    instrument: tables.Instrument
    decision: Decision
    probe: tables.Instrument | None = None
    probe_decision: Decision | None = None

    @property
    def name(self) -> str:
        """How it is called."""
        return self.instrument.tag if self.probe is None else f"{self.instrument.tag} + {self.probe.tag}"

    @property
    def is_flow(self) -> bool:
        """Whether it indicates a flow: a hood."""
        return self.instrument.quantity == "volume flow"


@dataclass(frozen=True)
class Predicted:
    """The reading that the design flow would give, and what its uncertainty can prove. Flows in [m3/s]."""

    gear: Gear
    method: tables.Method
    standing: Standing  # one observation, or one pass of a traverse
    velocity: float  # mean velocity [m/s]; of a hood the flow [m3/s]
    half_width: float  # T, of the tolerance interval
    at_most: float  # U/T that counts as proof [1]
    of_one: Budget  # one observation; without repeatability where none is declared
    observations: int | None  # fewest that bring U to at_most * T; absent where none does, or none can be told
    with_them: Budget  # so many observations; one where `observations` is absent

    @property
    def declared(self) -> bool:
        """Whether the instrument declares the repeatability that more observations are predicted from."""
        return not math.isnan(self.standing.indication.u)

    @property
    def over_tolerance(self) -> float:
        """U/T with `with_them` [1]; 1/C_m of JCGM 106, 7.6.3, where k = 2."""
        return self.ratio_of(self.with_them)

    @property
    def least(self) -> float:
        """U/T that is left however many observations are taken [1]."""
        return self.ratio_of(self._without_repeatability)

    @property
    def ruling(self) -> Lever:
        """The contribution that rules what is left."""
        return levers(self._without_repeatability)[0]

    @property
    def _without_repeatability(self) -> Budget:
        return self.of_one.with_contribution(self.of_one.names.index("repeatability"), 0.0, math.inf)

    @property
    def verdict(self) -> str:
        """Whether the tolerance can be proved: YES, NO, or NOT_KNOWN where U has yet to gain an undeclared repeatability."""
        if self.observations is not None:
            return YES
        return NO if self.over_tolerance > self.at_most * _ON_THE_MARK else NOT_KNOWN

    @property
    def capability(self) -> float:
        """Measurement capability index C_m with `with_them` [1] (JCGM 106, 7.6.3)."""
        return float(capability_index(self._tolerance, self.with_them.standard_uncertainty))

    def ratio_of(self, budget: Budget) -> float:
        """U/T of a budget [1]."""
        return float(uncertainty_over_tolerance(budget.expanded_uncertainty, self._tolerance))

    @property
    def _tolerance(self) -> ToleranceIntervals:
        return ToleranceIntervals(np.array(-self.half_width), np.array(self.half_width))


@dataclass(frozen=True)
class Unusable:
    """An instrument that is no candidate at an outlet, and why."""

    gear: Gear
    reasons: tuple[str, ...]


@dataclass(frozen=True)
class OutletPlan:
    """One outlet or duct: the candidates, the best first, and those that are none."""

    outlet: tables.Outlet
    design: float  # [m3/s]; NaN where there is none, or no tolerance
    half_width: float = math.nan  # T [m3/s]
    candidates: tuple[Predicted, ...] = ()
    unusable: tuple[Unusable, ...] = ()
    remarks: tuple[str, ...] = ()  # of the place itself
    traverse: tuple[str, int, int] | None = None  # rule, lines and points that a duct is planned with
    left_out: tuple[str, ...] = ()  # tags of instruments that fit the place and may not be used that day

    @property
    def has_design(self) -> bool:
        """Whether there is a design flow with a tolerance."""
        return math.isfinite(self.design)

    @property
    def provable(self) -> bool:
        """Whether an instrument can prove the tolerance."""
        return any(one.verdict == YES for one in self.candidates)


@dataclass(frozen=True)
class LeftOut:
    """An instrument that cannot be planned with anywhere."""

    instrument: tables.Instrument
    reasons: tuple[str, ...]


@dataclass(frozen=True)
class JobPlan:
    """A job before it is measured."""

    job: tables.Job
    wish: Wish
    outlets: tuple[OutletPlan, ...]
    left_out: tuple[LeftOut, ...]
    standards: tuple[str, ...]  # tags among the candidates that serve as reference standards
    air: AirFound | None  # absent: none is known
    air_reasons: tuple[str, ...] = ()  # why conditions on record are of no use

    @property
    def without_instrument(self) -> tuple[OutletPlan, ...]:
        """Outlets with a design that no instrument at hand can prove."""
        return tuple(one for one in self.outlets if one.has_design and not one.provable)


@dataclass(frozen=True)
class _Asked:
    """What all outlets of a plan have in common."""

    records: OnRecord
    wish: Wish
    gear: tuple[Gear, ...]
    left_out: tuple[LeftOut, ...]
    air: AirFound | None


def plan_job(session: Session, name: str, wish: Wish) -> JobPlan:
    """Plan a job; raises NotInRecordsError for a job that is not there. Unknown methods are left to `method_findings`."""
    job = job_named(session, name)
    records = on_record(session)
    air, reasons = _air(records, key(job.id), wish)
    if wish.air is not None:
        expected = {(key(job.id), EXPECTED): _conditions(key(job.id), wish.air, wish.at)}
        records = replace(records, conditions={**records.conditions, **expected})
        air = air_of(records, key(job.id), EXPECTED, wish.known)
    gear, left_out = _gear(records, _probes(session, records), wish)
    asked = _Asked(records, wish, gear, left_out, air)
    outlets = outlets_in_force(session, key(job.id))
    planned = tuple(_of_outlet(asked, outlets[number]) for number in sorted(outlets))
    return JobPlan(job, wish, planned, left_out, _standards(records, gear), air, reasons)


def method_findings(session: Session, methods: Iterable[str]) -> list[Finding]:
    """What is wrong with methods named on the command line."""
    known = list(session.exec(select(tables.Method.method).order_by(col(tables.Method.id))))
    expected = f"a method in the records: there is {', '.join(known) or 'none'}"
    return [Finding("command line", None, "--method", one, expected) for one in methods if one not in known]


# --- the air ---------------------------------------------------------------------------------------------------------------------


def _air(records: OnRecord, job: int, wish: Wish) -> tuple[AirFound | None, tuple[str, ...]]:
    """The job's latest conditions on record that give a density; the reasons against those that are later."""
    if wish.air is not None:
        return None, ()
    reasons: list[str] = []
    for name in _latest_first(records, job, wish.known):
        found = air_of(records, job, name, wish.known)
        if not found.reasons:
            return found, tuple(reasons)
        reasons += found.reasons
    return None, tuple(reasons)


def _latest_first(records: OnRecord, job: int, by: datetime) -> list[str]:
    times = {
        name: max(moment(row.observed_at) for row in rows)
        for (of, name), rows in records.conditions.items()
        if of == job
    }
    return sorted((name for name, time in times.items() if time <= by), key=lambda name: times[name], reverse=True)


def _conditions(job: int, air: ExpectedAir, at: datetime) -> tuple[tables.Condition, ...]:
    values = (air.temperature, air.pressure, air.humidity)
    return tuple(
        tables.Condition(
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


# --- the instruments -------------------------------------------------------------------------------------------------------------


def is_probe(one: tables.Instrument, as_probe: frozenset[int], as_instrument: frozenset[int]) -> bool:
    """Whether an instrument is a probe to be used with a manometer, by the rule at the top of this file.

    `as_probe` and `as_instrument` are the keys of those that readings on record name as their probe or as their instrument.
    """
    if (one.quantity, one.indicated) != ("air velocity", "air velocity") or one.density_effect is not None:
        return False
    if key(one.id) in as_probe | as_instrument:
        return key(one.id) in as_probe
    return _PROBE.search(one.kind) is not None and _ANEMOMETER.search(one.kind) is None


def _probes(session: Session, records: OnRecord) -> frozenset[int]:
    as_probe, as_instrument = set(), set()
    for table in (tables.Reading, tables.Refusal):
        for instrument, probe in session.exec(select(table.instrument_id, table.probe_id).distinct()):
            as_instrument.add(instrument)
            as_probe.add(probe)
    named = frozenset(one for one in as_probe if one is not None), frozenset(as_instrument)
    return frozenset(number for number, one in records.instruments.items() if is_probe(one, *named))


def _gear(records: OnRecord, probes: frozenset[int], wish: Wish) -> tuple[tuple[Gear, ...], tuple[LeftOut, ...]]:
    """What may be used on that day, and what may not."""
    measure = [one for number, one in sorted(records.instruments.items()) if number in probes or _measures_air(one)]
    here = [one for one in measure if not _retired(records, one, wish)]
    asked = {one.tag: gate(records.register, one.tag, wish.at, wish.known) for one in here}
    left_out = [LeftOut(one, asked[one.tag].reasons) for one in here if not asked[one.tag].allowed]
    free = [one for one in here if asked[one.tag].allowed]
    before = [one for one in free if one.id in probes]
    gear: list[Gear] = []
    for one in (one for one in free if one.id not in probes):
        if one.quantity == "pressure":
            gear += [Gear(one, asked[one.tag], probe, asked[probe.tag]) for probe in before]
            left_out += [] if before else [LeftOut(one, (f"{one.tag}: no probe in calibration to stand before it",))]
        else:
            gear.append(Gear(one, asked[one.tag]))
    return tuple(gear), tuple(left_out)


def _measures_air(one: tables.Instrument) -> bool:
    if one.quantity == "pressure" and one.indicated == "pressure":
        return unit("pressure", one.unit).to_si(float(one.range_low)) <= _LARGEST_VELOCITY_PRESSURE
    return one.quantity in ("air velocity", "pressure", "volume flow")


def _retired(records: OnRecord, one: tables.Instrument, wish: Wish) -> bool:
    return any(event.kind == RETIREMENT and event.at <= wish.at for event in records.register[one.tag].events)


def _standards(records: OnRecord, gear: Sequence[Gear]) -> tuple[str, ...]:
    serve = {tag for one in records.register.values() for each in one.calibrations for tag in each.standards}
    return tuple(sorted(serve & {one.instrument.tag for one in gear}))


# --- one outlet ------------------------------------------------------------------------------------------------------------------


def _of_outlet(asked: _Asked, outlet: tables.Outlet) -> OutletPlan:
    design, tolerance = design_of(outlet), float(outlet.tolerance_percent or "nan") / 100
    if not math.isfinite(design * tolerance):
        return OutletPlan(outlet, math.nan)
    half_width = design * tolerance
    gear, remarks = _fitting(asked, outlet)
    found = [_by_the_best_method(asked, outlet, one, half_width) for one in gear]
    candidates = sorted((one for one in found if isinstance(one, Predicted)), key=lambda one: one.over_tolerance)
    unusable = tuple(one for one in found if isinstance(one, Unusable))
    traversed = _traverse(outlet) if outlet.place == tables.DUCT else None
    away = tuple(one.instrument.tag for one in asked.left_out if _fits(one.instrument, outlet))
    return OutletPlan(outlet, design, half_width, tuple(candidates), unusable, remarks, traversed, away)


def _fitting(asked: _Asked, outlet: tables.Outlet) -> tuple[list[Gear], tuple[str, ...]]:
    """What may be used at a place, and what is to be said of the place."""
    gear = [one for one in asked.gear if _fits(one.instrument, outlet)]
    if outlet.place == tables.DUCT or _makes_a_flow(outlet):
        return gear, ()
    why = "only a hood can measure here: no outlet factor, effective area or found factor is on record"
    return gear, (why if gear else f"{why}, and no hood is in calibration",)


def _fits(one: tables.Instrument, outlet: tables.Outlet) -> bool:
    """Whether an instrument can be held at a place: no hood in a duct, and only a hood where a velocity makes no flow."""
    if one.quantity == "volume flow":
        return outlet.place != tables.DUCT
    return outlet.place == tables.DUCT or _makes_a_flow(outlet)


def _makes_a_flow(outlet: tables.Outlet) -> bool:
    return (outlet.outlet_factor, outlet.effective_area, outlet.found_factor) != (None, None, None)


def _traverse(outlet: tables.Outlet) -> tuple[str, int, int]:
    return LOG_TCHEBYCHEFF, *usual(section_of(outlet), LOG_TCHEBYCHEFF)


def _by_the_best_method(asked: _Asked, outlet: tables.Outlet, gear: Gear, half_width: float) -> Predicted | Unusable:
    """The prediction with the smallest U among the methods that suit, or the reasons why there is none."""
    pattern = HOOD if gear.is_flow else TRAVERSE if outlet.place == tables.DUCT else None
    methods = [one for one in asked.records.methods.values() if _suits(one, pattern, asked.wish.methods)]
    if not methods:
        which = "no method named suits" if asked.wish.methods else "no method is on record"
        return Unusable(gear, (f"{which} for it here{f' (pattern {pattern})' if pattern else ''}",))
    tried = [_predicted(asked, outlet, gear, one, half_width) for one in methods]
    found = [one for one in tried if isinstance(one, Predicted)]
    if found:
        return min(found, key=lambda one: one.of_one.expanded_uncertainty)
    reasons = [reason for one in tried if isinstance(one, Unusable) for reason in one.reasons]
    return Unusable(gear, tuple(dict.fromkeys(reasons)))


def _suits(method: tables.Method, pattern: str | None, named: Sequence[str]) -> bool:
    """Whether a method is one for a place. One without a pattern may be any: in a duct or with a hood it must be named."""
    if named and method.method not in named:
        return False
    if pattern is None:
        return method.pattern not in (TRAVERSE, HOOD)
    return method.pattern == pattern or (method.pattern is None and bool(named))


# --- one reading -----------------------------------------------------------------------------------------------------------------


def _predicted(
    asked: _Asked, outlet: tables.Outlet, gear: Gear, method: tables.Method, half_width: float
) -> Predicted | Unusable:
    """The reading that the design flow would give, if the gate would let it stand."""
    why_not = [*_held_by_the_factor(asked.records, outlet, gear, method), *_without_air(asked, gear)]
    if why_not:
        return Unusable(gear, tuple(why_not))
    try:
        indication = _indication(asked.records, _placed(asked, outlet, gear, method), design_of(outlet))
        reading, seen = _reading(asked, outlet, gear, method, indication)
        gated = gate_reading(asked.records, reading, seen, outlet, asked.wish.known)
    except CalibError as error:
        return Unusable(gear, (str(error),))
    if gated.standing is None:
        return Unusable(gear, gated.reasons)
    return _evaluated(asked, gear, gated.standing, half_width)


def _held_by_the_factor(records: OnRecord, outlet: tables.Outlet, gear: Gear, method: tables.Method) -> Iterable[str]:
    """A factor found in the field holds for its instrument and method only: the gate's rule, said once for all others."""
    factor = None if gear.is_flow or outlet.found_factor is None else records.factors.get(outlet.found_factor)
    if factor is not None and (factor.instrument_id, factor.method_id) != (gear.instrument.id, method.id):
        found_with = records.instruments[factor.instrument_id].tag
        yield f"factor {factor.factor} holds for {found_with}, {records.methods[factor.method_id].method} only"


def _without_air(asked: _Asked, gear: Gear) -> Iterable[str]:
    needed = gear.instrument.quantity == "pressure" or gear.instrument.density_effect == tables.THERMAL
    if needed and asked.air is None:
        yield NEEDS_AIR


def _air_name(asked: _Asked, gear: Gear) -> str | None:
    """Conditions that the reading will name; none for a vane, nor for a pair whose certificate states no density."""
    if asked.air is None or gear.is_flow or gear.decision.calibration is None:
        return None
    if gear.instrument.quantity == "pressure" or gear.instrument.density_effect == tables.THERMAL:
        return asked.air.name
    stated = calibration_density(asked.records.calibrations[gear.decision.calibration.record_id])
    pair = gear.instrument.density_effect == tables.VELOCITY_PRESSURE
    return asked.air.name if pair and stated is not None else None


def _reading(
    asked: _Asked, outlet: tables.Outlet, gear: Gear, method: tables.Method, indication: float
) -> tuple[tables.Reading, Observed]:
    """One observation at an indication [SI], or one pass of a traverse, as it would be typed."""
    shown = unit(gear.instrument.indicated, gear.instrument.unit).from_si(indication)
    reading = tables.Reading(
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
    if outlet.place != tables.DUCT:
        return reading, Observed(shown, ())
    rule, lines, points = _traverse(outlet)
    everywhere = Traversed(rule, lines, points, ((shown,),))
    count = len(everywhere.places(section_of(outlet)))
    return reading, Observed(shown, (), traversed=replace(everywhere, indications=((shown,),) * count))


def _placed(asked: _Asked, outlet: tables.Outlet, gear: Gear, method: tables.Method) -> Standing:
    """The reading before its indication is known: at some indication, for the opening and the air that go with it."""
    calibration = gear.decision.calibration
    assert calibration is not None  # noqa: S101 (the gate lets nothing pass without one)
    reading, seen = _reading(asked, outlet, gear, method, asked.records.curve(calibration.record_id).high)
    return Standing(
        reading,
        seen,
        indication_of(reading, seen, gear.instrument),
        outlet,
        gear.instrument,
        method,
        calibration,
        gear.decision,
        gear.probe,
        gear.probe_decision,
        None if reading.conditions is None else asked.air,
        None if gear.is_flow or outlet.found_factor is None else asked.records.factors.get(outlet.found_factor),
    )


def _indication(records: OnRecord, placed: Standing, flow: float) -> float:
    """Indication [SI] that a flow [m3/s] gives; raises CurveError where it lies outside a calibration."""
    arrays = arrays_of([placed], records)
    value = flow / float(arrays.area[0] * arrays.outlet_factor[0])
    if placed.probe is not None and placed.probe_decision is not None:
        value = _inverse(records, placed.probe, placed.probe_decision, value)
    if arrays.air is not None:
        air = arrays.air
        value = _before_the_air(value, int(air.effect[0]), float(air.density[0]), float(air.reference_density[0]))
    return _inverse(records, placed.instrument, placed.decision, value)


def _before_the_air(velocity: float, effect: int, density: float, reference: float) -> float:
    """What an instrument has to indicate, corrected, for a velocity [m/s] in air of a density [kg/m3]."""
    if effect == Effect.PRESSURE:
        return float(velocity_pressure(velocity, density))
    if effect == Effect.THERMAL:
        return float(standard_velocity(velocity, reference, density))
    return velocity * float(similarity_scale(density, reference)) if effect == Effect.PAIR else velocity


def _inverse(records: OnRecord, one: tables.Instrument, decision: Decision, value: float) -> float:
    assert decision.calibration is not None  # noqa: S101 (the gate lets nothing pass without one)
    curve = records.curve(decision.calibration.record_id)
    try:
        return curve.indication(value)
    except CurveError as error:
        raise CurveError(_outside(one, decision.calibration.certificate, curve, value)) from error


def _outside(one: tables.Instrument, certificate: str, curve: Curve, value: float) -> str:
    """In the instrument's own unit, where it indicates what it measures."""
    own = unit(one.quantity, one.unit if one.indicated == one.quantity else next(iter(UNITS[one.quantity])))
    low, high = sorted(own.from_si(float(curve.value(end))) for end in (curve.low, curve.high))
    return (
        f"{one.tag}: {own.from_si(value):.4g} {own.symbol} lies outside its calibrated measuring interval, "
        f"{low:.4g} to {high:.4g} {own.symbol} (certificate {certificate})"
    )


def _evaluated(asked: _Asked, gear: Gear, standing: Standing, half_width: float) -> Predicted:
    found = flows(arrays_of([standing], asked.records))
    own = Budget(
        tuple(one.name for one in found.contributions),
        combine(found.contributions).uncertainties[0],
        np.array([one.degrees_of_freedom[0] for one in found.contributions]),
    )
    place = own.names.index("repeatability")
    declared = not math.isnan(own.uncertainties[place])
    own = own if declared else own.with_contribution(place, 0.0, math.inf)
    number = _needed(own, place, asked.wish.at_most * half_width) if declared else None
    return Predicted(
        gear,
        standing.method,
        standing,
        float(found.velocity[0]),
        half_width,
        asked.wish.at_most,
        own,
        number,
        with_observations(own, place, number or 1),
    )


def _needed(own: Budget, place: int, wanted: float) -> int | None:
    """Fewest observations that bring U to a wanted one. One alone has the declared repeatability, more show it (Type A)."""
    if own.expanded_uncertainty <= wanted * _ON_THE_MARK:
        return 1
    return observations_needed(own, place, Repeatability(float(own.uncertainties[place]), type_a=True), wanted)


def with_observations(of_one: Budget, place: int, observations: int) -> Budget:
    """A budget with more observations than one, which scatter as the repeatability at `place` of the budget says."""
    if observations == 1:
        return of_one
    u = float(of_one.uncertainties[place]) / math.sqrt(observations)
    return of_one.with_contribution(place, u, observations - 1.0)


# --- what would pass -------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Acceptance:
    """Measured flows that would pass [m3/s]."""

    interval: tuple[float, float] | None  # None: no flow would
    conditional: tuple[float, float] | None  # that would pass conditionally at least; None but by the non-binary rule


def acceptance(design: float, half_width: float, expanded_uncertainty: float, rule: str) -> Acceptance:
    """Acceptance interval of a decision rule with an expanded uncertainty (JCGM 106, 8.2 and 8.3.2; ILAC-G8, 4.2).

    All in [m3/s]. The guard band is w = U, as `calib.confirmation.conformity` has it; U is taken to be the same at its ends.
    """
    tolerance = (design - half_width, design + half_width)
    guard = 0.0 if rule == SIMPLE else expanded_uncertainty
    interval = (tolerance[0] + guard, tolerance[1] - guard) if guard <= half_width * _ON_THE_MARK else None
    return Acceptance(interval, tolerance if rule == GUARDED_NON_BINARY else None)
