"""Instruments with certificate, due date and state, as `calib instrument list` answers."""

from collections.abc import Sequence

from calib.faces.plain_text import table_text
from calib.faces.written import Content
from calib.procedures.on_record.instruments import InstrumentStatus

_HEADER = ("tag", "kind", "maker, model", "serial", "location", "with", "photos", "certificate", "due on", "state")


def document(instruments: Sequence[InstrumentStatus]) -> Content:
    """Each instrument as typed, with its certificate, due date and what stands against its use."""
    return {"instruments": [status(instrument) for instrument in instruments]}


def status(instrument: InstrumentStatus) -> Content:
    """One instrument of the list."""
    return instrument.cells | {
        "certificate": instrument.certificate,
        "due_on": instrument.due_on,
        "check_due_on": instrument.check_due_on,
        "reasons": list(instrument.reasons),
        "retired": instrument.retired,
        "paired_with": list(instrument.paired_with),
        "photos": instrument.photos,
    }


def text(answer: Content) -> str:
    """The same for people."""
    if not answer["instruments"]:
        return "no instrument fits"
    return table_text(_HEADER, [_row(instrument) for instrument in answer["instruments"]])


def _row(instrument: Content) -> tuple[str, ...]:
    return (
        instrument["tag"],
        instrument["kind"],
        f"{instrument['maker']} {instrument['model']}",
        instrument["serial"],
        instrument["location"] or "-",
        ", ".join(instrument["paired_with"]) or "-",
        str(instrument["photos"] or "-"),
        instrument["certificate"] or "-",
        instrument["due_on"] or "-",
        standing_text(instrument),
    )


def standing_text(instrument: Content) -> str:
    """What stands against its use, in a few words."""
    return "; ".join(reason.partition(": ")[2].partition(": ")[0] for reason in instrument["reasons"]) or "may be used"
