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
        "checks": [
            {"tag": check.tag, "due_on": str(check.due_on), "days": check.days, "overdue": check.overdue}
            for check in planned.checks
        ],
        "put_aside": [_traveller(each) for each in planned.put_aside],
    }


def _traveller(traveller: Traveller) -> Content:
    return asdict(traveller) | {"due_on": None if traveller.due_on is None else str(traveller.due_on)}


def text(answer: Content) -> str:
    """The same for people."""
    lines = [line for parcel in answer["parcels"] for line in _parcel(parcel)]
    if not lines:
        lines = [f"nothing asks for recalibration on {answer['on']} or within {answer['round_days']} days"]
    lines += [f"warning: {gap_line(gap)}" for gap in answer["gaps"]]
    if answer["checks"]:
        lines.append("intermediate checks due on what stays here")
        lines += [f"  {check['tag']}: {due_of_check(check)}" for check in answer["checks"]]
    if answer["put_aside"]:
        lines.append("put aside, and sent only if it is wanted back")
        lines += [_line(each) for each in answer["put_aside"]]
    return "\n".join(lines)


def gap_line(gap: Content) -> str:
    """What nobody could measure meanwhile, and what helps."""
    return f"nothing in calibration would measure {gap['quantity']}: {gap['advice']}"


def due_of_check(check: Content) -> str:
    """When an intermediate check is due, or was."""
    return f"was due on {check['due_on']}" if check["overdue"] else f"due on {check['due_on']}"


def _parcel(parcel: Content) -> Iterator[str]:
    yield f"{parcel['laboratory'] or 'no laboratory on record'}: {parcel['quantity']}"
    for each in parcel["travellers"]:
        yield _line(each)
    for line in standards_lines(parcel):
        yield f"  {line}"


def standards_lines(parcel: Content) -> Iterator[str]:
    """What a calibration in house needs; nothing of a parcel that goes to a laboratory."""
    if parcel["standards"]:
        yield f"in house, against {', '.join(parcel['standards'])}"
    for reason in parcel["refused_standards"]:
        yield f"first the standard: {reason}"


def _line(traveller: Content) -> str:
    due = "" if traveller["due_on"] is None else f", due on {traveller['due_on']}"
    certificate = "" if traveller["certificate"] is None else f", last certificate {traveller['certificate']}"
    return f"  {traveller['tag']}: {traveller['why']}{due}{certificate}"
