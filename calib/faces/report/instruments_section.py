"""The section of a report on the instruments its flows rest on."""

from collections.abc import Iterator

from calib.faces.report.anchors import Anchors
from calib.faces.report.blocks import Block, Heading, Paragraph, Run, Table, TableColumn, TableRow, runs
from calib.faces.report.calibrations_appendix import standards
from calib.faces.report.table_cells import leading_cell, words_cell
from calib.faces.written import Content


def instruments_section(report: Content, anchors: Anchors) -> Iterator[Block]:
    """Every instrument that a flow rests on, with its certificate."""
    yield Heading(2, "Instruments used", "instruments")
    if not report["instruments"]:
        yield Paragraph(runs("No reading stands, so no instrument was used for a reported flow."))
        return
    columns = (
        TableColumn("Instrument"),
        TableColumn("Kind, maker, model, serial number", is_wordy=True),
        TableColumn("Certificate"),
        TableColumn("Laboratory", is_wordy=True),
        TableColumn("Calibrated", is_short=True),
        TableColumn("Accepted", is_short=True),
        TableColumn("Due", is_short=True),
        TableColumn("Measuring interval"),
    )
    yield Table("Instruments used", columns, tuple(_instrument(one, anchors) for one in report["instruments"]))
    if report["reference_standards"]:
        columns = (TableColumn("Reference standard"), *columns[1:])
        rows = tuple(_instrument(one, anchors) for one in report["reference_standards"])
        yield Table("Reference standards of calibrations in house", columns, rows)


def _instrument(one: Content, anchors: Anchors) -> TableRow:
    place = (one["tag"], one["certificate"])
    return TableRow(
        (
            leading_cell(one["tag"], anchors.of("curve", *place)),
            words_cell(one["kind"], ", ", one["maker"], " ", one["model"], ", ", one["serial"]),
            leading_cell(one["certificate"], anchors.of("calibration", *place)),
            words_cell(*_laboratory(one, anchors)),
            words_cell(one["calibrated_on"]),
            words_cell(one["accepted_on"] or ""),
            words_cell(one["due_on"]),
            words_cell(one["measuring_interval"]),
        ),
        anchor=anchors.of("instrument", *place),
    )


def _laboratory(one: Content, anchors: Anchors) -> Iterator[str | Run]:
    yield one["laboratory"]
    if one["accreditation"]:
        yield from (", ", one["accreditation"])
    if one["reference_standards"]:
        yield ", by comparison with "
        yield from standards(one, anchors)
