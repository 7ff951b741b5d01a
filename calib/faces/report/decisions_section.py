"""The section of a report on its decisions: the rule, and the risks of deciding wrongly."""

from collections.abc import Iterator, Sequence

from calib.faces.parts.decisions import kinds_told, risks_told
from calib.faces.parts.limits import one_sided_lines
from calib.faces.report.blocks import (
    Block,
    Bullets,
    Heading,
    Table,
    TableColumn,
    TableRow,
    number_columns,
    paragraph,
    runs,
)
from calib.faces.report.table_cells import number_cell, probability_cell, risk_cell, row_of, words_cell
from calib.faces.written import Content, total_in_full

_RISKS = {
    "global": number_columns("Global consumer's risk", "Global producer's risk"),
    "mean_specific": number_columns("Mean specific consumer's risk", "Mean specific producer's risk"),
}
_JOINT = (
    TableColumn("All conform at once"),
    *number_columns("Flows judged", "Probability", "± computed to", "If what is not known is common", "If it is not"),
)


def decisions_section(report: Content) -> Iterator[Block]:
    """The decision rule, and the risks of deciding wrongly."""
    yield Heading(2, "Decision rule", "rule")
    yield paragraph(report["decision_rule_in_words"])
    yield paragraph(
        "The probability of conformity is that of the true flow lying between the limits of its design, from the measured value, "
        "its standard uncertainty and its effective degrees of freedom."
    )
    one_sided = one_sided_lines(list(_with_design(report)))
    if one_sided:
        yield Bullets(tuple(runs(line) for line in one_sided))
    risks = report["risks"]
    if risks is None:
        return
    given = kinds_told(risks["decisions"])
    columns = (
        TableColumn("Decisions"),
        *number_columns("Judged", "Accepted", "Expected wrong among the accepted", "Expected wrong among the rejected"),
        *(column for name in given for column in _RISKS[name]),
    )
    rows = tuple(_decision(decision, given) for decision in risks["decisions"])
    yield Table("Risks of the decisions", columns, rows, is_compact=True)
    yield paragraph(_ABOUT_RISKS, soft=True)
    for told in risks["about_the_risks"]:
        yield paragraph(f"{told[0].upper()}{told[1:]}.", soft=True)
    yield Table("All flows at once", _JOINT, tuple(map(_joint, report["joint_probability"])), is_compact=True)
    yield paragraph(_ABOUT_JOINT, soft=True)


def _with_design(report: Content) -> Iterator[tuple[str, Content]]:
    """Every flow that has a design, under its name."""
    for reading in report["readings"]:
        if reading["design"] and reading["latest"]:
            yield reading["outlet"], reading["design"]
    for total in (*report["totals"], *report["job_totals"]):
        if total["design"]:
            yield total_in_full(total), total["design"]


def _joint(joint: Content) -> TableRow:
    return row_of(
        words_cell("System ", joint["system"]) if joint["system"] else words_cell("Whole job"),
        number_cell(joint["outlets"], "d"),
        probability_cell(joint["probability"]),
        number_cell(100.0 * joint["numerical_error"], ".1g", "%"),
        probability_cell(joint["if_common"]["probability"]),
        probability_cell(joint["if_independent"]["probability"]),
    )


def _decision(decision: Content, given: Sequence[str]) -> TableRow:
    return row_of(
        words_cell("System ", decision["system"]) if decision["system"] else words_cell("Whole job"),
        number_cell(decision["judged"], "d"),
        number_cell(decision["accepted"], "d"),
        number_cell(decision["expected_wrongly_accepted"], ".2f"),
        number_cell(decision["expected_wrongly_rejected"], ".2f"),
        *map(risk_cell, risks_told(decision, given)),
    )


_ABOUT_RISKS = (
    "The specific risk of one decision is 1 less its probability of conformity where it was accepted, and that probability where "
    "it was rejected; their sums are the numbers to be expected. Global risks (JCGM 106:2012, 9.5; from memory) are those of the "
    "next outlet of an installation, measured as here."
)
_ABOUT_JOINT = (
    "That all flows conform at once is worked out from their joint distribution, with what their errors have in common; the "
    "product of the single probabilities would be wrong. Where it is not known what readings share, the smaller of both answers "
    "counts."
)
