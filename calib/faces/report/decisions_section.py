"""The section of a report on its decisions: the rule, and the risks of deciding wrongly."""

from collections.abc import Iterator

from calib.faces.report.blocks import Block, Heading, Table, TableColumn, TableRow, number_columns, paragraph
from calib.faces.report.table_cells import number_cell, risk_cell, row_of, words_cell
from calib.faces.written import Content

_GLOBAL_RISKS = number_columns("Global consumer's risk", "Global producer's risk")


def decisions_section(report: Content) -> Iterator[Block]:
    """The decision rule, and the risks of deciding wrongly."""
    yield Heading(2, "Decision rule", "rule")
    yield paragraph(report["decision_rule_in_words"])
    yield paragraph(
        "The probability of conformity is that of the true flow lying within design × (1 ± tolerance), from "
        "the measured value, "
        "its standard uncertainty and its effective degrees of freedom."
    )
    risks = report["risks"]
    if risks is None:
        return
    process = risks["process"]
    columns = (
        TableColumn("Decisions"),
        *number_columns("Judged", "Accepted", "Expected wrong among the accepted", "Expected wrong among the rejected"),
        *(_GLOBAL_RISKS if process else ()),
    )
    rows = tuple(_decision(decision, has_process=process is not None) for decision in risks["decisions"])
    yield Table("Risks of the decisions", columns, rows, is_compact=True)
    yield paragraph(_about_risks(process), soft=True)


def _decision(decision: Content, *, has_process: bool) -> TableRow:
    whole = (
        (risk_cell(decision["global_consumer_risk"]), risk_cell(decision["global_producer_risk"]))
        if has_process
        else ()
    )
    return row_of(
        words_cell("System ", decision["system"]) if decision["system"] else words_cell("Whole job"),
        number_cell(decision["judged"], "d"),
        number_cell(decision["accepted"], "d"),
        number_cell(decision["expected_wrongly_accepted"], ".2f"),
        number_cell(decision["expected_wrongly_rejected"], ".2f"),
        *whole,
    )


def _about_risks(process: Content | None) -> str:
    said = (
        "The specific risk of one decision is 1 less its probability of conformity where it was accepted, "
        "and that probability where "
        "it was rejected; their sums are the numbers to be expected."
    )
    if process is None:
        return said
    return (
        f"{said} The global risks (JCGM 106:2012, 9.5; from memory) are those of the next outlet of an installation whose true "
        f"flows lie about their designs with a mean of {process['mean_percent_of_design']:.1f} % and a standard deviation of "
        f"{process['standard_deviation_percent']:.1f} % ({process['basis']}), measured as here."
    )
