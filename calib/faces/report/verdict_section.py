"""The verdict of a report, on its first page: a sentence, what needs attention, the systems in one unit, how sure it is."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from calib.counted import count_of
from calib.faces.cautions import RULES_IN_BRIEF
from calib.faces.drawings.verdict_bar import verdict_bar
from calib.faces.parts.cross_checks import not_in_agreement, other_measurements, sides_text
from calib.faces.report.anchors import Anchors
from calib.faces.report.blocks import (
    Block,
    Cell,
    Heading,
    Mark,
    Picture,
    Run,
    Table,
    TableColumn,
    TableRow,
    number_columns,
    paragraph,
)
from calib.faces.report.corrections_and_refusals import indicated_text, refused_at, what_became
from calib.faces.report.observed import zone_of
from calib.faces.report.signature_line import signatures
from calib.faces.report.table_cells import NOTHING, flow_cell, probability_cell, row_of, statement_cell, words_cell
from calib.faces.written import (
    Content,
    design_text,
    names_text,
    probability_text,
    rounded,
    total_in_full,
    unit_text,
)
from calib.procedures.measure.cross_checks import TwoWays
from calib.records.words import NET, SERVICES

_MOST_OBSERVATIONS = 50  # more are taken by nobody on a ladder
# statement -> what one flow does, what several do
_DOES: Mapping[str, tuple[str, str]] = {
    "pass": ("complies", "comply"),
    "conditional pass": ("probably complies", "probably comply"),
    "conditional fail": ("probably does not", "probably do not"),
    "fail": ("does not comply", "do not comply"),
    "not measured": ("was not measured", "were not measured"),
    "not judged": ("has no limits to be judged by", "have no limits to be judged by"),
}
_COLUMNS = (*SERVICES, NET)
_WITH = {"fail": " with its design", "conditional fail": " comply with its design"}
_FAILING = frozenset(_WITH)
ATTENTION, SYSTEMS = "What needs attention", "Systems"  # names of its tables
# ISO/IEC 17025:2017, 7.8.2.1 (from memory). On the first page, which is all that a mail and a first sheet show.
_ABOUT_THE_PAPER = (
    "Results relate only to the items measured, as they were then. Not to be copied except in full, "
    "unless the issuer agrees."
)


def verdict_section(report: Content, anchors: Anchors) -> Iterator[Block]:
    """The verdict, and all that a reader with ten seconds needs."""
    summary = report["summary"]
    yield Heading(2, "Verdict", "verdict")
    yield paragraph(Run(" ".join([verdict_sentence(summary), *systems_sentences(summary["systems"])]), Mark.STRONG))
    if report["gaps_reason"]:
        left = names_text([each["outlet"] for each in report["not_measured"]])
        yield paragraph(f"Issued without {left}: ", report["gaps_reason"].rstrip("."), ".")
    bar = verdict_bar(summary["statements"])
    if bar is not None:
        yield Picture("verdict", bar.figure, bar.words)
    yield paragraph(" ".join([*counted_sentences(report), RULES_IN_BRIEF[report["decision_rule"]]]), soft=True)
    yield signatures(report)
    yield paragraph(_ABOUT_THE_PAPER, soft=True)
    yield from _needing_attention(report, anchors)
    yield from _of_systems(summary)
    yield paragraph(*_of_mains(report["cross_checks"]), " ".join(_how_sure(report)), soft=True)


def verdict_sentence(summary: Content) -> str:
    """Of 21 design flows 14 comply, 4 probably comply, 1 does not comply and 1 was not measured."""
    count, statements = summary["design_flows"], summary["statements"]
    if not count:
        return "No outlet of this job has a design flow: nothing was judged."
    if statements.get("pass") == count:
        return "The design flow complies." if count == 1 else f"All {count} design flows comply."
    parts = [f"{statements[word]} {does[statements[word] > 1]}" for word, does in _DOES.items() if statements.get(word)]
    return f"Of {count_of(count, 'design flow', 'design flows')} {_listed(parts)}."


def systems_sentences(totals: Sequence[Content]) -> Iterator[str]:
    """Each system whose total fails the design of the system, or probably does: AHU-1, supply: the total does not comply."""
    for total in totals:
        if total["conformity"] in _FAILING:
            yield f"{total_in_full(total)}: the total {_DOES[total['conformity']][0]}{_WITH[total['conformity']]}."


def counted_sentences(report: Content) -> Iterator[str]:
    """What the counts are of: outlets and ducts, with a design and without, readings that count and those that do not."""
    summary, refusals = report["summary"], report["refusals"]
    ducts, without, of_ducts = (
        summary[name] for name in ("design_flows_of_ducts", "without_design", "ducts_without_design")
    )
    if ducts:
        are = "are those" if summary["design_flows"] > 1 else "is that"
        flows = "flows" if summary["design_flows"] > 1 else "flow"
        yield f"The design {flows} {are} of {_outlets_and_ducts(summary['design_flows'] - ducts, ducts)}."
    if without:
        was = "were" if without > 1 else "was"
        yield f"{_outlets_and_ducts(without - of_ducts, of_ducts)} without a design {was} measured too."
    if left := summary["not_measured_without_design"]:
        yield f"{left}{' more' if without else ''} without a design {'were' if left > 1 else 'was'} not measured."
    latest, superseded, repeats = (summary[name] for name in ("latest_readings", "superseded_readings", "repeats"))
    parts = [count_of(latest, "counts", "count")] if latest else []
    if superseded:
        parts.append(f"{count_of(superseded, 'was', 'were')} superseded by a later one")
    if repeats:
        parts.append(count_of(repeats, "is a repeat", "are repeats"))
    if refusals:
        parts.append(f"{count_of(len(refusals), 'was', 'were')} refused ({_what_became(report)})")
    if superseded or repeats or refusals:
        count = count_of(latest + superseded + repeats + len(refusals), "reading", "readings")
        yield f"Of {count} {_listed(parts)}."


def _outlets_and_ducts(outlets: int, ducts: int) -> str:
    counted = [(outlets, count_of(outlets, "outlet", "outlets")), (ducts, count_of(ducts, "duct", "ducts"))]
    return " and ".join(said for count, said in counted if count)


def _what_became(report: Content) -> str:
    """Of each outlet with refused readings: which reading counts in their place, or that none does."""
    readings = {reading["reading"]: reading for reading in report["readings"]}
    zone = zone_of(report)
    said = (f"{each['outlet']}: {what_became(each, readings, zone)}" for each in report["refusals"])
    return names_text(list(dict.fromkeys(said)), "; ")


def _listed(parts: Sequence[str]) -> str:
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"


# --- what needs attention --------------------------------------------------------------------------------------------------------


def _needing_attention(report: Content, anchors: Anchors) -> Iterator[Block]:
    """Those that failed, may fail or were not measured in a table; those that probably comply in a line."""
    readings = {reading["reading"]: reading for reading in report["readings"]}
    listed = report["summary"]["attention"]
    worst = [each for each in listed if each["statement"] != "conditional pass"]
    totals = [total for total in (*report["totals"], *report["job_totals"]) if _fails(total)]
    units = [each["design"]["unit"] for each in (*worst, *totals)]
    if units:
        failing = sum(each["statement"] == "fail" for each in worst)
        rows = [_attention(each, readings.get(each["reading"]), report, anchors) for each in worst]
        rows[failing:failing] = map(_of_total, totals)
        yield paragraph(Run(ATTENTION, Mark.STRONG))
        yield Table(ATTENTION, _columns(units[0]), tuple(rows))
    twice = list(not_in_agreement(report["cross_checks"]))
    doubtful = [_doubtful(each, readings[each["reading"]], twice, anchors) for each in listed[len(worst) :]]
    if doubtful:
        unit = unit_text(listed[len(worst)]["design"]["unit"])
        parts: list[str | Run] = [
            f"Probably complying, with a limit within U (flow ± U in {unit}, allowed, probability, what would pass clearly): "
        ]
        for place, said in enumerate(doubtful):
            parts += ["; " if place else "", *said]
        yield paragraph(*parts, ".", soft=True)
    told = {each["outlet"] for each in listed}
    if others := [f"{outlet}, {said}" for outlet, said in twice if outlet not in told]:
        yield paragraph(Run(f"{'; '.join(others)}.", Mark.STRONG))


def _columns(unit: str) -> tuple[TableColumn, ...]:
    unit = unit_text(unit)
    return (
        TableColumn("Outlet"),
        *number_columns(f"Flow\u00a0±\u00a0U [{unit}]", f"Allowed [{unit}]"),
        TableColumn("Statement", is_short=True),
        TableColumn("Probability", is_number=True),
        TableColumn("What would settle it; remarks; other measurements", is_wordy=True),
    )


def _fails(total: Content) -> bool:
    return total["design"] is not None and total["design"]["conformity"] in _FAILING


def _of_total(total: Content) -> TableRow:
    """A system whose total fails: what would settle it is said at its outlets."""
    design = total["design"]
    return row_of(
        words_cell(total_in_full(total), Run(" (total)", Mark.SOFT)),
        _without_unit(total["flow"]),
        words_cell(allowed_text(design)),
        statement_cell(design["conformity"]),
        probability_cell(design["probability_of_conformity"]),
        words_cell(
            f"of {count_of(total['outlets_measured'], 'outlet', 'outlets')}: set the system, or ask for its design"
        ),
    )


def _attention(each: Content, reading: Content | None, report: Content, anchors: Anchors) -> TableRow:
    outlet = words_cell(each["outlet"], Run(f" ({each['system']}, {each['service']})", Mark.SOFT))
    allowed = words_cell(allowed_text(each["design"]))
    refused = () if reading is not None else map(indicated_text, refused_at(report, each["outlet"]))
    others = other_measurements(report["cross_checks"], each["outlet"])
    settled = words_cell("; ".join([*_settling(each, reading), *refused, *others]))
    if reading is None:
        return row_of(outlet, NOTHING, allowed, words_cell("not measured"), NOTHING, settled)
    return row_of(
        outlet,
        _without_unit(reading["flow"], to=anchors.of("reading", each["reading"])),
        allowed,
        statement_cell(each["statement"]),
        probability_cell(reading["design"]["probability_of_conformity"]),
        settled,
    )


def allowed_text(design: Content) -> str:
    """The flows that conform, in the unit of the design: 255 to 345, at least 300."""
    low, high = design["lower_limit"], design["upper_limit"]
    if low is None and high is None:
        return ""
    if high is None:
        return f"at least {design_text(low)}"
    return f"at most {design_text(high)}" if low is None else f"{design_text(low)} to {design_text(high)}"


def _without_unit(flow: Content, to: str | None = None) -> Cell:
    """A flow whose unit stands at the head of its column."""
    return replace(flow_cell(flow | {"unit": ""}, to=to), unit=flow["unit"])


def _settling(each: Content, reading: Content | None) -> Iterator[str]:
    if reading is None:
        yield "; ".join(each["reasons"]) or "measure it"
        return
    passing = each["passing_flows"]
    if each["statement"] == "fail":
        yield "set the damper and read it again" + _to_pass(passing)
    elif (count := each["observations_to_settle"]) is not None:
        quicker = ", or sooner another meter or method, or the damper" if count > _MOST_OBSERVATIONS else ""
        yield f"{count} observations would settle it{quicker}"
    else:
        largest = max(reading["contributions"], key=lambda part: part["variance_percent"])
        yield f"no number of observations settles it, since {largest['name']} rules U: another meter or method, or the damper"
        if passing is None:
            yield "with this U no flow would pass clearly"
    if reading["remarks"]:
        yield f"remarked: {reading['remarks']}"


def _to_pass(passing: Content | None) -> str:
    if passing is None:
        return "; with this U no flow would pass clearly"
    ends = {"lower_limit": passing["from"], "upper_limit": passing["to"]}
    return f": {allowed_text(ends)} {unit_text(passing['unit'])} would pass"


def _doubtful(each: Content, reading: Content, twice: Sequence[tuple[str, str]], anchors: Anchors) -> Iterator[Run]:
    """Flow ± U, the range allowed, what would settle it, and a repeat or another measurement that does not agree."""
    design, passing, count = reading["design"], each["passing_flows"], each["observations_to_settle"]
    yield Run(each["outlet"], to=anchors.of("reading", each["reading"]))
    said = [allowed_text(each["design"]), probability_text(design["probability_of_conformity"])]
    if count is not None:
        said.append(f"{count} observations would settle it")
    elif passing is not None:
        said.append(f"clearly {allowed_text({'lower_limit': passing['from'], 'upper_limit': passing['to']})}")
    flow = rounded(reading["flow"]).replace(" ", "\u00a0")
    yield Run(f": {flow} ({', '.join(said)})")
    yield from (Run(f", {told}", Mark.STRONG) for outlet, told in twice if outlet == each["outlet"])


# --- systems ---------------------------------------------------------------------------------------------------------------------


def _of_systems(summary: Content) -> Iterator[Block]:
    """Each system's supply, return, exhaust and net in one row, in one unit."""
    totals = summary["systems"]
    if not any(total["flow"] for total in totals):
        return
    unit = unit_text(next(total["flow"]["unit"] for total in totals if total["flow"]))
    services = [service for service in _COLUMNS if any(total["service"] == service for total in totals)]
    of_system: dict[str | None, dict[str, Content]] = {}
    for total in totals:
        of_system.setdefault(total["system"], {})[total["service"]] = total
    labels = [f"{'Net' if service == NET else service.capitalize()} [{unit}]" for service in services]
    rows = tuple(
        row_of(words_cell(system or "All systems"), *(_total_cell(own.get(service)) for service in services))
        for system, own in of_system.items()
    )
    yield Table(SYSTEMS, (TableColumn("System"), *(TableColumn(label, is_number=True) for label in labels)), rows)


def _total_cell(total: Content | None) -> Cell:
    if total is None or total["flow"] is None:
        return NOTHING
    flow = _without_unit(total["flow"])
    whole = total["outlets_measured"] == total["outlets"]
    partly = () if whole else (Run(f" {total['outlets_measured']} of {total['outlets']} outlets", Mark.SOFT),)
    sign = () if total["conformity"] is None else (Run("\n"), Run(total["conformity"], Mark.STATEMENT))
    return replace(flow, text=(*flow.text, *partly, *sign))


def _of_mains(checks: Sequence[Content]) -> Iterator[str | Run]:
    """Each main against the sum of its outlets."""
    every = list(mains_told(checks))
    for place, told in enumerate(every):
        yield "; " if place else "Mains against the sum of their outlets: "
        yield told
    if every:
        yield ". "


def mains_told(checks: Sequence[Content]) -> Iterator[Run]:
    """What each main and its outlets gave, and what that says; those that do not agree are marked."""
    for check in checks:
        if check["kind"] in (TwoWays.MAIN, TwoWays.BY_DIFFERENCE):
            _, main, outlets = sides_text(check)
            first, second, difference = (
                f"{rounded(flow)} {unit_text(flow['unit'])}"
                for flow in (check["first"]["flow"], check["second"]["flow"], check["difference"])
            )
            if check["kind"] == TwoWays.BY_DIFFERENCE:
                left = names_text(check["not_measured"])
                yield Run(f"{main} {first} less the {outlets} {second} leaves {difference} for {left}")
            elif check["agrees"] is False:
                yield Run(
                    f"{main} {first} and {outlets} {second} do not agree: they differ by {difference}", Mark.STRONG
                )
            else:
                yield Run(f"{main} {first} and {outlets} {second} agree")


# --- how sure --------------------------------------------------------------------------------------------------------------------


def _how_sure(report: Content) -> Iterator[str]:
    summary, risks = report["summary"], report["risks"]
    relative, ruled = summary["relative_expanded_uncertainty_percent"], summary["ruled_by"]
    if relative is not None:
        least, largest = (f"{relative[end]:.2g}" for end in ("least", "largest"))
        between = f"{least} %" if least == largest else f"between {least} % and {largest} %"
        yield f"The expanded uncertainty U is {between} of the flow, ruled by {_named(ruled)}."
    if risks is not None:
        yield f"Wrong decisions to be expected: {_wrong(risks['decisions'][-1])}."
    due = sorted(each["due_on"] for each in report["instruments"])
    if due:
        count = count_of(len(due), "instrument was", "instruments were")
        yield f"{count} used, each in calibration on the day; the first is due on {due[0]}."


def _named(ruled: Sequence[Content]) -> str:
    count = sum(each["readings"] for each in ruled)
    if count == 1:
        return str(ruled[0]["contribution"])
    return " and ".join(f"{each['contribution']} (in {each['readings']} of {count} flows)" for each in ruled[:2])


def _wrong(whole: Content) -> str:
    """How many decisions on a whole job are to be expected to be wrong."""
    counts = {"accepted": whole["accepted"], "rejected": whole["judged"] - whole["accepted"]}
    return " and ".join(
        f"{_number(whole[f'expected_wrongly_{decided}'])} {_of_flows(count)} {decided}"
        for decided, count in counts.items()
        if count
    )


def _of_flows(count: int) -> str:
    return "for the one flow" if count == 1 else f"among the {count} flows"


def _number(expected: float) -> str:
    return "less than 0.01" if expected < 0.005 else f"{expected:.2f}"
