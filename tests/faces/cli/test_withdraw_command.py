"""`calib calibration withdraw` as a person types it, and where a withdrawn calibration is shown.

Source: `calib help` (commands, certificates, exit-statuses), which keeps the contract.
"""

import re

import pytest

from tests.command import calib
from tests.folders import ledger_head
from tests.read_back import page_text
from tests.records.test_ledger import change

NAMED = ("VA-1", "C-101")
WITHDRAW = ("calibration", "withdraw", *NAMED, "--by", "Q. Person")
WHY = ("--reason", "typed from another sheet")
SAID = re.compile(r"withdrawn \d{4}-\d\d-\d\d[T ]\S+ by Q\. Person: typed from another sheet")


@pytest.fixture
def withdrawn(small_records):
    assert calib(*WITHDRAW, *WHY, records=small_records).status == 0
    return small_records


def test_the_answer_says_what_rested_on_it_and_what_counts_now(small_records):
    ran = calib(*WITHDRAW, *WHY, records=small_records)
    assert (ran.status, ran.err) == (0, "")
    first, *rest = ran.out.splitlines()
    assert first.startswith("VA-1: certificate C-101 withdrawn ")
    assert SAID.search(first)
    assert rest[:2] == [
        "3 readings rested on it, and what counts now is asked for each: calib trace down VA-1",
        "no calibration of VA-1 counts now",
    ]
    assert re.fullmatch(r"VA-1: no calibration accepted on or before \S+ \(withdrawn: C-101\): have it .+", rest[2])


def test_the_answer_as_json(small_records):
    document = calib(*WITHDRAW, *WHY, "--json", records=small_records).document
    assert (document["withdrawn"]["by"], document["withdrawn"]["reason"]) == ("Q. Person", WHY[1])
    counted = ("tag", "certificate", "readings", "factors", "calibrations", "reported_jobs", "counts_now", "due_on")
    assert {name: document[name] for name in counted} == {
        "tag": "VA-1", "certificate": "C-101", "readings": 3, "factors": [], "calibrations": [], "reported_jobs": [],
        "counts_now": None, "due_on": None,
    }  # fmt: skip
    assert document["reasons"][0].startswith("VA-1: no calibration accepted")


def test_a_standard_names_the_calibrations_made_with_it(small_records):
    ran = calib("calibration", "withdraw", "RS-1", "C-103", *WHY, records=small_records)
    assert (
        "calibrations whose reference values rest on it: VA-2 C-102; withdraw them too, and record them again"
        in ran.out.splitlines()
    )


def test_of_a_certificate_on_which_nothing_rested_the_answer_says_so(small_records):
    ran = calib("calibration", "withdraw", "PG-1", "C-104", *WHY, records=small_records)
    assert ran.out.splitlines()[1] == "nothing rested on it"


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (("VA-1", "C-9", *WHY), "no certificate 'C-9' of VA-1 in the records: there is C-101"),
        (("VA-9", "C-101", *WHY), "no instrument 'VA-9' in the records"),
        (("VA-1", "C-101", "--reason", " "), "--reason: ' '"),
    ],
)
def test_bad_input_is_one_line_and_writes_nothing(small_records, words, expected):
    before = ledger_head(small_records)
    ran = calib("calibration", "withdraw", *words, records=small_records)
    assert (ran.status, ran.out, len(ran.err.splitlines())) == (2, "", 1)
    assert expected in ran.err
    assert ledger_head(small_records) == before


def test_a_second_withdrawal_is_refused_with_the_first(withdrawn):
    ran = calib(*WITHDRAW, *WHY, records=withdrawn)
    assert (ran.status, len(ran.err.splitlines())) == (2, 1)
    assert SAID.search(ran.err.replace("it was ", "withdrawn "))


def test_the_lists_and_the_histories_say_so(withdrawn, tmp_path):
    listed = calib("calibration", "list", records=withdrawn).out.splitlines()
    assert [one.split()[1] for one in listed if SAID.search(one)] == ["C-101"]
    assert SAID.search(calib("calibration", "show", *NAMED, records=withdrawn).out)
    assert SAID.search(calib("instrument", "show", "VA-1", records=withdrawn).out)
    page = tmp_path / "va-1.html"
    assert calib("instrument", "show", "VA-1", "--html", page, records=withdrawn).status == 0
    assert SAID.search(page_text(page.read_text(encoding="utf-8")))


def test_the_documents_say_so(withdrawn):
    shown = calib("calibration", "show", *NAMED, "--json", records=withdrawn).document
    of_list = calib("calibration", "list", "VA-1", "--json", records=withdrawn).document["calibrations"]
    of_instrument = calib("instrument", "show", "VA-1", "--json", records=withdrawn).document["calibrations"]
    for one in (shown, *of_list, *of_instrument):
        assert (one["withdrawn"]["by"], one["withdrawn"]["reason"]) == ("Q. Person", WHY[1])


def test_without_a_withdrawal_no_column_stands_for_one(small_records):
    assert "withdrawn" not in calib("calibration", "list", records=small_records).out
    assert "withdrawn" not in calib("instrument", "show", "VA-1", records=small_records).out


def test_it_may_not_be_used_and_comes_due(withdrawn):
    assert calib("ready", "VA-1", records=withdrawn).status == 3
    assert "withdrawn: C-101" in calib("due", records=withdrawn).out


def test_a_chain_says_that_it_was_withdrawn(withdrawn):
    ran = calib("trace", "up", "certificate", "C-101", records=withdrawn)
    assert "calibrated 2026-01-12, withdrawn, valid through" in ran.out
    assert "gap: VA-1: certificate C-101 was withdrawn: it counts for nothing" in ran.out.splitlines()


def test_a_withdrawal_taken_out_behind_the_program_s_back_is_found(withdrawn):
    assert change(withdrawn, "DELETE FROM withdrawal") == 1
    ran = calib("verify", records=withdrawn)
    assert ran.status == 1
    assert "withdrawal 1" in ran.out
