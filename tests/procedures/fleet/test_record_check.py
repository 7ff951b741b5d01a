"""Intermediate checks: passed within the limits, their ends included; a failed one closes the gate.

Source: ISO/IEC 17025:2017, 6.4.10.
"""

from datetime import datetime

import pytest

from calib.errors import BadInputError, NotInRecordsError
from calib.procedures.fleet.ready import ready
from calib.procedures.fleet.record_check import record_check
from calib.records import database
from calib.records.tables.events import IntermediateCheck
from tests.folders import NOW, SIGNED, all_of, ledger_head, records_of, small_job

ZERO = {"kind": "zero", "value": "0.01", "low": "-0.02", "high": "0.02", "unit": "m/s", "remarks": "probe capped"}


def at(typed):
    return datetime.fromisoformat(f"2026-{typed}+00:00")


def check(records, when="03-05T08:00", tag="VA-1", **cells):
    with database.writing(str(records)) as session:
        return record_check(session, tag, at(when), ZERO | cells, SIGNED).result


def allowed(records, when="03-05T12:00"):
    with database.reading(str(records)) as session:
        return ready(session, ["VA-1"], at(when), NOW, None)[0].decision.allowed


@pytest.mark.parametrize(
    ("value", "result"),
    [
        ("0", "passed"),
        ("-0.02", "passed"),
        ("0.020", "passed"),
        ("0.0201", "failed"),
        ("-0.03", "failed"),
        ("1e3", "failed"),
    ],
)
def test_the_result_follows_the_limits(small_records, value, result):
    assert check(small_records, value=value) == result
    assert allowed(small_records) is (result == "passed")


def test_a_check_is_kept_as_typed(small_records):
    check(small_records, value="0.010", low="-.02")
    with database.reading(str(small_records)) as session:
        (kept,) = all_of(session, IntermediateCheck)
    assert (kept.value, kept.low, kept.high, kept.unit, kept.remarks) == (
        "0.010",
        "-.02",
        "0.02",
        "m/s",
        "probe capped",
    )
    assert kept.at == "2026-03-05T08:00:00+00:00"


def test_a_failed_check_closes_the_gate_from_its_time_on(small_records):
    check(small_records, "03-05T08:00", value="0.5")
    assert [allowed(small_records, when) for when in ("03-05T07:59", "03-05T08:00", "03-06T08:00")] == [
        True,
        False,
        False,
    ]


def test_a_later_passed_check_does_not_open_it_again(small_records):
    check(small_records, "03-04T08:00", value="0.5")
    check(small_records, "03-05T08:00")
    assert not allowed(small_records)


@pytest.mark.parametrize(("checked", "is_allowed"), [(None, False), ("02-20T08:00", True), ("02-01T08:00", False)])
def test_a_required_check_must_not_be_overdue(tmp_path, checked, is_allowed):
    """Required every 30 days, accepted on 19 January: due on 18 February, or 30 days after the last check that passed."""
    sheets = small_job()
    sheets["instruments.csv"] = [row | {"check_interval_days": "30"} for row in sheets["instruments.csv"]]
    records = records_of(tmp_path, sheets)
    if checked:
        check(records, checked)
    assert allowed(records) is is_allowed


@pytest.mark.parametrize(
    ("cells", "column", "expected"),
    [
        ({"kind": "glance"}, "kind", "one of zero, comparison, check standard"),
        ({"value": "nothing"}, "value", "a finite number"),
        ({"value": "nan"}, "value", "a finite number"),
        ({"value": ""}, "value", "a finite number"),
        ({"low": "0,02"}, "low", "a finite number"),
        ({"high": "inf"}, "high", "a finite number"),
        ({"high": "-0.03"}, "high", "a number not below low (-0.02)"),
        ({"unit": "Pa"}, "unit", "one of m/s, fpm, ft/min, km/h"),
        ({"when": "03-06T09:02"}, "at", "a time that is not in the future"),
    ],
)
def test_a_wrong_cell_is_named_and_nothing_is_written(small_records, cells, column, expected):
    before = ledger_head(small_records)
    with pytest.raises(BadInputError) as caught:
        check(small_records, **cells)
    (finding,) = caught.value.findings
    assert (finding.source, finding.row, finding.column) == (None, None, column)
    assert expected in finding.expected
    assert ledger_head(small_records) == before


def test_several_wrong_cells_are_named_at_once(small_records):
    with pytest.raises(BadInputError) as caught:
        check(small_records, "04-01T08:00", kind="glance", value="", unit="Pa")
    assert [one.column for one in caught.value.findings] == ["kind", "value", "unit", "at"]


def test_units_of_a_check_are_those_of_the_instrument_s_quantity(small_records):
    assert check(small_records, tag="PG-1", unit="Pa") == "passed"


def test_an_unknown_tag_is_named(small_records):
    with pytest.raises(NotInRecordsError, match="no instrument 'VA-9'"):
        check(small_records, tag="VA-9")
