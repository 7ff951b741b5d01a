"""Whether an instrument may be used, as `calib ready` answers: a document for machines, text for people."""

from calib.faces.answers.reading import result
from calib.faces.plain_text import one_line
from calib.faces.written import Content, two_digits
from calib.procedures.fleet.ready import AtIndication, Readiness
from calib.quantities import preferred


def readiness(one: Readiness, units: str | None) -> Content:
    """One instrument's answer of `calib ready`."""
    found = one.decision.calibration
    return {
        "tag": one.instrument.tag,
        "kind": one.instrument.kind,
        "quantity": one.instrument.quantity,
        "allowed": one.decision.allowed,
        "reasons": list(one.decision.reasons),
        "certificate": None if found is None else found.certificate,
        "laboratory": None if found is None else found.laboratory,
        "calibrated_on": None if found is None else str(found.calibrated_on),
        "due_on": None if one.decision.due_on is None else str(one.decision.due_on),
        "measuring_interval": None if found is None else found.measuring_interval,
        "at": None if one.at is None else _at(one.at, units),
    }


def _at(there: AtIndication, units: str | None) -> Content:
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
                    in_unit.difference_from_si(there.result.combined.uncertainties[0, number])
                ),
            }
            for number, name in enumerate(there.names)
        ],
        "repeatability_known": there.repeatability_known,
        "stability_basis": there.stability_basis,
    }


def readiness_text(one: Content) -> str:
    """The same for people."""
    if not one["allowed"]:
        return "\n".join(
            [f"{one['tag']}: do not use", *(f"  {reason.partition(': ')[2]}" for reason in one["reasons"])]
        )
    lines = [
        f"{one['tag']}: may be used",
        f"  {one['kind']} for {one['quantity']}, indications {one['measuring_interval']}",
        f"  certificate {one['certificate']} ({one['laboratory']}) of {one['calibrated_on']}, due {one['due_on']}",
    ]
    if one["at"]:
        lines += _at_text(one["at"])
    return "\n".join(lines)


def _at_text(there: Content) -> list[str]:
    parts = ", ".join(
        f"{each['name']} {two_digits(each['standard_uncertainty'])}"
        for each in there["contributions"]
        if each["standard_uncertainty"] > 0
    )
    lines = [
        f"  an indication of {there['indication']:.6g} {there['indication_unit']} means {there['statement']}",
        f"  standard uncertainties [{there['unit']}]: {parts}",
        f"  stability: {one_line(there['stability_basis'])}",
    ]
    if not there["repeatability_known"]:
        lines.append(
            "  without the repeatability of the reading: the instrument declares none, so take two observations or more"
        )
    return lines
