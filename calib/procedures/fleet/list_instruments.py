"""List instruments of the register: those that fit a wish, in an order."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from sqlmodel import Session

from calib.errors import BadInputError, Finding
from calib.procedures.on_record.instruments import InstrumentStatus, instrument_statuses
from calib.procedures.typed.known_words import not_among

USABLE, REFUSED, DUE, RETIRED = "usable", "refused", "due", "retired"
STATES = (USABLE, REFUSED, DUE, RETIRED)

# Orders of the list; what is absent stands last, and equals stand by tag.
SORTS: dict[str, Callable[[InstrumentStatus], str | None]] = {
    "tag": lambda instrument: str(instrument.cells["tag"]),
    "due": lambda instrument: instrument.due_on,
    "kind": lambda instrument: instrument.cells["kind"],
    "quantity": lambda instrument: instrument.cells["quantity"],
    "maker": lambda instrument: f"{instrument.cells['maker']} {instrument.cells['model']}",
    "serial": lambda instrument: instrument.cells["serial"],
    "location": lambda instrument: instrument.cells["location"],
    "custodian": lambda instrument: instrument.cells["custodian"],
    "certificate": lambda instrument: instrument.certificate,
}


@dataclass(frozen=True)
class InstrumentWish:
    """Which instruments are wanted; what is absent excludes none. Texts are compared without regard to capitals."""

    kind: str | None = None  # contained in it
    quantity: str | None = None
    location: str | None = None  # contained in it
    custodian: str | None = None  # contained in it
    text: str | None = None  # contained in any cell, or in the certificate's number
    state: str | None = None  # one of STATES
    within_days: int = 60  # how far ahead an instrument counts as due


def list_instruments(session: Session, wish: InstrumentWish, sort: str, at: datetime) -> list[InstrumentStatus]:
    """Instruments that fit, in the order of one of SORTS; raises BadInputError for a state or an order that is none."""
    if findings := unknown_words(wish.state, sort):
        raise BadInputError(findings)
    return ordered([status for status in instrument_statuses(session, at) if fits(status, wish, at.date())], sort)


def unknown_words(state: str | None, sort: str | None) -> list[Finding]:
    """Findings on a state or an order that is none."""
    return not_among(("state", state, STATES), ("sort", sort, SORTS))


def fits(instrument: InstrumentStatus, wish: InstrumentWish, on: date) -> bool:
    """Whether an instrument is one that is wanted on a day."""
    contained = ((wish.kind, "kind"), (wish.location, "location"), (wish.custodian, "custodian"))
    return (
        all(wanted is None or _holds(instrument.cells[column], wanted) for wanted, column in contained)
        and (wish.quantity is None or instrument.cells["quantity"] == wish.quantity)
        and (
            wish.text is None
            or any(_holds(cell, wish.text) for cell in (*instrument.cells.values(), instrument.certificate))
        )
        and (wish.state is None or wish.state in states_of(instrument, on, wish.within_days))
    )


def _holds(cell: object, wanted: str) -> bool:
    return cell is not None and wanted.strip().casefold() in str(cell).casefold()


def states_of(instrument: InstrumentStatus, on: date, within_days: int) -> frozenset[str]:
    """States of an instrument on a day: a retired one has no other; one that is due may be usable still."""
    if instrument.retired:
        return frozenset({RETIRED})
    last = on + timedelta(days=within_days)
    due = any(day and date.fromisoformat(day) <= last for day in (instrument.due_on, instrument.check_due_on))
    return frozenset({REFUSED if instrument.reasons else USABLE, *([DUE] if due else [])})


def ordered(statuses: Sequence[InstrumentStatus], sort: str) -> list[InstrumentStatus]:
    """Instruments in the order of one of SORTS."""
    by = SORTS[sort]
    return sorted(
        statuses,
        key=lambda instrument: (
            by(instrument) is None,
            (by(instrument) or "").casefold(),
            str(instrument.cells["tag"]),
        ),
    )
