"""What a recalibration round should contain, and what the house could not measure while it is away. Common practice, no source.

A round holds the instruments that have no accepted calibration, are overdue, come due within some days, or failed an intermediate
check since their calibration; and whatever is calibrated together with one of them. Beside it stand the intermediate checks that
are due within those days on what stays here, and apart what is put aside: whoever wants it back sends it too.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from calib.confirmation.due import CHECK, DueEntry, due_list
from calib.confirmation.interval import Decision, InstrumentOnRecord, is_put_aside, is_retired


@dataclass(frozen=True)
class InstrumentOfRound:
    """What a round needs to know of an instrument beside what the gate needs."""

    quantity: str
    partners: tuple[str, ...] = ()  # tags of what is calibrated as a pair with it


@dataclass(frozen=True)
class Traveller:
    """One instrument of a round."""

    tag: str
    quantity: str
    laboratory: str | None  # of the calibration in force, or the last on record; absent: none is
    certificate: str | None
    due_on: date | None  # absent: no calibration accepted
    days: int | None  # from the day asked about to the due date; negative: overdue
    why: str
    standards: tuple[str, ...]  # reference standards, where it was calibrated in house


@dataclass(frozen=True)
class Parcel:
    """What goes to one laboratory for one quantity, the most urgent first; in house, with the reference standards needed."""

    laboratory: str | None
    quantity: str
    travellers: tuple[Traveller, ...]
    standards: tuple[str, ...]
    refused_standards: tuple[
        str, ...
    ]  # the gate's reasons against those of them that are out of calibration themselves


@dataclass(frozen=True)
class Gap:
    """A quantity that nothing in calibration would measure while the round is away."""

    quantity: str
    leaving: tuple[str, ...]  # in calibration now, and in the round
    advice: str


@dataclass(frozen=True)
class Round:
    """What to send where, what would be missing meanwhile, and what to check here."""

    parcels: tuple[Parcel, ...]
    gaps: tuple[Gap, ...]
    checks: tuple[DueEntry, ...] = ()  # intermediate checks due on what stays
    put_aside: tuple[Traveller, ...] = ()  # what a round would hold if it were in use


def recalibration_round(
    register: Mapping[str, InstrumentOnRecord],
    decided: Mapping[str, Decision],
    gear: Mapping[str, InstrumentOfRound],
    on: date,
    within_days: int,
) -> Round:
    """The round that a day and the days after it ask for, without retired instruments; `gear` has every tag of the register.

    `decided` holds the gate's decisions on that day, of each instrument with what belongs to it.
    """
    decisions = {tag: decided[tag] for tag, instrument in register.items() if not is_retired(instrument, on)}
    wanted = {
        tag: _traveller(register[tag], decision, gear[tag], on, why)
        for tag, decision in decisions.items()
        if (why := _why(register[tag], decision, on, within_days)) is not None
    }
    put_aside = {tag: traveller for tag, traveller in wanted.items() if is_put_aside(register[tag], on)}
    travellers = {tag: traveller for tag, traveller in wanted.items() if tag not in put_aside}
    travellers |= _along(register, decisions, gear, travellers, on)
    checks = tuple(
        entry
        for entry in due_list(register, decided, on, within_days)
        if entry.what == CHECK and not entry.put_aside and entry.tag not in travellers
    )
    aside = tuple(traveller for tag, traveller in put_aside.items() if tag not in travellers)
    return Round(
        _parcels(travellers.values(), decisions),
        tuple(_gaps(travellers, decisions, gear)),
        checks,
        _urgent_first(aside),
    )


def _why(instrument: InstrumentOnRecord, decision: Decision, on: date, within_days: int) -> str | None:
    if decision.due_on is None or decision.calibration is None:
        return "no calibration accepted"
    since = decision.calibration.calibrated_on
    failed = [check.at.date() for check in instrument.checks if not check.passed and since <= check.at.date() <= on]
    if failed:
        return f"intermediate check failed on {failed[-1]}"
    days = (decision.due_on - on).days
    if days < 0:
        return "overdue"
    return "comes due" if days <= within_days else None


def _traveller(
    instrument: InstrumentOnRecord, decision: Decision, own: InstrumentOfRound, on: date, why: str
) -> Traveller:
    last = decision.calibration or max(
        instrument.calibrations, key=lambda each: (each.calibrated_on, each.record_id), default=None
    )
    return Traveller(
        instrument.tag,
        own.quantity,
        None if last is None else last.laboratory,
        None if last is None else last.certificate,
        decision.due_on,
        None if decision.due_on is None else (decision.due_on - on).days,
        why,
        () if last is None else last.standards,
    )


def _along(
    register: Mapping[str, InstrumentOnRecord],
    decisions: Mapping[str, Decision],
    gear: Mapping[str, InstrumentOfRound],
    travellers: Mapping[str, Traveller],
    on: date,
) -> dict[str, Traveller]:
    """What is calibrated as a pair with an instrument of the round goes with it, to the same laboratory."""
    along: dict[str, Traveller] = {}
    for tag, traveller in travellers.items():
        for partner in gear[tag].partners:
            if partner in decisions and partner not in travellers:
                own = _traveller(register[partner], decisions[partner], gear[partner], on, f"calibrated with {tag}")
                along[partner] = replace(own, laboratory=traveller.laboratory, quantity=traveller.quantity)
    return along


def _parcels(travellers: Iterable[Traveller], decisions: Mapping[str, Decision]) -> tuple[Parcel, ...]:
    groups: dict[tuple[str | None, str], list[Traveller]] = defaultdict(list)
    for traveller in travellers:
        groups[traveller.laboratory, traveller.quantity].append(traveller)
    return tuple(
        _parcel(laboratory, quantity, groups[laboratory, quantity], decisions)
        for laboratory, quantity in sorted(groups, key=lambda names: (names[0] is None, str(names[0]), names[1]))
    )


def _parcel(
    laboratory: str | None, quantity: str, travellers: Sequence[Traveller], decisions: Mapping[str, Decision]
) -> Parcel:
    standards = tuple(sorted({tag for traveller in travellers for tag in traveller.standards}))
    refused = tuple(reason for tag in standards if tag in decisions for reason in decisions[tag].reasons)
    return Parcel(laboratory, quantity, _urgent_first(travellers), standards, refused)


def _urgent_first(travellers: Iterable[Traveller]) -> tuple[Traveller, ...]:
    return tuple(sorted(travellers, key=lambda traveller: (traveller.due_on or date.min, traveller.tag)))


def _gaps(
    travellers: Mapping[str, Traveller], decisions: Mapping[str, Decision], gear: Mapping[str, InstrumentOfRound]
) -> Iterable[Gap]:
    for quantity in sorted({gear[tag].quantity for tag in travellers}):
        usable = [tag for tag, decision in decisions.items() if decision.allowed and gear[tag].quantity == quantity]
        leaving = tuple(sorted(tag for tag in usable if tag in travellers))
        if len(leaving) == len(usable):
            yield Gap(quantity, leaving, _advice(leaving))


def _advice(leaving: Sequence[str]) -> str:
    if not leaving:
        return "nothing is in calibration for it now either: borrow an instrument, or plan no such reading"
    if len(leaving) == 1:
        return f"{leaving[0]} is the only one in calibration: borrow another meanwhile, or agree on a day's calibration"
    return f"{', '.join(leaving)} are all that is in calibration: send them one after the other"
