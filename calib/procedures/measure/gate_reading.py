"""Ask the gate about a reading as typed: every instrument used, the conditions it rests on, the factor it uses."""

import math
from collections.abc import Iterable, Sequence
from datetime import datetime
from operator import attrgetter
from typing import NamedTuple

import numpy as np

from calib.airflow.velocity import low_pressure_text
from calib.arrays import Floats, by_kind
from calib.confirmation.interval import gate
from calib.errors import CalibError, MeasuringIntervalError
from calib.measurement import Flows, Readings, flows
from calib.measurement.way import ProbeUse, ReferenceAir
from calib.procedures.measure.air import AirFound, air_of, without_temperature
from calib.procedures.measure.arrays import arrays_of, density_of_reference
from calib.procedures.measure.indicated import declared
from calib.procedures.measure.low_points import flags_of_low_points, reasons_of_low_points
from calib.procedures.measure.stability import stability_at
from calib.procedures.measure.standing import MeasuringSystem, Standing, with_what
from calib.procedures.on_record.gate_probe import gate_probe
from calib.procedures.on_record.in_force import OnRecord
from calib.procedures.on_record.probe_pairs import reasons_against
from calib.procedures.on_record.way_of_instrument import way_of_instrument
from calib.procedures.typed.observations import Observed, Traversed
from calib.quantities import Unit, unit
from calib.records.record import moment
from calib.records.tables.factors import FoundFactor
from calib.records.tables.instruments import Instrument
from calib.records.tables.outlets import Outlet
from calib.records.tables.readings import Reading
from calib.records.words import DUCT
from calib.uncertainty.propagation import combine
from calib.uncertainty.series import type_a_of_series

_COVERAGE_FACTOR = 2.0  # of the manometer's expanded uncertainty, by which a velocity pressure is judged low

Taken = tuple[Reading, Observed, Outlet]  # a reading as typed, at an outlet as it counts now


class Gated(NamedTuple):
    """The gate's answer on a reading: it stands, or the reasons why it does not."""

    standing: Standing | None
    reasons: tuple[str, ...]


def gate_reading(records: OnRecord, reading: Reading, observed: Observed, outlet: Outlet, now: datetime) -> Gated:
    """The gate's decision on a reading as typed; `outlet` is the one it was taken at, as it counts now."""
    return gate_readings(records, [(reading, observed, outlet)], now)[0]


def gate_readings(records: OnRecord, taken: Iterable[Taken], now: datetime) -> list[Gated]:
    """The gate's decisions on readings as typed, each with its observations and its outlet as it counts now.

    What only shows when a reading is evaluated is asked of all of them at once.
    """
    every = [(*each, moment(each[0].observed_at)) for each in taken]
    # Readings of which this is the same are taken with one measuring system, and typed in one unit.
    first, kind = by_kind(
        every, lambda each: (_TAKEN_WITH(each[0]), each[2].job_id, each[2].service, records.stretch(each[3], now))
    )
    systems = [_system(records, *each, now) for each in first]
    units = [unit(system.indicated, each[0].unit) for system, each in zip(systems, first, strict=True)]
    gated = [
        _gated(records, *each, systems[place], units[place], now)
        for each, place in zip(every, kind.tolist(), strict=True)
    ]
    unsure = {
        row: each.standing
        for row, each in enumerate(gated)
        if each.standing is not None and not (each.standing.way.is_plain and each.standing.observed.traversed is None)
    }
    for row, answer in zip(unsure, _evaluated(records, list(unsure.values())), strict=True):
        gated[row] = answer
    return gated


def _gated(
    records: OnRecord,
    reading: Reading,
    observed: Observed,
    outlet: Outlet,
    at: datetime,
    system: MeasuringSystem,
    in_unit: Unit,
    now: datetime,
) -> Gated:
    used, is_flow = outlet.found_factor, system.declared_way.is_flow
    factor = None if used is None else records.factors.get(used)
    against = (
        *_reasons_of_instrument(records, reading, observed, system, in_unit, at, now),
        *system.reasons,
        *(() if is_flow else _opening(records, reading, outlet, system.instrument, factor)),
        *(() if observed.traversed is None else _section(observed.traversed, outlet, system.instrument)),
    )
    if against or system.decision.calibration is None:
        # A manometer may have observed the static pressure too.
        return Gated(None, tuple(dict.fromkeys(against)))
    flags = (*(_too_short(observed) if observed.logged else ()), *system.notes)
    if factor is None or is_flow:
        return Gated(Standing(reading, at, observed, outlet, system, None, flags), ())
    wrong = records.found_wrongly(factor)
    # No refusal: its certificate was reissued, and the review of that says by how much flows move.
    return Gated(
        Standing(reading, at, observed, outlet, system, factor, flags if wrong is None else (wrong, *flags)), ()
    )


def _too_short(observed: Observed) -> tuple[str, ...]:
    """That a log is too short to tell its own mean, and how long it should be."""
    wanted = type_a_of_series(observed.values).values_wanted
    if wanted is None:
        return ()
    count = len(observed.values)
    return (
        f"the log of {count} values is too short for how slowly the flow swings: log about {wanted} values at the same step",
    )


_TAKEN_WITH = attrgetter("instrument_id", "probe_id", "method_id", "conditions", "unit")


def _system(
    records: OnRecord, reading: Reading, _observed: Observed, outlet: Outlet, at: datetime, now: datetime
) -> MeasuringSystem:
    """With what a reading was taken, and what the gate says of it; asked once for all readings of a stretch of time."""
    named = (reading.instrument_id, reading.probe_id, reading.method_id, reading.conditions)
    job = outlet.job_id
    # Where the temperature is declared, it is that of one service's air.
    service = outlet.service if without_temperature(records, job, reading.conditions) else ""
    asked = (named, job, service, records.stretch(at, now), now)
    system: MeasuringSystem | None = records.worked_out.get(asked)
    if system is None:
        system = records.worked_out[asked] = _system_asked(records, reading, outlet, at, now)
    return system


def _system_asked(records: OnRecord, reading: Reading, outlet: Outlet, at: datetime, now: datetime) -> MeasuringSystem:
    instrument = records.instrument_at(reading.instrument_id, at)
    named = None if reading.probe_id is None else records.instrument_at(reading.probe_id, at)
    # A probe that was calibrated together with its meter has no calibration of its own that counts.
    probe = None if way_of_instrument(instrument).probe is ProbeUse.CALIBRATED_WITH else named
    probe_decision = None if probe is None else gate(records.register, probe.tag, at, now)
    air = (
        None if reading.conditions is None else air_of(records, outlet.job_id, reading.conditions, now, outlet.service)
    )
    return MeasuringSystem(
        instrument,
        records.methods[reading.method_id],
        gate(records.register, instrument.tag, at, now),
        probe,
        probe_decision,
        air,
        (
            *(() if probe_decision is None else probe_decision.reasons),
            *_pair(records, instrument, named, at, now),
            # Where the flow does not ask for the density, its air counts only when flows are compared.
            *(() if air is None or way_of_instrument(instrument).in_air is None else air.reasons),
        ),
    )


def _reasons_of_instrument(
    records: OnRecord,
    reading: Reading,
    observed: Observed,
    system: MeasuringSystem,
    in_unit: Unit,
    at: datetime,
    now: datetime,
) -> tuple[str, ...]:
    """Reasons against the instrument, at the lowest and the highest of its indications."""
    instrument, calibration = system.instrument, system.decision.calibration
    to_si = in_unit.to_si
    if calibration is None:
        return system.decision.reasons
    asked = observed.indications
    if len(asked) == 1 and calibration.low <= to_si(asked[0]) <= calibration.high:  # the usual reading
        return system.decision.reasons
    if system.declared_way.goes_to_zero:
        # Points below the lowest comparison have values beside others above it; no pressure at all is told from zero later.
        above = tuple(shown for shown in asked if to_si(shown) >= calibration.low)
        asked = above or (max(asked),)
        if max(asked) <= 0:
            return system.decision.reasons
    lowest, highest = min(asked), max(asked)
    if calibration.low <= to_si(lowest) and to_si(highest) <= calibration.high:
        return system.decision.reasons
    decisions = [
        gate(records.register, instrument.tag, at, now, to_si(shown), _shown(reading, observed, shown))
        for shown in dict.fromkeys((lowest, highest))
    ]
    return tuple(dict.fromkeys(reason for decision in decisions for reason in decision.reasons))


def _pair(
    records: OnRecord,
    instrument: Instrument,
    probe: Instrument | None,
    at: datetime,
    now: datetime,
) -> Iterable[str]:
    """Whether meter and probe were used as they are paired, and the probe of a pair calibrated as one is in use like its meter."""
    if records.pairs:
        tags = {instrument_id: instrument.tag for instrument_id, instrument in records.instruments.items()}
        yield from reasons_against(records.pairs, instrument, probe, at, tags)
    if probe is not None and way_of_instrument(instrument).probe is ProbeUse.CALIBRATED_WITH:
        yield from gate_probe(records.register, instrument, probe, at, now).reasons


def _shown(reading: Reading, observed: Observed, value: float) -> str:
    if observed.traversed is None and value == observed.mean:
        return f"{reading.indication or f'{observed.mean:.6g}'} {reading.unit}"
    return f"{value:.6g} {reading.unit}"


def makes_a_flow(outlet: Outlet) -> bool:
    """Whether a velocity makes a flow at a place: in a duct by its section, at an outlet by a factor or an effective area."""
    of_outlet = outlet.outlet_factor is not None or outlet.effective_area is not None
    return of_outlet or outlet.found_factor is not None or outlet.place == DUCT


def _opening(
    records: OnRecord,
    reading: Reading,
    outlet: Outlet,
    instrument: Instrument,
    factor: FoundFactor | None,
) -> tuple[str, ...]:
    """Whether the outlet has, as it counts now, what turns the reading into a flow."""
    if outlet.found_factor is not None:
        return _found_factor(records, reading, outlet, instrument, factor)
    if makes_a_flow(outlet):
        return ()
    without = f"outlet {outlet.outlet}: no outlet factor and no effective area"
    return (f"{without}, and {instrument.tag} indicates no flow: amend the outlet",)


def _found_factor(
    records: OnRecord,
    reading: Reading,
    outlet: Outlet,
    instrument: Instrument,
    factor: FoundFactor | None,
) -> tuple[str, ...]:
    if factor is None:
        return (f"outlet {outlet.outlet}: factor {outlet.found_factor} is not in the records: find it first",)
    if (factor.instrument_id, factor.method_id) == (reading.instrument_id, reading.method_id):
        left_behind = records.left_behind.against(factor)
        return () if left_behind is None else (left_behind,)
    found_with, method = records.instruments[factor.instrument_id].tag, records.methods[factor.method_id].method
    used = records.methods[reading.method_id].method
    holds = f"factor {factor.factor}: it was found with {found_with}, {method}, and holds for them only"
    taken_with = f"this reading was taken with {instrument.tag}, {used}"
    return (f"{holds}; {taken_with}: measure with them, or amend the outlet",)


def _section(traversed: Traversed, outlet: Outlet, instrument: Instrument) -> tuple[str, ...]:
    """Whether there is a section, as the outlet counts now, in which a traverse has its points."""
    if outlet.shape is not None:
        return ()
    where = f"{instrument.tag}: outlet {outlet.outlet} has no shape"
    return (f"{where}, and was traversed by the {traversed.rule} rule: amend the outlet",)


def _evaluated(records: OnRecord, standing: Sequence[Standing]) -> list[Gated]:
    """What only shows when readings are evaluated: scaled indications, low pressures, pairs and traverses that cannot be."""
    first, kind = by_kind(standing, lambda reading: (reading.system, reading.way))
    of_kind = [_without_reference(records, reading) for reading in first]
    why_not = [of_kind[each] for each in kind]
    known = [reading for reading, why in zip(standing, why_not, strict=True) if why is None]
    answers = iter(_told_from_zero(records, known))
    return [next(answers) if why is None else Gated(None, (why,)) for why in why_not]


def _without_reference(records: OnRecord, standing: Standing) -> str | None:
    """Why there is no density of the reference state or of the calibration; None where there is, or where none is needed."""
    tag, certificate = standing.instrument.tag, f"certificate {standing.calibration.certificate}"
    try:
        known = not math.isnan(density_of_reference(standing, records))
    except CalibError as error:
        return f"{tag}: {ReferenceAir.STATE.value if standing.way.needs_reference_state else certificate}: {error}"
    if known:
        return None
    return (
        f"{tag}: {certificate} does not state temperature, pressure and humidity, so the density of the air cannot be "
        "corrected for: leave the conditions out, or have it calibrated with them"
    )


def _told_from_zero(records: OnRecord, standing: Sequence[Standing]) -> list[Gated]:
    """Readings that have a value; by a way that may not tell it from zero, by the uncertainty that the instrument has there."""
    if not standing:
        return []
    try:
        readings = arrays_of(standing, records)
        measured = flows(readings)
    except CalibError as error:
        if len(standing) == 1:
            return [Gated(None, (_without_value(standing[0], error),))]
        half = len(standing) // 2
        return [*_told_from_zero(records, standing[:half]), *_told_from_zero(records, standing[half:])]
    expanded = _expanded_uncertainties(records, standing)
    told = [_told(*each) for each in zip(standing, measured.velocity.tolist(), expanded.tolist(), strict=True)]
    return [_with_low_points(each, readings, measured, standing[row], row) for row, each in enumerate(told)]


def _with_low_points(told: Gated, readings: Readings, measured: Flows, standing: Standing, row: int) -> Gated:
    reasons = (*reasons_of_low_points(standing, readings, measured, row), *told.reasons)
    if reasons or told.standing is None:
        return Gated(None, reasons)
    flags = (*told.standing.flags, *flags_of_low_points(standing, readings, measured, row))
    return Gated(told.standing._replace(flags=flags), ()) if flags != told.standing.flags else told


def _without_value(standing: Standing, error: CalibError) -> str:
    if isinstance(error, MeasuringIntervalError):
        # The indications themselves have passed: what is outside is a vane's scaled indication, or the probe's velocity.
        return f"{(standing.probe or standing.instrument).tag}: {error}: use an instrument calibrated there"
    return f"{standing.instrument.tag}: {error}"


def _told(standing: Standing, velocity: float, expanded_uncertainty: float) -> Gated:
    if standing.way.low is None:
        return Gated(standing, ())
    assert standing.air is not None  # noqa: S101 (such a way gives no velocity without a density)
    low = standing.way.low(velocity, standing.air.density, expanded_uncertainty)
    text = f"{standing.instrument.tag}: {low_pressure_text(low)}"
    if low.refused:
        return Gated(None, (text,))
    return Gated(standing._replace(flags=(*standing.flags, text)) if low.flagged else standing, ())


def _expanded_uncertainties(records: OnRecord, standing: Sequence[Standing]) -> Floats:
    """U of one indication of the instruments about the mean ones [SI], within their measuring intervals; NaN where not asked."""
    expanded = np.full(len(standing), np.nan)
    asked = [row for row, reading in enumerate(standing) if reading.way.low is not None]
    firsts, kind = by_kind([standing[row] for row in asked], with_what)
    for each, first in enumerate(firsts):
        rows = np.array(asked)[kind == each]
        curve = records.curve(first.calibration.record_id)
        means = np.clip([standing[row].indication.mean for row in rows], curve.low, curve.high)
        days = [standing[row].at.date() for row in rows]
        stability = stability_at(records, first.instrument, first.calibration, days, means)
        contributions = flows(declared(first.instrument, curve, means, stability)).velocity_contributions
        expanded[rows] = _COVERAGE_FACTOR * combine(contributions).standard_uncertainty
    return expanded


def air_of_reading(standing: Standing) -> AirFound | None:
    """The air that counts in a reading; None where its density does not."""
    return None if standing.way.in_air is None else standing.air
