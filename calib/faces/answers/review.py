"""Impact reviews as answers: documents for machines, tables for people."""

from collections.abc import Iterable, Mapping
from typing import Any

from calib.faces.written import Content
from calib.procedures.impact.reviews import Decided, Review, ReviewLine
from calib.uncertainty.statement import round_result

Row = tuple[str, ...]


def brief(one: Review) -> Content:
    """A review in a list."""
    return {
        "tag": one.tag,
        "certificate": one.certificate,
        "calibrated_on": one.calibrated_on,
        "opened_at": one.time,
        "opened_by": one.person,
        "lines": len(one.lines),
        "open_lines": one.open_lines,
        "open": one.is_open,
    }


def review(one: Review) -> Content:
    """A review with its lines."""
    return brief(one) | {
        "criterion": one.criterion,
        **one.assessment,
        "items": [_line(each) for each in one.lines],
    }


def _line(one: ReviewLine) -> Content:
    return {
        "line": one.number,
        "record": record_name(one),
        "table": one.record_table,
        "id": one.record,
        **one.finding,
        "dispositions": [_decided(each) for each in one.decided],
        "disposition": one.disposition.decision if one.disposition else None,
    }


def _decided(one: Decided) -> Content:
    return {"decision": one.decision, "reason": one.reason, "by": one.person, "at": one.time}


def record_name(one: ReviewLine) -> str:
    """What a line is about, as people call it."""
    finding = one.finding
    if one.record_table == "reading":
        return f"reading {one.record}: {finding['outlet']} of {finding['job']}"
    if one.record_table == "found_factor":
        return f"factor {finding['factor']}, revision {finding['revision']}"
    if one.record_table == "calibration":
        return f"certificate {finding['certificate']} of {finding['instrument']}"
    return f"report {finding['report']}"


# --- for people ------------------------------------------------------------------------------------------------------------------


def list_rows(found: Iterable[Review]) -> tuple[Row, list[Row]]:
    """Header and rows of a list of reviews."""
    header = ("instrument", "certificate", "calibrated", "opened", "lines", "open", "state")
    rows: list[Row] = [
        (
            one.tag,
            one.certificate,
            one.calibrated_on,
            one.time[:10],
            str(len(one.lines)),
            str(one.open_lines),
            "open" if one.is_open else "done",
        )
        for one in found
    ]
    return header, rows


def head_text(one: Review) -> str:
    """What was found, since when the instrument was in order, what is assumed."""
    since = one.assessment["since"]
    lines = [
        f"{one.tag}, certificate {one.certificate}, calibrated {one.calibrated_on}: opened {one.time} by {one.person}",
        f"last in order: certificate {since['certificate']}, calibrated {since['calibrated_on']}, accepted {since['accepted_on']}",
    ]
    for each in one.assessment["judgements"]:
        lines += [f"as found, {each['criterion']}:", *_comparison_lines(each["comparisons"])]
    return "\n".join(
        [*lines, f"assumed: {one.assessment['assumption']}", f"reports: {one.assessment['rule_for_reports']}"]
    )


def _comparison_lines(comparisons: Iterable[Mapping[str, Any]]) -> Iterable[str]:
    for one in comparisons:
        verdict = "beyond" if one["beyond"] else "in order"
        near = ", within U of the limit" if one["within_U_of_the_limit"] else ""
        yield (
            f"  reference {one['reference']} {one['unit']}: error {one['error']:+.4g}, limit {one['limit']:.4g}, "
            f"U {one['expanded_uncertainty']:.2g}: {verdict}{near}"
        )


def line_rows(one: Review) -> tuple[Row, list[Row]]:
    """Header and rows of a review's lines."""
    header = ("line", "record", "as", "before", "as found", "shift", "shift/U", "conformity", "disposition")
    return header, [_row(each) for each in one.lines]


def _row(one: ReviewLine) -> Row:
    finding = one.finding
    return (
        str(one.number),
        record_name(one),
        ", ".join(finding["relied_on_as"]) or "-",
        _value(finding["before"], finding["unit"]),
        _value(finding["after"], finding["unit"]),
        "-" if finding["shift"] is None else f"{finding['shift']:+.3g}",
        "-" if finding["shift_over_U"] is None else f"{finding['shift_over_U']:+.2f}",
        _conformity(one),
        one.disposition.decision if one.disposition else "open",
    )


def _value(one: Mapping[str, float] | None, unit: str) -> str:
    if one is None:
        return "-"
    rounded = round_result(one["value"], one["expanded_uncertainty"])
    return f"{rounded}" if unit in ("", "1") else f"({rounded}) {unit}"


def _conformity(one: ReviewLine) -> str:
    finding = one.finding
    if one.record_table == "issued_report":
        changed = len(finding["statements_changed"])
        return f"reissue, {changed} changed" if finding["reissue"] else "no statement changed"
    before, after = finding["statement_before"], finding["statement_after"]
    if not before or not after:
        return "-"
    return f"{before} -> {after}" if finding["statement_changed"] else f"{before}, unchanged"


def remarks(one: Review) -> list[str]:
    """What stands below the table: changed statements, why a line could not be worked out, dispositions with their reasons."""
    return [text for line in one.lines for text in (*_notes(line), *_decisions(line))]


def _notes(one: ReviewLine) -> Iterable[str]:
    finding = one.finding
    if "at_indication" in finding:
        yield f"line {one.number}: the largest shift over U, at the indication {finding['at_indication']}"
    for name in finding.get("statements_changed", ()):
        yield f"line {one.number}: the statement of conformity of {name} changes"
    for reason in (*finding["notes"], *finding.get("reasons_after", ())):
        yield f"line {one.number}: {reason}"


def _decisions(one: ReviewLine) -> Iterable[str]:
    for each in one.decided:
        yield f"line {one.number}: {each.decision}, {each.time} by {each.person}: {each.reason}"
