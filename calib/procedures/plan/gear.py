"""Which instruments a job can be planned with on a day. A probe is not planned for by itself."""

from collections.abc import Sequence

from calib.confirmation.interval import gate, is_retired
from calib.measurement.way import ProbeUse
from calib.procedures.on_record.in_force import OnRecord
from calib.procedures.on_record.serves_as import measures_air
from calib.procedures.on_record.way_of_instrument import way_of_instrument
from calib.procedures.plan.planned import Gear, LeftOut, Wish
from calib.records.tables.instruments import Instrument


def gear_on(records: OnRecord, probes: frozenset[int], wish: Wish) -> tuple[tuple[Gear, ...], tuple[LeftOut, ...]]:
    """What may be used on that day, and what may not."""
    measure = [
        instrument
        for instrument_id, instrument in sorted(records.instruments.items())
        if instrument_id in probes or measures_air(instrument)
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


def _retired(records: OnRecord, instrument: Instrument, wish: Wish) -> bool:
    return is_retired(records.register[instrument.tag], wish.at)


def standards_among(records: OnRecord, gear: Sequence[Gear]) -> tuple[str, ...]:
    """Tags of the instruments that serve as reference standards."""
    serve = {
        tag for instrument in records.register.values() for each in instrument.calibrations for tag in each.standards
    }
    return tuple(sorted(serve & {each.instrument.tag for each in gear}))
