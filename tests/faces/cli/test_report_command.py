"""`calib report`: drafts, issues and reissues, an issue written again, and whether a file is one that was issued."""

import hashlib
import html
import json
import re
import sqlite3

import pytest

from calib.procedures.fleet.record_event import record_event
from calib.records import database, ledger
from calib.records.tables.reports import IssuedReport
from tests.command import calib
from tests.folders import NOW, all_of, records_of, small_job

QUICK = "json,csv"


def issued(records, folder, *words):
    ran = calib(
        "report", "J-1", "--issue", "--format", QUICK, "--by", "E. Engineer", "--into", folder, *words, records=records
    )
    assert ran.status == 0, ran.err
    return ran


@pytest.fixture
def first(small_records, tmp_path):
    """Records with one issue of the small job, whose files are in `first`."""
    issued(small_records, tmp_path / "first")
    return small_records


def read(folder, name):
    return json.loads((folder / name).read_text(encoding="utf-8"))


def test_without_issue_it_is_a_draft_and_says_so_and_nothing_is_kept(small_records, tmp_path):
    ran = calib("report", "J-1", "--format", "json", "--into", tmp_path, records=small_records)
    assert "a draft of revision 1: nothing was issued" in ran.err
    assert read(tmp_path, "J-1.json")["is_draft"] is True
    assert "no report of J-1 was issued" in calib("report", "J-1", "--revisions", records=small_records).out


@pytest.mark.usefixtures("first")
def test_an_issue_names_the_person_and_the_revision_in_content_and_file_name(tmp_path):
    document = read(tmp_path / "first", "J-1-r1.json")
    says = {name: document[name] for name in ("is_draft", "revision", "issued_by", "revision_reason", "changes")}
    assert says == {
        "is_draft": False, "revision": 1, "issued_by": "E. Engineer", "revision_reason": None, "changes": [],
    }  # fmt: skip


def test_json_is_kept_whatever_forms_are_asked_for(small_records, tmp_path):
    calib("report", "J-1", "--issue", "--format", "csv", "--into", tmp_path, records=small_records)
    assert sorted(one.name for one in tmp_path.glob("J-1*")) == ["J-1-r1.csv", "J-1-r1.json"]


def test_a_revision_says_why_and_what_changed(first, tmp_path):
    amend = (
        "outlet",
        "amend",
        "J-1",
        "S-1",
        "--set",
        "outlet_factor=0.88",
        "--reason",
        "typed wrong",
        "--by",
        "T. One",
    )
    assert calib(*amend, records=first).status == 0
    issued(first, tmp_path / "second", "--because", "the factor of S-1 was typed wrong")
    document = read(tmp_path / "second", "J-1-r2.json")
    assert (document["revision"], document["revision_reason"]) == (2, "the factor of S-1 was typed wrong")
    assert [one["revision"] for one in document["revises"]] == [1]
    before = read(tmp_path / "first", "J-1-r1.json")["readings"][0]["flow"]["statement"]
    changed = next(one for one in document["changes"] if one["what"] == "flow at S-1, reading 1")
    assert changed["before"].startswith(before)
    assert changed["after"].startswith(document["readings"][0]["flow"]["statement"])


def test_a_draft_after_an_issue_says_what_would_change(first, tmp_path):
    amend = (
        "outlet",
        "amend",
        "J-1",
        "S-1",
        "--set",
        "outlet_factor=0.88",
        "--reason",
        "typed wrong",
        "--by",
        "T. One",
    )
    calib(*amend, records=first)
    calib("report", "J-1", "--format", "json", "--into", tmp_path, records=first)
    document = read(tmp_path, "J-1.json")
    assert (document["is_draft"], document["revision"]) == (True, 2)
    assert "flow at S-1, reading 1" in [one["what"] for one in document["changes"]]


def test_an_issue_is_written_again_byte_for_byte(first, tmp_path):
    calib("instrument", "suspend", "VA-1", "--reason", "dropped", "--at", "2026-03-05T08:00+01:00", records=first)
    ran = calib("report", "J-1", "--revision", "1", "--into", tmp_path / "again", records=first)
    assert ran.status == 0
    for form in QUICK.split(","):
        name = f"J-1-r1.{form}"
        assert (tmp_path / "again" / name).read_bytes() == (tmp_path / "first" / name).read_bytes()


def test_a_file_as_it_was_issued_is_told_with_its_revision(first, tmp_path):
    ran = calib("report", "--check", tmp_path / "first" / "J-1-r1.csv", records=first)
    assert ran.status == 0
    assert "revision 1 of the report of job J-1 (csv), byte for byte as it was issued" in ran.out
    assert "by E. Engineer" in ran.out


def test_a_changed_byte_is_a_finding(first, tmp_path):
    file = tmp_path / "first" / "J-1-r1.csv"
    file.write_bytes(file.read_bytes() + b" ")
    ran = calib("report", "--check", file, "--json", records=first)
    assert ran.status == 1
    assert ran.document == {
        "file": str(file),
        "is_issued": False,
        "is_latest": False,
        "sha256": hashlib.sha256(file.read_bytes()).hexdigest(),
    }


def test_a_draft_is_no_issue(first, tmp_path):
    calib("report", "J-1", "--format", "csv", "--into", tmp_path, records=first)
    ran = calib("report", "--check", tmp_path / "J-1.csv", records=first)
    assert (ran.status, "no report as it was issued" in ran.out) == (1, True)


def test_a_superseded_file_is_told_with_the_later_revision_and_its_reason(first, tmp_path):
    issued(first, tmp_path / "second", "--because", "a name was wrong")
    ran = calib("report", "--check", tmp_path / "first" / "J-1-r1.json", records=first)
    assert ran.status == 1
    assert "superseded by revision 2" in ran.out
    assert "a name was wrong" in ran.out


def test_a_kept_byte_changed_behind_the_programs_back_is_found_by_verify(first, tmp_path):
    with sqlite3.connect(first) as connection:
        connection.execute("DROP TRIGGER issued_form_no_update")
        connection.execute("UPDATE issued_form SET content = x'00' WHERE form = 'csv'")
    connection.close()
    ran = calib("verify", records=first)
    assert ran.status == 1
    assert "issued_form" in ran.out
    assert calib("report", "--check", tmp_path / "first" / "J-1-r1.csv", records=first).status == 1


def test_the_digest_that_an_issue_prints_is_in_the_ledger(first, tmp_path):
    digest = read(tmp_path / "first", "J-1-r1.json")["ledger_digest"]
    assert calib("verify", "--digest", digest, records=first).status == 0


def test_what_was_issued_is_listed_for_people_and_machines(first, tmp_path):
    text = calib("report", "J-1", "--revisions", records=first).out
    content = (tmp_path / "first" / "J-1-r1.csv").read_bytes()
    assert f"  {hashlib.sha256(content).hexdigest()}  J-1-r1.csv" in text
    (one,) = calib("report", "J-1", "--revisions", "--json", records=first).document["revisions"]
    assert (one["revision"], one["issued_by"], [each["form"] for each in one["forms"]]) == (
        1,
        "E. Engineer",
        ["json", "csv"],
    )


def test_records_written_to_meanwhile_are_read_again(small_records, tmp_path, monkeypatch):
    """Another person writes between the making of the report and its issue."""
    from calib.faces.report import write_report

    made, times = write_report._made, []  # noqa: SLF001 (there is no other moment to write at)

    def made_while_another_writes(*arguments):
        found = made(*arguments)
        times.append(found.issue.ledger_digest)
        if len(times) == 1:
            with database.writing(str(small_records)) as session:
                record_event(session, "PG-1", "suspension", NOW, "dropped", ledger.Signature("B", NOW, "suspension"))
        return found

    monkeypatch.setattr(write_report, "_made", made_while_another_writes)
    issued(small_records, tmp_path)
    assert len(set(times)) == 2
    assert read(tmp_path, "J-1-r1.json")["ledger_digest"] == times[1]


def test_a_folder_that_cannot_be_written_is_named_and_the_issue_is_written_again_from_the_records(
    small_records, tmp_path
):
    (tmp_path / "taken").write_text("a file")
    words = ("report", "J-1", "--issue", "--format", QUICK, "--by", "E", "--into", tmp_path / "taken")
    ran = calib(*words, records=small_records)
    assert ran.status == 2
    assert "issued as revision 1" in ran.err
    assert "--revision 1" in ran.err
    assert calib("report", "J-1", "--revision", "1", "--into", tmp_path, records=small_records).status == 0


BAD = {
    "no job": (("report",), "JOB"),
    "a job with a file to check": (("report", "J-1", "--check", "x"), "JOB"),
    "two things at once": (("report", "J-1", "--issue", "--revision", "1"), "--revision"),
    "an unknown form": (("report", "J-1", "--format", "docx"), "--format"),
    "a reason without an issue": (("report", "J-1", "--because", "why"), "--because"),
    "a reason for the first issue": (("report", "J-1", "--issue", "--because", "why"), "--because"),
    "a reason for gaps without an issue": (("report", "J-1", "--with-gaps", "why"), "--with-gaps"),
    "a reason for gaps that are none": (("report", "J-1", "--issue", "--with-gaps", "why"), "--with-gaps"),
    "a revision that is none": (("report", "J-1", "--revision", "0"), "--revision"),
    "a revision that was not issued": (("report", "J-1", "--revision", "3"), "none was issued"),
    "an unknown job": (("report", "J-9", "--issue"), "J-9"),
    "an unknown job to list": (("report", "J-9", "--revisions"), "J-9"),
    "a file that is not there": (("report", "--check", "nothing-here.pdf"), "nothing-here.pdf"),
    "a folder to check": (("report", "--check", "."), "cannot be read"),
}


@pytest.mark.parametrize("bad", BAD)
def test_bad_input_is_named_on_one_line_and_nothing_is_issued(small_records, tmp_path, bad):
    words, said = BAD[bad]
    into = () if "--check" in words else ("--into", tmp_path)
    ran = calib(*words, *into, records=small_records)
    assert ran.status == 2
    assert said in ran.err
    assert "Traceback" not in ran.err
    assert "no report" in calib("report", "J-1", "--revisions", records=small_records).out


def test_the_second_issue_asks_for_a_reason(first, tmp_path):
    ran = calib("report", "J-1", "--issue", "--into", tmp_path, records=first)
    assert ran.status == 2
    assert "--because" in ran.err
    assert "revision 1 was issued on" in ran.err


# --- with outlets that were not measured -----------------------------------------------------------------------------------------

WHY = "the store was locked; it is read on the next visit"


@pytest.fixture
def with_gaps(tmp_path):
    """The small job with S-2 not read, and R-1 read with a meter that the gate refuses."""
    sheets = small_job()
    rows = {row["outlet"]: row for row in sheets["readings.csv"]}
    late = rows["R-1"] | {"observed_at": "2027-03-05T09:30+01:00"}
    sheets["readings.csv"] = [rows["S-1"], late, rows["E-1"]]
    return records_of(tmp_path / "records", sheets, now=NOW.replace(year=2027))


def issue_it(records, folder, *words):
    return calib(
        "report", "J-1", "--issue", "--format", f"{QUICK},html,xlsx", "--into", folder, *words, records=records
    )


@pytest.mark.parametrize("words", [(), ("--with-gaps", ""), ("--with-gaps", "  ")])
def test_outlets_that_were_not_measured_are_named_before_a_report_is_issued(with_gaps, tmp_path, words):
    ran = issue_it(with_gaps, tmp_path / "out", *words)
    assert ran.status == 1
    assert ran.err.splitlines()[-1] == (
        "error: not measured: S-2, R-1; nothing was issued; --with-gaps REASON issues it all the same, and keeps the reason"
    )
    assert not (tmp_path / "out").exists()
    assert "no report" in calib("report", "J-1", "--revisions", records=with_gaps).out


def test_with_a_reason_it_is_issued_and_the_reason_is_kept(with_gaps, tmp_path):
    assert issue_it(with_gaps, tmp_path, "--with-gaps", f" {WHY} ").status == 0
    (kept,) = calib("report", "J-1", "--revisions", "--json", records=with_gaps).document["revisions"]
    assert kept["gaps_reason"] == WHY
    assert WHY in calib("report", "J-1", "--revisions", records=with_gaps).out
    with database.reading(str(with_gaps)) as session:
        assert [each.gaps_reason for each in all_of(session, IssuedReport)] == [WHY]


def test_every_form_says_what_was_not_measured_and_why_it_is_issued_all_the_same(with_gaps, tmp_path):
    issue_it(with_gaps, tmp_path, "--with-gaps", WHY)
    document = read(tmp_path, "J-1-r1.json")
    assert document["gaps_reason"] == WHY
    by_name = {each["outlet"]: each for each in document["not_measured"]}
    assert by_name["S-2"]["reasons"] == []
    (reason,) = by_name["R-1"]["reasons"]
    assert "C-102" in reason
    page = re.sub("</?span[^>]*>", "", (tmp_path / "J-1-r1.html").read_text("utf-8").partition("<body")[2])
    page = html.unescape(re.sub("<[^>]+>", " ", page))
    words = " ".join(page.split())
    assert WHY in words
    assert "S-2 : not measured." in words or "S-2: not measured." in words
    assert f"not measured: a reading was refused: {reason}." in words
    sheet = (tmp_path / "J-1-r1.csv").read_text("utf-8")
    assert WHY in sheet.splitlines()[1]
    (left,) = [line for line in sheet.splitlines() if line.startswith("not measured,AH-1,return,R-1,")]
    assert "C-102" in left


def test_a_draft_asks_for_no_reason(with_gaps, tmp_path):
    ran = calib("report", "J-1", "--format", "json", "--into", tmp_path, records=with_gaps)
    assert ran.status == 0, ran.err
    assert read(tmp_path, "J-1.json")["gaps_reason"] is None
