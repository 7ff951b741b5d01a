"""How an acceptance departs from what the register says of it: decision rule, what is judged, criterion in words."""

from collections.abc import Sequence

from calib.errors import Finding
from calib.procedures.certificate.assess import usual_object
from calib.procedures.certificate.permissible_error import has_limits
from calib.procedures.typed.sheets import Cells


def departures(instrument: Cells, rule: str | None, judged: str | None, criterion: str | None) -> list[str]:
    """What differs of what was typed; where nothing was typed the register counts, and where that is silent what is usual."""
    usual, own, words = (
        instrument["judged"] or usual_object(instrument),
        instrument["decision_rule"],
        instrument["criterion"],
    )
    differ = [] if judged in (None, usual) else [f"{usual} is judged, not {judged}"]
    if own is not None and rule not in (None, own):
        differ.append(f"the rule is {own}, not {rule}")
    if words is not None and (criterion or words).strip() != words:
        differ.append(f"the criterion is {words}")
    return differ


def of_criterion(instrument: Cells, criterion: str | None) -> Finding | None:
    """The finding on a criterion in words: it stands for limits that the register does not state, never beside those it does."""
    typed = (criterion or "").strip()
    if has_limits(instrument):
        expected = "nothing: the limits of the register are judged, and amended there"
        return Finding.typed("criterion", criterion, expected) if typed else None
    if typed or (instrument["criterion"] or "").strip():
        return None
    expected = "the acceptance criterion in words: the register states no maximum permissible error for it"
    return Finding.typed("criterion", criterion, expected)


def of_reason(differ: Sequence[str], typed: str | None) -> Finding | None:
    """The finding on the reason of a departure: it is given where there is one, and nowhere else."""
    reason = (typed or "").strip()
    if differ and not reason:
        return Finding.typed("departure_reason", typed, f"why it departs from the register: {'; '.join(differ)}")
    if reason and not differ:
        return Finding.typed("departure_reason", reason, "nothing: it departs from nothing in the register")
    return None
