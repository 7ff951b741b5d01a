"""Chains of traceability in the records: up to an accredited certificate with what they lack, down to all that hangs on them.

Sources: VIM 2.41 and 2.42; ISO/IEC 17025:2017, 6.5 and Annex A (from memory). Expected chains are read off the sheets by hand.
"""

from datetime import date

import pytest

from calib.errors import BadInputError, NotInRecordsError
from calib.procedures.enter.amend_outlet import amend_outlet
from calib.procedures.impact.trace import trace_down, trace_up
from calib.records import database, ledger
from calib.records.tables.reports import IssuedReport
from tests import factor_pairs
from tests.as_found import LATER
from tests.command import copied
from tests.every_way import every_way
from tests.folders import SIGNED, changed, imported, records_of, small_job, write

ON = date(2026, 3, 6)
ACCREDITED = [("calibrations.csv", row, "accreditation", "number 12 (invented)") for row in (2, 4, 5)]


def up(records, *words, on=ON):
    with database.reading(str(records)) as session:
        return trace_up(session, words, on)


def down(records, *words, on=ON):
    with database.reading(str(records)) as session:
        return trace_down(session, words, on)


def names(found):
    return {one.name for one in found.knots.values()}


def edges(found, *roles):
    return {
        (found.knots[one.record].name, found.knots[one.on].name)
        for one in found.links
        if not roles or one.role in roles
    }


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    """The small job with an accreditation wherever a laboratory calibrated; VA-2's bench has none."""
    return records_of(tmp_path_factory.mktemp("small"), changed(*ACCREDITED))


@pytest.fixture(scope="module")
def ways(tmp_path_factory):
    return records_of(tmp_path_factory.mktemp("ways"), every_way())


# --- up --------------------------------------------------------------------------------------------------------------------------


def test_a_reading_rests_on_its_meter_and_that_on_its_standard(small):
    found = up(small, "reading", "3")
    assert edges(found, "meter", "reference standard") == {
        ("reading 3", "certificate C-102 of VA-2"),
        ("certificate C-102 of VA-2", "certificate C-103 of RS-1"),
    }


def test_each_certificate_is_one_of_an_instrument(small):
    assert edges(up(small, "reading", "3"), "of") == {
        ("certificate C-102 of VA-2", "instrument VA-2"),
        ("certificate C-103 of RS-1", "instrument RS-1"),
    }


def test_a_chain_that_ends_at_accredited_certificates_lacks_nothing(small):
    assert up(small, "reading 3").gaps == ()
    assert up(small, "reading 1").gaps == ()


def test_a_certificate_says_laboratory_accreditation_dates_and_uncertainty(small):
    says = next(one.says for one in up(small, "VA-1").knots.values() if one.kind == "certificate")
    assert (says["laboratory"], says["accreditation"], says["accredited"]) == (
        "North Laboratory",
        "number 12 (invented)",
        True,
    )
    assert (says["calibrated_on"], says["accepted_on"], says["due_on"]) == ("2026-01-12", "2026-01-19", "2027-01-12")
    assert says["expanded_uncertainty"] == {
        "lowest": "0.0198",
        "highest": "0.1270",
        "unit": "m/s",
        "coverage_factors": ["2"],
    }


def test_a_chain_that_ends_without_an_accreditation_says_so(tmp_path):
    records = records_of(tmp_path, small_job())
    (gap,) = up(records, "reading 3").gaps
    assert gap.startswith("RS-1: certificate C-103 states no accreditation and no reference standard of the register")


def test_a_standard_out_of_calibration_that_day_is_said(tmp_path):
    cells = [("calibrations.csv", 4, "due_on", "2026-01-31"), *ACCREDITED]  # VA-2 was calibrated on 2026-02-02
    records = records_of(tmp_path, changed(*cells))
    found = up(records, "VA-2")
    assert any(
        one.startswith("VA-2: reference standard of certificate C-102 on 2026-02-02: RS-1: calibration C-103")
        and "was due on 2026-01-31" in one
        for one in found.gaps
    )


def test_a_chain_ends_at_an_accredited_certificate(tmp_path):
    """An accredited bench answers for its own standards."""
    cells = [*ACCREDITED, ("calibrations.csv", 3, "accreditation", "number 13 (invented)")]
    found = up(records_of(tmp_path, changed(*cells)), "reading 3")
    assert "certificate C-103 of RS-1" not in names(found)
    assert found.gaps == ()


def test_standards_that_calibrated_one_another_are_a_circle(tmp_path):
    sheets = changed(("calibrations.csv", 4, "standards", "VA-2"))
    sheets["calibrations.csv"][2] |= {"calibrated_on": "2026-02-05", "accepted_on": "2026-02-05"}
    sheets["calibrations.csv"][1] |= {"calibrated_on": "2026-02-05", "accepted_on": "2026-02-05"}
    found = up(records_of(tmp_path, sheets), "RS-1")
    assert sum("rests on itself by way of its reference standards" in one for one in found.gaps) == 2


def test_an_instrument_rests_on_the_calibration_of_the_day_asked_about(small):
    assert "certificate C-101 of VA-1" in names(up(small, "VA-1", on=date(2026, 1, 19)))
    before = up(small, "VA-1", on=date(2026, 1, 18))
    assert names(before) == {"instrument VA-1"}
    assert "no calibration accepted on or before 2026-01-18" in before.gaps[0]


def test_a_reading_rests_on_its_probe_and_on_what_observed_the_air(ways):
    found = up(ways, "reading 1")
    assert edges(found, "meter", "probe") == {
        ("reading 1", "certificate E-101 of DM-1"),
        ("reading 1", "certificate E-102 of PT-1"),
    }
    of_air = {on for record, on in edges(found) if record == "conditions plant room of E-1"}
    assert of_air == {
        f"certificate {one}" for one in ("E-106 of TH-1", "E-107 of BA-1", "E-101 of DM-1", "E-108 of HY-1")
    }


def test_a_job_rests_on_every_reading(small):
    assert {on for record, on in edges(up(small, "J-1")) if record == "job J-1"} == {
        f"reading {one}" for one in range(1, 5)
    }


# --- down ------------------------------------------------------------------------------------------------------------------------


def test_on_a_standard_hang_its_calibrations_their_readings_outlets_and_jobs(small):
    assert names(down(small, "RS-1")) == {
        "instrument RS-1",
        "certificate C-103 of RS-1",
        "certificate C-102 of VA-2",
        "reading 3",
        "outlet R-1 of J-1",
        "job J-1",
    }


def test_on_a_gauge_that_nobody_used_hangs_its_certificate_alone(small):
    assert names(down(small, "PG-1")) == {"instrument PG-1", "certificate C-104 of PG-1"}


def test_down_and_up_are_the_same_links(small):
    below = {one for one in edges(down(small, "C-103")) if "job" not in one[0] and "outlet" not in one[0]}
    assert below <= edges(up(small, "reading 3"))


@pytest.fixture(scope="module")
def factor(tmp_path_factory):
    records = records_of(tmp_path_factory.mktemp("factor"), factor_pairs.paired_job())
    factor_pairs.factor(records)
    with database.writing(str(records)) as session:
        amend_outlet(session, "J-1", "S-9", [*factor_pairs.BLANK, "found_factor=GR-9"], "found", SIGNED)
        issued = IssuedReport(job_id=1, revision=1, issued_at=LATER.isoformat(), ledger_digest="0")
        ledger.append_entries(session, [issued], SIGNED)
    return records


def test_on_a_factor_hang_the_outlets_and_readings_that_use_it(factor):
    found = down(factor, "GR-9")
    assert {record for record, on in edges(found, "outlet factor") if on == "factor GR-9, revision 1"} == {
        "outlet S-9 of J-1",
        *(f"reading {one}" for one in (7, 8, 9, 10)),
    }


def test_on_a_traverse_hangs_the_factor_that_was_found_from_it(factor):
    assert ("factor GR-9, revision 1", "reading 2") in edges(down(factor, "reading 2"), "traverse")
    assert "reading 9" in names(down(factor, "reading 2"))


def test_a_factor_rests_on_its_pairs_and_its_meter(factor):
    assert {on for record, on in edges(up(factor, "factor", "GR-9")) if record == "factor GR-9, revision 1"} == {
        *(f"reading {one}" for one in (1, 2, 3, 4, 7, 8, 9, 10)),
        "certificate C-101 of VA-1",
    }


def test_a_report_hangs_on_the_readings_recorded_before_it(factor, tmp_path):
    records = copied(factor, tmp_path / "records.sqlite")
    again = factor_pairs.sweep("S-10", factor_pairs.at("12:00"), "3.02;3.05;3.03")
    imported(records, write(tmp_path / "more", {"readings.csv": [again]}))
    assert "report J-1 revision 1" in names(down(records, "reading 12"))
    assert "report J-1 revision 1" not in names(down(records, "reading 13"))


# --- names -----------------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "name"),
    [
        (("3",), "reading 3"),
        (("reading", "3"), "reading 3"),
        (("reading 3",), "reading 3"),
        (("VA-1",), "instrument VA-1"),
        (("instrument", "VA-1"), "instrument VA-1"),
        (("C-101",), "certificate C-101 of VA-1"),
        (("VA-1", "C-101"), "certificate C-101 of VA-1"),
        (("certificate", "VA-1", "C-101"), "certificate C-101 of VA-1"),
        (("J-1",), "job J-1"),
        (("S-1",), "outlet S-1 of J-1"),
        (("outlet", "J-1", "S-1"), "outlet S-1 of J-1"),
    ],
)
def test_a_record_is_called_by_its_name_with_or_without_its_kind(small, words, name):
    found = down(small, *words)
    assert found.knots[found.start].name == name


@pytest.mark.parametrize(
    "words", [("VA-9",), ("reading", "99"), ("certificate", "VA-1"), ("",), ("reading",), ("3.0",)]
)
def test_a_name_that_is_not_there_is_said(small, words):
    with pytest.raises(NotInRecordsError, match="nothing in the records is called"):
        up(small, *words)


def test_a_name_that_several_records_have_is_asked_for_with_its_kind(tmp_path):
    records = records_of(
        tmp_path, changed(("jobs.csv", 2, "title", "x"), ("calibrations.csv", 2, "certificate", "PG-1"), *OWN)
    )
    with pytest.raises(BadInputError, match="this may be certificate VA-1 PG-1; instrument PG-1"):
        up(records, "PG-1")
    found = up(records, "VA-1", "PG-1")
    assert found.knots[found.start].name == "certificate PG-1 of VA-1"


OWN = [("comparisons.csv", row, "certificate", "PG-1") for row in range(2, 9)]


def test_chains_are_the_same_wherever_the_records_live(small_records):
    assert names(up(small_records, "reading 3")) == {
        "reading 3",
        *("certificate C-102 of VA-2", "instrument VA-2", "certificate C-103 of RS-1", "instrument RS-1"),
    }
    assert "job J-1" in names(down(small_records, "RS-1"))
