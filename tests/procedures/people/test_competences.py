"""Competence: what a person may do, until when, on which evidence, authorised by whom; and nobody authorises themselves.

Source: ISO/IEC 17025:2017, 6.2.5 (authorisation, records of it) and 6.2.6. That alone is who is the only QA is common practice,
no source.
"""

import pytest

from calib.records import database
from calib.records.tables.people import Competence, Role
from tests.command import calib
from tests.folders import all_of, imported, ledger_head, small_job, write

PDF = b"%PDF-1.7\nevidence\n%%EOF\n"
# On a server the login says who writes: there the first person is whoever owns the tables.
FIRST = ("person", "add", "Quinn", "--role", "QA", "--login", "owner", "--by", "Quinn")
SECOND_QA = ("person", "role", "Tom", "--give", "QA", "--reason", "second", "--by", "Quinn")


@pytest.fixture
def staffed(empty_records, tmp_path):
    """Quinn (QA) and Tom (technician)."""
    imported(empty_records, write(tmp_path / "in", small_job()))
    for words in (FIRST, ("person", "add", "Tom", "--role", "technician", "--by", "Quinn")):
        ran = calib(*words, records=empty_records)
        assert ran.status == 0, ran.err
    return empty_records


def competence(records, name="Tom", *more, by="Quinn", scope="duct traverses"):
    return calib("person", "competence", name, "--scope", scope, *more, "--by", by, records=records)


def on_record(records, table):
    with database.reading(str(records)) as session:
        return all_of(session, table)


def listed(records, *more):
    return calib("person", "list", *more, "--json", records=records).document["competences"]


def test_a_competence_is_kept_with_its_evidence(staffed, tmp_path):
    (tmp_path / "course.pdf").write_bytes(PDF)
    ran = competence(
        staffed, "Tom", "--from", "2026-01-01", "--until", "2028-06-30", "--evidence", tmp_path / "course.pdf"
    )
    assert ran.status == 0, ran.err
    (one,) = listed(staffed, "--on", "2026-03-05")
    assert (one["person"], one["scope"], one["from_on"], one["until_on"], one["authorised_by"], one["holds"]) == (
        "Tom",
        "duct traverses",
        "2026-01-01",
        "2028-06-30",
        "Quinn",
        True,
    )
    ((name, sha256),) = one["evidence"]
    assert name == "course.pdf"
    assert calib("file", sha256[:12], "--into", tmp_path / "back.pdf", records=staffed).status == 0
    assert (tmp_path / "back.pdf").read_bytes() == PDF
    assert "duct traverses" in calib("person", "list", records=staffed).out
    assert calib("verify", records=staffed).status == 0


@pytest.mark.parametrize(
    ("on", "holds"), [("2025-12-31", False), ("2026-01-01", True), ("2026-06-30", True), ("2026-07-01", False)]
)
def test_it_holds_from_its_first_day_through_its_last(staffed, on, holds):
    competence(staffed, "Tom", "--from", "2026-01-01", "--until", "2026-06-30")
    assert [one["holds"] for one in listed(staffed, "--on", on)] == [holds]


def test_of_one_scope_the_latest_counts(staffed):
    competence(staffed, "Tom", "--from", "2026-01-01")
    competence(staffed, "Tom", "--from", "2026-01-01", "--until", "2026-02-01", "--authorised-by", "Head office")
    competence(staffed, "Tom", "--from", "2026-01-01", scope="hoods")
    told = listed(staffed, "--on", "2026-03-05")
    assert [(one["scope"], one["holds"]) for one in told] == [
        ("duct traverses", False),
        ("duct traverses", False),
        ("hoods", True),
    ]
    assert told[1]["authorised_by"] == "Head office"


def test_alone_a_qa_may_authorise_themselves_and_the_record_says_so(staffed):
    assert competence(staffed, "Quinn").status == 0
    assert on_record(staffed, Competence)[0].authorised_by == "Quinn (by themselves, alone: no other QA is on record)"


def test_nobody_authorises_themselves_while_another_qa_is_there(staffed):
    assert calib(*SECOND_QA, records=staffed).status == 0
    before = ledger_head(staffed)
    ran = competence(staffed, "Quinn")
    assert ran.status == 2
    assert "--by: 'Quinn'; expected another person than yourself" in ran.err
    assert "while there is Tom (QA) to do it" in ran.err
    assert ledger_head(staffed) == before


def test_nobody_gives_themselves_a_role_while_another_qa_is_there(staffed):
    give = ("person", "role", "Quinn", "--give", "engineer", "--reason", "signs reports", "--by", "Quinn")
    assert calib(*SECOND_QA, records=staffed).status == 0
    before = ledger_head(staffed)
    ran = calib(*give, records=staffed)
    assert (ran.status, "nobody authorises themselves while there is Tom (QA) to do it" in ran.err) == (2, True)
    assert ledger_head(staffed) == before


def test_alone_a_role_given_to_oneself_says_so(staffed):
    give = ("person", "role", "Quinn", "--give", "engineer", "--reason", "signs reports", "--by", "Quinn")
    assert calib(*give, records=staffed).status == 0
    assert on_record(staffed, Role)[-1].reason == ("signs reports (by themselves, alone: no other QA is on record)")


@pytest.mark.parametrize(
    ("more", "message"),
    [
        (
            ("--until", "2025-01-01", "--from", "2026-01-01"),
            "--until: '2025-01-01'; expected a day not before 2026-01-01",
        ),
        (("--from", "soon"), "--from: 'soon'; expected"),
        (("--authorised-by", " "), "--authorised-by: ' '; expected the name of whoever authorised it"),
    ],
)
def test_bad_input_is_one_line_and_nothing_is_written(staffed, more, message):
    before = ledger_head(staffed)
    ran = competence(staffed, "Tom", *more)
    assert (ran.status, message in ran.err) == (2, True), ran.err
    assert ledger_head(staffed) == before


def test_a_scope_must_say_something_and_a_person_be_on_record(staffed):
    assert "--scope: ' '; expected what the person may do" in competence(staffed, scope=" ").err
    assert "no person 'Nobody' in the records: there is Quinn, Tom" in competence(staffed, "Nobody").err


def test_another_kind_of_file_is_no_evidence_and_nothing_is_written(staffed, tmp_path):
    (tmp_path / "course.txt").write_text("trust me")
    before = ledger_head(staffed)
    ran = competence(staffed, "Tom", "--evidence", tmp_path / "course.txt")
    assert (ran.status, "a whole PDF, PNG, JPEG or XML file" in ran.err) == (2, True)
    assert ledger_head(staffed) == before


def test_an_export_holds_competences_with_their_evidence(staffed, tmp_path):
    (tmp_path / "course.pdf").write_bytes(PDF)
    competence(staffed, "Tom", "--evidence", tmp_path / "course.pdf")
    assert calib("export", tmp_path / "out", records=staffed).status == 0
    assert "duct traverses" in (tmp_path / "out" / "competences.csv").read_text()
    files = [one.read_bytes() for one in (tmp_path / "out" / "not-imported" / "files").iterdir()]
    assert PDF in files


def test_the_assessor_s_page_tells_who_was_competent_on_which_evidence(staffed, tmp_path):
    (tmp_path / "course.pdf").write_bytes(PDF)
    add = ("person", "add", "T. One", "--role", "technician", "--by", "Quinn")
    assert calib(*add, records=staffed).status == 0
    competence(staffed, "T. One", "--from", "2026-01-01", "--evidence", tmp_path / "course.pdf")
    questions = calib("audit", "J-1", "--on", "2026-03-05", "--json", records=staffed).document["questions"]
    answer = next(one for one in questions if "who authorised them" in one["question"])
    (line,) = [one for one in answer["rests_on"] if one.startswith("T. One measured")]
    assert "competent for duct traverses from 2026-01-01 with no end, authorised by Quinn, evidence course.pdf" in line
    assert answer["is_finding"]  # nothing is on record of the others
    assert "T. One" not in answer["answer"]
    assert "T. Two" in answer["answer"]
