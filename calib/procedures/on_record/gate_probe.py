"""Ask the gate about a probe before its meter."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, datetime

from calib.confirmation.interval import Decision, InstrumentOnRecord, gate
from calib.records.tables.instruments import Instrument


def gate_probe(
    register: Mapping[str, InstrumentOnRecord],
    meter: Instrument,
    probe: Instrument,
    at: datetime | date,
    now: datetime | date,
    indication: float | None = None,  # [SI]
    indication_text: str = "",
) -> Decision:
    """Decision on a probe with its meter: by its own calibration, or by the meter's where both were calibrated as one."""
    from calib.measurement.way import ProbeUse  # noqa: PLC0415 (numpy; and only paired instruments are asked their way)
    from calib.procedures.on_record.way_of_instrument import way_of_instrument  # noqa: PLC0415

    if way_of_instrument(meter).probe is not ProbeUse.CALIBRATED_WITH:
        return gate(register, probe.tag, at, now, indication, indication_text)
    own = register[meter.tag]
    as_pair = replace(
        register[probe.tag],
        calibrations=own.calibrations,
        interval_months=own.interval_months,
        interval_changes=own.interval_changes,
    )
    return gate({**register, probe.tag: as_pair}, probe.tag, at, now, indication, indication_text)
