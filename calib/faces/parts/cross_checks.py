"""The cross-checks of a job, as every answer on its flows says them: where two measurements speak about one flow."""

from collections.abc import Iterator, Sequence

from calib.counted import count_of
from calib.faces.parts.reading_in_full import result, state_text
from calib.faces.written import Content, names_text, rounded, unit_text
from calib.procedures.measure.cross_checks import CrossCheck, CrossChecks, TwoWays
from calib.procedures.measure.evaluate import Evaluation
from calib.procedures.measure.results import Results
from calib.procedures.on_record.flow_unit import common_flow_unit, flow_unit
from calib.quantities import Unit

CROSS_CHECKS_TITLE = "Cross-checks, where two measurements speak about one flow"
CROSS_CHECK_COLUMNS = ("flow", "measured as", "and as", "difference ± U", "E_n", "statement")


def cross_checks_document(checked: CrossChecks, evaluation: Evaluation, units: str | None) -> list[Content]:
    """Each with both flows, their difference with U, and E_n."""
    return [_document(each, checked.density, evaluation, units) for each in checked.checks]


def _document(check: CrossCheck, density: float | None, evaluation: Evaluation, units: str | None) -> Content:
    compared = check.compared
    rows = (*compared.first, *compared.second)
    in_unit = common_flow_unit(flow_unit(evaluation.measured[row].outlet, units).symbol for row in rows)
    of_first = evaluation.measured[rows[0]].outlet
    judged = check.agreement
    results_of_difference, row = check.difference
    return {
        "kind": str(compared.kind),
        "system": None if compared.room else of_first.system,
        "service": None if compared.room else of_first.service,
        "room": compared.room or None,
        "first": _side(evaluation, compared.first, check.first, in_unit, density),
        "second": _side(evaluation, compared.second, check.second, in_unit, density),
        "not_measured": [outlet.outlet for outlet in compared.not_measured],
        "difference": result(results_of_difference, row, in_unit, density),
        "state": state_text(density),
        "density_kg_per_m3": density,
        "wanted": compared.wanted or None,
        "normalised_error": None if judged is None else judged.normalised_error,
        "agrees": check.agrees,
        "remark": compared.remark or None,
    }


def _side(
    evaluation: Evaluation, rows: Sequence[int], flow: tuple[Results, int], in_unit: Unit, density: float | None
) -> Content:
    standing = [evaluation.measured[row] for row in rows]
    return {
        "outlets": [each.outlet.outlet for each in standing],
        "readings": [each.reading.id for each in standing],
        "flow": result(*flow, in_unit, density),
    }


def sides_text(check: Content) -> tuple[str, str, str]:
    """Which flow it is, and what the one and the other measurement of it are called."""
    first, second = check["first"]["outlets"], check["second"]["outlets"]
    if check["kind"] == TwoWays.ROOM:
        return f"room {check['room']}", f"supply, {_counted(first)}", f"extract, {_counted(second)}"
    if check["kind"] == TwoWays.REPEAT:
        of_first, of_second = (f"reading {check[side]['readings'][0]}" for side in ("first", "second"))
        return first[0], f"{of_first}, a repeat", of_second
    if check["kind"] == TwoWays.BRANCH:
        return second[0], first[0], "its face"
    if check["kind"] == TwoWays.BY_DIFFERENCE:
        together = " together" if len(check["not_measured"]) > 1 else ""
        return f"{names_text(check['not_measured'])}{together}", names_text(first), f"{_counted(second)} measured"
    return f"{check['system']}, {check['service']}", names_text(first), f"its {_counted(second)}"


def _counted(outlets: Sequence[str]) -> str:
    return count_of(len(outlets), "outlet", "outlets")


def agreement_text(check: Content) -> str:
    """What a cross-check says."""
    if check["agrees"] is None:
        return "by difference" if check["not_measured"] else "-"
    if check["agrees"] and check["wanted"] and abs(check["normalised_error"]) > 1:
        return "differ as the design asks"
    return "agree" if check["agrees"] else "do not agree"


def normalised_error_text(check: Content) -> str:
    """Its E_n, without a sign."""
    return "-" if check["normalised_error"] is None else f"{abs(check['normalised_error']):.2f}"


def other_measurements(checks: Sequence[Content], outlet: str) -> Iterator[str]:
    """What cross-checks say of the flow of one outlet: by difference, by its branch, by a repeat."""
    for check in checks:
        of_flow, first, _ = sides_text(check)
        told = {TwoWays.BY_DIFFERENCE: check["difference"], TwoWays.BRANCH: check["first"]["flow"]}
        told[TwoWays.REPEAT] = check["first"]["flow"]
        flow = told.get(check["kind"]) if of_flow == outlet else None
        if flow is not None:
            said = "" if check["agrees"] is None else f", which {'agrees' if check['agrees'] else 'does not agree'}"
            yield f"{'by difference' if check['agrees'] is None else first}: {rounded(flow)} {unit_text(flow['unit'])}{said}"


def not_in_agreement(checks: Sequence[Content]) -> Iterator[tuple[str, str]]:
    """Outlets that were measured twice and differ by more than U(d), each with what is said of it."""
    for check in checks:
        if check["agrees"] is False and check["kind"] in (TwoWays.REPEAT, TwoWays.BRANCH):
            outlet, first, _ = sides_text(check)
            flow, difference = (
                f"{rounded(each)} {unit_text(each['unit'])}" for each in (check["first"]["flow"], check["difference"])
            )
            yield outlet, f"{first}: {flow}, does not agree: it differs by {difference}"


def cross_check_rows(checks: Sequence[Content]) -> list[tuple[str, ...]]:
    """Each in words, under `CROSS_CHECK_COLUMNS`."""
    return [
        (
            flow,
            f"{first}: {check['first']['flow']['statement']}",
            f"{second}: {check['second']['flow']['statement']}",
            check["difference"]["statement"],
            normalised_error_text(check),
            agreement_text(check),
        )
        for check in checks
        for flow, first, second in [sides_text(check)]
    ]


def cross_check_lines(checks: Sequence[Content]) -> Iterator[str]:
    """What is to be borne in mind: how E_n is worked out, and remarks on single ones."""
    yield (
        "E_n = |d|/U(d): two measurements agree where it is 1 or less; U(d) carries what both share. A flow by difference is that "
        "of the main less the outlets that were measured, and nothing else speaks about it."
    )
    for check in checks:
        if check["remark"]:
            flow, first, _ = sides_text(check)
            yield f"{flow}, {first}: {check['remark']}."
