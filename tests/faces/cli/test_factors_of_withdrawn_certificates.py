"""A factor that was found with a certificate which counts no more gives no flow until it is found again.

Source: ISO/IEC 17025:2017, 7.10.1 (nonconforming work), from memory. VB-1 traversed the ducts of the factor, VA-1 swept the face.
"""

import pytest

from tests import factor_pairs
from tests.command import calib
from tests.folders import flows_of, records_of
from tests.procedures.impact.test_open_review import with_factor

WHY = ("--reason", "typed from another sheet")
REFUSED = "factor GR-9: it was found with certificate C-201 of VB-1, which was withdrawn: find it again"
FIND = (
    "factor",
    "find",
    "GR-9",
    *(word for pair in factor_pairs.OF_S9 for word in ("--pair", pair)),
    "--scope",
    "outlet",
)
USES = 13  # the reading at S-9 that no pair of the factor has
OF_A_PAIR = 7  # the sweep of the first pair


def corrected(certificate="C-201 (corrected)"):
    """The certificate of VB-1 under another number, accepted as of the same day."""
    sheets = factor_pairs.paired_job()
    return {
        file: [row | {"certificate": certificate} for row in sheets[file] if row["tag"] == "VB-1"]
        for file in ("calibrations.csv", "comparisons.csv")
    }


@pytest.fixture
def records(tmp_path):
    """GR-9 was found, and a reading at S-9 uses it."""
    records = records_of(tmp_path / "records", factor_pairs.paired_job())
    with_factor(records)
    later = factor_pairs.sweep("S-9", factor_pairs.at("13:00"), "3.11;3.14;3.12")
    factor_pairs.added(records, tmp_path / "later", {"readings.csv": [later]})
    return records


def withdraw(records):
    ran = calib("calibration", "withdraw", "VB-1", "C-201", *WHY, records=records)
    assert ran.status == 0, ran.err
    return ran


def reasons(records, reading):
    """Reasons against a reading; none where it stands."""
    listed = calib("reading", "list", "J-1", "--json", records=records).document
    if reading in {each["reading"] for each in listed["readings"]}:
        return []
    return next(each["reasons"] for each in listed["refused"] if each.get("reading") == reading)


def test_the_gate_names_the_factor_and_the_certificate(records):
    assert reasons(records, USES) == []
    withdraw(records)
    assert reasons(records, USES) == [REFUSED]


def test_the_face_readings_that_it_was_found_from_get_no_flow_by_it_either(records, tmp_path):
    factor_pairs.added(records, tmp_path / "right", corrected())
    assert reasons(records, OF_A_PAIR) == []
    withdraw(records)
    assert reasons(records, OF_A_PAIR) == [REFUSED]
    ran = calib(*FIND, "--reason", "with the corrected certificate", records=records)
    assert ran.status == 0, ran.err
    assert reasons(records, OF_A_PAIR) == []


def test_the_review_of_the_withdrawal_lists_the_readings_that_use_it(records):
    ran = withdraw(records)
    assert "factor GR-9 rests on it and gives no flow until it is found again" in ran.out
    items = calib("review", "show", 1, "--json", records=records).document["items"]
    assert USES in [item["id"] for item in items if item["table"] == "reading"]
    (factor,) = [item for item in items if item["table"] == "found_factor"]
    assert "it gives no flow until it is found again" in str(factor)


def test_found_again_with_what_counts_instead_it_gives_flows(records, tmp_path):
    factor_pairs.added(records, tmp_path / "right", corrected())
    withdraw(records)
    assert reasons(records, USES) == [REFUSED]
    ran = calib(*FIND, "--reason", "with the corrected certificate", records=records)
    assert ran.status == 0, ran.err
    assert reasons(records, USES) == []


def test_a_new_reading_is_refused_too(records):
    withdraw(records)
    cells = {"instrument": "VA-1", "unit": "m/s", "method": "sweep", "observations": "3.1;3.2", "by": "T. One"}
    options = [word for name, cell in cells.items() for word in (f"--{name}", cell)]
    ran = calib("reading", "add", "J-1", "S-9", *options, "--at", factor_pairs.at("14:00"), records=records)
    assert ran.status == 3
    assert REFUSED in " ".join((ran.out + ran.err).split())


def test_a_certificate_withdrawn_that_it_was_not_found_with_changes_nothing(records, tmp_path):
    """Dated after the traverses: the factor never rested on it."""
    later = corrected("C-202")
    later["calibrations.csv"][0] |= {"calibrated_on": "2026-03-06", "accepted_on": "2026-03-06"}
    factor_pairs.added(records, tmp_path / "right", later)
    ran = calib("calibration", "withdraw", "VB-1", "C-202", *WHY, records=records)
    assert ran.status == 0, ran.err
    assert reasons(records, USES) == []


@pytest.mark.parametrize("is_found_again", [False, True])
def test_an_export_brings_back_which_factors_were_found_before_the_withdrawal(records, tmp_path, is_found_again):
    factor_pairs.added(records, tmp_path / "right", corrected())
    withdraw(records)
    if is_found_again:
        assert calib(*FIND, "--reason", "with the corrected certificate", records=records).status == 0
    before = flows_of(records)
    assert calib("export", tmp_path / "out", records=records).status == 0
    again = tmp_path / "again.sqlite"
    assert calib("init", records=again).status == 0
    ran = calib("import", tmp_path / "out", records=again)
    assert ran.status == 0, ran.err
    assert flows_of(again) == before
    assert calib("export", tmp_path / "second", records=again).status == 0
    for file in ("factors.csv", "factor_pairs.csv", "withdrawals.csv"):
        assert (tmp_path / "second" / file).read_bytes() == (tmp_path / "out" / file).read_bytes()
