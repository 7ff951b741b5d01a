"""What is unusual is asked of whoever typed it by hand, before it is kept; a slip that cannot be is refused.

What is usual: common practice, no source.
"""

import pytest

from calib.faces.cli import frame
from tests.command import calib
from tests.folders import UNTOUCHED, ledger_head

READING = ("reading", "add", "J-1", "S-2", "--instrument", "VA-1", "--unit", "m/s", "--method", "sweep")
OUTLET = (
    "outlet", "add", "J-1", "S-9", "--system", "AH-1", "--service", "supply", "--shape", "rectangular", "--height", "150",
    "--dimension-unit", "mm", "--dimension-limit", "1", "--outlet-factor", "0.84", "--outlet-factor-standard-uncertainty", "0.017",
    "--outlet-factor-source", "traverses at grille G", "--design-flow", "450", "--flow-unit", "m3/h",
)  # fmt: skip
AT_NOON = ("--at", "2026-03-05T12:00+01:00")

DOUBTS = [
    # 4.96/0.31 = 16.
    ((*READING, "0.31", "4.96", "2.4", *AT_NOON), "the largest pass is 16 times the smallest; usually less than 2"),
    ((*READING, "0", "3.1", *AT_NOON), "a pass is 0 beside one of 3.1"),
    # 0.3 m * 0.15 m * 0.84 * 0.60 m/s = 0.02268 m3/s = 81.6 m3/h of 450.
    ((*READING, "0.60", *AT_NOON), "about 0.18 times its design flow was indicated; usually 0.2 to 5 times"),
    ((*READING, "15.8", "16.0", *AT_NOON), "15.9 m/s were indicated at its face"),
    ((*OUTLET, "--width", "12", "--tolerance-percent", "10"), "it is 12 mm; usually 30 to 5000 mm"),
    ((*OUTLET, "--width", "300", "--tolerance-percent", "0.1"), "a tolerance in percent is usually 1 to 30"),
    (
        ("outlet", "amend", "J-1", "S-2", "--set", "width=12", "--reason", "measured again"),
        "it is 12 mm; usually 30 to 5000 mm",
    ),
    (
        ("system", "add", "J-1", "AH-1", "supply", "--design-flow", "1450", "--flow-unit", "m3/h", "--tolerance-percent", "0.1"),
        "a tolerance in percent is usually 1 to 30",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("typed", "question"), DOUBTS)
def test_without_a_terminal_a_doubt_is_told_and_nothing_is_written(small_records, typed, question):
    before = ledger_head(small_records)
    ran = calib(*typed, records=small_records)
    assert (ran.status, ran.out) == (2, "")
    assert question in ran.err
    assert "is that right?" in ran.err
    assert "--sure" in ran.err
    assert ledger_head(small_records) == before


@pytest.mark.parametrize("typed", [typed for typed, _ in DOUBTS])
def test_whoever_is_sure_has_it_written(small_records, typed):
    before = ledger_head(small_records)
    ran = calib(*typed, "--sure", records=small_records)
    assert ran.status == (3 if "measuring interval" in ran.err else 0)  # the gate has its own say
    assert ledger_head(small_records) != before


@pytest.mark.parametrize(("answer", "status"), [("yes\n", 0), ("no\n", 2), ("\n", 2), ("", 2)])
def test_at_a_terminal_it_is_asked(small_records, monkeypatch, answer, status):
    monkeypatch.setattr(frame, "is_somebody_there", lambda: True)
    monkeypatch.setattr("sys.stdin.readline", lambda: answer, raising=False)
    before = ledger_head(small_records)
    ran = calib(*READING, "0.31", "4.96", "2.4", *AT_NOON, records=small_records)
    assert ran.status == status
    assert "the largest pass is 16 times the smallest" in ran.err
    assert (ledger_head(small_records) != before) == (status == 0)


def test_a_corrected_reading_is_asked_too(small_records):
    typed = ("reading", "correct", "J-1", "2", "--observations", "0.31;4.96", "--indication", "", "--reason", "slip")
    assert "16 times the smallest" in calib(*typed, records=small_records).err
    assert calib(*typed, "--sure", records=small_records).status == 0


def test_an_amended_outlet_is_asked_for_what_changes_alone(small_records):
    amend = ("outlet", "amend", "J-1", "S-2", "--reason", "measured again")
    assert calib(*amend, "--set", "width=12", "--sure", records=small_records).status == 0
    assert calib(*amend, "--set", "room=hall", records=small_records).status == 0


@pytest.mark.parametrize(
    ("values", "said"),
    [
        # A hundred times 20 m/s, to which VA-1 goes.
        (("2000",), "the instrument's range or near it, 0.3 to 20 m/s"),
        (("3.1", "310000"), "the instrument's range or near it, 0.3 to 20 m/s"),
        (("--", "-3.1"), "velocity values of 0 or above"),
    ],
)
def test_a_value_that_no_such_instrument_shows_is_no_refusal_but_a_slip(small_records, values, said):
    before = ledger_head(small_records)
    ran = calib(*READING, *AT_NOON, "--sure", "--records", small_records, *values)
    assert ran.status == 2
    assert said in ran.err
    assert ledger_head(small_records) == before


def test_a_negative_pressure_is_a_reading_and_no_slip(small_records):
    ran = calib(
        "reading", "add", "J-1", "S-2", "--instrument", "PG-1", "--unit", "Pa", "--method", "sweep", *AT_NOON, "--records",
        small_records, "--", "-3.1",
    )  # fmt: skip
    assert "of 0 or above" not in ran.err


def test_values_are_taken_with_a_decimal_comma(small_records):
    ran = calib(*READING, "3,08", "3,13", "3,09", *AT_NOON, "--json", records=small_records)
    assert ran.status == 0
    assert ledger_head(small_records) != UNTOUCHED
    shown = calib("reading", "show", ran.document["reading"], "--json", records=small_records).document
    assert "3.08;3.13;3.09" in str(shown)
