"""The head of a report, its flows by system, and the balance."""

from collections import Counter, defaultdict
from collections.abc import Iterator

from calib.faces.drawings.job import balance_alternatives, balance_charts, overview_alternatives, overview_charts
from calib.faces.report.anchors import Anchors
from calib.faces.report.blocks import (
    Block,
    Bullets,
    Cell,
    Column,
    Heading,
    Mark,
    Notice,
    Paragraph,
    Picture,
    Row,
    Run,
    Strip,
    Table,
    Title,
    runs,
)
from calib.faces.report.cells import NOTHING, factor_cell, flow_cell, number, probability, statement, words
from calib.faces.written import SIGNS, Content, count_of, design_text, moment_text, total_name
from calib.uncertainty.coverage import COVERAGE_PROBABILITY
from calib.uncertainty.statement import plain, round_result

# --- the first page --------------------------------------------------------------------------------------------------------------


def head(report: Content) -> Iterator[Block]:
    """Title, the facts beneath it, and what a reader must not miss."""
    yield Title(report["title"] or report["job"], f"Air flow report on job {report['job']}")
    yield Strip(tuple(_facts(report)))
    if report.get("is_draft"):
        yield Notice(
            "Draft.", runs("This report was not issued: nobody has answered for it yet, and it may still change.")
        )
    yield from _revised(report)
    yield from (_open_review(one) for one in report["open_reviews"])
    if report["refusals"]:
        count = len(report["refusals"])
        lead = count_of(count, "reading was refused", "readings were refused")
        said = f"No flow is reported for {'them' if count > 1 else 'it'}. The reasons stand under "
        yield Notice(f"{lead}.", runs(said, Run("Refused readings", to="refused"), "."))


def _facts(report: Content) -> Iterator[tuple[str, str]]:
    if report["site"]:
        yield "Site", report["site"]
    if report["client"]:
        yield "Client", report["client"]
    is_draft = report.get("is_draft", False)
    yield "Written" if is_draft else "Issued", moment_text(report["issued"])
    if report.get("issued_by"):
        yield "Issued by", report["issued_by"]
    yield "Revision", str(report["revision"])
    yield "Decision rule", report["decision_rule"]
    yield "Readings that stand", str(len(report["readings"]))
    judged = Counter(one["design"]["conformity"] for one in report["readings"] if one["design"] and one["latest"])
    yield from ((word.capitalize(), str(judged[word])) for word in SIGNS if judged[word])
    yield "Refused", str(len(report["refusals"]))


def _revised(report: Content) -> Iterator[Block]:
    """What a revision changed and why; before a first issue, that cells were corrected."""
    changes, reason = report.get("changes") or [], report.get("revision_reason")
    amendments = report["amendments"]
    if not (changes or reason or amendments):
        return
    parts: list[str | Run] = []
    if reason:
        parts += ["Reason: ", str(reason), ". "]
    if changes:
        parts += ["What differs from the revision before stands under ", Run("Changes", to="changes"), ". "]
    if amendments:
        said = count_of(len(amendments), "correction was", "corrections were")
        parts += [f"{said} made since the job was first entered: ", Run("Amendments", to="amendments"), "."]
    lead = f"Revision {report['revision']}." if report["revision"] > 1 else "Corrected."
    yield Notice(lead, runs(*parts))


def _open_review(one: Content) -> Notice:
    rest = count_of(len(one["readings"]), "reading of this report rests", "readings of this report rest")
    lines = count_of(one["open_lines_in_all"], "line of the review has", "lines of the review have")
    return Notice(
        "An impact review is open.",
        runs(
            one["instrument"],
            f" was found beyond its limits when it was calibrated on {one['calibrated_on']} (certificate ",
            one["certificate"],
            f"). {rest} on it as it was before, and {lines} no disposition yet.",
        ),
    )


def changes(report: Content) -> Iterator[Block]:
    """What differs from the revision before."""
    found = report.get("changes") or []
    if not found:
        return
    yield Heading(2, "Changes", "changes")
    columns = (Column("What", is_wordy=True), Column("Before"), Column("After"))
    rows = tuple(Row((words(one["what"]), words(_shown(one["before"])), words(_shown(one["after"])))) for one in found)
    yield Table("Changes from the revision before", columns, rows)


def _shown(value: object) -> str:
    return "none" if value is None or value == "" else str(value)


# --- flows -----------------------------------------------------------------------------------------------------------------------

_FLOW_COLUMNS = (
    Column("Outlet"),
    Column("Service", is_short=True),
    Column("Observed"),
    Column("Instrument"),
    Column("Velocity", is_number=True),
    Column("Flow ± U", is_number=True),
    Column("k", is_number=True),
    Column("Design", is_number=True),
    Column("Tolerance", is_number=True),
    Column("% of design", is_number=True),
    Column("Conformity", is_short=True),
    Column("Probability", is_number=True),
)


def flows(report: Content, anchors: Anchors) -> Iterator[Block]:
    """Every flow that was measured, system by system, with the totals."""
    first = report["readings"][0]["flow"]["coverage_probability"] if report["readings"] else COVERAGE_PROBABILITY
    yield Heading(2, "Measured flows", "flows")
    yield Paragraph(
        runs(
            f"Each flow is given as value ± expanded uncertainty U = k·u, with its coverage factor k for a coverage probability of "
            f"{100 * first:g}\N{NO-BREAK SPACE}%. A flow leads to its uncertainty budget, an instrument to its calibration. "
            "Times are local, with their difference from UTC."
        )
    )
    yield from _overview(report["readings"])
    readings, totals = _by_system(report["readings"]), _by_system(report["totals"])
    for system in dict.fromkeys((*readings, *totals)):
        yield Heading(3, f"System {system}")
        if system in readings:
            rows = tuple(_reading(one, anchors) for one in readings[system])
            yield Table(f"Flows of {system}", _FLOW_COLUMNS, rows)
        if system in totals:
            yield _totals(f"Total of {system}", totals[system])
    flagged = tuple(runs(one["outlet"], f": {'; '.join(one['flags'])}.") for one in report["readings"] if one["flags"])
    if flagged:
        yield Bullets(flagged)


_MOST_DRAWN = 1000  # outlets in the overview: two figures of thin lines


def _overview(readings: list[Content]) -> Iterator[Picture]:
    """Every outlet against its design; of a very large job those that are least surely within their tolerance."""
    shown, caption = readings, "Latest flow of each outlet with its U, in percent of design, with the tolerance."
    if len(readings) > _MOST_DRAWN:
        surely = sorted(readings, key=lambda one: one["design"]["probability_of_conformity"] if one["design"] else 1.0)
        shown = surely[:_MOST_DRAWN]
        caption = f"The {_MOST_DRAWN} of {len(readings)} readings with the lowest probability of conformity. {caption}"
    pictures = zip(overview_charts(shown), overview_alternatives(shown), strict=True)
    for place, (figure, alternative) in enumerate(pictures):
        yield Picture(f"overview-{place}", figure, alternative, runs(caption))


def _by_system(ones: list[Content]) -> dict[str, list[Content]]:
    found: dict[str, list[Content]] = defaultdict(list)
    for one in ones:
        found[one["system"]].append(one)
    return found


def _reading(one: Content, anchors: Anchors) -> Row:
    design, velocity, key = one["design"], one["velocity"], one["reading"]
    used: list[str | Run] = [Run(one["instrument"], to=anchors.of("instrument", one["instrument"], one["certificate"]))]
    if one["probe"]:
        probe = one["probe"]
        used += [" with ", Run(probe["tag"], to=anchors.of("instrument", probe["tag"], probe["certificate"]))]
    return Row(
        (
            words(one["outlet"], *_remarked(one)),
            words(one["service"]),
            words(moment_text(one["observed_at"])),
            words(*used),
            NOTHING if velocity is None else _velocity(velocity),
            flow_cell(one["flow"], to=anchors.of("budget", key)),
            factor_cell(one["flow"]),
            *_judged(design),
        ),
        anchor=anchors.of("reading", key),
    )


def _remarked(one: Content) -> Iterator[Run]:
    if one["place"] == "duct":
        yield Run(" (duct)", Mark.SOFT)
    if not one["latest"]:
        yield Run(" (a later reading counts)", Mark.SOFT)


def _velocity(velocity: Content) -> Cell:
    text = plain(round_result(velocity["value"], velocity["standard_uncertainty"]).value)
    return Cell((Run(f"{text} {velocity['unit']}"),), velocity["value"], velocity["unit"])


def _judged(design: Content | None) -> tuple[Cell, ...]:
    """Design, tolerance, share of the design, statement and probability."""
    if design is None:
        return (words("none"), *[NOTHING] * 4)
    tolerance = design["tolerance_percent"]
    return (
        Cell((Run(f"{design_text(design['value'])} {design['unit']}"),), design["value"], design["unit"]),
        NOTHING if tolerance is None else Cell((Run(f"± {tolerance:g} %"),), tolerance, "%"),
        number(design["percent_of_design"], ".1f"),
        statement(design["conformity"]),
        probability(design["probability_of_conformity"]),
    )


# --- balance ---------------------------------------------------------------------------------------------------------------------


def _totals(title: str, ones: list[Content]) -> Table:
    columns = (
        Column(title),
        Column("Flow ± U", is_number=True),
        Column("k", is_number=True),
        Column("Design", is_number=True),
        Column("Tolerance", is_number=True),
        Column("% of design", is_number=True),
        Column("Conformity", is_short=True),
        Column("Probability", is_number=True),
        Column("Measured", is_number=True),
    )
    rows = (
        Row(
            (
                words(total_name(one)),
                flow_cell(one["flow"]),
                factor_cell(one["flow"]),
                *(_judged(one["design"]) if one["design"] else [NOTHING] * 5),
                _measured(one),
            ),
            is_total=True,
        )
        for one in ones
    )
    return Table(title, columns, tuple(rows), is_compact=True)


def _measured(one: Content) -> Cell:
    said = f"{one['outlets_measured']} of {one['outlets']}"
    return words(said if one["outlets_measured"] == one["outlets"] else f"{said}, incomplete")


def balance(report: Content) -> Iterator[Block]:
    """Totals of the job, and net flows of the rooms."""
    if report["job_totals"] or report["rooms"]:
        yield Heading(2, "Balance", "balance")
    if report["job_totals"]:
        yield from _balance_pictures(report)
        yield _totals("All systems", report["job_totals"])
    if report["rooms"]:
        yield _rooms(report["rooms"])
        yield Paragraph(
            runs(
                "The sign of the net flow says which way air leaks through a room's openings; the pressure itself was not measured."
            ),
            soft=True,
        )
    yield Paragraph(
        runs(
            "Totals take the latest reading of each outlet and carry what their readings share: the errors of one calibration, one "
            "outlet or one source of outlet factors add up before they are squared."
        ),
        soft=True,
    )


_MOST_BALANCES = 4  # figures; `calib balance --plot` draws all


def _balance_pictures(report: Content) -> Iterator[Picture]:
    figures, alternatives = balance_charts(report, _MOST_BALANCES), balance_alternatives(report, _MOST_BALANCES)
    for place, (figure, alternative) in enumerate(zip(figures, alternatives, strict=True)):
        caption = "Supply, return, exhaust and net flow with U; the mark is the design."
        yield Picture(f"balance-{place}", figure, alternative, runs(caption))


_WANTED = {"positive": "a surplus of supply", "negative": "a surplus of extract"}


def _rooms(rooms: list[Content]) -> Table:
    columns = (
        Column("Room"),
        Column("Supply less extract ± U", is_number=True),
        Column("k", is_number=True),
        Column("The design asks for"),
        Column("Probability that it is so", is_number=True),
        Column("Measured", is_number=True),
    )
    rows = (
        Row(
            (
                words(one["room"]),
                flow_cell(one["flow"]),
                factor_cell(one["flow"]),
                words(_WANTED.get(one["wanted"] or "", "nothing")),
                probability(one["probability_as_wanted"]),
                _measured(one),
            ),
            is_total=True,
        )
        for one in rooms
    )
    return Table("Rooms", columns, tuple(rows), is_compact=True)
