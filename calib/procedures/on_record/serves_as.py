"""What an instrument serves as, which the register holds no word for: it is seen from what is on record.

A probe stands before a pressure instrument, which needs one. An instrument that measures and indicates air velocity, without effect
of density, is one if a reading or a pairing on record names it as a probe; or, as long as none names it at all, if its kind says
so: it has the word pitot, tube or probe, and none that belongs to an anemometer. A reference standard is named by a calibration in
house. One that reads flows does so at the face of an outlet or in the section of a duct.
"""

import re
from collections.abc import Collection, Iterable, Mapping
from enum import Enum, auto

from sqlmodel import Session, col, select

from calib.measurement.ways import way_of
from calib.procedures.on_record.probe_pairs import Pair
from calib.procedures.on_record.what_counts import not_retracted
from calib.quantities import unit
from calib.records.record import key
from calib.records.tables.calibrations import ReferenceStandard
from calib.records.tables.instruments import Instrument
from calib.records.tables.readings import Reading, Refusal

_PROBE = re.compile(r"\b(pitot|tube|probe)\b", re.IGNORECASE)
_ANEMOMETER = re.compile(r"anemometer|vane|thermal|wire|film", re.IGNORECASE)


class Duty(Enum):
    """What an instrument served as."""

    AT_A_FACE = auto()
    IN_A_SECTION = auto()
    AS_A_PROBE = auto()
    AS_A_STANDARD = auto()


READING_FLOWS = frozenset({Duty.AT_A_FACE, Duty.IN_A_SECTION})


def duties_of(session: Session, instruments: Collection[Instrument], probes: Collection[int]) -> dict[int, set[Duty]]:
    """What each of some instruments, by key, served as so far; nothing of one that was never used. `probes`: see `probes_of`."""
    duties: dict[int, set[Duty]] = {key(each.id): set() for each in instruments}
    own = col(Reading.instrument_id).in_(duties)
    read = (
        select(Reading.instrument_id, col(Reading.traverse_id).is_not(None))
        .where(own, not_retracted(Reading))
        .distinct()
    )
    for instrument, is_traversed in session.exec(read):
        duties[instrument].add(Duty.IN_A_SECTION if is_traversed else Duty.AT_A_FACE)
    for standard in session.exec(select(ReferenceStandard.instrument_id).distinct()):
        if standard in duties:
            duties[standard].add(Duty.AS_A_STANDARD)
    for probe in duties.keys() & set(probes):
        duties[probe].add(Duty.AS_A_PROBE)
    return duties


def measures_air(instrument: Instrument) -> bool:
    """Whether flows are measured with an instrument: no thermometer, and of those for pressure no barometer."""
    way = way_of(instrument.quantity, instrument.density_effect)
    if way is None or way.begins_at_most is None or instrument.indicated != instrument.quantity:
        return way is not None
    return unit(instrument.quantity, instrument.unit).to_si(float(instrument.range_low)) <= way.begins_at_most


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


def probes_of(session: Session, instruments: Mapping[int, Instrument], pairs: Iterable[Pair]) -> frozenset[int]:
    """Keys of the instruments that are probes, among some by key; `pairs` are those on record."""
    as_probe: set[int | None] = set()
    as_instrument: set[int] = set()
    for pair in pairs:
        as_probe.add(pair.probe_id)
        as_instrument.add(pair.meter_id)
    for table in (Reading, Refusal):
        for instrument, probe in session.exec(select(table.instrument_id, table.probe_id).distinct()):
            as_instrument.add(instrument)
            as_probe.add(probe)
    named = frozenset(probe for probe in as_probe if probe is not None), frozenset(as_instrument)
    return frozenset(instrument_id for instrument_id, each in instruments.items() if is_probe(each, *named))
