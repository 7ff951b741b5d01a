"""A recalibration round as a document and as text."""

from collections.abc import Iterator
from dataclasses import asdict
from datetime import date
from typing import Any

from calib.confirmation.recalibration import Parcel, Round, Traveller


def as_document(found: Round, on: date, within_days: int) -> dict[str, Any]:
    """The round as JSON holds it."""
    return {
        "on": str(on),
        "round_days": within_days,
        "parcels": [
            asdict(one) | {"travellers": [_traveller(each) for each in one.travellers]} for one in found.parcels
        ],
        "gaps": [asdict(one) for one in found.gaps],
    }


def _traveller(one: Traveller) -> dict[str, Any]:
    return asdict(one) | {"due_on": None if one.due_on is None else str(one.due_on)}


def as_text(found: Round, on: date, within_days: int) -> str:
    """The round for people."""
    if not found.parcels:
        return f"nothing asks for recalibration on {on} or within {within_days} days"
    lines = [line for one in found.parcels for line in _parcel(one)]
    lines += [f"warning: nothing in calibration would measure {one.quantity}: {one.advice}" for one in found.gaps]
    return "\n".join(lines)


def _parcel(one: Parcel) -> Iterator[str]:
    yield f"{one.laboratory or 'no laboratory on record'}: {one.quantity}"
    for each in one.travellers:
        due = "" if each.due_on is None else f", due on {each.due_on}"
        certificate = "" if each.certificate is None else f", last certificate {each.certificate}"
        yield f"  {each.tag}: {each.why}{due}{certificate}"
    if one.standards:
        yield f"  in house, against {', '.join(one.standards)}"
    for reason in one.refused_standards:
        yield f"  first the standard: {reason}"
