"""Values and limits of intermediate checks that are worked out: E_n of two instruments, control limits of a check standard."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import Any

from sqlmodel import Session, col, select

from calib.confirmation.control_chart import (
    FALSE_ALARM,
    FEWEST_VALUES,
    MOST_VALUES,
    Baseline,
    baseline,
    prediction_limits,
)
from calib.confirmation.interval import Decision, gate
from calib.confirmation.normalised_error import LIMIT, agreement
from calib.errors import BadInputError, CurveError, Finding, RefusedError
from calib.procedures.certificate.phase import AS_LEFT
from calib.procedures.measure.indicated import indicated, resolution_of
from calib.procedures.measure.stability import stability_at
from calib.procedures.on_record.in_force import OnRecord, on_record_of
from calib.procedures.on_record.what_counts import not_retracted, not_withdrawn
from calib.quantities import unit
from calib.records.record import key, moment
from calib.records.tables.calibrations import Calibration
from calib.records.tables.comparisons import Comparison
from calib.records.tables.events import IntermediateCheck
from calib.records.tables.instruments import Instrument
from calib.uncertainty.estimate import resolution
from calib.uncertainty.propagation import combine

_K = 2.0  # coverage factor of the uncertainties that E_n is made of


@dataclass(frozen=True)
class Worked:
    """What a check found, and the limits of what passes, as they are kept."""

    value: str
    low: str
    high: str
    unit: str
    basis: dict[str, Any] | None  # what they were worked out from; absent where they were typed


@dataclass(frozen=True)
class _Side:
    """One of two instruments that measured the same."""

    value: float  # [unit as typed]
    expanded_uncertainty: float  # k = 2
    basis: dict[str, Any]
    laboratory: str | None


# --- two instruments -------------------------------------------------------------------------------------------------------------


def compare_two(
    session: Session, instrument: Instrument, other: Instrument, cells: Mapping[str, str], at: datetime
) -> Worked:
    """E_n of two instruments that measured the same at a time; raises RefusedError where the gate refuses the other one.

    With typed expanded uncertainties the values are taken as they are; without them they are indications, and value and
    uncertainty come from each instrument's calibration in force.
    """
    records = on_record_of(session, [key(instrument.id), key(other.id)])
    stated = "expanded_uncertainty" in cells
    asked = (
        (instrument, cells["value"], cells.get("expanded_uncertainty")),
        (other, cells["other_value"], cells.get("other_expanded_uncertainty")),
    )
    decisions = [_decision(records, compared, typed, cells["unit"], at, stated=stated) for compared, typed, _ in asked]
    if not decisions[1].allowed:
        raise RefusedError("; ".join(decisions[1].reasons))
    sides = [
        _stated(decision, compared, typed, u)
        if u is not None
        else _corrected(records, compared, decision, typed, cells["unit"], at)
        for (compared, typed, u), decision in zip(asked, decisions, strict=True)
    ]
    return _agreement(sides[0], sides[1], cells["unit"])


def _decision(
    records: OnRecord, instrument: Instrument, typed: str, symbol: str, at: datetime, *, stated: bool
) -> Decision:
    """Of values that are corrected already the indication is not known."""
    indication = None if stated else unit(instrument.quantity, symbol).to_si(float(typed))
    return gate(records.register, instrument.tag, at, at, indication, f"{typed} {symbol}")


def _stated(decision: Decision, instrument: Instrument, typed: str, expanded_uncertainty: str) -> _Side:
    certificate = None if decision.calibration is None else decision.calibration.certificate
    basis = {"tag": instrument.tag, "certificate": certificate, "uncertainty": "as typed"}
    laboratory = None if decision.calibration is None else decision.calibration.laboratory
    return _Side(float(typed), float(expanded_uncertainty), basis, laboratory)


def _corrected(
    records: OnRecord, instrument: Instrument, decision: Decision, typed: str, symbol: str, at: datetime
) -> _Side:
    calibration = decision.calibration
    own = unit(instrument.quantity, symbol)
    x = own.to_si(float(typed))
    curve = None if calibration is None else records.curve(calibration.record_id)
    if calibration is None or curve is None or not curve.covers(x):
        raise CurveError(
            f"{instrument.tag}: no calibration in force that reaches {typed} {symbol}: "
            "type the expanded uncertainties of both values"
        )
    value, contributions = indicated(
        instrument, curve, x, stability_at(records, instrument, calibration, [at.date()], x)
    )
    u = own.difference_from_si(float(combine(contributions).standard_uncertainty[0]))
    basis = {
        "tag": instrument.tag,
        "certificate": calibration.certificate,
        "uncertainty": f"of its calibration, with its repeatability, resolution and stability; k = {_K:g}",
        "indication": typed,
    }
    return _Side(own.from_si(value), _K * u, basis, calibration.laboratory)


def _agreement(first: _Side, second: _Side, symbol: str) -> Worked:
    agreed = agreement(first.value, first.expanded_uncertainty, second.value, second.expanded_uncertainty)
    shared = first.laboratory if first.laboratory == second.laboratory else None
    basis = {
        "method": "E_n = (x1 - x2)/sqrt(U1^2 + U2^2), ISO 13528 and ISO/IEC 17043",
        "unit": symbol,
        "values": [
            side.basis | {"value": side.value, "expanded_uncertainty": side.expanded_uncertainty}
            for side in (first, second)
        ],
        "normalised_error": agreed.normalised_error,
        "caution": agreed.caution,
        "same_laboratory": shared,
    }
    # As many digits as decide it: a value on the limit is inside.
    return Worked(f"{agreed.normalised_error:.9f}".rstrip("0").rstrip("."), f"{-LIMIT:g}", f"{LIMIT:g}", "1", basis)


# --- check standard --------------------------------------------------------------------------------------------------------------


def from_baseline(
    session: Session, instrument: Instrument, standard: Instrument | None, cells: Mapping[str, str], at: datetime
) -> Worked:
    """A value of a check standard with limits from the values before it that passed; raises BadInputError for too few of them."""
    values = [value.value for value in baseline_values(session, instrument, standard, cells["unit"], at)]
    if len(values) < FEWEST_VALUES:
        expected = f"limits: {len(values)} value(s) have passed since the latest adjustment, and {FEWEST_VALUES} make a baseline"
        raise BadInputError([Finding.typed("low, high", None, expected)])
    base = not_below_resolution(baseline(values), instrument, cells["unit"])
    limits = prediction_limits(base)
    digits = max(0, 3 - math.floor(math.log10(base.standard_deviation)))
    basis = asdict(base) | {
        "method": "mean +- t(K-1) s sqrt(1 + 1/K), NIST/SEMATECH e-Handbook 2.3.5.2",
        "false_alarm": FALSE_ALARM,
        "unit": cells["unit"],
    }
    low, high = (f"{end:.{digits}f}" for end in (limits.low, limits.high))
    return Worked(cells["value"], low, high, cells["unit"], basis)


@dataclass(frozen=True)
class CheckValue:
    """One value of a check standard."""

    at: datetime
    value: float  # [unit asked for]


def baseline_values(
    session: Session, instrument: Instrument, standard: Instrument | None, symbol: str, before: datetime | None = None
) -> list[CheckValue]:
    """Values of a check standard that passed since the latest adjustment (before a time), the first of them up to the most."""
    since = last_adjustment(session, instrument, before)
    passed = sorted(
        (
            CheckValue(moment(check.at), value_in_unit(instrument, float(check.value), check.unit, symbol))
            for check in checks_with(session, instrument, standard)
            if check.result == "passed"
            and (before is None or moment(check.at) < before)
            and (since is None or moment(check.at).date() >= since)
        ),
        key=lambda check: check.at,
    )
    return passed[:MOST_VALUES]


def value_in_unit(instrument: Instrument, value: float, own: str, symbol: str) -> float:
    """A value of a check in another unit; one that is in it already keeps its digits, of E_n among them."""
    if own == symbol:
        return value
    return unit(instrument.quantity, symbol).from_si(unit(instrument.quantity, own).to_si(value))


def checks_with(session: Session, instrument: Instrument, standard: Instrument | None) -> Sequence[IntermediateCheck]:
    """Checks of an instrument with one check standard, or with one that is not in the register."""
    query = (
        select(IntermediateCheck)
        .where(IntermediateCheck.instrument_id == instrument.id, IntermediateCheck.kind == "check standard")
        .where(not_retracted(IntermediateCheck))
    )
    other = col(IntermediateCheck.other_instrument_id)
    query = query.where(other.is_(None) if standard is None else other == key(standard.id))
    return session.exec(query.order_by(col(IntermediateCheck.id))).all()


def last_adjustment(session: Session, instrument: Instrument, before: datetime | None) -> date | None:
    """Day of the latest calibration with comparisons as left: from then on it shows something else, and a new baseline begins."""
    query = (
        select(Calibration.calibrated_on)
        .join(Comparison)
        .where(Calibration.instrument_id == instrument.id, Comparison.phase == AS_LEFT)
        .where(not_withdrawn())
    )
    days = [date.fromisoformat(day) for day in session.exec(query)]
    return max((day for day in days if before is None or day <= before.date()), default=None)


def not_below_resolution(base: Baseline, instrument: Instrument, symbol: str) -> Baseline:
    """A scatter is at least what the digital step hides: step/sqrt(12)."""
    least = unit(instrument.quantity, symbol).difference_from_si(resolution(resolution_of(instrument)))
    return Baseline(base.count, base.mean, max(base.standard_deviation, least))
