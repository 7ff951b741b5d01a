"""Evaluate a job: every reading that the gate lets stand with its flow and uncertainty, the totals, and the refusals.

The gate is asked again with what the records hold now: a reading that passed when it was typed and would be refused on what has
been recorded since yields no flow, and stands among the refusals.
"""

import json
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlmodel import Session, col, select

from calib.airflow.outlet import rectangular_area, round_area
from calib.confirmation.conformity import conformity, probability_of_conformity, tolerance_intervals
from calib.confirmation.interval import CalibrationOnRecord, Decision
from calib.curves.curve import Curve
from calib.curves.response import from_text
from calib.measurement import Flows, OutletReadings, flows
from calib.procedures.find import job_named
from calib.procedures.gate_reading import gate_reading
from calib.procedures.observations import Observed, observed
from calib.procedures.register import key, load_register, moment
from calib.quantities import unit
from calib.records import tables
from calib.uncertainty.coverage import COVERAGE_PROBABILITY, coverage_factor
from calib.uncertainty.estimate import type_a
from calib.uncertainty.propagation import Combined, combine, combine_totals
from calib.uncertainty.series import type_a_of_series

# Sign of each service in the net flow of a system.
NET_SIGN = {"supply": 1.0, "return": -1.0, "exhaust": -1.0}
NET = "net"


@dataclass(frozen=True)
class Indication:
    """Mean indication of a reading with the evaluation of its repeatability."""

    mean: float  # [m/s]
    u: float  # of the mean [m/s]
    type_a: bool
    dof: float
    observations: int
    effective_observations: float  # fewer where a logged series is correlated


@dataclass(frozen=True)
class Measured:
    """One reading with all that it rests on."""

    reading: tables.Reading
    observed: Observed
    indication: Indication
    outlet: tables.Outlet
    instrument: tables.Instrument
    method: tables.Method
    calibration: CalibrationOnRecord
    decision: Decision
    in_totals: bool  # the latest reading of its outlet


@dataclass(frozen=True)
class Refused:
    """One refused reading, everything typed kept."""

    outlet: tables.Outlet
    instrument: tables.Instrument
    typed: tables.Refusal | tables.Reading
    reasons: tuple[str, ...]


@dataclass(frozen=True)
class Results:
    """Values with their uncertainties; arrays (n,) in SI."""

    value: NDArray[np.float64]
    combined: Combined
    coverage_factor: NDArray[np.float64]
    coverage_probability: float

    @cached_property
    def expanded_uncertainty(self) -> NDArray[np.float64]:
        """U = k u_c."""
        return self.coverage_factor * self.combined.standard_uncertainty


@dataclass(frozen=True)
class Total:
    """What one total adds up, and how much of it was measured."""

    system: str
    service: str  # a service, or NET
    measured: int  # outlets with a reading that stands
    outlets: int  # outlets that belong to it


@dataclass(frozen=True)
class Judgement:
    """Conformity of each reading with its design flow; NaN and "" where an outlet has none."""

    percent_of_design: NDArray[np.float64]
    statement: NDArray[np.str_]
    probability: NDArray[np.float64]


@dataclass(frozen=True)
class Evaluation:
    """A job evaluated. Rows of `measured` and of every array run together."""

    job: tables.Job
    measured: tuple[Measured, ...]
    readings: OutletReadings | None  # absent where no reading stands
    flows: Flows | None
    velocity: Results | None
    flow: Results | None
    judgement: Judgement | None
    totals: tuple[Total, ...]
    total_flow: Results | None
    refused: tuple[Refused, ...]
    curves: Mapping[int, tables.CorrectionCurve]  # by the id of the calibration
    calibrations: Mapping[int, tables.Calibration]  # by their id


def evaluate(
    session: Session, name: str, now: datetime, coverage_probability: float = COVERAGE_PROBABILITY
) -> Evaluation:
    """Evaluate a job at a time; raises NotInRecordsError for a job that is not there."""
    job = job_named(session, name)
    outlets = {key(one.id): one for one in session.exec(select(tables.Outlet).where(tables.Outlet.job_id == job.id))}
    measured, refused = _sorted_out(session, outlets, now)
    totals = _totals_of(outlets, measured)
    if not measured:
        return Evaluation(job, (), None, None, None, None, None, totals, None, refused, {}, {})
    curves = _curves(session, {one.calibration.record_id for one in measured})
    readings = _arrays(measured, curves)
    found = flows(readings)
    flow = results(found.flow, combine(found.contributions), coverage_probability)
    return Evaluation(
        job,
        measured,
        readings,
        found,
        results(found.velocity, combine(found.velocity_contributions), coverage_probability),
        flow,
        _judge(job, measured, flow),
        totals,
        _total_results(measured, found, totals, coverage_probability),
        refused,
        curves,
        {key(one.id): one for one in session.exec(select(tables.Calibration)) if one.id in curves},
    )


def results(
    value: NDArray[np.float64], combined: Combined, coverage_probability: float = COVERAGE_PROBABILITY
) -> Results:
    """Values with their coverage factors."""
    k = coverage_factor(combined.degrees_of_freedom, coverage_probability)
    return Results(value, combined, k, coverage_probability)


def _sorted_out(
    session: Session, outlets: Mapping[int, tables.Outlet], now: datetime
) -> tuple[tuple[Measured, ...], tuple[Refused, ...]]:
    instruments = {key(one.id): one for one in session.exec(select(tables.Instrument))}
    methods = {key(one.id): one for one in session.exec(select(tables.Method))}
    register = load_register(session)
    standing: list[tuple[tables.Reading, Observed, Decision]] = []
    refused: list[Refused] = []
    for reading in _of_outlets(session, tables.Reading, outlets):
        instrument = instruments[reading.instrument_id]
        cells = reading.model_dump()
        seen = observed(cells, _log(session, reading))
        decision = gate_reading(register, instrument.tag, cells, seen, instrument.indicated, now)
        if decision.allowed:
            standing.append((reading, seen, decision))
        else:
            refused.append(Refused(outlets[reading.outlet_id], instrument, reading, decision.reasons))
    for refusal in _of_outlets(session, tables.Refusal, outlets):
        reasons = tuple(json.loads(refusal.reasons))
        refused.append(Refused(outlets[refusal.outlet_id], instruments[refusal.instrument_id], refusal, reasons))
    latest = _latest([reading for reading, _, _ in standing])
    measured = [
        Measured(
            reading,
            seen,
            _indication(reading, seen, instruments[reading.instrument_id]),
            outlets[reading.outlet_id],
            instruments[reading.instrument_id],
            methods[reading.method_id],
            _calibration(decision),
            decision,
            reading.id in latest,
        )
        for reading, seen, decision in standing
    ]
    measured.sort(key=lambda one: (key(one.outlet.id), moment(one.reading.observed_at), key(one.reading.id)))
    refused.sort(key=lambda one: (key(one.outlet.id), moment(one.typed.observed_at)))
    return tuple(measured), tuple(refused)


def _of_outlets(session: Session, table: Any, outlets: Mapping[int, tables.Outlet]) -> Sequence[Any]:
    # All of them and a choice here: a list of thousands of keys would pass the database's limit on parameters.
    found = session.exec(select(table).order_by(table.id))
    return [one for one in found if one.outlet_id in outlets]


def _calibration(decision: Decision) -> CalibrationOnRecord:
    assert decision.calibration is not None  # noqa: S101 (the gate lets nothing pass without one)
    return decision.calibration


def _latest(readings: Sequence[tables.Reading]) -> set[int | None]:
    last: dict[int, tables.Reading] = {}
    for one in sorted(readings, key=lambda one: (moment(one.observed_at), key(one.id))):
        last[one.outlet_id] = one
    return {one.id for one in last.values()}


def _curves(session: Session, calibrations: set[int]) -> dict[int, tables.CorrectionCurve]:
    found = session.exec(select(tables.CorrectionCurve).order_by(col(tables.CorrectionCurve.id)))
    return {one.calibration_id: one for one in found if one.calibration_id in calibrations}


def _log(session: Session, reading: tables.Reading) -> bytes | None:
    kept = None if reading.logged_series_id is None else session.get(tables.LoggedSeries, reading.logged_series_id)
    return None if kept is None else kept.content


def _indication(reading: tables.Reading, seen: Observed, instrument: tables.Instrument) -> Indication:
    typed = unit(instrument.indicated, reading.unit)
    mean = typed.to_si(seen.mean)
    if seen.logged:
        series = type_a_of_series(seen.values)
        u = typed.difference_to_si(series.estimate.standard_uncertainty)
        return Indication(
            mean, u, True, series.estimate.degrees_of_freedom, len(seen.values), series.effective_observations
        )
    count = len(seen.values)
    if count > 1:
        estimate = type_a(seen.values)
        u = typed.difference_to_si(estimate.standard_uncertainty)
        return Indication(mean, u, True, estimate.degrees_of_freedom, count, float(count))
    own = unit(instrument.indicated, instrument.unit)
    # Whoever typed the reading was asked for two observations where the instrument declares no repeatability.
    return Indication(mean, own.difference_to_si(float(instrument.repeatability or "nan")), False, np.inf, 1, 1.0)


def stability_limit(instrument: tables.Instrument, indication: float) -> float:
    """Limits of change since calibration at an indication [SI]: the stated ones, else the maximum permissible error."""
    own = unit(instrument.indicated, instrument.unit)
    stated = instrument.stability_percent is not None or instrument.stability_absolute is not None
    percent = instrument.stability_percent if stated else instrument.mpe_percent
    absolute = instrument.stability_absolute if stated else instrument.mpe_absolute
    return float(percent or 0) / 100 * abs(indication) + own.difference_to_si(float(absolute or 0))


def resolution_of(instrument: tables.Instrument) -> float:
    """Digital step [SI]."""
    return unit(instrument.indicated, instrument.unit).difference_to_si(float(instrument.resolution))


@dataclass(frozen=True)
class _Opening:
    area: float  # A or A_e [m2]
    relative: tuple[float, float]  # half-width over dimension
    factor: float
    factor_relative: float


def _opening(outlet: tables.Outlet) -> _Opening:
    if outlet.effective_area is not None:
        area = unit("area", str(outlet.effective_area_unit)).to_si(float(outlet.effective_area))
        u = float(outlet.effective_area_standard_uncertainty or 0) / float(outlet.effective_area)
        return _Opening(area, (0.0, 0.0), 1.0, u)
    length = unit("length", str(outlet.dimension_unit))
    limit = length.to_si(float(outlet.dimension_limit or 0))
    factor = float(outlet.outlet_factor or 0)
    relative = float(outlet.outlet_factor_standard_uncertainty or 0) / factor
    if outlet.shape == "round":
        diameter = length.to_si(float(outlet.diameter or 0))
        return _Opening(round_area(diameter), (2.0 * limit / diameter, 0.0), factor, relative)
    width, height = length.to_si(float(outlet.width or 0)), length.to_si(float(outlet.height or 0))
    return _Opening(rectangular_area(width, height), (limit / width, limit / height), factor, relative)


def _arrays(measured: Sequence[Measured], curves: Mapping[int, tables.CorrectionCurve]) -> OutletReadings:
    index = {calibration: number for number, calibration in enumerate(curves)}
    curve_list: list[Curve] = [from_text(one.parameters) for one in curves.values()]
    indications = [one.indication for one in measured]
    openings = {key(one.outlet.id): _opening(one.outlet) for one in measured}
    of_outlet = [openings[key(one.outlet.id)] for one in measured]
    sources = {
        source: number
        for number, source in enumerate(dict.fromkeys(one.outlet.outlet_factor_source for one in measured))
    }
    return OutletReadings(
        indication=np.array([one.mean for one in indications]),
        repeatability=np.array([one.u for one in indications]),
        repeatability_type_a=np.array([one.type_a for one in indications]),
        repeatability_dof=np.array([one.dof for one in indications], dtype=float),
        resolution=np.array([resolution_of(one.instrument) for one in measured]),
        stability_limit=np.array(
            [stability_limit(one.instrument, x.mean) for one, x in zip(measured, indications, strict=True)]
        ),
        calibration=np.array([index[one.calibration.record_id] for one in measured]),
        outlet=np.array([key(one.outlet.id) for one in measured]),
        area=np.array([one.area for one in of_outlet]),
        dimension_relative=np.array([one.relative for one in of_outlet]),
        outlet_factor=np.array([one.factor for one in of_outlet]),
        outlet_factor_relative=np.array([one.factor_relative for one in of_outlet]),
        outlet_factor_source=np.array([sources[one.outlet.outlet_factor_source] for one in measured]),
        method_relative=np.array([float(one.method.relative_standard_uncertainty_percent) / 100 for one in measured]),
        curves=curve_list,
    )


def _judge(job: tables.Job, measured: Sequence[Measured], flow: Results) -> Judgement:
    design = np.array([_design(one.outlet) for one in measured])
    tolerance = np.array([float(one.outlet.tolerance_percent or "nan") / 100 for one in measured])
    has = np.isfinite(design)
    interval = tolerance_intervals(design[has], tolerance[has])
    statement = np.full(design.size, "", dtype="U16")
    probability = np.full(design.size, np.nan)
    statement[has] = conformity(flow.value[has], flow.expanded_uncertainty[has], interval, job.decision_rule)
    probability[has] = probability_of_conformity(
        flow.value[has], flow.combined.standard_uncertainty[has], interval, flow.combined.degrees_of_freedom[has]
    )
    return Judgement(100.0 * flow.value / design, statement, probability)


def _design(outlet: tables.Outlet) -> float:
    if outlet.design_flow is None:
        return float("nan")
    return unit("volume flow", str(outlet.flow_unit)).to_si(float(outlet.design_flow))


def _totals_of(outlets: Mapping[int, tables.Outlet], measured: Sequence[Measured]) -> tuple[Total, ...]:
    """One total for each service of each system, then the net of each system with more than one service."""
    stands = {key(one.outlet.id) for one in measured}
    members: dict[str, dict[str, list[bool]]] = defaultdict(lambda: defaultdict(list))
    for number, outlet in sorted(outlets.items()):
        members[outlet.system][outlet.service].append(number in stands)
    totals = []
    for system, services in members.items():
        totals += [
            Total(system, service, sum(services[service]), len(services[service]))
            for service in NET_SIGN
            if service in services
        ]
        if len(services) > 1:
            every = [one for of_service in services.values() for one in of_service]
            totals.append(Total(system, NET, sum(every), len(every)))
    return tuple(totals)


def _total_results(
    measured: Sequence[Measured], found: Flows, totals: Sequence[Total], coverage_probability: float
) -> Results:
    """Values and uncertainties of the totals, in their order; a total without a single reading is 0 with u = 0."""
    place = {(one.system, one.service): number for number, one in enumerate(totals)}
    of_service = np.array([place[one.outlet.system, one.outlet.service] if one.in_totals else -1 for one in measured])
    of_net = np.array([place.get((one.outlet.system, NET), -1) if one.in_totals else -1 for one in measured])
    sign = np.array([NET_SIGN[one.outlet.service] for one in measured])
    size = len(totals)
    service = combine_totals(found.contributions, of_service, np.ones_like(sign), size)
    net = combine_totals(found.contributions, of_net, sign, size)
    value = _sums(found.flow, of_service, size) + _sums(found.flow * sign, of_net, size)
    # Each total is either of a service or a net one: in the other the row is empty.
    is_net = np.array([one.service == NET for one in totals])
    combined = Combined(
        np.where(is_net, net.standard_uncertainty, service.standard_uncertainty),
        np.where(is_net, net.degrees_of_freedom, service.degrees_of_freedom),
        np.where(is_net[:, np.newaxis], net.uncertainties, service.uncertainties),
    )
    return results(value, combined, coverage_probability)


def _sums(flow: NDArray[np.float64], membership: NDArray[np.int64], size: int) -> NDArray[np.float64]:
    inside = membership >= 0
    return np.bincount(membership[inside], flow[inside], size).astype(float)
