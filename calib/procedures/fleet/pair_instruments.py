"""Pair a probe with the meter that it is calibrated and used with, and part them; what was paired at a time.

A probe belongs to one meter at a time; a meter may have several probes. Common practice, no source.
"""

from collections.abc import Iterator
from datetime import datetime

from sqlmodel import Session, select

from calib.errors import BadInputError, Finding
from calib.procedures.on_record.by_name import instrument_tagged, retired_among
from calib.procedures.on_record.probe_pairs import PAIRED, PARTED, all_pairs
from calib.procedures.on_record.way_of_instrument import expected_of_meter, expected_of_probe
from calib.procedures.people.authorise import append
from calib.procedures.typed.reason import without_reason
from calib.procedures.typed.time_to_come import expected_of
from calib.records import ledger
from calib.records.record import key, typed
from calib.records.tables.events import Pairing
from calib.records.tables.instruments import Instrument


def change_pair(
    session: Session, tags: tuple[str, str], kind: str, at: datetime, reason: str, signature: ledger.Signature
) -> Pairing:
    """Append a pairing (PAIRED) of a probe and a meter, or its end (PARTED).

    Raises NotInRecordsError, or BadInputError where they are no probe and no meter for one, there is nothing to end, the probe
    is paired already, or the time cannot be.
    """
    probe, meter = (instrument_tagged(session, tag) for tag in tags)
    findings = list(_findings(session, probe, meter, kind, at, reason, signature.time))
    if findings:
        raise BadInputError(findings)
    record = Pairing(
        probe_id=key(probe.id),
        meter_id=key(meter.id),
        kind=kind,
        at=at.isoformat(timespec="seconds"),
        reason=reason.strip(),
    )
    append(session, [record], signature)
    return record


def _findings(
    session: Session, probe: Instrument, meter: Instrument, kind: str, at: datetime, reason: str, now: datetime
) -> Iterator[Finding]:
    yield from without_reason(reason)
    to_come = expected_of(at, now)
    if to_come is not None:
        yield _wrong("at", at.isoformat(), to_come)
    if probe.id == meter.id:
        yield _wrong("METER", meter.tag, "another instrument than the probe")
        return
    if kind == PAIRED:
        yield from _of_gear(session, probe, meter)
    own = [pair for pair in all_pairs(session) if pair.probe_id == probe.id]
    last = max((pair.until or pair.since for pair in own), default=None)
    if last is not None and at < last:
        yield _wrong("at", at.isoformat(), f"a time not before its last change ({last.isoformat()})")
    held = next((pair.meter_id for pair in own if pair.until is None), None)
    yield from _of_state(session, probe, meter, kind, held)


def _of_gear(session: Session, probe: Instrument, meter: Instrument) -> Iterator[Finding]:
    """Whether the one is a probe and the other a meter to be used with one, both in service."""
    retired = retired_among(session, {probe.tag, meter.tag})
    for column, instrument, expected_instead in (
        ("PROBE", probe, expected_of_probe),
        ("METER", meter, expected_of_meter),
    ):
        if instrument.tag in retired:
            yield _wrong(column, instrument.tag, "an instrument in service; this one is retired")
        elif (expected := expected_instead(typed(instrument))) is not None:
            yield _wrong(column, instrument.tag, expected)


def _of_state(session: Session, probe: Instrument, meter: Instrument, kind: str, held: int | None) -> Iterator[Finding]:
    if kind == PAIRED and held is not None:
        tag = session.exec(select(Instrument.tag).where(Instrument.id == held)).one()
        yield _wrong("PROBE", probe.tag, f"a probe that is not paired; it is with {tag}: part them first")
    if kind == PARTED and held != meter.id:
        yield _wrong("PROBE", probe.tag, f"a probe that is paired with {meter.tag}")


def _wrong(column: str, value: str, expected: str) -> Finding:
    return Finding.typed(column, value, expected)
