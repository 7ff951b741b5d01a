"""`calib review` as a person types it, and where an open review is shown.

Source: `calib help` (commands, exit-statuses), which keeps the contract.
"""

import csv
import json
import re

import pytest

from tests.as_found import LATER, drifted
from tests.command import calib
from tests.folders import ledger_head, small_job, write

NAMED = ("1",)
DISPOSE = ("review", "dispose", *NAMED)
WHY = ("--decision", "stands", "--reason", "the shift is below U")
THREE = (*WHY, "--reason", "so is this", "--reason", "and this")


@pytest.fixture
def records(drifted_records):
    return drifted_records


def test_an_import_says_that_it_opened_a_review(small_records, tmp_path):
    ran = calib("import", write(tmp_path / "second", drifted(small_job(), "VA-1")), records=small_records)
    assert ran.status == 0
    assert "VA-1 was found beyond its limits: impact review of certificate D-1, 3 lines: calib review show 1" in ran.err
    assert re.search(r"1  impact review\n +3  impact line\n", ran.out)


def test_a_certificate_typed_alone_opens_a_review_too(small_records, tmp_path):
    second = drifted(small_job(), "VA-1")
    folder = write(tmp_path / "second", second)
    words = ("calibration", "add", "VA-1", "D-1", "--laboratory", "North Laboratory", "--calibrated-on", "2026-03-20")
    ran = calib(*words, "--comparisons", folder / "comparisons.csv", records=small_records)
    assert ran.status == 0
    listed = calib("review", "list", "--open", "--json", records=small_records).document["reviews"]
    assert [(one["tag"], one["certificate"], one["lines"]) for one in listed] == [("VA-1", "D-1", 3)]
    assert "VA-1 was found beyond its limits: impact review of certificate D-1, 3 lines" in ran.err


def test_a_reading_that_hangs_on_an_open_review_says_so(records):
    cells = {"instrument": "VA-1", "unit": "m/s", "method": "sweep", "observations": "3.1;3.2", "by": "T. One"}
    options = [word for name, cell in cells.items() for word in (f"--{name}", cell)]
    ran = calib("reading", "add", "J-1", "S-1", *options, "--at", "2026-03-06T09:10+01:00", records=records)
    assert ran.status == 0
    assert "impact review of VA-1, certificate D-1: 1 line more" in ran.err


def test_the_list_says_how_many_lines_are_open(records):
    assert calib("review", "list", records=records).out.splitlines()[1].split() == [
        "1", "VA-1", "certificate", "D-1", str(LATER.date()), "3", "3", "open",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("words", "listed"),
    [
        (("--instrument", "va-1"), True),
        (("--job", "J-1", "--open"), True),
        (("--instrument", "VA-2"), False),
        (("--job", "J-2"), False),
    ],
)
def test_the_list_is_confined_to_an_instrument_or_a_job(records, words, listed):
    ran = calib("review", "list", *words, records=records)
    assert (ran.status, "certificate D-1" in ran.out) == (0, listed)
    assert listed or ran.out == "no impact review fits\n"


def test_without_a_review_the_list_says_so(small_records):
    assert calib("review", "list", records=small_records).out == "there is no impact review\n"
    assert calib("review", "list", "--open", records=small_records).out == "no impact review is open\n"


def test_a_review_is_shown_with_before_and_as_found(records):
    ran = calib("review", "show", *NAMED, records=records)
    assert ran.status == 0
    assert "last in order: certificate C-101, calibrated 2026-01-12, accepted 2026-01-19" in ran.out
    assert "assumed: the curve as found is taken for the whole time" in ran.out
    line = next(one for one in ran.out.splitlines() if one.startswith("1 "))
    assert re.split(r"  +", line) == [
        "1",
        "reading 1: S-1 of J-1",
        "meter",
        "(1034 ± 71) m3/h",
        "(994 ± 69) m3/h",
        "-40.3",
        "-0.57",
        "conditional pass -> pass",
        "open",
    ]


def test_a_review_as_json_has_its_numbers_unrounded(records):
    document = calib("review", "show", *NAMED, "--json", records=records).document
    one = document["items"][0]
    assert (one["record"], one["table"], one["id"], one["disposition"]) == ("reading 1: S-1 of J-1", "reading", 1, None)
    assert one["shift_over_U"] == pytest.approx(one["shift"] / one["before"]["expanded_uncertainty"])
    assert (document["open"], document["lines"], document["open_lines"]) == (True, 3, 3)


def test_lines_are_disposed_of_one_by_one_or_several_at_once(records):
    ran = calib(*DISPOSE, 1, *WHY, "--by", "Q. Person", records=records)
    assert (ran.status, ran.out, ran.err) == (0, "review 1: line 1: stands\n", "2 open lines left\n")
    ran = calib(*DISPOSE, 2, 3, *WHY, "--reason", "so is this", "--by", "Q. Person", "--json", records=records)
    assert ran.err == "no open line left: the review is done\n"
    assert ran.document["items"][2]["dispositions"][0]["by"] == "Q. Person"
    assert re.search(
        r"line 1: stands, .* by Q\. Person: the shift is below U\n",
        calib("review", "show", *NAMED, records=records).out,
    )
    assert calib("review", "list", "--open", records=records).out == "no impact review is open\n"


def test_an_open_review_is_listed_by_due_without_changing_its_exit_status(records):
    ran = calib("due", "--on", "2026-03-06", records=records)
    assert ran.status == 0
    assert "impact review open: VA-1, certificate D-1, 3 of 3 lines: calib review show 1" in ran.out
    document = calib("due", "--on", "2026-03-06", "--json", records=records).document
    assert document["open_reviews"] == [
        {
            "review": 1,
            "cause": "as found",
            "about": "VA-1, certificate D-1",
            "reports": [],
            "tag": "VA-1",
            "certificate": "D-1",
        }
        | {
            "opened_at": LATER.isoformat(),
            "lines": 3,
            "open_lines": 3,
            "reissue_promised": [],
            "waits_for_curve": False,
        }
    ]
    calib(*DISPOSE, 1, 2, 3, *THREE, records=records)
    assert "impact review" not in calib("due", "--on", "2026-03-06", records=records).out


def report(records, folder):
    """First page, up to the flows, and the JSON of a report."""
    assert calib("report", "J-1", "--into", folder, "--format", "html,json", records=records).status == 0
    page = (folder / "J-1.html").read_text(encoding="utf-8")
    first = page[: page.index("<details")].replace('<span class="at">', "").replace("</span>", "")
    return first, json.loads((folder / "J-1.json").read_text(encoding="utf-8"))


def test_a_report_says_on_its_first_page_that_a_review_is_open(records, tmp_path):
    first, document = report(records, tmp_path / "before")
    assert "<strong>An impact review is open.</strong> VA-1 found at 2.95 times its limit on 2026-03-20" in first
    assert "3 readings of this report rest on it" in first
    (one,) = document["open_reviews"]
    assert (one["instrument"], one["certificate"], one["readings"], one["open_lines"]) == ("VA-1", "D-1", [1, 2, 4], 3)
    calib(*DISPOSE, 1, 2, 3, *THREE, records=records)
    first, document = report(records, tmp_path / "after")
    assert "impact review" not in first
    assert document["open_reviews"] == []


def rows_of_open_reviews(records, folder):
    assert calib("report", "J-1", "--into", folder, "--format", "csv", records=records).status == 0
    rows = csv.DictReader((folder / "J-1.csv").read_text(encoding="utf-8").splitlines())
    return [row for row in rows if row["record"] == "open review"]


def test_a_report_as_a_table_has_a_row_for_it(records, tmp_path):
    (row,) = rows_of_open_reviews(records, tmp_path / "before")
    assert {name: cell for name, cell in row.items() if cell} == {
        "record": "open review",
        "instrument": "VA-1",
        "certificate": "D-1",
        "reasons": "found at 2.95 times its limit on 2026-03-20; readings of this job that rest on it: 1, 2, 4; "
        "lines of the review without a disposition: 3",
    }
    calib(*DISPOSE, 1, 2, 3, *THREE, records=records)
    assert rows_of_open_reviews(records, tmp_path / "after") == []


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (("review", "show", "9"), "no impact review 9: there is 1 (VA-1, certificate D-1)"),
        ((*DISPOSE, "4", *WHY), "LINE: '4'; expected a line of the review, 1 to 3"),
        (
            (*DISPOSE, "1", "--decision", "ignore", "--reason", "x"),
            "--decision: 'ignore'; expected one of stands, reissue",
        ),
        ((*DISPOSE, "1", "--decision", "stands", "--reason", " "), "--reason: ' '; expected why"),
    ],
)
def test_what_cannot_be_is_one_line_and_nothing_is_written(records, words, expected):
    before = ledger_head(records)
    ran = calib(*words, records=records)
    assert (ran.status, ran.out) == (2, "")
    assert len(ran.err.splitlines()) == 1
    assert expected in ran.err
    assert ledger_head(records) == before


def test_a_line_that_is_no_number_is_wrong_usage(records):
    assert calib(*DISPOSE, "first", *WHY, records=records).status == 2
