"""The assessor's page: questions, each with its answer first, on an instrument, a job and an issued report.

Source: ISO/IEC 17025:2017 for what is asked (6.2.5, 6.4, 6.5, 7.1.3, 7.5, 7.10, 7.11.2, 8.4); the answers by hand from what is
recorded here. Which ten is common practice, no source.
"""

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from calib.errors import BadInputError
from calib.faces.answers.audit import text
from calib.faces.plain_text import as_wide_as
from calib.procedures.fleet.record_event import record_event
from calib.procedures.people.persons_and_roles import PersonWanted, add_person
from calib.records import database
from tests.as_found import drifted, reviewed
from tests.command import calib, done
from tests.every_way import every_way
from tests.folders import SIGNED, imported, records_of, small_job, write
from tests.read_back import page_text

ON = ("--on", "2026-03-05")
CORRECTED = ("--judged", "corrected value", "--departure", "flows are computed from it")


@pytest.fixture
def job(small_records):
    """The small job, typed by A. Person, its certificates accepted by whoever its sheets say."""
    return small_records


def asked(records, *named, status=1):
    ran = calib("audit", *named, *ON, "--json", records=records)
    assert ran.status == status, ran.err
    return ran.document


def answer(records, place, *named):
    """Answer, whether it is a finding, and what it rests on, of a question by its number."""
    one = asked(records, *(named or ("J-1",)))["questions"][place - 1]
    return one["answer"], one["is_finding"], one["rests_on"]


def event(records, tag, kind, day, reason, hour=8):
    with database.writing(str(records)) as session:
        record_event(session, tag, kind, datetime(2026, 3, day, hour, tzinfo=UTC), reason, SIGNED)


def test_there_are_ten_questions_and_one_more_of_a_job_and_each_says_its_answer_first(job):
    document = asked(job, "J-1")
    assert (document["kind"], document["of"], len(document["questions"])) == ("job", "J-1", 11)
    assert len(asked(job, "VA-1")["questions"]) == 10
    assert document["findings"] == sum(one["is_finding"] for one in document["questions"])
    told = calib("audit", "J-1", *ON, records=job).out
    for place, one in enumerate(document["questions"], start=1):
        assert f"\n{place}. {one['question'][:40]}" in told
        assert told.index(f"\n{place}. ") < told.index(one["answer"][:30])


@pytest.mark.parametrize("columns", [60, 100])
def test_no_line_is_wider_than_the_terminal(job, columns):
    with as_wide_as(columns):
        lines = text(asked(job, "J-1")).splitlines()
    assert columns - 25 < max(len(line) for line in lines) <= columns


def test_what_was_in_calibration_is_told_with_certificate_and_due_date(job):
    said, is_finding, rests_on = answer(job, 1)
    assert (said, is_finding) == ("Yes: all 2 instruments were, on 2026-03-05.", False)
    assert "VA-1 (C-101, through 2027-01-12)" in rests_on[0]


def test_what_was_suspended_before_is_not_in_calibration_whenever_that_is_recorded(job):
    event(job, "VA-2", "suspension", 4, "dropped")
    said, is_finding, rests_on = answer(job, 1)
    assert (said, is_finding) == ("No: of 2 instruments VA-2 was not, on 2026-03-05.", True)
    assert any(line.startswith("VA-2: suspended since 2026-03-04T08:00:00+00:00") for line in rests_on)


def test_an_instrument_is_asked_on_the_day_asked_about(job):
    assert asked(job, "VA-1")["questions"][0]["answer"] == "Yes, on 2026-03-05."
    early = calib("audit", "VA-1", "--on", "2026-01-10", "--json", records=job).document["questions"][0]
    assert (early["answer"], early["is_finding"]) == ("No, not on 2026-01-10.", True)


@pytest.mark.parametrize("named", [("J-1",), ("VA-1",)])
def test_a_day_to_come_is_bad_input_and_no_page_is_written(job, named, tmp_path):
    to_come = str(datetime.now(UTC).date() + timedelta(days=2))
    ran = calib("audit", *named, "--on", to_come, "--into", tmp_path / "page.html", records=job)
    assert (ran.status, ran.out, ran.err.count("\n")) == (2, "", 1)
    assert f"--on: {to_come!r}; expected a date that is not in the future" in ran.err
    assert not (tmp_path / "page.html").exists()


def test_who_accepted_by_which_rule_and_when_it_was_recorded(job):
    said, _, rests_on = answer(job, 2, "VA-1")
    assert said.startswith("A. Person accepted 1 certificate.")
    assert rests_on == [
        "A. Person, with no decision rule on record, recorded on 2026-03-06 as of 2026-01-19: VA-1 (C-101)."
    ]


def test_whoever_typed_and_accepted_alone_is_a_finding_until_a_house_rule_allows_it(job):
    said, is_finding, _ = answer(job, 2, "VA-1")
    assert is_finding
    assert said.endswith("1 of them was typed and accepted by one person, and no house rule allows that.")
    rule = ("rule", "set", "one person may accept", "--holds", "yes", "--reason", "alone")
    assert calib(*rule, "--by", "A. Person", records=job).status == 0
    said, is_finding, _ = answer(job, 2, "VA-1")
    assert not is_finding
    assert said.endswith("as the house rule allows.")


def test_whoever_accepted_is_asked_for_competence_and_not_whoever_typed_that(empty_records, tmp_path):
    sheets = small_job()
    for row in sheets["calibrations.csv"]:
        row["accepted_by"] = "Q. Quality"
    imported(empty_records, write(tmp_path / "in", sheets))
    _, _, rests_on = answer(empty_records, 6, "VA-1")
    lines = {line.split(" (")[0]: line for line in rests_on}

    assert "Q. Quality accepted certificates" in lines
    assert "(2026-01-19): no role; no competence on record." in lines["Q. Quality accepted certificates"]
    assert not any(line.startswith("A. Person accepted") for line in rests_on)
    assert any(line.startswith("A. Person ") and "recorded acceptances (2026-03-06)" in line for line in rests_on)


def test_an_acceptor_without_a_competence_is_named_where_there_are_roles(tmp_path):
    sheets = small_job()
    for row in sheets["calibrations.csv"]:
        row["accepted_by"] = "Q. Quality"
    records = records_of(tmp_path / "in", sheets)
    for person, role in (("A. Person", "QA"), ("Q. Quality", "engineer")):
        done(records, "person", "add", person, "--role", role, "--by", "A. Person")
    may = ("--scope", "certificates", "--from", "2026-01-01", "--by", "A. Person")
    done(records, "person", "competence", "A. Person", *may)
    said, is_finding, _ = answer(records, 6, "VA-1")
    assert (said, is_finding) == ("2 people; no competence is on record for all days of Q. Quality.", True)

    done(records, "person", "competence", "Q. Quality", *may)
    assert answer(records, 6, "VA-1")[0] == "2 people, each with a competence on those days."


def test_roles_that_changed_between_the_days_of_the_work_are_told_with_their_days(tmp_path):
    """A. Person typed the register on 6 March, when nobody had a role, and as QA a certificate on 20 March."""
    records = records_of(tmp_path / "in", small_job())
    signed = [replace(SIGNED, time=SIGNED.time + timedelta(days=later)) for later in (4, 14)]
    with database.writing(str(records)) as session:
        add_person(session, PersonWanted("A. Person", None, ("QA",)), signed[0])
    rows = [row for row in small_job()["comparisons.csv"] if row["tag"] == "VA-1"]
    sheets = {
        "calibrations.csv": [row | {"certificate": "C-2", "calibrated_on": "2026-03-18", "accepted_on": ""} for row in
                             small_job()["calibrations.csv"] if row["tag"] == "VA-1"],
        "comparisons.csv": [row | {"certificate": "C-2"} for row in rows],
    }  # fmt: skip
    imported(records, write(tmp_path / "second", sheets), now=signed[1].time)
    (line,) = [line for line in answer(records, 6, "VA-1")[2] if line.startswith("A. Person ")]
    assert "no role (2026-01-19 to 2026-03-06), QA (2026-03-20); no competence on record." in line


def test_the_chain_is_told_by_its_end_or_its_gap(job):
    said, is_finding, rests_on = answer(job, 3)
    gaps = calib("trace", "up", "job", "J-1", *ON, "--json", records=job).document["gaps"]
    assert is_finding is bool(gaps)
    assert rests_on[: len(gaps)] == [f"{gap}." for gap in gaps]
    assert said.startswith("Not wholly" if gaps else "To ")


def test_changes_are_told_with_who_when_and_why(job):
    assert answer(job, 4)[0] == "Nothing: every record stands as it was first written."
    amended = ("outlet", "amend", "J-1", "S-1", "--set", "tolerance_percent=15", "--reason", "agreed on site")
    ran = calib(*amended, "--by", "A. Person", records=job)
    assert ran.status == 0, ran.err
    said, is_finding, rests_on = answer(job, 4)
    assert (said[:22], is_finding) == ("1 record was corrected", False)
    (line,) = rests_on
    assert line.endswith(": outlet S-1 amended by A. Person (agreed on site).")


def test_what_befell_an_instrument_is_open_until_it_is_released(job):
    assert answer(job, 5)[:2] == ("Nothing was found out of order.", False)
    event(job, "VA-1", "suspension", 5, "reads low")
    assert answer(job, 5)[:2] == ("1 finding is on record, 1 of them not closed yet.", True)
    event(job, "VA-1", "release", 6, "cleaned", hour=9)
    said, is_finding, rests_on = answer(job, 5)
    assert (said, is_finding) == ("1 finding is on record, each of them closed.", False)
    assert rests_on == ["2026-03-05: VA-1 was suspended (reads low); released on 2026-03-06 (cleaned)."]


def test_a_failed_check_is_open_until_the_next_calibration(job):
    check = (
        "check",
        "add",
        "VA-1",
        "--kind",
        "zero",
        "--value",
        "0.5",
        "--low=-0.02",
        "--high",
        "0.02",
        "--unit",
        "m/s",
    )
    assert calib(*check, "--at", "2026-03-05T20:00+00:00", "--by", "A. Person", records=job).status in (0, 1)
    _, is_finding, rests_on = answer(job, 5)
    assert is_finding
    assert "2026-03-05: VA-1 failed an intermediate check (zero); not calibrated since." in rests_on


def test_a_certificate_that_does_not_count_ends_no_failed_check(job, tmp_path):
    """It is recorded and waits for its acceptance; accepted, it ends the check; withdrawn, it does not any more."""
    failed = (
        "--kind",
        "zero",
        "--value",
        "0.5",
        "--low",
        "0.00",
        "--high",
        "0.02",
        "--unit",
        "m/s",
        "--by",
        "A. Person",
    )
    calib("check", "add", "VA-1", *failed, "--at", "2026-03-05T20:00+00:00", records=job)
    rows = [row for row in small_job()["comparisons.csv"] if row["tag"] == "VA-1"]
    folder = write(tmp_path / "new", {"comparisons.csv": [row | {"certificate": "C-2"} for row in rows]})
    typed = ("--laboratory", "L", "--calibrated-on", "2026-03-20", "--comparisons", str(folder / "comparisons.csv"))
    done(job, "calibration", "add", "VA-1", "C-2", *typed, "--by", "A. Person")

    def told():
        (line,) = [line for line in answer(job, 5, "VA-1")[2] if "failed an intermediate check" in line]
        return line.partition("; ")[2]

    assert told() == "not calibrated since."
    done(job, "calibration", "accept", "VA-1", "C-2", *CORRECTED, "--by", "Q. Quality")
    assert told() == "calibrated again on 2026-03-20."
    done(job, "calibration", "withdraw", "VA-1", "C-2", "--reason", "of another meter", "--by", "Q. Quality")
    assert told() == "not calibrated since."


def test_a_review_of_the_reference_standard_is_told_of_the_instrument(tmp_path):
    records = reviewed(tmp_path, small_job(), drifted(small_job(), "RS-1"))
    said, is_finding, rests_on = answer(records, 5, "VA-2")
    assert (said, is_finding) == ("1 finding is on record, 1 of them not closed yet.", True)
    assert "RS-1 was found beyond its limits" in rests_on[0]


def test_records_changed_past_the_program_are_found(small_job_file):
    import sqlite3

    said, is_finding, _ = answer(small_job_file, 9)
    assert said.startswith("Yes: ")
    with sqlite3.connect(small_job_file) as other:
        other.execute("DROP TRIGGER IF EXISTS outlet_no_update")
        (triggers,) = [
            [
                row[0]
                for row in other.execute(
                    "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'outlet'"
                )
            ]
        ]
        for trigger in triggers:
            other.execute(f'DROP TRIGGER "{trigger}"')
        other.execute("UPDATE outlet SET design_flow = '1' WHERE outlet = 'S-1'")
    said, is_finding, rests_on = answer(small_job_file, 9)
    assert (said[:3], is_finding) == ("No:", True)
    assert any("outlet" in line for line in rests_on)


@pytest.fixture
def small_job_file(tmp_path):
    """The small job in a file of its own."""
    from calib.records.database import make

    records = tmp_path / "own.sqlite"
    make(str(records))
    imported(records, write(tmp_path / "own", small_job()))
    return records


def test_an_issued_report_is_asked_by_job_and_revision(job, tmp_path):
    issued = calib(
        "report", "J-1", "--issue", "--into", tmp_path, "--format", "json", "--by", "E. Engineer", records=job
    )
    assert issued.status in (0, 3), issued.err
    for named in (("J-1", "1"), ("report", "J-1", "revision", "1"), ("report J-1 1",)):
        document = asked(job, *named)
        assert (document["kind"], document["of"]) == ("report", "J-1 revision 1")
    _, is_finding, rests_on = answer(job, 9, "J-1", "1")
    assert not is_finding
    assert rests_on[0].startswith("Revision 1 was issued by E. Engineer on ")
    assert any("E. Engineer issued the report" in line for line in answer(job, 6, "J-1", "1")[2])


@pytest.fixture
def issued(small_job_file, tmp_path):
    """The small job, an outlet of it amended, and its report issued then."""
    amend(small_job_file, "R-1", "tolerance_percent=12")
    issue(small_job_file, tmp_path / "1")
    return small_job_file


def amend(records, outlet, cell):
    done(records, "outlet", "amend", "J-1", outlet, "--set", cell, "--reason", "read again", "--by", "A. Person")


def issue(records, into, *because):
    done(records, "report", "J-1", "--issue", *because, "--into", into, "--format", "json", "--by", "E. Engineer")


def test_a_report_says_what_held_when_it_was_issued_and_what_changed_since(issued):
    assert answer(issued, 1, "J-1", "1")[0].startswith("Yes: all 2 instruments were, on 2026-03-05. When revision 1")
    suspended = ("--reason", "fell", "--at", "2026-03-05T08:00+01:00", "--by", "A. Person")
    done(issued, "instrument", "suspend", "VA-1", *suspended)
    said, is_finding, _ = answer(issued, 1, "J-1", "1")
    assert said.startswith("No: of 2 instruments VA-1 was not, on 2026-03-05. When revision 1 was issued on ")
    assert (said.endswith(" 4 readings stood and none was refused."), is_finding) == (True, True)
    changed = answer(issued, 4, "J-1", "1")[2]
    otherwise = "Revision 1 states otherwise than the records now: "
    assert changed[-1].startswith(
        f"{otherwise}reading 1 at S-1: (1034 ± 71) m3/h, conditional pass -> refused; reading 2 "
    )
    befell = answer(issued, 5, "J-1", "1")[2]
    assert "2026-03-05: VA-1 was suspended (fell), recorded after the issue; not released." in befell
    assert re.match(r"[\d-]{10}, after the issue: suspension 1 of VA-1 ", befell[0])
    assert "issue" not in "".join(answer(issued, 5, "J-1")[2])


def test_the_chain_is_told_as_it_stood_at_the_issue_and_what_changed_since(small_job_file, tmp_path):
    suspended = ("--reason", "fell", "--at", "2026-02-01T08:00+01:00", "--by", "A. Person")
    done(small_job_file, "instrument", "suspend", "RS-1", *suspended)
    issue(small_job_file, tmp_path / "1", "--with-gaps", "the meter fell")
    before = asked(small_job_file, "J-1", "1")["questions"][2]
    lacked = [line for line in before["rests_on"] if line.startswith("VA-2: reference standard of certificate C-102")]
    assert len(lacked) == 1
    assert before["answer"].endswith(
        f", it had {len(before['rests_on']) - 1} gaps."
    )  # one line says how it was calibrated

    done(small_job_file, "event", "withdraw", "RS-1", "1", "--reason", "RS-2 fell", "--by", "A. Person")
    done(small_job_file, "calibration", "withdraw", "VA-1", "C-101", "--reason", "wrong meter", "--by", "A. Person")

    _, is_finding, rests_on = answer(small_job_file, 3, "J-1", "1")
    assert is_finding
    assert f"When it was issued, and no more: {lacked[0]}" in rests_on
    since = [line for line in rests_on if line.startswith("Since the issue: ")]
    assert any("VA-1" in line for line in since)
    assert not any("VA-2" in line for line in since)
    assert not any("issue" in line for line in answer(small_job_file, 3)[2])


def test_what_an_issue_left_out_is_told_with_the_reason(small_job_file, tmp_path):
    assert answer(small_job_file, 11)[:2] == ("No report of the job was issued.", False)
    done(small_job_file, "reading", "withdraw", "J-1", "2", "--reason", "wrong outlet", "--by", "A. Person")
    issue(small_job_file, tmp_path / "1", "--with-gaps", "the hall was locked.")
    today = datetime.now(UTC).date()
    line = f"Revision 1 of {today}: without S-2; the reason given: the hall was locked."
    for named in (("J-1",), ("J-1", "1")):
        assert answer(small_job_file, 11, *named) == ("No: revision 1 was issued without 1 outlet.", False, [line])

    with_what = ("--unit", "m/s", "--instrument", "VA-1", "--method", "sweep", "--at", "2026-03-05T10:20+01:00")
    again = ("reading", "add", "J-1", "S-2", "3.10", *with_what)
    done(small_job_file, *again, "--by", "T. One")
    issue(small_job_file, tmp_path / "2", "--because", "S-2 was measured")
    said, is_finding, rests_on = answer(small_job_file, 11)
    assert (said, is_finding) == ("Yes: revision 2 has every outlet of the job.", False)
    assert rests_on == [line, f"Revision 2 of {today}: every outlet and duct was measured."]


def test_a_report_of_which_nothing_changed_says_so(issued):
    (amended, the_same) = answer(issued, 4, "J-1", "1")[2]
    assert amended.endswith(": outlet R-1 amended by A. Person (read again).")
    assert the_same == "Revision 1 states what the records say now."


def test_what_was_amended_after_the_issue_is_marked_and_a_later_revision_named(issued, tmp_path):
    amend(issued, "S-1", "tolerance_percent=20")
    issue(issued, tmp_path / "2", "--because", "the tolerance was read again")
    before, after, *_, took_its_place = answer(issued, 4, "J-1", "1")[2]
    assert before.endswith(": outlet R-1 amended by A. Person (read again).")
    assert after.endswith(": outlet S-1 amended by A. Person (read again), recorded after the issue.")
    assert re.fullmatch(r"Revision 2 took its place on [\d-]{10} \(the tolerance was read again\)\.", took_its_place)
    assert "recorded after the issue" not in "".join(answer(issued, 4, "J-1", "2")[2])
    assert answer(issued, 5)[2][-1].endswith("; 1 record rests on it; answered by J-1 revision 2.")


def test_a_review_that_ended_by_itself_says_so(issued):
    for percent in (20, 10):
        amend(issued, "S-1", f"tolerance_percent={percent}")
    _, is_finding, (first, _) = answer(issued, 5)
    assert (is_finding, first.endswith("; the records do not say that any more.")) == (False, True)


def test_an_agreement_that_was_recorded_after_the_issue_is_told_beside_what_held_then(issued):
    amended = ("--set", "agreed_by=C. Client", "--reason", "their letter", "--by", "A. Person")
    done(issued, "job", "amend", "J-1", *amended)
    assert answer(issued, 8, "J-1", "1")[0] == (
        "When it was issued: Guarded non-binary acceptance; no agreement of the client is on record. "
        "Now: Guarded non-binary acceptance, agreed by C. Client for the client."
    )


@pytest.mark.parametrize(
    ("named", "message"),
    [
        (("NOTHING",), "nothing in the records is called 'NOTHING'"),
        (("J-1", "3"), "no revision 3 of the report of J-1: issued is none"),
        (("S-1",), "an instrument, a job, or a report as `LM-27 2`"),
    ],
)
def test_what_is_no_instrument_job_or_report_is_one_line(job, named, message):
    ran = calib("audit", *named, records=job)
    assert ran.status == 2
    assert message in ran.err


def test_the_page_is_written_as_html_and_as_pdf_with_the_same_answers(job, tmp_path):
    import pypdfium2

    document = asked(job, "J-1")
    for form in ("html", "pdf"):
        calib("audit", "J-1", *ON, "--into", tmp_path / f"page.{form}", records=job)
    page = (tmp_path / "page.html").read_text(encoding="utf-8")
    paper = pypdfium2.PdfDocument(tmp_path / "page.pdf")
    text = " ".join(" ".join(each.get_textpage().get_text_range() for each in paper).split())
    assert len(paper) == 1
    for one in document["questions"]:
        assert one["question"] in page_text(page)
        assert one["answer"] in page_text(page)
        assert one["question"] in text
        assert one["answer"][:30] in text
    assert "<title>J-1: assessor&#x27;s page</title>" in page


def test_another_kind_of_file_is_not_written(job, tmp_path):
    assert calib("audit", "J-1", "--into", tmp_path / "page.doc", records=job).status == 2
    for name, content in (("page.pdf", b"%PDF-1.7 mine"), ("page.html", b"<!DOCTYPE html><title>mine</title>")):
        (tmp_path / name).write_bytes(content)
        ran = calib("audit", "J-1", *ON, "--into", tmp_path / name, records=job)
        assert (ran.status, "is there already and is no assessor's page" in ran.err) == (2, True)
        assert (tmp_path / name).read_bytes() == content


@pytest.mark.parametrize("name", ["page.html", "page.pdf"])
def test_an_earlier_page_gives_way_to_the_next(job, tmp_path, name):
    for _ in range(2):
        assert calib("audit", "J-1", *ON, "--into", tmp_path / name, records=job).status == 1


def test_a_job_of_many_instruments_fits_on_one_page_each_question_a_section(tmp_path):
    """A job measured in every way: its questions are sections, none a part of another."""
    import pypdfium2

    records = records_of(tmp_path / "records", every_way())
    calib("audit", "E-1", "--on", "2026-03-05", "--into", tmp_path / "page.pdf", records=records)
    paper = pypdfium2.PdfDocument(tmp_path / "page.pdf")
    assert len(paper) == 1
    assert [each.level for each in paper.get_toc()] == [0] * 11
    assert "through 2027-" in paper[0].get_textpage().get_text_range()


def test_a_review_is_told_with_what_was_decided(job, tmp_path):
    """VA-1 comes back beyond its limits: a review opens, and is a finding until each line of it is disposed of."""
    sheets = small_job()
    certificate = {"certificate": "C-201", "calibrated_on": "2026-03-06", "accepted_on": ""}
    rows = [row for row in sheets["calibrations.csv"] if row["tag"] == "VA-1"]
    compared = [row for row in sheets["comparisons.csv"] if row["tag"] == "VA-1"]
    later = {
        "calibrations.csv": [rows[0] | certificate],
        "comparisons.csv": [
            row | {"certificate": "C-201", "reference": f"{float(row['reference']) * 1.2:.2f}"} for row in compared
        ],
    }
    imported(job, write(tmp_path / "later", later))
    said, is_finding, rests_on = answer(job, 5)
    assert (said, is_finding) == ("1 finding is on record, 1 of them not closed yet.", True)
    assert rests_on[0].startswith("2026-03-06: VA-1 was found beyond its limits (certificate C-201); ")
    assert rests_on[0].endswith(" wait for a decision.")


def agreed(records, folder, **cells):
    sheets = small_job()
    sheets["jobs.csv"] = [row | cells for row in sheets["jobs.csv"]]
    return imported(records, write(folder / "in", sheets))


def test_the_client_s_agreement_to_the_decision_rule_is_told_and_exported(empty_records, tmp_path):
    agreed(empty_records, tmp_path, agreed_by="C. Client", agreed_on="2026-02-01")
    said, is_finding, _ = answer(empty_records, 8)
    assert (said, is_finding) == (
        "Guarded non-binary acceptance, agreed by C. Client for the client on 2026-02-01.",
        False,
    )
    assert calib("export", tmp_path / "out", records=empty_records).status == 0
    assert "C. Client,2026-02-01" in (tmp_path / "out" / "jobs.csv").read_text()


def test_an_agreement_that_is_amended_counts_and_is_told_as_a_change(job):
    amend = (
        "job",
        "amend",
        "J-1",
        "--set",
        "agreed_by=C. Client",
        "--set",
        "agreed_on=2026-02-01",
        "--reason",
        "their letter",
    )
    ran = calib(*amend, "--by", "A. Person", records=job)
    assert ran.status == 0, ran.err
    assert answer(job, 8)[:2] == (
        "Guarded non-binary acceptance, agreed by C. Client for the client on 2026-02-01.",
        False,
    )
    assert answer(job, 4)[2][0].endswith(": job J-1 amended by A. Person (their letter).")


def test_the_client_s_letter_is_kept_with_the_job_and_told(job, tmp_path):
    (tmp_path / "letter.pdf").write_bytes(b"%PDF-1.7\nagreed\n%%EOF\n")
    ran = calib("job", "attach", "J-1", tmp_path / "letter.pdf", "--by", "A. Person", "--json", records=job)
    assert ran.status == 0, ran.err
    assert answer(job, 8)[2] == [f"Kept with the job: letter.pdf, SHA-256 {ran.document['sha256'][:12]}."]


def test_without_an_agreement_on_record_that_is_a_finding(job):
    assert answer(job, 8)[:2] == (
        "Guarded non-binary acceptance; no agreement of the client is on record.",
        True,
    )


@pytest.mark.parametrize(
    ("cells", "message"),
    [
        ({"agreed_on": "2026-02-01", "agreed_by": ""}, "who agreed to the decision rule, where agreed_on says when"),
        ({"agreed_on": "2026-12-24", "agreed_by": "C. Client"}, "agreed_on"),
        ({"agreed_on": "soon", "agreed_by": "C. Client"}, "agreed_on"),
    ],
)
def test_an_agreement_that_cannot_be_is_refused(empty_records, tmp_path, cells, message):
    with pytest.raises(BadInputError, match=message):
        agreed(empty_records, tmp_path, **cells)


def test_how_long_records_are_kept_is_a_rule_of_the_house_with_a_value(job):
    assert answer(job, 10)[:2] == ("No period of retention is declared; nothing is ever deleted.", True)
    rule = ("rule", "set", "retention in years", "--reason", "contract", "--by", "A. Person", "--holds")
    assert calib(*rule, "yes", "--value", "10", records=job).status == 0
    assert answer(job, 10)[:2] == ("10 years at least, as the house rule says; nothing is ever deleted.", False)
    assert calib(*rule, "no", records=job).status == 0
    assert answer(job, 10)[1]


def test_that_no_backup_is_on_record_is_said_until_there_is_a_backup(job, tmp_path):
    assert answer(job, 10)[2] == ["No backup is on record."]
    done(job, "backup", tmp_path / "copy.sqlite", "--by", "A. Person")
    (line,) = answer(job, 10)[2]
    assert line.startswith("The last backup on record is copy.sqlite of ")


def test_what_an_earlier_answer_said_is_referred_to(job):
    """A suspension is why VA-2 was not in calibration, and a gap in its chain: said in full once."""
    event(job, "VA-2", "suspension", 4, "dropped")
    why = answer(job, 1)[2][-1]
    said, _, rests_on = answer(job, 3)
    assert said.startswith("Not wholly: ")
    assert why not in rests_on
    assert rests_on[-1] == "1 more was said under question 1."


def not_accepted(records, folder):
    """A certificate of VA-1 that its criterion fails, as left too."""
    later = drifted(small_job(), "VA-1", by=1.5, calibrated_on="2026-03-06")
    later["comparisons.csv"] = [
        row | {"phase": "as-left"} for row in later["comparisons.csv"] if row["phase"] == "as-found"
    ]
    imported(records, write(folder / "later", later))
    ran = calib("calibration", "accept", "VA-1", "D-1", "--by", "Q. Manager", records=records)
    assert ran.status == 1, ran.err


def test_an_acceptance_that_the_criterion_failed_is_told_of_its_instrument(job, tmp_path):
    not_accepted(job, tmp_path)
    told = answer(job, 2, "VA-1")[2][-1]
    assert re.fullmatch(
        r"Tried on [\d-]{10} by Q\. Manager and not accepted: VA-1: certificate D-1.*: 7 of 7 comparisons fail \(.*\)\.",
        told,
    )
    assert not any("Tried on" in line for line in answer(job, 2)[2])


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (("retention in years", "--holds", "yes"), "a whole number of years, 1 to 999"),
        (("retention in years", "--holds", "yes", "--value", "0"), "a whole number of years, 1 to 999"),
        (("retention in years", "--holds", "yes", "--value", "ten"), "a whole number of years, 1 to 999"),
        (("retention in years", "--holds", "no", "--value", "10"), "nothing: only retention in years has one"),
        (("one person may accept", "--holds", "yes", "--value", "10"), "nothing: only retention in years has one"),
    ],
)
def test_a_value_stands_where_the_rule_has_one(job, words, expected):
    ran = calib("rule", "set", *words, "--reason", "why", "--by", "A. Person", records=job)
    assert (ran.status, expected in ran.err) == (2, True)
