"""Whether instruments may be used, as `calib ready` answers."""

from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING

from calib.faces.plain_text import one_line
from calib.faces.written import Content, two_digits
from calib.procedures.fleet.ready import Readiness
from calib.quantities import preferred

if TYPE_CHECKING:
    from calib.procedures.fleet.at_indication import AtIndication


def document(moment: datetime, instruments: Sequence[Readiness], units: str | None) -> Content:
    """Each instrument with the gate's decision at a time."""
    return {"at": moment.isoformat(), "instruments": [_readiness(each, units) for each in instruments]}


def _readiness(readiness: Readiness, units: str | None) -> Content:
    instrument, decision = readiness.instrument, readiness.decision
    calibration = decision.calibration
    return {
        "tag": instrument.tag,
        "kind": instrument.kind,
        "quantity": instrument.quantity,
        "allowed": decision.allowed,
        "reasons": list(decision.reasons),
        "notes": list(decision.notes),
        "taken_over": list(readiness.taken_over),
        "certificate": None if calibration is None else calibration.certificate,
        "laboratory": None if calibration is None else calibration.laboratory,
        "calibrated_on": None if calibration is None else str(calibration.calibrated_on),
        "due_on": None if decision.due_on is None else str(decision.due_on),
        "check_due_on": None if decision.check_due_on is None else str(decision.check_due_on),
        "measuring_interval": None if calibration is None else calibration.measuring_interval,
        "at": None if readiness.at is None else _at(readiness.at, units),
    }


def _at(there: "AtIndication", units: str | None) -> Content:
    from calib.faces.parts.reading_in_full import result  # noqa: PLC0415 (numpy and scipy, where an indication was asked about)

    in_unit = preferred(there.quantity, units or "si")
    if units is None and there.unit.quantity == there.quantity:
        in_unit = there.unit
    return {
        "indication": there.unit.from_si(there.indication),
        "indication_unit": there.unit.symbol,
        **result(there.result, 0, in_unit),
        "contributions": [
            {
                "name": name,
                "standard_uncertainty": float(
                    in_unit.difference_from_si(there.result.combined.uncertainties[0, place])
                ),
            }
            for place, name in enumerate(there.names)
        ],
        "repeatability_known": there.repeatability_known,
        "stability_basis": there.stability_basis,
    }


def text(answer: Content) -> str:
    """The same for people."""
    return "\n".join(line for instrument in answer["instruments"] for line in _lines(instrument, answer["at"][:10]))


def _lines(instrument: Content, day: str) -> list[str]:
    may = "may be used" if instrument["allowed"] else "do not use"
    return [f"{instrument['tag']}: {may} on {day}", *(f"  {line}" for line in lines(instrument))]


def lines(instrument: Content) -> list[str]:
    """What is to be said of one instrument below that: the reasons against it, or what it is good for."""
    if not instrument["allowed"]:
        against = (reason.partition(": ")[2] for reason in (*instrument["reasons"], *instrument["notes"]))
        return [*against, *map(one_line, instrument["taken_over"])]
    return [
        "{kind} for {quantity}, indications {measuring_interval}".format(**instrument),
        "certificate {certificate} ({laboratory}) of {calibrated_on}, due {due_on}".format(**instrument),
        *([f"intermediate check due {instrument['check_due_on']}"] if instrument["check_due_on"] else []),
        *(f"but {note.partition(': ')[2]}" for note in instrument["notes"]),
        *map(one_line, instrument["taken_over"]),
        *(_at_text(instrument["at"]) if instrument["at"] else []),
    ]


def _at_text(there: Content) -> list[str]:
    parts = ", ".join(
        f"{each['name']} {two_digits(each['standard_uncertainty'])}"
        for each in there["contributions"]
        if each["standard_uncertainty"] > 0
    )
    lines = [
        f"an indication of {there['indication']:.6g} {there['indication_unit']} means {there['statement']}",
        f"standard uncertainties [{there['unit']}]: {parts}",
        f"stability: {one_line(there['stability_basis'])}",
    ]
    if not there["repeatability_known"]:
        lines.append(
            "without the repeatability of the reading: the instrument declares none, so take two observations or more"
        )
    return lines
