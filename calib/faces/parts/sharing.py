"""What is not known of how far the readings of a total share an influence: what either answer would give, and what to declare."""

from collections.abc import Sequence

from calib.faces.written import Content, two_digits
from calib.measurement import DECIDED, DENSITY
from calib.procedures.measure.evaluate import Evaluation
from calib.procedures.measure.results import Results
from calib.procedures.measure.standing import Standing
from calib.procedures.measure.totals import SharingNotKnown, all_together
from calib.quantities import Unit

# A declaration is asked for where it could make U smaller by more than this: a judgement, no source.
_MATTERS = 0.05

SHARING_COLUMNS = ("total", "U", "all common", "all independent", "unit")
SHARING_TITLE = "It is not known how far the readings of these totals share an influence; U covers whatever it is"

# Contribution -> what tells more closely; for what changes since a calibration the last.
_DECLARE = {
    "method": "declare what readings by it share and what each has by itself (method compare, method add)",
    "reference standard": "certificates with the correlations of their points would tell",
}
_OF_STABILITY = "narrower stability limits would tell, or another instrument for each side of a difference"


def sharing_document(
    evaluation: Evaluation, flow: Results, row: int, groups: Sequence[SharingNotKnown], in_unit: Unit
) -> Content:
    """The groups of a total of which it is not known, and what all of them together would give."""
    together = all_together(float(flow.combined.standard_uncertainty[row]), groups)
    return {
        "sharing_not_known": [
            {
                "group": _name(group, evaluation.measured[group.reading]),
                "contribution": group.contribution,
                "standard_uncertainty_if_common": in_unit.difference_from_si(group.if_common),
                "standard_uncertainty_if_independent": in_unit.difference_from_si(group.if_independent),
            }
            for group in groups
        ],
        "standard_uncertainty_if_all_common": in_unit.difference_from_si(together.common),
        "standard_uncertainty_if_all_independent": in_unit.difference_from_si(together.independent),
    }


def _name(group: SharingNotKnown, measured: Standing) -> str:
    if group.contribution == "method":
        return f"method {measured.method.method}"
    if group.line == DENSITY and measured.air is not None:
        of_air = f"the instruments that observed the air {measured.air.name}"
        return f"stability of {of_air}" if group.contribution == "stability" else f"reference standards of {of_air}"
    instrument, calibration = measured.instrument, measured.calibration
    if group.line == "probe" and measured.probe is not None and measured.system.probe_calibration is not None:
        instrument, calibration = measured.probe, measured.system.probe_calibration
    if group.behind:
        of_standards = f"reference standards behind {calibration.certificate} of {instrument.tag}"
        return f"stability of {of_standards}" if group.contribution == "stability" else of_standards
    if group.contribution == "stability":
        return f"stability of {instrument.tag} since {calibration.certificate}"
    if group.contribution == DECIDED:
        return f"change of {instrument.tag} since {calibration.certificate} that a review found"
    return f"reference standards of {calibration.laboratory} for {instrument.quantity}"


def sharing_rows(totals: Sequence[Content]) -> list[tuple[str, ...]]:
    """Rows of SHARING_COLUMNS: the totals whose U a declaration could make smaller, where that matters."""
    return [_row(total) for total in totals if _that_matter(total)]


def what_to_declare(totals: Sequence[Content]) -> list[str]:
    """For the groups that matter, what would tell more closely: a line for each kind of them."""
    asked: dict[str, dict[str, None]] = {}
    for group in (group for total in totals for group in _that_matter(total)):
        asked.setdefault(_DECLARE.get(group["contribution"], _OF_STABILITY), {})[group["group"]] = None
    return [f"{', '.join(names)}: {what}" for what, names in asked.items()]


def _that_matter(total: Content) -> list[Content]:
    if not total["flow"]:
        return []
    enough = (1 - _MATTERS) * total["flow"]["standard_uncertainty"]
    return [
        group
        for group in total["sharing_not_known"]
        if min(group["standard_uncertainty_if_common"], group["standard_uncertainty_if_independent"]) < enough
    ]


def _row(total: Content) -> tuple[str, ...]:
    flow = total["flow"]
    answers = (total[f"standard_uncertainty_if_all_{answer}"] for answer in ("common", "independent"))
    where = f"room {total['room']}" if "room" in total else f"{total['system'] or 'all systems'}, {total['service']}"
    each = (flow["expanded_uncertainty"], *(flow["coverage_factor"] * u for u in answers))
    return (where, *(two_digits(expanded) for expanded in each), flow["unit"])
