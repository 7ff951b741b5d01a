"""Ask the gate about a reading as typed: every instrument used, the conditions it rests on, the factor it uses."""

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from calib.airflow.velocity import low_pressure_text
from calib.confirmation.interval import Decision, gate
from calib.errors import CalibError, MeasuringIntervalError
from calib.measurement import flows
from calib.measurement.way import ProbeUse, ReferenceAir, Way
from calib.procedures.measure.air import AirFound, air_of
from calib.procedures.measure.arrays import arrays_of, density_of_reference
from calib.procedures.measure.indicated import indicated
from calib.procedures.measure.stability import stability_at
from calib.procedures.measure.standing import Standing, indication_of
from calib.procedures.on_record.in_force import OnRecord
from calib.procedures.on_record.probe_pairs import reasons_against
from calib.procedures.on_record.way_of_instrument import way_of_instrument
from calib.procedures.typed.observations import Observed
from calib.quantities import unit
from calib.records import tables
from calib.records.record import moment
from calib.uncertainty.propagation import combine

_COVERAGE_FACTOR = 2.0  # of the manometer's expanded uncertainty, by which a velocity pressure is judged low


@dataclass(frozen=True)
class Gated:
    """The gate's answer on a reading: it stands, or the reasons why it does not."""

    standing: Standing | None
    reasons: tuple[str, ...]


def gate_reading(
    records: OnRecord, reading: tables.Reading, observed: Observed, outlet: tables.Outlet, now: datetime
) -> Gated:
    """The gate's decision on a reading as typed; `outlet` is the one it was taken at, as it counts now."""
    instrument = records.instruments[reading.instrument_id]
    way = way_of_instrument(instrument)
    decision = _instrument(records, reading, observed, instrument, now)
    named = None if reading.probe_id is None else records.instruments[reading.probe_id]
    # A probe that was calibrated together with its meter has no calibration of its own that counts.
    probe = None if way.probe is ProbeUse.CALIBRATED_WITH else named
    probe_decision = None if probe is None else gate(records.register, probe.tag, moment(reading.observed_at), now)
    air = None if reading.conditions is None else air_of(records, outlet.job_id, reading.conditions, now)
    factor = None if outlet.found_factor is None else records.factors.get(outlet.found_factor)
    of_all = (
        *decision.reasons,
        *(() if probe_decision is None else probe_decision.reasons),
        *_pair(records, reading, instrument, named, now),
        *(() if air is None else air.reasons),
        *_opening(records, reading, outlet, instrument, factor),
        *_section(observed, outlet, instrument),
    )
    reasons = tuple(dict.fromkeys(of_all))  # a manometer may have observed the static pressure too
    if reasons or decision.calibration is None:
        return Gated(None, reasons)
    standing = Standing(
        reading,
        observed,
        indication_of(reading, observed, instrument),
        outlet,
        instrument,
        records.methods[reading.method_id],
        decision.calibration,
        decision,
        probe,
        probe_decision,
        air,
        None if way.is_flow else factor,
    )
    wrong = None if standing.factor is None else records.found_wrongly(standing.factor)
    if wrong is not None:
        # No refusal: the factor could not be found again from readings that it refuses.
        standing = replace(standing, flags=(wrong,))
    return _evaluated(records, standing)


def _instrument(
    records: OnRecord, reading: tables.Reading, observed: Observed, instrument: tables.Instrument, now: datetime
) -> Decision:
    """Decision on the instrument, at the lowest and the highest of its indications."""
    typed = unit(instrument.indicated, reading.unit)
    # Of standing air no value is asked of the curve.
    may_stand = way_of_instrument(instrument).zero_is_standing_air
    asked = [indication for indication in observed.indications if indication > 0 or not may_stand]
    if not asked:
        return gate(records.register, instrument.tag, moment(reading.observed_at), now)
    decisions = [
        gate(
            records.register,
            instrument.tag,
            moment(reading.observed_at),
            now,
            typed.to_si(value),
            _shown(reading, observed, value),
        )
        for value in dict.fromkeys((min(asked), max(asked)))
    ]
    reasons = dict.fromkeys(reason for decision in decisions for reason in decision.reasons)
    return replace(decisions[0], reasons=tuple(reasons))


def _pair(
    records: OnRecord,
    reading: tables.Reading,
    instrument: tables.Instrument,
    probe: tables.Instrument | None,
    now: datetime,
) -> Iterable[str]:
    """Whether meter and probe were used as they are paired, and the probe of a pair calibrated as one is in use like its meter."""
    at = moment(reading.observed_at)
    if records.pairs:
        tags = {instrument_id: instrument.tag for instrument_id, instrument in records.instruments.items()}
        yield from reasons_against(records.pairs, instrument, probe, at, tags)
    if probe is not None and way_of_instrument(instrument).probe is ProbeUse.CALIBRATED_WITH:
        yield from probe_of(records, instrument, probe, at, now).reasons


def probe_of(
    records: OnRecord, meter: tables.Instrument, probe: tables.Instrument, at: datetime, now: datetime
) -> Decision:
    """Decision on a probe with its meter: by its own calibration, or by the meter's where both were calibrated as one."""
    if way_of_instrument(meter).probe is not ProbeUse.CALIBRATED_WITH:
        return gate(records.register, probe.tag, at, now)
    own = records.register[meter.tag]
    as_pair = replace(
        records.register[probe.tag],
        calibrations=own.calibrations,
        interval_months=own.interval_months,
        interval_changes=own.interval_changes,
    )
    return gate({**records.register, probe.tag: as_pair}, probe.tag, at, now)


def _shown(reading: tables.Reading, observed: Observed, value: float) -> str:
    if observed.traversed is None and value == observed.mean:
        return f"{reading.indication or f'{observed.mean:.6g}'} {reading.unit}"
    return f"{value:.6g} {reading.unit}"


def makes_a_flow(outlet: tables.Outlet) -> bool:
    """Whether a velocity makes a flow at a place: in a duct by its section, at an outlet by a factor or an effective area."""
    factors = (outlet.outlet_factor, outlet.effective_area, outlet.found_factor)
    return outlet.place == tables.DUCT or factors != (None, None, None)


def _opening(
    records: OnRecord,
    reading: tables.Reading,
    outlet: tables.Outlet,
    instrument: tables.Instrument,
    factor: tables.FoundFactor | None,
) -> Iterable[str]:
    """Whether the outlet has, as it counts now, what turns the reading into a flow."""
    if way_of_instrument(instrument).is_flow:
        return
    if not makes_a_flow(outlet):
        yield (
            f"outlet {outlet.outlet}: no outlet factor and no effective area, and {instrument.tag} indicates no flow: "
            "amend the outlet"
        )
    if outlet.found_factor is not None and factor is None:
        yield f"outlet {outlet.outlet}: factor {outlet.found_factor} is not in the records: find it first"
    if factor is None:
        return
    found_with = records.instruments[factor.instrument_id].tag
    method = records.methods[factor.method_id].method
    if (factor.instrument_id, factor.method_id) != (reading.instrument_id, reading.method_id):
        used = records.methods[reading.method_id].method
        yield (
            f"factor {factor.factor}: it was found with {found_with}, {method}, and holds for them only; "
            f"this reading was taken with {instrument.tag}, {used}: measure with them, or amend the outlet"
        )


def _section(observed: Observed, outlet: tables.Outlet, instrument: tables.Instrument) -> Iterable[str]:
    """Whether there is a section, as the outlet counts now, in which a traverse has its points."""
    if observed.traversed is not None and outlet.shape is None:
        yield (
            f"{instrument.tag}: outlet {outlet.outlet} has no shape, and was traversed by the {observed.traversed.rule} rule: "
            "amend the outlet"
        )


def _evaluated(records: OnRecord, standing: Standing) -> Gated:
    """What only shows when the reading is evaluated: scaled indications, low pressures, pairs and traverses that cannot be."""
    way = standing.way
    if way.is_plain and standing.observed.traversed is None:
        return Gated(standing, ())
    why = _without_reference(records, standing)
    if why is not None:
        return Gated(None, (why,))
    try:
        evaluated = flows(arrays_of([standing], records))
    except MeasuringIntervalError as error:
        # The indications themselves have passed: what is outside is a vane's scaled indication, or the probe's velocity.
        tag = (standing.probe or standing.instrument).tag
        return Gated(None, (f"{tag}: {error}: use an instrument calibrated there",))
    except CalibError as error:
        return Gated(None, (f"{standing.instrument.tag}: {error}",))
    return _told_from_zero(records, standing, way, float(evaluated.velocity[0]))


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


def _told_from_zero(records: OnRecord, standing: Standing, way: Way, velocity: float) -> Gated:
    """A reading by a way that may not tell its velocity from zero, by the uncertainty that its instrument has there."""
    if way.low is None:
        return Gated(standing, ())
    assert standing.air is not None  # noqa: S101 (such a way gives no velocity without a density)
    low = way.low(velocity, standing.air.density, _expanded_uncertainty(records, standing))
    text = f"{standing.instrument.tag}: {low_pressure_text(low)}"
    if low.refused:
        return Gated(None, (text,))
    return Gated(replace(standing, flags=(*standing.flags, text)) if low.flagged else standing, ())


def _expanded_uncertainty(records: OnRecord, standing: Standing) -> float:
    """U of one indication of the instrument about the mean one [SI], within its measuring interval."""
    curve = records.curve(standing.calibration.record_id)
    mean = float(np.clip(standing.indication.mean, curve.low, curve.high))
    day = moment(standing.reading.observed_at).date()
    stability = stability_at(records, standing.instrument, standing.calibration, [day], mean)
    _, contributions = indicated(standing.instrument, curve, mean, stability)
    return _COVERAGE_FACTOR * float(combine(contributions).standard_uncertainty[0])


def air_of_reading(standing: Standing) -> AirFound | None:
    """The air that counts in a reading; None where its density does not."""
    return None if standing.way.in_air is None else standing.air
