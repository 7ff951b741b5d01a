"""`calib trace up` and `calib trace down` as a person types them.

Source: `calib help` (commands), which keeps the contract; the chains are read off the sheets of tests/folders.py.
"""

import pytest

from tests import factor_pairs
from tests.command import calib
from tests.folders import changed, records_of

ACCREDITED = [("calibrations.csv", row, "accreditation", "number 12 (invented)") for row in (2, 4, 5)]


@pytest.fixture(scope="module")
def records(tmp_path_factory):
    return records_of(tmp_path_factory.mktemp("small"), changed(*ACCREDITED))


def test_up_draws_reading_meter_certificate_standard_certificate(records):
    ran = calib("trace", "up", "reading", "3", records=records)
    assert (ran.status, ran.err) == (0, "")
    assert ran.out.splitlines() == [
        "reading 3: R-1 of J-1, 2026-03-05T09:30+01:00, with VA-2",
        "└─ meter VA-2: vane, Maker M2, serial 002",
        (
            "   └─ certificate C-102, own bench, no accreditation on record, calibrated 2026-02-02, accepted 2026-02-03 "
            "(taken over on 2026-03-06), valid through 2027-02-02, U = 5 to 50 fpm (k = 2)"
        ),
        "      └─ reference standard RS-1: standard, Maker M3, serial 003",
        (
            "         └─ certificate C-103, North Laboratory, number 12 (invented), calibrated 2026-01-14, accepted 2026-01-20 "
            "(taken over on 2026-03-06), valid through 2027-01-14, U = 0.012 to 0.052 m/s (k = 2)"
        ),
        "",
        "every branch ends at an accredited certificate that was valid on its day",
    ]


def test_up_says_each_gap_on_a_line(small_records):
    ran = calib(
        "trace",
        "up",
        "VA-2",
        records=small_records,
    )
    assert ran.status == 0
    assert "gap: RS-1: certificate C-103 states no accreditation" in ran.out


def test_up_as_json_has_nodes_edges_and_gaps(small_records):
    document = calib("trace", "up", "reading", "3", "--json", records=small_records).document
    assert (document["of"], document["direction"], document["complete"]) == ("reading 3", "up", False)
    assert {one["kind"] for one in document["nodes"]} == {"reading", "certificate", "instrument"}
    assert {
        "from": "reading 3",
        "to": "certificate C-102 of VA-2",
        "role": "meter",
        "on": "2026-03-05",
    } in document["edges"]
    assert len(document["gaps"]) == 1


def test_down_draws_what_hangs_on_a_standard_and_lists_the_jobs(records):
    ran = calib("trace", "down", "RS-1", records=records)
    assert ran.status == 0
    lines = ran.out.splitlines()
    assert lines[0] == "RS-1: standard, Maker M3, serial 003"
    assert lines[-1] == "job J-1"
    assert any(
        one.strip(" └─") == "reading 3: R-1 of J-1, 2026-03-05T09:30+01:00, with VA-2 (as meter)" for one in lines
    )


def test_down_as_json_counts_what_hangs_on_it(records):
    document = calib("trace", "down", "VA-1", "--json", records=records).document
    assert document["counts"] == {"certificate": 1, "reading": 3, "outlet": 3, "job": 1}
    assert all("gaps" not in one for one in document["nodes"])


def test_a_factor_found_from_a_reading_at_its_own_outlet_is_no_circle(tmp_path):
    records = records_of(tmp_path, factor_pairs.paired_job())
    factor_pairs.factor(records)
    factor_pairs.amended(records, "S-9", *factor_pairs.BLANK, "found_factor=GR-9")
    ran = calib("trace", "up", "reading", "7", records=records)
    assert ran.status == 0
    assert "rests on itself" not in ran.out
    assert "traverse reading 2: D-9 of J-1" in ran.out


def test_down_from_what_nothing_hangs_on_says_so(tmp_path):
    sheets = changed()
    sheets["readings.csv"] = sheets["readings.csv"][:1]
    records = records_of(tmp_path, sheets)
    assert calib("trace", "down", "outlet S-2", records=records).out == "nothing hangs on outlet S-2 of J-1\n"


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (("trace", "up", "VA-9"), "nothing in the records is called 'VA-9'"),
        (("trace", "down", "reading", "1000000000000000000000"), "nothing in the records is called"),
        (("trace", "up", "VA-1", "--on", "today"), "--on: 'today'"),
        (("trace", "down", "bell\x07"), "nothing in the records is called"),
    ],
)
def test_what_cannot_be_is_one_line(records, words, expected):
    ran = calib(*words, records=records)
    assert (ran.status, ran.out) == (2, "")
    assert len(ran.err.splitlines()) == 1
    assert expected in ran.err
