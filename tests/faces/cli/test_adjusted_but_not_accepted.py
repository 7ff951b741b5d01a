"""A certificate that says "adjusted" closes the gate from the day after its calibration until it is accepted.

Source: ISO/IEC 17025:2017, 6.4.4 (verified before it is returned into service) and 7.8.4.1 d, from memory; that the curve from
before an adjustment describes the instrument no more follows from what an adjustment is (VIM 3.11).
"""

import pytest

from tests.as_found import LATER, added, drifted
from tests.command import calib
from tests.folders import records_of, small_job, write

SAID = "adjusted on 2026-03-20, as certificate D-1 says, after its calibration C-101 of 2026-01-12"


def certificate(**cells):
    """Of VA-1, as found in order, of 20 March."""
    return drifted(small_job(), "VA-1", by=1.0, **cells)


@pytest.fixture
def records(tmp_path):
    return records_of(tmp_path / "small", small_job())


def ready(records, on):
    ran = calib("ready", "VA-1", "--on", on, records=records)
    return ran.status, " ".join(ran.out.split())


def read(records, at):
    cells = {"instrument": "VA-1", "unit": "m/s", "method": "sweep", "observations": "3.1;3.2", "by": "T. One"}
    options = [word for name, cell in cells.items() for word in (f"--{name}", cell)]
    return calib("reading", "add", "J-1", "S-1", *options, "--at", at, records=records)


def test_the_gate_is_closed_after_its_calibration_and_says_what_to_do(records, tmp_path):
    added(records, tmp_path / "second", certificate(adjustment="yes"))
    assert ready(records, "2026-03-20")[0] == 0
    status, told = ready(records, "2026-03-21")
    assert status == 3
    assert f"{SAID}: have certificate D-1 accepted" in told


def test_a_reading_taken_meanwhile_is_refused(records, tmp_path):
    added(records, tmp_path / "second", certificate(adjustment="yes"))
    ran = read(records, "2026-03-28T09:00+01:00")
    assert ran.status == 3
    assert SAID in " ".join((ran.out + ran.err).split())


@pytest.mark.parametrize("adjustment", ["no", ""])
def test_one_that_was_not_adjusted_leaves_the_one_before_in_force(records, tmp_path, adjustment):
    added(records, tmp_path / "second", certificate(adjustment=adjustment))
    assert ready(records, "2026-03-28")[0] == 0


def test_the_gate_opens_with_the_acceptance_and_not_for_the_days_before(records, tmp_path):
    added(records, tmp_path / "second", certificate(adjustment="yes", accepted_on="2026-03-26"))
    assert ready(records, "2026-03-26")[0] == 0
    status, told = ready(records, "2026-03-25")
    assert status == 3
    assert f"{SAID}: its certificate holds from 2026-03-26 on" in told


def test_one_that_was_withdrawn_says_nothing(records, tmp_path):
    added(records, tmp_path / "second", certificate(adjustment="yes"))
    ran = calib("calibration", "withdraw", "VA-1", "D-1", "--reason", "of another meter", records=records)
    assert ran.status == 0
    assert ready(records, "2026-03-28")[0] == 0


def test_an_issued_report_of_readings_taken_meanwhile_is_named(tmp_path):
    """VA-2 came back adjusted on 1 March and was used on 5 March; its certificate was typed after the report."""
    records = records_of(tmp_path / "small", small_job(), now=LATER)
    issued = calib("report", "J-1", "--issue", "--into", tmp_path / "first", "--format", "json", records=records)
    assert issued.status == 0
    sheets = drifted(small_job(), "VA-2", by=1.0, adjustment="yes", calibrated_on="2026-03-01")
    sheets["comparisons.csv"] = [row for row in sheets["comparisons.csv"] if row["phase"] == "as-left"]
    ran = calib("import", write(tmp_path / "second", sheets), records=records)
    assert ran.status == 0, ran.err
    assert "issued, but the records now say otherwise: report J-1 revision 1: reading 3 at R-1" in ran.err
