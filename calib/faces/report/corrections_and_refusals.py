"""Sections of a report on what a revision changed, what was corrected before, and which readings were refused."""

import re
from collections.abc import Iterator, Mapping, Sequence

from calib.faces.parts.review_on_job import decided_text, disposed_text
from calib.faces.report.anchors import Anchors
from calib.faces.report.blocks import Block, Heading, Table, TableColumn, TableRow, number_columns, paragraph
from calib.faces.report.observed import zone_of
from calib.faces.report.table_cells import flow_cell, row_of, words_cell
from calib.faces.written import Content, moment_text, unit_text

NONCONFORMING, RECORDED_SINCE = "Nonconforming work", "Recorded since an issue"
_NONE_REFUSED = "None: every reading was taken with an instrument in calibration."


def changes_section(report: Content) -> Iterator[Block]:
    """What differs from the revision before."""
    changes = report.get("changes") or []
    if not changes:
        return
    yield Heading(2, "Changes", "changes")
    columns = (
        TableColumn("What", is_wordy=True),
        TableColumn("Before"),
        TableColumn("After"),
        TableColumn("Why", is_wordy=True),
    )
    rows = tuple(
        row_of(
            words_cell(each["what"]),
            words_cell(_shown(each["before"])),
            words_cell(_shown(each["after"])),
            words_cell("; ".join(each["because"])),
        )
        for each in changes
    )
    yield Table("Changes from the revision before", columns, rows)


def _shown(value: object) -> str:
    """A statement as the tables of flows have it: the unit behind (236 ± 18) is typeset."""
    said = "none" if value is None or value == "" else str(value)
    return _STATED.sub(lambda stated: f"{stated[1]}{unit_text(stated[2])}", said)


_STATED = re.compile(r"^(\(−?[\d.]+ ± [\d.]+\) )([^ ,]+)")


def amendments_section(report: Content) -> Iterator[Block]:
    """Corrections since the job was first entered, with both values and the reason."""
    if not report["amendments"]:
        return
    yield Heading(2, "Amendments", "amendments")
    columns = (
        TableColumn("Corrected"),
        TableColumn("Before → after", is_wordy=True),
        TableColumn("Reason", is_wordy=True),
        TableColumn("By, at", is_wordy=True),
        *number_columns("Latest flow before", "Latest flow after"),
    )
    zone = zone_of(report)
    yield Table("Amendments", columns, tuple(_amendment(amendment, zone) for amendment in report["amendments"]))


def reviews_section(report: Content) -> Iterator[Block]:
    """Nonconforming work that this job rests on: what was found, what holds, by whose decision; what was recorded late."""
    for title, anchor in ((NONCONFORMING, "nonconforming"), (RECORDED_SINCE, "recorded-since")):
        reviews = reviews_under(title, report)
        if reviews:
            yield Heading(2, title, anchor)
            yield _table_of_reviews(title, reviews)


def reviews_under(title: str, report: Content) -> list[Content]:
    """Reviews under the one heading or the other: those that a revision answers were of what was recorded since an issue."""
    return [each for each in report["reviews"] if (each["answered_by"] is not None) is (title == RECORDED_SINCE)]


def _table_of_reviews(title: str, reviews: Sequence[Content]) -> Table:
    columns = (
        TableColumn("What was found", is_wordy=True),
        TableColumn("Readings that rest on it", is_wordy=True),
        TableColumn("What was decided", is_wordy=True),
        TableColumn("Of single lines", is_wordy=True),
    )
    rows = (
        row_of(
            words_cell(f"{review['instrument'] or ''} {review['happened']}".strip(), f" (review {review['review']})"),
            words_cell(", ".join(map(str, review["readings"])) or "none"),
            words_cell(decided_text(review), "; lines are open" if review["open"] else ""),
            words_cell(disposed_text(review)),
        )
        for review in reviews
    )
    return Table(title, columns, tuple(rows))


def _amendment(amendment: Content, zone: str) -> TableRow:
    last = amendment["flows"][-1] if amendment["flows"] else {"before": None, "after": None}
    return row_of(
        words_cell(amendment["record"], f", revision {amendment['revision']}"),
        words_cell(*_amended(amendment["changes"])),
        words_cell(amendment["reason"]),
        words_cell(amendment["by"], f", {moment_text(amendment['at'], zone)}"),
        flow_cell(last["before"], otherwise=""),
        flow_cell(last["after"], otherwise=""),
    )


def _amended(changes_section: Sequence[Content]) -> Iterator[str]:
    for place, each in enumerate(changes_section):
        yield f"{'; ' if place else ''}{each['column'].replace('_', ' ')}: "
        yield from (each["before"] or "none", " → ", each["after"] or "none")


def refusals_section(report: Content, anchors: Anchors) -> Iterator[Block]:
    """Readings that yield no flow, with the reasons."""
    yield Heading(2, "Refused readings", "refused")
    if not report["refusals"]:
        yield paragraph(_NONE_REFUSED if report["readings"] else "None: no reading was recorded.")
        return
    columns = (
        TableColumn("Outlet"),
        TableColumn("System"),
        TableColumn("Indicated; remarks", is_wordy=True),
        TableColumn("Observed"),
        TableColumn("Reasons", is_wordy=True),
        TableColumn("What became of it", is_wordy=True),
    )
    readings, zone = {reading["reading"]: reading for reading in report["readings"]}, zone_of(report)
    rows = (
        row_of(
            words_cell(refusal["outlet"]),
            words_cell(refusal["system"], f", {refusal['service']}"),
            words_cell(indicated_text(refusal)),
            words_cell(moment_text(refusal["observed_at"], zone)),
            words_cell("; ".join(refusal["reasons"])),
            words_cell(what_became(refusal, readings, zone)),
            anchor=anchors.of("refused", place),
        )
        for place, refusal in enumerate(report["refusals"], start=1)
    )
    yield Table("Refused readings", columns, tuple(rows))


def refused_at(report: Content, outlet: str) -> Iterator[Content]:
    """The refused readings of an outlet."""
    yield from (each for each in report["refusals"] if each["outlet"] == outlet)


def indicated_text(refusal: Content) -> str:
    """What a refused reading indicated, and what was remarked on site."""
    typed = refusal["observations"] or refusal["indication"]
    indicated = (
        f" indicated {typed.replace(';', ', ')} {unit_text(refusal['unit'])}" if typed else ", a traverse or a log"
    )
    remarked = f"; remarked: {refusal['remarks']}" if refusal["remarks"] else ""
    return f"{refusal['instrument']}{indicated}{remarked}"


def what_became(refusal: Content, readings: Mapping[int, Content], zone: str) -> str:
    """Which reading counts in the place of a refused one, or that none does; `readings` are those of the report by number."""
    counts = readings.get(refusal["counts_instead"])
    if counts is None:
        return "not measured"
    return f"{counts['instrument']} at {moment_text(counts['observed_at'], zone)} counts"
