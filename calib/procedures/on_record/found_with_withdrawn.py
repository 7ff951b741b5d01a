"""Factors found in the field with a certificate that was withdrawn since: their pairs, or a standard behind them, count no more.

Asked is each calibration that the readings of the pairs rested on when the factor was found: of the instrument and of the probe, in
the duct and at the face, of the meters of the air, and of the reference standards of those made in house, on the day of each.
"""

from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import chain
from typing import Any

from sqlmodel import Session, col, or_, select

from calib.procedures.on_record.by_keys import by_keys
from calib.procedures.on_record.recorded import sequences
from calib.procedures.on_record.register import with_standards
from calib.records.record import moment
from calib.records.tables.calibrations import Acceptance, Calibration, ReferenceStandard, Withdrawal
from calib.records.tables.conditions import Condition
from calib.records.tables.factors import FactorPair, FoundFactor
from calib.records.tables.instruments import Instrument
from calib.records.tables.outlets import Outlet
from calib.records.tables.readings import Reading


def found_with_withdrawn(
    session: Session, factors: Mapping[int, FoundFactor], place: Mapping[int, int]
) -> dict[int, str]:
    """What is wrong with each factor that rests on a withdrawn certificate, by its key; `place`: of each in the ledger."""
    if session.exec(select(Withdrawal.id).limit(1)).first() is None:
        return {}
    used = _used(session, factors)
    instruments = with_standards(session, {instrument for each in used.values() for instrument, _ in each})
    of_instruments = select(Withdrawal.calibration_id, Withdrawal.id).join(Calibration)
    withdrawn = dict(by_keys(session, of_instruments, Calibration.instrument_id, instruments))
    if not withdrawn:
        return {}
    accepted = _accepted(session, instruments, withdrawn)
    standards: dict[int, list[int]] = defaultdict(list)
    of_calibrations = select(ReferenceStandard.calibration_id, ReferenceStandard.instrument_id)
    for calibration, standard in by_keys(
        session, of_calibrations, ReferenceStandard.calibration_id, {each.calibration for each in accepted}
    ):
        standards[calibration].append(standard)
    wrong = {}
    for factor, instruments_used in used.items():
        at_the_face = (each for each in accepted if each.calibration == factors[factor].calibration_id)
        then = _Then([each for each in accepted if each.counted(place[factor])], standards)
        behind = (each for asked in instruments_used for each in then.withdrawn_behind(*asked))
        first = next(chain((each for each in at_the_face if each.withdrawn_at is not None), behind), None)
        if first is not None:
            wrong[factor] = f"it was found with certificate {first.certificate} of {first.tag}, which was withdrawn"
    return wrong


def _used(session: Session, factors: Collection[int]) -> dict[int, list[tuple[int, date]]]:
    """Instruments that the pairs of each factor were read with, each with its day, by the key of the factor."""
    pair, reading, condition = FactorPair, Reading, Condition
    query: Any = select(  # type: ignore[call-overload]
        pair.found_factor_id, reading.observed_at, reading.instrument_id, reading.probe_id,
        condition.instrument_id, condition.observed_at,
    )  # fmt: skip
    both = or_(col(reading.id) == pair.traverse_reading_id, col(reading.id) == pair.face_reading_id)
    of_air = (col(condition.job_id) == Outlet.job_id) & (col(condition.conditions) == reading.conditions)
    query = query.select_from(pair).join(reading, both).join(Outlet, col(Outlet.id) == reading.outlet_id)
    used: dict[int, dict[tuple[int, date], None]] = defaultdict(dict)
    for factor, at, instrument, probe, meter, observed_at in by_keys(
        session, query.outerjoin(condition, of_air).order_by(col(pair.id)), pair.found_factor_id, factors
    ):
        for each, when in ((instrument, at), (probe, at), (meter, observed_at)):
            if each is not None:
                used[factor][each, moment(when).date()] = None
    return {factor: [*each] for factor, each in used.items()}


@dataclass(frozen=True)
class _Accepted:
    """A certificate that was accepted, and when in the ledger it counted."""

    calibration: int
    instrument: int
    tag: str
    certificate: str
    calibrated_on: date
    accepted_on: date
    accepted_at: int  # places in the ledger
    withdrawn_at: int | None

    def counted(self, place: int) -> bool:
        """Whether it counted at a place in the ledger."""
        return self.accepted_at < place and (self.withdrawn_at is None or place < self.withdrawn_at)


def _accepted(session: Session, instruments: Collection[int], withdrawn: Mapping[int, int]) -> list[_Accepted]:
    query = select(Calibration, Acceptance, Instrument.tag).select_from(Calibration)
    query = query.join(Acceptance, col(Acceptance.calibration_id) == Calibration.id)
    query = query.join(Instrument, col(Instrument.id) == Calibration.instrument_id)
    rows = list(by_keys(session, query, Calibration.instrument_id, instruments))
    accepted_at = sequences(session, "acceptance", [acceptance.id for _, acceptance, _ in rows])
    withdrawn_at = sequences(session, "withdrawal", withdrawn.values())
    return [
        _Accepted(
            own.id,
            own.instrument_id,
            tag,
            own.certificate,
            date.fromisoformat(own.calibrated_on),
            date.fromisoformat(acceptance.accepted_on),
            accepted_at[acceptance.id],
            withdrawn_at[withdrawn[own.id]] if own.id in withdrawn else None,
        )
        for own, acceptance, tag in rows
    ]


class _Then:
    """The certificates that counted when a factor was found."""

    def __init__(self, accepted: Sequence[_Accepted], standards: Mapping[int, Sequence[int]]) -> None:
        self.accepted, self.standards = accepted, standards

    def withdrawn_behind(self, instrument: int, day: date, above: tuple[int, ...] = ()) -> Iterator[_Accepted]:
        """Certificates withdrawn since that an instrument rested on, on a day; of one day the one that was withdrawn."""
        until = [each for each in self.accepted if each.instrument == instrument and each.calibrated_on <= day]
        in_force = max(
            (each for each in until if each.accepted_on <= day),
            key=lambda each: (each.calibrated_on, each.withdrawn_at is not None, each.accepted_on, each.calibration),
            default=None,
        )
        if in_force is None or in_force.calibration in above:
            return
        if in_force.withdrawn_at is not None:
            yield in_force
        for standard in self.standards.get(in_force.calibration, ()):
            yield from self.withdrawn_behind(standard, in_force.calibrated_on, (*above, in_force.calibration))
