"""`calib status` says what waits for somebody, and its exit status whether anything does. Common practice, no source."""

import json

import pytest

from calib.faces.cli.drafts import draft_place, drop_draft, keep_draft
from tests.command import calib
from tests.folders import changed, imported, small_job, write

DAY = ("--on", "2026-03-06")


def status(records, *words):
    ran = calib("status", "--json", *DAY, *words, records=records)
    return ran.status, json.loads(ran.out)


@pytest.fixture
def half_read(empty_records, tmp_path):
    """The small job with one of its four outlets read."""
    sheets = small_job()
    sheets["readings.csv"] = sheets["readings.csv"][:1]
    imported(empty_records, write(tmp_path / "in", sheets))
    return empty_records


def test_an_outlet_that_nobody_read_waits_until_it_is_read(half_read):
    ran, document = status(half_read)

    assert ran == 1
    [job] = document["jobs"]
    assert (job["job"], job["outlets"]) == ("J-1", 4)
    assert [left["outlet"] for left in job["not_measured"]] == ["S-2", "R-1", "E-1"]
    assert "job J-1: 3 of 4 outlets not measured: S-2, R-1, E-1\n" in calib("status", *DAY, records=half_read).out


def test_the_same_outlets_are_listed_beside_the_readings_and_in_a_draft(half_read, tmp_path):
    names = ["S-2", "R-1", "E-1"]
    listed = calib("reading", "list", "J-1", records=half_read)
    assert "3 outlets are not measured: S-2, R-1, E-1\n" in listed.err
    document = json.loads(calib("reading", "list", "J-1", "--json", records=half_read).out)
    assert [each["outlet"] for each in document["not_measured"]] == names

    ran = calib("report", "J-1", "--format", "html,csv,json,xlsx", "--into", tmp_path, records=half_read)

    assert ran.status == 0, ran.err
    content = json.loads((tmp_path / "J-1.json").read_text())
    assert [(each["outlet"], each["system"], each["service"], each["reasons"]) for each in content["not_measured"]] == [
        ("S-2", "AH-1", "supply", []),
        ("R-1", "AH-1", "return", []),
        ("E-1", "AH-1", "exhaust", []),
    ]
    designs = [each["design"] for each in content["not_measured"]]
    assert [(each["value"], each["unit"], each["tolerance_percent"]) for each in designs] == [
        (pytest.approx(450), "m3/h", 10.0),
        (pytest.approx(600), "m3/h", 15.0),
        (pytest.approx(144), "m3/h", 20.0),  # 40 L/s, in the one unit of the report
    ]
    rows = [line.split() for line in listed.out.splitlines() if "not measured" in line]
    assert [row[1] for row in rows] == names
    page = (tmp_path / "J-1.html").read_text()
    assert "3 were not measured." in page
    assert all(f"{name}: not measured." in page for name in names)
    table = (tmp_path / "J-1.csv").read_text()
    assert table.count("\nnot measured,AH-1,") == 3


def test_where_every_outlet_is_measured_nothing_is_said_of_it(small_records):
    assert "not measured" not in calib("reading", "list", "J-1", records=small_records).err
    document = status(small_records)[1]
    assert [job["not_measured"] for job in document["jobs"]] == [[]]
    assert (
        "every outlet is measured, and the report was not issued: J-1\n"
        in calib("status", *DAY, records=small_records).out
    )


def test_a_job_that_was_issued_waits_no_more(small_records, tmp_path):
    issued = calib("report", "J-1", "--issue", "--format", "json", "--into", tmp_path, records=small_records)
    assert issued.status == 0, issued.err
    assert status(small_records)[1]["jobs"] == []


def test_a_refusal_is_told_where_no_reading_followed(half_read):
    calib("instrument", "suspend", "VA-1", "--reason", "it fell", "--at", "2026-03-05T09:15+01:00", records=half_read)
    refused = calib("reading", "add", "J-1", "S-2", "3.1", "3.1", "--instrument", "VA-1", "--unit", "m/s", "--method", "sweep",
                    "--at", "2026-03-05T09:20+01:00", records=half_read)  # fmt: skip
    assert refused.status == 3

    left = status(half_read)[1]["jobs"][0]["not_measured"]

    assert [bool(each["refused"]) for each in left] == [True, False, False]
    assert left[0]["refused"][0].startswith("VA-1: suspended since")


def test_a_certificate_waits_until_it_is_accepted(empty_records, tmp_path):
    imported(empty_records, write(tmp_path / "in", changed(("calibrations.csv", 2, "accepted_on", ""))
                                  | {"readings.csv": small_job()["readings.csv"][2:3]}))  # fmt: skip
    document = status(empty_records)[1]
    assert [(each["tag"], each["certificate"], each["typed_by"]) for each in document["not_accepted"]] == [
        ("VA-1", "C-101", "A. Person")
    ]
    assert "calib calibration accept VA-1 C-101" in calib("status", *DAY, records=empty_records).out
    accepted = calib("calibration", "accept", "VA-1", "C-101", "--judged", "corrected value", "--departure", "flows are corrected",
                     "--by", "B. Other", records=empty_records)  # fmt: skip
    assert accepted.status == 0, accepted.err
    assert status(empty_records)[1]["not_accepted"] == []


def test_a_certificate_that_was_withdrawn_waits_no_more(empty_records, tmp_path):
    sheets = changed(("calibrations.csv", 2, "accepted_on", ""))
    imported(empty_records, write(tmp_path / "in", sheets | {"readings.csv": small_job()["readings.csv"][2:3]}))
    calib("calibration", "withdraw", "VA-1", "C-101", "--reason", "typed twice", records=empty_records)
    assert status(empty_records)[1]["not_accepted"] == []


def test_the_last_backup_is_told_and_what_was_recorded_since(small_records, tmp_path):
    assert status(small_records)[1]["last_backup"] is None
    assert "no backup is on record: calib backup FILE" in calib("status", *DAY, records=small_records).out

    made = calib("backup", tmp_path / "friday.sqlite", "--by", "B. Keeper", "--json", records=small_records)
    assert (made.status, made.document["on_record"]) == (0, True)
    backup = status(small_records)[1]["last_backup"]
    assert (backup["name"], backup["by"], backup["entries_since"], backup["late"]) == (
        "friday.sqlite", "B. Keeper", 0, False,
    )  # fmt: skip

    calib("job", "add", "J-2", "--rule", "simple", records=small_records)
    assert status(small_records)[1]["last_backup"]["entries_since"] == 1


def test_a_backup_by_whom_the_records_do_not_know_is_made_and_not_put_on_record(small_records, tmp_path):
    calib("person", "add", "Q. Keeper", "--role", "QA", records=small_records)
    made = calib("backup", tmp_path / "friday.sqlite", "--by", "N. Body", records=small_records)
    assert made.status == 0
    assert "the copy is sound, but not put on record: " in made.err
    assert (tmp_path / "friday.sqlite").exists()
    assert status(small_records)[1]["last_backup"] is None


def test_nothing_waits_in_a_house_in_order(small_records, tmp_path):
    """Issued, backed up, nothing due: exit status 0."""
    calib("report", "J-1", "--issue", "--format", "json", "--into", tmp_path, records=small_records)
    assert status(small_records)[0] == 1  # no backup yet
    calib("backup", tmp_path / "copy.sqlite", records=small_records)
    assert status(small_records)[0] == 0
    assert calib("status", "--on", "2028-03-06", records=small_records).status == 1  # overdue then


def test_a_report_that_the_records_contradict_waits(small_records, tmp_path):
    calib("report", "J-1", "--issue", "--format", "json", "--into", tmp_path, records=small_records)
    calib("backup", tmp_path / "copy.sqlite", records=small_records)
    amended = calib(
        "outlet", "amend", "J-1", "S-1", "--set", "width=410", "--reason", "measured again", records=small_records
    )
    assert amended.status == 0, amended.err

    ran, document = status(small_records)

    assert ran == 1
    assert [review["reports"] for review in document["open_reviews"]] == [["J-1 revision 1"]]


def test_an_entry_that_was_begun_is_told_by_the_file_it_left(small_records):
    left = draft_place(str(small_records), "J-1", "T. One")
    keep_draft(left, json.dumps({"job": "J-1", "person": "T. One"}))
    keep_draft(left.with_name(left.name.replace("half-typed-", "half-typed-0")), "{")

    ran, document = status(small_records)

    assert (ran, document["drafts"]) == (1, ["J-1"])
    assert "begun and not finished: calib enter J-1\n" in calib("status", *DAY, records=small_records).out
    drop_draft(left)
    assert status(small_records)[1]["drafts"] == []
