"""The section of a report on its cross-checks: where two measurements speak about one flow, whether they agree."""

from collections.abc import Iterator

from calib.faces.parts.cross_checks import (
    agreement_text,
    cross_check_lines,
    normalised_error_text,
    sides_text,
)
from calib.faces.report.blocks import (
    Block,
    Bullets,
    Cell,
    Heading,
    Mark,
    Run,
    Table,
    TableColumn,
    TableRow,
    number_columns,
    runs,
)
from calib.faces.report.table_cells import NOTHING, factor_cell, flow_cell, row_of, words_cell
from calib.faces.written import Content

_COLUMNS = (
    TableColumn("Flow"),
    TableColumn("Measured as"),
    *number_columns("First ± U", "k"),
    TableColumn("And as"),
    *number_columns("Second ± U", "k", "Difference ± U", "k", "E_n"),
    TableColumn("Statement"),
)


def cross_checks_section(report: Content) -> Iterator[Block]:
    """Each cross-check with both flows, their difference and what that says; nothing where there is none."""
    checks = report["cross_checks"]
    if checks:
        yield Heading(2, "Cross-checks", "cross-checks")
        yield Table("Cross-checks", _COLUMNS, tuple(map(_row, checks)), is_compact=True)
        yield Bullets(tuple(runs(line) for line in cross_check_lines(checks)))


def _flow_cells(flow: Content) -> tuple[Cell, Cell]:
    return flow_cell(flow), factor_cell(flow)


def _row(check: Content) -> TableRow:
    flow, first, second = sides_text(check)
    is_checked = check["normalised_error"] is not None
    error = Cell((Run(normalised_error_text(check)),), abs(check["normalised_error"])) if is_checked else NOTHING
    said = agreement_text(check)
    return row_of(
        words_cell(flow),
        words_cell(first),
        *_flow_cells(check["first"]["flow"]),
        words_cell(second),
        *_flow_cells(check["second"]["flow"]),
        *_flow_cells(check["difference"]),
        error,
        words_cell(Run(said, Mark.STRONG) if check["agrees"] is False else said),
    )
