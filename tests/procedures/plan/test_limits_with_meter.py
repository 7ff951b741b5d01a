"""The indications that would pass with one meter, before it is measured: what the evaluation says of readings at their ends."""

import math

import pytest

from calib.errors import NotInRecordsError
from calib.procedures.measure.evaluate import evaluate
from calib.procedures.plan.limits_with_meter import limits_with_meter
from calib.records import database
from tests.folders import NOW, changed, records_of

OUTLETS = ("S-1", "S-2", "R-1", "E-1")


def stated(folder, meter, indications):
    """The statement of conformity on each outlet where a meter showed an indication there."""
    sheets = changed()
    for row, indication in zip(sheets["readings.csv"], indications, strict=True):
        row.update(instrument=meter, indication=f"{indication:.5g}", unit="m/s", observations="")
    with database.reading(str(records_of(folder, sheets))) as session:
        evaluation = evaluate(session, "J-1", NOW)
    return [str(statement) for statement in evaluation.judgement.statement]


def test_readings_within_the_ends_pass_and_those_beyond_do_not(tmp_path):
    with database.reading(str(records_of(tmp_path / "planned", changed()))) as session:
        passing = limits_with_meter(session, "J-1", "VA-1", ("sweep",), NOW)
    assert passing.unit == "m/s"
    ends = [passing.of_outlets[outlet] for outlet in OUTLETS]
    for place, end in enumerate(zip(*ends, strict=True)):
        outward = (0.99, 1.01)[place]
        assert set(stated(tmp_path / f"in {place}", "VA-1", [each / math.sqrt(outward) for each in end])) == {"pass"}
        assert "pass" not in stated(tmp_path / f"out {place}", "VA-1", [each * math.sqrt(outward) for each in end])


def test_nothing_is_said_where_no_meter_may_be_used_or_needs_a_probe(small_records):
    with database.reading(str(small_records)) as session:
        assert limits_with_meter(session, "J-1", "PG-1", (), NOW).of_outlets == {}
        assert limits_with_meter(session, "J-1", "VA-1", (), NOW.replace(year=2031)).of_outlets == {}
        for job, tag in (("J-9", "VA-1"), ("J-1", "VA-9")):
            with pytest.raises(NotInRecordsError):
                limits_with_meter(session, job, tag, (), NOW)


def test_no_end_is_beyond_what_the_meter_is_calibrated_for(tmp_path):
    sheets = changed(("outlets.csv", 3, "tolerance_percent", "80"), ("outlets.csv", 3, "design_flow", "1500"))
    with database.reading(str(records_of(tmp_path, sheets))) as session:
        low, high = limits_with_meter(session, "J-1", "VA-1", (), NOW).of_outlets["S-2"]
    assert (0.66 < low < high, f"{high:.2f}") == (True, "13.60")  # its comparisons are from 0.66 to 13.60 m/s


def test_an_outlet_without_a_design_has_none(tmp_path):
    blank = [("outlets.csv", 2, column, "") for column in ("design_flow", "flow_unit", "tolerance_percent")]
    with database.reading(str(records_of(tmp_path, changed(*blank)))) as session:
        assert set(limits_with_meter(session, "J-1", "VA-1", (), NOW).of_outlets) == {"S-2", "R-1", "E-1"}
