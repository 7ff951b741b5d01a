"""Sections of a report on its traverses and on the air of the readings."""

from collections.abc import Iterator, Sequence

from calib.faces.answers.conditions import declared_texts
from calib.faces.report.anchors import Anchors
from calib.faces.report.blocks import Block, Heading, Table, TableColumn, TableRow, number_columns, paragraph
from calib.faces.report.table_cells import leading_cell, number_cell, row_of, uncertainty_cell, words_cell
from calib.faces.written import Content, signed_percent, two_digits, unit_text


def traverses_section(report: Content, anchors: Anchors) -> Iterator[Block]:
    """What each traverse tells of its profile."""
    traversed = [reading for reading in report["readings"] if reading["traverse"] is not None]
    if not traversed:
        return
    yield Heading(2, "Traverses", "traverses")
    columns = (
        TableColumn("Duct"),
        TableColumn("Rule", is_short=True),
        *number_columns(
            "Lines × points",
            "Passes",
            "Largest over mean velocity",
            "Points below a tenth of the largest pressure",
            "Skew across, up",
        ),
        TableColumn("Profile", is_wordy=True),
    )
    yield Table("Traverses", columns, tuple(_traverse(reading, anchors) for reading in traversed))
    yield paragraph(
        "Velocities are averaged over the points, never pressures. The spread over the points is the profile of the duct and "
        "enters no uncertainty as repeatability; repeated passes do.",
        soft=True,
    )


def _traverse(reading: Content, anchors: Anchors) -> TableRow:
    traversed, profile = reading["traverse"], reading["traverse"]["profile"]
    return row_of(
        leading_cell(reading["outlet"], anchors.of("reading", reading["reading"])),
        words_cell(traversed["rule"]),
        words_cell(f"{traversed['lines']} × {traversed['points']}"),
        number_cell(traversed["passes"], "d"),
        number_cell(profile["largest_over_mean"], ".2f"),
        number_cell(profile["low_share_percent"], ".0f", "%"),
        words_cell(f"{signed_percent(profile['skew_across_percent'])}, {signed_percent(profile['skew_up_percent'])}"),
        words_cell("; ".join(profile["findings"]) or "nothing stands out"),
    )


def air_section(report: Content) -> Iterator[Block]:
    """Conditions of the air that readings rest on, each once."""
    used = {air_named(each): each for each in airs_used(report["readings"])}
    if not used:
        return
    yield Heading(2, "Conditions of the air", "air")
    columns = (
        TableColumn("Conditions"),
        *number_columns("Density", "u"),
        TableColumn("Observed", is_wordy=True),
    )
    rows = (
        row_of(
            words_cell(air_named(conditions)),
            number_cell(conditions["density"]["value"], ".4f", "kg/m³"),
            uncertainty_cell(conditions["density"]["standard_uncertainty"], "kg/m³"),
            words_cell(*_observed(conditions["observed"]), *_declared(conditions["declared"])),
        )
        for conditions in used.values()
    )
    yield Table("Conditions of the air", columns, tuple(rows))
    yield paragraph(
        "Density of moist air by CIPM-2007, with the corrections and uncertainties of the instruments that observed it.",
        soft=True,
    )


def airs_used(readings: Sequence[Content]) -> Iterator[Content]:
    """The air that flows rest on, or are compared by."""
    for reading in readings:
        yield from (reading[air] for air in ("conditions", "air") if reading[air])


def air_named(conditions: Content) -> str:
    """The name of conditions; with a declared temperature whose air it is."""
    declared = conditions["declared"]
    return str(conditions["name"]) if declared is None else f"{conditions['name']}, {declared['service']} air"


def _declared(declared: Content | None) -> Iterator[str]:
    for text in declared_texts(declared, unit_text("degC")):
        yield f"; {text}"


def _observed(rows: Sequence[Content]) -> Iterator[str]:
    for place, each in enumerate(rows):
        yield f"{'; ' if place else ''}{each['quantity']} {each['value']} {unit_text(each['unit'])} ("
        yield each["instrument"] or each["source"] or ""
        yield f", u = {two_digits(each['standard_uncertainty'])})"
