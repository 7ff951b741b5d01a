"""Options are read as people write units, percentages and words, as in sheets and to questions, and what was taken as what is said.

Which spellings are usual: common practice, no source.
"""

import pytest

from tests.command import calib
from tests.folders import ledger_head

ROUND = (
    "outlet", "add", "J-1", "S-9", "--system", "AH-1", "--diameter", "12", "--dimension-limit", "0.1",
    "--outlet-factor", "0.84", "--outlet-factor-standard-uncertainty", "0.017", "--outlet-factor-source", "traverses at grille G",
    "--design-flow", "450",
)  # fmt: skip
PLAIN = {
    "--service": "supply", "--shape": "round", "--dimension-unit": "in", "--flow-unit": "cfm", "--tolerance-percent": "10",
}  # fmt: skip
READING = (
    "reading", "add", "J-1", "S-2", "610", "640", "--instrument", "VA-1", "--method", "sweep", "--at", "2026-03-05T12:00+01:00",
)  # fmt: skip


def added(records, **otherwise):
    options = PLAIN | {f"--{name.replace('_', '-')}": value for name, value in otherwise.items()}
    return calib(*ROUND, *(word for option in options.items() for word in option), "--json", records=records)


@pytest.mark.parametrize(
    ("typed", "column", "kept"),
    [
        ({"flow_unit": "CFM"}, "flow_unit", "cfm"),
        ({"dimension_unit": "inches"}, "dimension_unit", "in"),
        ({"tolerance_percent": "10 %"}, "tolerance_percent", "10"),
        ({"service": "Supply"}, "service", "supply"),
        ({"shape": "Round"}, "shape", "round"),
    ],
)
def test_an_option_means_what_a_cell_of_a_sheet_does_and_it_is_said(small_records, typed, column, kept):
    ran = added(small_records, **typed)
    assert ran.status == 0, ran.err
    option = f"--{column.replace('_', '-')}"
    assert f"notice: {option}: {typed[column]!r} is taken as {kept}\n" in ran.err
    assert ran.document[column] == kept


def test_what_stands_as_it_is_wanted_is_not_spoken_of(small_records):
    ran = added(small_records)
    assert (ran.status, ran.err) == (0, "")


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ({"flow_unit": "cfmm"}, "--flow-unit: 'cfmm'; expected one of"),
        ({"service": "suply"}, "--service: 'suply'; expected one of supply, return, exhaust (did you mean supply?)"),
    ],
)
def test_a_near_miss_is_named_and_nothing_is_written(small_records, typed, told):
    before = ledger_head(small_records)
    ran = added(small_records, **typed)
    said = " ".join(ran.err.split())
    assert ran.status == 2
    assert told in said
    assert "did you mean" in said
    assert ledger_head(small_records) == before


def test_the_unit_of_a_reading(small_records):
    ran = calib(*READING, "--unit", "FPM", records=small_records)
    assert ran.status == 0, ran.err
    assert "notice: --unit: 'FPM' is taken as fpm" in ran.err


def test_a_cell_that_is_amended(small_records):
    ran = calib(
        "outlet", "amend", "J-1", "S-2", "--set", "flow_unit=CFM", "--reason", "as the drawing has it", records=small_records
    )  # fmt: skip
    assert (ran.status, ran.err) == (0, "notice: flow_unit: 'CFM' is taken as cfm\n")
