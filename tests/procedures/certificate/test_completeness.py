"""What a certificate states and what is missing.

Source: ISO/IEC 17025:2017, 7.8.2.1 and 7.8.4.1, from memory of the clauses.
"""

from dataclasses import replace

import pytest

from calib.procedures.certificate.completeness import CertificateOnRecord, completeness, missing

COMPARISON = {"phase": "as-found", "unit": "m/s", "expanded_uncertainty": "0.02", "coverage_factor": "2"}
WHOLE = CertificateOnRecord(
    {
        "laboratory": "North Laboratory", "certificate": "C-7", "procedure": "LP-3", "received_on": "2026-01-10",
        "calibrated_on": "2026-01-12", "issued_on": "2026-01-14", "temperature_degC": "20.1", "pressure_kPa": "101.3",
        "humidity_percent": "44", "traceability": "national standards", "adjustment": "no",
    },
    [COMPARISON, COMPARISON],
    (),
    1,
)  # fmt: skip


def without(column):
    return replace(WHOLE, calibration={name: cell for name, cell in WHOLE.calibration.items() if name != column})


def clauses(one):
    return [item.clause for item in missing(one)]


def test_a_whole_certificate_lacks_nothing():
    assert clauses(WHOLE) == []


@pytest.mark.parametrize(
    ("column", "clause"),
    [
        ("procedure", "7.8.2.1 f"),
        ("received_on", "7.8.2.1 h"),
        ("issued_on", "7.8.2.1 j"),
        ("temperature_degC", "7.8.4.1 b"),
        ("pressure_kPa", "7.8.4.1 b"),
        ("humidity_percent", "7.8.4.1 b"),
        ("traceability", "7.8.4.1 c"),
        ("adjustment", "7.8.4.1 d"),
    ],
)
def test_what_is_not_stated_is_missing_by_its_clause(column, clause):
    assert clauses(without(column)) == [clause]


def test_reference_standards_of_the_register_say_how_the_results_are_traceable():
    assert clauses(replace(without("traceability"), standards=("RS-1",))) == []


def test_comparisons_as_found_and_as_left_say_that_it_was_adjusted():
    both = [COMPARISON, COMPARISON | {"phase": "as-left"}]
    assert clauses(replace(without("adjustment"), comparisons=both)) == []


def test_an_adjustment_wants_the_results_before_it_too():
    adjusted = replace(WHOLE, calibration=WHOLE.calibration | {"adjustment": "yes"})
    assert clauses(replace(adjusted, comparisons=[COMPARISON | {"phase": "as-left"}])) == ["7.8.4.1 d"]


def test_a_certificate_that_was_not_kept_is_missing():
    assert clauses(replace(WHOLE, files=0)) == ["6.4.13 e"]


def test_what_only_a_reader_finds_is_listed_as_to_be_read():
    read = [item.clause for item in completeness(WHOLE) if item.state == "to be read in the certificate"]
    assert "7.8.2.1 l, o" in read
