"""Each record has the day it was recorded and the day from which it holds: both are shown, and an earlier one has its reason.

Source: `calib help records` (Two days), which keeps the contract. Whoever types is asked in the words of the command line.
"""

from datetime import timedelta

import pytest

from calib.clock import clock
from tests.command import calib
from tests.folders import changed, csv_text, imported, ledger_head, only, small_job, write
from tests.read_back import page_text


def today():
    """The day as it is when a test asks: a run may pass midnight."""
    return clock().date()


RECORDED = "2026-03-06"  # the day of the import of tests.folders
COMPARISONS = [
    {"phase": "as-found", "reference": reference, "indication": indication, "unit": "Pa", "expanded_uncertainty": "0.4",
     "coverage_factor": "2", "repeatability": "0.2", "observations": "5"}
    for reference, indication in (("10.0", "10.2"), ("100.0", "100.1"), ("400.0", "399.8"))
]  # fmt: skip
WHY = "seen by QA on that day, typed in late"


@pytest.fixture
def records(small_records):
    return small_records


def certificate(records, tmp_path, *more, number="C-7"):
    path = tmp_path / "c-7.csv"
    path.write_text(csv_text(COMPARISONS), encoding="utf-8")
    words = ("--laboratory", "South Laboratory", "--calibrated-on", "2026-02-20", "--issued-on", "2026-02-25")
    typed = ("calibration", "add", "PG-1", number, *words, "--comparisons", path, *more, "--by", "A. Person")
    return calib(*typed, records=records)


def accept(records, *more):
    return calib("calibration", "accept", "PG-1", "C-7", "--by", "B. Person", *more, records=records)


def refused(ran, expected):
    """Bad input in one line, said beside how far an import came."""
    assert (ran.status, ran.out) == (2, "")
    (error,) = [line for line in ran.err.splitlines() if line.startswith("error: ")]
    assert expected in error


# --- acceptances -----------------------------------------------------------------------------------------------------------------


def test_an_acceptance_from_an_earlier_day_needs_its_reason(records, tmp_path):
    certificate(records, tmp_path)
    before = ledger_head(records)
    refused(accept(records, "--on", "2026-02-26"), "--reason: blank; expected why it holds from 2026-02-26")
    assert ledger_head(records) == before


def test_an_acceptance_of_today_needs_none_and_says_no_second_day(records, tmp_path):
    certificate(records, tmp_path)
    ran = accept(records)
    assert ran.status == 0
    assert "recorded on" not in ran.out
    shown = calib("calibration", "show", "PG-1", "C-7", records=records).out
    assert f"accepted {today()} by B. Person (" in shown
    assert "recorded on" not in shown


def test_both_days_and_the_reason_stand_wherever_the_earlier_one_does(records, tmp_path):
    certificate(records, tmp_path)
    ran = accept(records, "--on", "2026-02-26", "--reason", WHY)
    told = f"accepted on 2026-02-26 by B. Person (recorded on {today()}: {WHY})"
    assert (ran.status, told in ran.out) == (0, True)
    both = f"2026-02-26 (recorded on {today()}: {WHY})"
    for words in (
        ("calibration", "show", "PG-1", "C-7"),
        ("calibration", "list", "PG-1"),
        ("instrument", "show", "PG-1"),
    ):
        assert both in calib(*words, records=records).out, words
    document = calib("calibration", "show", "PG-1", "C-7", "--json", records=records).document
    assert (document["acceptance_reason"], document["acceptance_recorded_at"][:10]) == (WHY, str(today()))
    page = tmp_path / "pg-1.html"
    calib("instrument", "show", "PG-1", "--html", page, records=records)
    assert f"recorded on {today()}: {WHY}" in page_text(page.read_text(encoding="utf-8")).replace(" :", ":")
    assert (
        f"accepted 2026-02-26 (recorded on {today()}: {WHY})"
        in calib("trace", "up", "certificate", "C-7", records=records).out
    )


@pytest.mark.parametrize("on", ["2026-02-20", "2026-02-24"])
def test_nothing_is_accepted_before_its_certificate_was_issued(records, tmp_path, on):
    certificate(records, tmp_path)
    expected = f"--on: '{on}'; expected a date on or after the day on which the certificate was issued (2026-02-25)"
    refused(accept(records, "--on", on, "--reason", WHY), expected)


def test_an_import_takes_no_acceptance_from_before_its_certificate_was_issued(records, tmp_path):
    sheets = changed(("calibrations.csv", 2, "accepted_on", "2026-01-14"))
    for row in sheets["calibrations.csv"]:
        row["issued_on"] = "2026-01-15" if row["tag"] == "VA-1" else ""
        row["certificate"] += "-2"
    for row in sheets["comparisons.csv"]:
        row["certificate"] += "-2"
    ran = calib("import", write(tmp_path / "in", only(sheets, "calibrations.csv", "comparisons.csv")), records=records)
    refused(ran, "accepted_on: '2026-01-14'; expected a date on or after issued_on (2026-01-15)")


def test_who_types_a_certificate_as_accepted_earlier_is_asked_for_the_reason_too(records, tmp_path):
    calib("rule", "set", "one person may accept", "--holds", "yes", "--reason", "two of us", records=records)
    accepted = ("--accepted-on", "2026-02-26")
    refused(certificate(records, tmp_path, *accepted), "--reason: blank; expected why it holds from 2026-02-26")
    assert certificate(records, tmp_path, *accepted, "--reason", WHY).status == 0
    assert WHY in calib("calibration", "show", "PG-1", "C-7", records=records).out


# --- imports ---------------------------------------------------------------------------------------------------------------------


def test_the_past_of_an_import_without_a_reason_is_said_to_be_taken_over(records):
    shown = calib("calibration", "show", "VA-1", "C-101", records=records).out
    assert f"accepted 2026-01-19 (taken over on {RECORDED}) by A. Person" in shown
    assert f"2026-01-19 (taken over on {RECORDED})" in calib("calibration", "list", records=records).out


@pytest.fixture
def empty(empty_records):
    return empty_records


def test_an_import_takes_one_reason_for_all_its_past_and_a_cell_for_one(empty, tmp_path):
    sheets = small_job()
    for row in sheets["calibrations.csv"]:
        row["reason"] = "accepted on paper" if row["tag"] == "RS-1" else ""
    assert calib("import", write(tmp_path / "in", sheets), "--reason", "from our old files", records=empty).status == 0
    reasons = {
        one["tag"]: one["acceptance_reason"]
        for one in calib("calibration", "list", "--json", records=empty).document["calibrations"]
    }
    assert reasons == {"VA-1": "from our old files", "VA-2": "from our old files", "PG-1": "from our old files",
                       "RS-1": "accepted on paper"}  # fmt: skip
    assert calib("export", tmp_path / "out", records=empty).status == 0
    assert "accepted on paper" in (tmp_path / "out" / "calibrations.csv").read_text(encoding="utf-8")


def test_a_blank_reason_for_an_import_is_no_reason(empty, tmp_path):
    ran = calib("import", write(tmp_path / "in", small_job()), "--reason", " ", records=empty)
    refused(ran, "--reason: ' '; expected why it holds from before it is recorded, in a few words")


def test_a_reason_stands_beside_an_acceptance_alone(empty_records, tmp_path):
    sheets = only(
        changed(("calibrations.csv", 2, "accepted_on", "")), "instruments.csv", "calibrations.csv", "comparisons.csv"
    )
    for row in sheets["calibrations.csv"]:
        row["reason"] = WHY if row["tag"] == "VA-1" else ""
    ran = calib("import", write(tmp_path / "in", sheets), records=empty_records)
    assert ran.status == 2
    assert f"reason: '{WHY}'; expected nothing without accepted_on" in ran.err


def test_a_release_of_the_past_comes_in_by_import(records, tmp_path):
    events = [
        {"tag": "VA-1", "kind": kind, "at": at, "reason": reason}
        for kind, at, reason in (
            ("suspension", "2026-01-20T08:00+01:00", "dropped"),
            ("release", "2026-01-22T08:00+01:00", "checked"),
        )
    ]
    imported(records, write(tmp_path / "in", {"events.csv": events}))
    shown = calib("instrument", "show", "VA-1", "--json", records=records).document["events"]
    assert [(one["kind"], one["at"][:10], one["recorded_at"][:10]) for one in shown] == [
        ("suspension", "2026-01-20", RECORDED),
        ("release", "2026-01-22", RECORDED),
    ]
    assert RECORDED in calib("instrument", "show", "VA-1", records=records).out


# --- events ----------------------------------------------------------------------------------------------------------------------


def test_a_release_holds_from_now_on_only(records):
    suspend = ("instrument", "suspend", "VA-1", "--reason", "dropped", "--at", "2026-03-01T08:00+01:00")
    assert calib(*suspend, records=records).status == 0
    before = ledger_head(records)
    release = ("instrument", "release", "VA-1", "--reason", "checked")
    ran = calib(*release, "--at", "2026-03-02T08:00+01:00", records=records)
    refused(ran, "--at: '2026-03-02T08:00:00+01:00'; expected now: a release holds from now on only")
    assert ledger_head(records) == before
    assert calib(*release, "--at", (clock() - timedelta(seconds=30)).isoformat(), records=records).status == 0


def test_an_event_of_an_earlier_day_is_shown_with_the_day_it_was_recorded_on(records):
    suspend = ("instrument", "suspend", "VA-1", "--reason", "dropped", "--at", "2026-03-01T08:00+01:00")
    ran = calib(*suspend, records=records)
    assert ran.out == f"VA-1: suspension recorded on {today()}, from 2026-03-01T08:00:00+01:00\n"
    told = f"suspended since 2026-03-01T08:00:00+01:00, recorded on {today()} (dropped)"
    assert told in calib("ready", "VA-1", records=records).out
    assert str(today()) in calib("instrument", "show", "VA-1", records=records).out.partition("events")[2]


def test_an_event_of_now_names_one_day(records):
    calib("instrument", "suspend", "VA-1", "--reason", "dropped", records=records)
    assert "recorded on" not in calib("ready", "VA-1", records=records).out


def test_a_pair_of_an_earlier_day_is_shown_with_both_days(records):
    pair = ("instrument", "pair", "VA-2", "PG-1", "--reason", "as one", "--at", "2026-03-01T08:00+01:00")
    assert f"paired recorded on {today()}, from 2026-03-01T08:00:00+01:00" in calib(*pair, records=records).out
    shown = calib("instrument", "show", "PG-1", "--json", records=records).document["pairings"]
    assert [one["recorded_at"][:10] for one in shown] == [str(today())]
