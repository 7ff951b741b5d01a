"""The section of a report on the instruments its flows rest on: each in a line; what its certificate says is in the appendix."""

from collections.abc import Iterator

from calib.faces.report.anchors import Anchors
from calib.faces.report.blocks import Block, Heading, Table, TableColumn, TableRow, paragraph
from calib.faces.report.table_cells import leading_cell, row_of, words_cell
from calib.faces.written import Content


def instruments_section(report: Content, anchors: Anchors) -> Iterator[Block]:
    """Every instrument that a flow rests on, with its certificate."""
    yield Heading(2, "Instruments used", "instruments")
    if not report["instruments"]:
        yield paragraph("No reading stands, so no instrument was used for a reported flow.")
        return
    columns = (
        TableColumn("Instrument"),
        TableColumn("Kind, maker, model, serial number", is_wordy=True),
        TableColumn("Certificate"),
        TableColumn("Calibrated", is_short=True),
        TableColumn("Due", is_short=True),
    )
    yield Table(
        "Instruments used", columns, tuple(_instrument(instrument, anchors) for instrument in report["instruments"])
    )
    if report["reference_standards"]:
        columns = (TableColumn("Reference standard"), *columns[1:])
        rows = tuple(_instrument(instrument, anchors) for instrument in report["reference_standards"])
        yield Table("Reference standards of calibrations in house", columns, rows)


def _instrument(instrument: Content, anchors: Anchors) -> TableRow:
    place = (instrument["tag"], instrument["certificate"])
    return row_of(
        leading_cell(instrument["tag"], anchors.of("curve", *place)),
        words_cell(instrument["kind"], ", ", instrument["maker"], " ", instrument["model"], ", ", instrument["serial"]),
        leading_cell(instrument["certificate"], anchors.of("calibration", *place)),
        words_cell(instrument["calibrated_on"]),
        words_cell(instrument["due_on"]),
        anchor=anchors.of("instrument", *place),
    )
