"""Which instruments a job can be planned with on a day.

What a probe is: a pressure instrument needs one before it, and the register holds no word for it. An instrument that measures and
indicates air velocity, without effect of density, is one if a reading on record names it as its probe; or, as long as no reading
names it at all, if its kind says so: it has the word pitot, tube or probe, and none that belongs to an anemometer. A probe is not
planned for by itself.
"""

import re
from collections.abc import Sequence

from sqlmodel import Session, select

from calib.confirmation.interval import gate, is_retired
from calib.measurement.way import Probe
from calib.measurement.ways import QUANTITIES
from calib.procedures.on_record.in_force import OnRecord
from calib.procedures.on_record.way_of_instrument import way_of_instrument
from calib.procedures.plan.planned import Gear, LeftOut, Wish
from calib.quantities import unit
from calib.records import tables
from calib.records.record import key

# A velocity pressure above it is one of 130 m/s and more, where air is no incompressible fluid: what begins there is a barometer.
_LARGEST_VELOCITY_PRESSURE = 10e3  # [Pa]
_PROBE = re.compile(r"\b(pitot|tube|probe)\b", re.IGNORECASE)
_ANEMOMETER = re.compile(r"anemometer|vane|thermal|wire|film", re.IGNORECASE)


def is_probe(one: tables.Instrument, as_probe: frozenset[int], as_instrument: frozenset[int]) -> bool:
    """Whether an instrument is a probe to be used with a manometer, by the rule at the top of this file.

    `as_probe` and `as_instrument` are the keys of those that readings on record name as their probe or as their instrument.
    """
    if (one.quantity, one.indicated) != ("air velocity", "air velocity") or one.density_effect is not None:
        return False
    if key(one.id) in as_probe | as_instrument:
        return key(one.id) in as_probe
    return _PROBE.search(one.kind) is not None and _ANEMOMETER.search(one.kind) is None


def probes_of(session: Session, records: OnRecord) -> frozenset[int]:
    """Keys of the instruments that are probes."""
    as_probe, as_instrument = set(), set()
    for table in (tables.Reading, tables.Refusal):
        for instrument, probe in session.exec(select(table.instrument_id, table.probe_id).distinct()):
            as_instrument.add(instrument)
            as_probe.add(probe)
    named = frozenset(one for one in as_probe if one is not None), frozenset(as_instrument)
    return frozenset(number for number, one in records.instruments.items() if is_probe(one, *named))


def gear_on(records: OnRecord, probes: frozenset[int], wish: Wish) -> tuple[tuple[Gear, ...], tuple[LeftOut, ...]]:
    """What may be used on that day, and what may not."""
    measure = [one for number, one in sorted(records.instruments.items()) if number in probes or _measures_air(one)]
    here = [one for one in measure if not _retired(records, one, wish)]
    asked = {one.tag: gate(records.register, one.tag, wish.at, wish.known) for one in here}
    left_out = [LeftOut(one, asked[one.tag].reasons) for one in here if not asked[one.tag].allowed]
    free = [one for one in here if asked[one.tag].allowed]
    before = [one for one in free if one.id in probes]
    gear: list[Gear] = []
    for one in (one for one in free if one.id not in probes):
        if way_of_instrument(one).probe is Probe.NEEDED:
            gear += [Gear(one, asked[one.tag], probe, asked[probe.tag]) for probe in before]
            left_out += [] if before else [LeftOut(one, (f"{one.tag}: no probe in calibration to stand before it",))]
        else:
            gear.append(Gear(one, asked[one.tag]))
    return tuple(gear), tuple(left_out)


def _measures_air(one: tables.Instrument) -> bool:
    if one.quantity == "pressure" and one.indicated == "pressure":
        return unit("pressure", one.unit).to_si(float(one.range_low)) <= _LARGEST_VELOCITY_PRESSURE
    return one.quantity in QUANTITIES


def _retired(records: OnRecord, one: tables.Instrument, wish: Wish) -> bool:
    return is_retired(records.register[one.tag], wish.at)


def standards_among(records: OnRecord, gear: Sequence[Gear]) -> tuple[str, ...]:
    """Tags of the instruments that serve as reference standards."""
    serve = {tag for one in records.register.values() for each in one.calibrations for tag in each.standards}
    return tuple(sorted(serve & {one.instrument.tag for one in gear}))
