"""An impact review with its lines, as `calib review show` answers."""

from collections.abc import Iterator, Sequence

from calib.arrays import without_rounding
from calib.counted import count_of
from calib.faces.answers.reviews import brief
from calib.faces.plain_text import table_text
from calib.faces.written import Content, figure_text
from calib.procedures.on_record.promises import MEASURE_AGAIN, WITHDRAW
from calib.procedures.on_record.reviews import FOUND_BEYOND, REISSUE, Decided, Review, ReviewLine
from calib.uncertainty.statement import round_result

COMPARED_AS_FOUND = ("reference", "error", "limit", "U", "as found")


def document(review: Review) -> Content:
    """A review with its lines."""
    assessment = dict(review.assessment)
    return brief(review) | {
        "criterion": review.criterion,
        "in_order_since": assessment.pop("since", None) if review.cause != FOUND_BEYOND else None,
        **assessment,
        "withdrawn": review.is_of_withdrawn,
        "decisions": [
            {"curve": each.curve, "from_at": each.from_at, "reason": each.reason, "by": each.person, "at": each.time}
            for each in review.curves
        ],
        "items": [_line(line) for line in review.lines],
    }


def _line(line: ReviewLine) -> Content:
    return {
        "line": line.place,
        "record": record_name(line),
        "table": line.record_table,
        "id": line.record,
        **line.finding,
        "dispositions": [_decided(each) for each in line.decided],
        "disposition": line.disposition.decision if line.disposition else None,
        "reissued": line.reissued,
        "open": line.is_open,
        "ended": line.is_ended,
    }


def _decided(decided: Decided) -> Content:
    return {"decision": decided.decision, "reason": decided.reason, "by": decided.person, "at": decided.time}


def record_name(line: ReviewLine) -> str:
    """What a line is about, as people call it."""
    finding = line.finding
    if line.record_table == "reading":
        return f"reading {line.record}: {finding['outlet']} of {finding['job']}"
    if line.record_table == "found_factor":
        return f"factor {finding['factor']}, revision {finding['revision']}"
    if line.record_table == "calibration":
        return f"certificate {finding['certificate']} of {finding['instrument']}"
    if line.record_table == "intermediate_check":
        return f"check {line.record} of {finding['instrument']}"
    return f"report {finding['report']}"


# --- for people ------------------------------------------------------------------------------------------------------------------


def text(answer: Content) -> str:
    """The same for people."""
    rows = [row(line) for line in answer["items"]]
    table = table_text(line_headings(answer), rows) if rows else "nothing hangs on it"
    told = [*head_lines(answer), *_judgements(answer), *assumed_lines(answer), *decided_lines(answer)]
    return "\n".join([*told, "", table, *_remarks(answer["items"])])


def line_headings(answer: Content) -> tuple[str, ...]:
    """Headings of the lines: nothing was found where a certificate was withdrawn or replaced, or an instrument damaged."""
    after = "as found" if answer["cause"] == FOUND_BEYOND else "after"
    return ("line", "record", "as", "before", after, "shift", "shift/U", "conformity", "disposition")


def head_lines(answer: Content) -> Iterator[str]:
    """What opened it, and since when the instrument was in order."""
    opened = f"opened {answer['opened_at']} by {answer['opened_by']}"
    if answer["cause"] != FOUND_BEYOND:
        yield f"{answer['about']}: {opened}"
        if answer["in_order_since"]:
            yield f"last shown to be in order: {answer['in_order_since']}"
        return
    since = answer["since"]
    yield f"{answer['tag']}, certificate {answer['certificate']}, calibrated {answer['calibrated_on']}: {opened}"
    yield (
        f"last in order: certificate {since['certificate']}, calibrated {since['calibrated_on']}, "
        f"accepted {since['accepted_on']}"
    )


def _judgements(answer: Content) -> Iterator[str]:
    for judgement in answer.get("judgements", ()):
        yield f"as found, {judgement['criterion']}:"
        yield from (_comparison(each) for each in judgement["comparisons"])


def assumed_lines(answer: Content) -> list[str]:
    """What is assumed of the time between, and by which rule a report is to be issued again; nothing where neither was."""
    if answer["cause"] != FOUND_BEYOND:
        return []
    return [f"assumed: {answer['assumption']}", f"reports: {answer['rule_for_reports']}"]


def decision_text(answer: Content) -> str:
    """The decision that counts, in a line."""
    last = answer["decisions"][-1]
    from_at = f" {last['from_at']}" if last["from_at"] else ""
    return f"review {answer['review']} ({answer['about']}): {last['curve']}{from_at}"


def disposed_lines(answer: Content, lines: Sequence[int], decision: str) -> list[str]:
    """What was decided on some lines, and what is left of the review."""
    numbers = f"line{'s' if len(lines) > 1 else ''} {', '.join(map(str, lines))}"
    left = count_of(answer["open_lines"], "open line", "open lines")
    told = [
        f"review {answer['review']}: {numbers}: {decision}",
        f"{left} left" if answer["open"] else "no open line left: the review is done",
    ]
    if decision in (MEASURE_AGAIN, WITHDRAW) and answer["open"]:
        told.append(f"a line disposed {decision!r} is open until that is done")
    return told


def waits_for(line: Content, *, for_curve: bool) -> str | None:
    """What ends an open line; None where it is not open. `for_curve`: a reissue waits for the decision which curve holds."""
    if not line["open"]:
        return None
    if line["disposition"] is None:
        return "a decision"
    if line["disposition"] != REISSUE:
        return "to be measured again" if line["disposition"] == MEASURE_AGAIN else "to be withdrawn"
    first = ", once it is decided which curve holds" if for_curve else ""
    return f"a revision of the report on {line['job']}{first}"


def decided_lines(answer: Content) -> Iterator[str]:
    """Which curve holds, as decided; of several the last one counts."""
    for each in answer["decisions"]:
        from_at = f" {each['from_at']}" if each["from_at"] else ""
        yield f"decided {each['at']} by {each['by']}: {each['curve']}{from_at}: {each['reason']}"
    if answer["cause"] == FOUND_BEYOND and answer["withdrawn"]:
        yield "the certificate was withdrawn since: no decision on it holds, and flows are those of what counts without it"
    elif answer["cause"] == FOUND_BEYOND and not answer["decisions"]:
        yield "which curve holds: not decided yet, so flows are as before"


def _comparison(comparison: Content) -> str:
    reference, error, limit, u, verdict = compared_cells(comparison)
    return f"  reference {reference}: error {error}, limit {limit}, U {u}: {verdict}"


def compared_cells(comparison: Content) -> tuple[str, ...]:
    """A comparison as found as a row of COMPARED_AS_FOUND."""
    near = ", within U of the limit" if comparison["within_U_of_the_limit"] else ""
    return (
        f"{comparison['reference']} {comparison['unit']}",
        f"{without_rounding(comparison['error']):+.4g}",
        f"{comparison['limit']:.4g}",
        f"{comparison['expanded_uncertainty']:.2g}",
        ("beyond" if comparison["beyond"] else "in order") + near,
    )


def row(line: Content) -> tuple[str, ...]:
    """A line as a row of the table."""
    return (
        str(line["line"]),
        line["record"],
        ", ".join(line["relied_on_as"]) or "-",
        _value(line["before"], line["unit"]),
        _value(line["after"], line["unit"]),
        figure_text(line["shift"], "+.3g"),
        figure_text(line["shift_over_U"], "+.2f"),
        _conformity(line),
        _disposition(line),
    )


def _disposition(line: Content) -> str:
    if line["disposition"] != REISSUE:
        state = "open" if line["open"] else "ended" if line["ended"] else None
        return ", ".join(filter(None, (line["disposition"], state)))
    return "reissue, open" if line["reissued"] is None else f"reissued, revision {line['reissued']}"


def _value(value: Content | None, unit: str) -> str:
    if value is None:
        return "-"
    rounded = round_result(value["value"], value["expanded_uncertainty"])
    return f"{rounded}" if unit in ("", "1") else f"({rounded}) {unit}"


def _conformity(line: Content) -> str:
    if "differs" in line:
        return f"{len(line['differs'])} differ"
    if line["table"] == "issued_report":
        changed = len(line["statements_changed"])
        told = f", {changed} changed" if changed else ""
        return f"reissue{told}" if line["reissue"] else "no statement changed"
    before, after = line["statement_before"], line["statement_after"]
    if not before or not after:
        return "-"
    return f"{before} -> {after}" if line["statement_changed"] else f"{before}, unchanged"


def _remarks(lines: Sequence[Content]) -> list[str]:
    """Changed statements, why a line could not be worked out, dispositions with their reasons."""
    return [f"line {line['line']}: {told}" for line in lines for told in (*notes(line), *decisions(line))]


def notes(line: Content) -> Iterator[str]:
    """What is to be said of a line beside its row: changed statements, why it could not be worked out."""
    if "at_indication" in line:
        yield f"the largest shift over U, at the indication {line['at_indication']}"
    for name in line.get("statements_changed", ()):
        yield f"the statement of conformity of {name} changes"
    yield from (*line["notes"], *line.get("reasons_after", ()))


def decisions(line: Content) -> Iterator[str]:
    """Every disposition of a line, with its reason."""
    for each in line["dispositions"]:
        yield f"{each['decision']}, {each['at']} by {each['by']}: {each['reason']}"
