"""A recalibration round, as `calib due --round` answers: what should go together, and what nothing would measure meanwhile."""

from collections.abc import Iterator
from dataclasses import asdict
from datetime import date

from calib.confirmation.recalibration import Round, Traveller
from calib.faces.written import Content


def document(planned: Round, on: date, within_days: int) -> Content:
    """Parcels by laboratory and quantity, and the gaps they leave."""
    return {
        "on": str(on),
        "round_days": within_days,
        "parcels": [
            asdict(parcel) | {"travellers": [_traveller(each) for each in parcel.travellers]}
            for parcel in planned.parcels
        ],
        "gaps": [asdict(gap) for gap in planned.gaps],
    }


def _traveller(traveller: Traveller) -> Content:
    return asdict(traveller) | {"due_on": None if traveller.due_on is None else str(traveller.due_on)}


def text(answer: Content) -> str:
    """The same for people."""
    if not answer["parcels"]:
        return f"nothing asks for recalibration on {answer['on']} or within {answer['round_days']} days"
    lines = [line for parcel in answer["parcels"] for line in _parcel(parcel)]
    lines += [
        f"warning: nothing in calibration would measure {gap['quantity']}: {gap['advice']}" for gap in answer["gaps"]
    ]
    return "\n".join(lines)


def _parcel(parcel: Content) -> Iterator[str]:
    yield f"{parcel['laboratory'] or 'no laboratory on record'}: {parcel['quantity']}"
    for each in parcel["travellers"]:
        due = "" if each["due_on"] is None else f", due on {each['due_on']}"
        certificate = "" if each["certificate"] is None else f", last certificate {each['certificate']}"
        yield f"  {each['tag']}: {each['why']}{due}{certificate}"
    if parcel["standards"]:
        yield f"  in house, against {', '.join(parcel['standards'])}"
    for reason in parcel["refused_standards"]:
        yield f"  first the standard: {reason}"
