"""Which instruments a job can be planned with on a day.

What a probe is: a pressure instrument needs one before it, and the register holds no word for it. An instrument that measures and
indicates air velocity, without effect of density, is one if a reading or a pairing on record names it as a probe; or, as long as
none names it at all, if its kind says so: it has the word pitot, tube or probe, and none that belongs to an anemometer. A probe is
not planned for by itself.
"""

import re
from collections.abc import Sequence

from sqlmodel import Session, select

from calib.confirmation.interval import gate, is_retired
from calib.measurement.way import ProbeUse
from calib.measurement.ways import way_of
from calib.procedures.on_record.in_force import OnRecord
from calib.procedures.on_record.way_of_instrument import way_of_instrument
from calib.procedures.plan.planned import Gear, LeftOut, Wish
from calib.quantities import unit
from calib.records.record import key
from calib.records.tables.instruments import Instrument
from calib.records.tables.readings import Reading, Refusal

_PROBE = re.compile(r"\b(pitot|tube|probe)\b", re.IGNORECASE)
_ANEMOMETER = re.compile(r"anemometer|vane|thermal|wire|film", re.IGNORECASE)


def is_probe(instrument: Instrument, as_probe: frozenset[int], as_instrument: frozenset[int]) -> bool:
    """Whether an instrument is a probe to be used with a manometer, by the rule at the top of this file.

    `as_probe` and `as_instrument` are the keys of those that readings and pairings on record name as a probe, or as an instrument.
    """
    way = way_of(instrument.quantity, instrument.density_effect)
    if way is None or not way.may_be_probe or instrument.indicated != instrument.quantity:
        return False
    if key(instrument.id) in as_probe | as_instrument:
        return key(instrument.id) in as_probe
    return _PROBE.search(instrument.kind) is not None and _ANEMOMETER.search(instrument.kind) is None


def probes_of(session: Session, records: OnRecord) -> frozenset[int]:
    """Keys of the instruments that are probes."""
    as_probe: set[int | None] = {pair.probe_id for pair in records.pairs}
    as_instrument = {pair.meter_id for pair in records.pairs}
    for table in (Reading, Refusal):
        for instrument, probe in session.exec(select(table.instrument_id, table.probe_id).distinct()):
            as_instrument.add(instrument)
            as_probe.add(probe)
    named = frozenset(probe for probe in as_probe if probe is not None), frozenset(as_instrument)
    return frozenset(
        instrument_id for instrument_id, instrument in records.instruments.items() if is_probe(instrument, *named)
    )


def gear_on(records: OnRecord, probes: frozenset[int], wish: Wish) -> tuple[tuple[Gear, ...], tuple[LeftOut, ...]]:
    """What may be used on that day, and what may not."""
    measure = [
        instrument
        for instrument_id, instrument in sorted(records.instruments.items())
        if instrument_id in probes or _measures_air(instrument)
    ]
    here = [instrument for instrument in measure if not _retired(records, instrument, wish)]
    asked = {instrument.tag: gate(records.register, instrument.tag, wish.at, wish.known) for instrument in here}
    left_out = [
        LeftOut(instrument, asked[instrument.tag].reasons) for instrument in here if not asked[instrument.tag].allowed
    ]
    free = [instrument for instrument in here if asked[instrument.tag].allowed]
    before = [instrument for instrument in free if instrument.id in probes]
    gear: list[Gear] = []
    for instrument in (instrument for instrument in free if instrument.id not in probes):
        if way_of_instrument(instrument).probe is ProbeUse.NEEDED:
            gear += [Gear(instrument, asked[instrument.tag], probe, asked[probe.tag]) for probe in before]
            left_out += (
                []
                if before
                else [LeftOut(instrument, (f"{instrument.tag}: no probe in calibration to stand before it",))]
            )
        else:
            gear.append(Gear(instrument, asked[instrument.tag]))
    return tuple(gear), tuple(left_out)


def _measures_air(instrument: Instrument) -> bool:
    way = way_of(instrument.quantity, instrument.density_effect)
    if way is None or way.begins_at_most is None or instrument.indicated != instrument.quantity:
        return way is not None
    return unit(instrument.quantity, instrument.unit).to_si(float(instrument.range_low)) <= way.begins_at_most


def _retired(records: OnRecord, instrument: Instrument, wish: Wish) -> bool:
    return is_retired(records.register[instrument.tag], wish.at)


def standards_among(records: OnRecord, gear: Sequence[Gear]) -> tuple[str, ...]:
    """Tags of the instruments that serve as reference standards."""
    serve = {
        tag for instrument in records.register.values() for each in instrument.calibrations for tag in each.standards
    }
    return tuple(sorted(serve & {each.instrument.tag for each in gear}))
