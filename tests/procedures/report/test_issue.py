"""An issued report is frozen: its bytes, its revision, its reason; on a file and on a server."""

import hashlib
from dataclasses import replace
from datetime import timedelta

import pytest
from sqlalchemy import text

from calib.errors import BadInputError, NotInRecordsError
from calib.procedures.people.persons_and_roles import PersonWanted, add_person
from calib.procedures.report.collect import report
from calib.procedures.report.issue import ToIssue, issue_report
from calib.procedures.report.issued import issue_with, issued_bytes, issues_of, signer_on_record
from calib.records import database, ledger
from calib.records.tables.reports import IssuedForm
from tests.folders import NOW, all_of

ENGINEER = ledger.Signature("E. Engineer", NOW, "report --issue")
FIRST = ToIssue(
    "J-1", 1, NOW, None, "0" * 64, {"json": ("J-1-r1.json", b'{"a": 1}'), "pdf": ("J-1-r1.pdf", b"%PDF-\x00\xff")}
)
SECOND = replace(
    FIRST,
    revision=2,
    reason="S-2 measured again",
    forms={"json": ("J-1-r2.json", b"{}")},
    issued_at=NOW + timedelta(days=1),
)


def issued(records, *reports, by=ENGINEER):
    for one in reports:
        with database.writing(str(records)) as session:
            issue_report(session, one, by)


def test_what_was_issued_is_read_back_byte_for_byte(small_records):
    issued(small_records, FIRST)
    with database.reading(str(small_records)) as session:
        assert issued_bytes(session, "J-1", 1, "pdf") == b"%PDF-\x00\xff"
        assert issued_bytes(session, "J-1", 1, "json") == b'{"a": 1}'


def test_each_issue_says_who_when_why_and_the_digest_of_each_form(small_records):
    issued(small_records, FIRST, SECOND)
    with database.reading(str(small_records)) as session:
        first, second = issues_of(session, "J-1")
    assert (first.revision, first.person, first.reason, first.issued_at) == (1, "E. Engineer", None, NOW.isoformat())
    assert [(one.form, one.sha256) for one in first.forms] == [
        (form, hashlib.sha256(content).hexdigest()) for form, (_, content) in FIRST.forms.items()
    ]
    assert (second.revision, second.reason) == (2, "S-2 measured again")


def test_who_signed_an_issue_is_known_by_the_certificate(small_records):
    certificate = "8fecc9189ce1b4b96070b99122db4dd4de2a29c75d54c0f1b019f3bb8eecb6a9"
    issued(small_records, replace(FIRST, signed_by="E. Engineer", signature=f'{{"sha256": "{certificate}"}}'), SECOND)
    with database.reading(str(small_records)) as session:
        assert [issue.signed_by for issue in issues_of(session, "J-1")] == ["E. Engineer", None]
        assert signer_on_record(session, certificate) == "E. Engineer"
        assert signer_on_record(session, certificate[::-1]) is None


def test_a_job_that_was_not_issued_has_no_issues(small_records):
    with database.reading(str(small_records)) as session:
        assert issues_of(session, "J-1") == ()
        assert report(session, "J-1", NOW).issued_before is None


def test_the_next_report_knows_what_was_issued_before(small_records):
    issued(small_records, FIRST)
    with database.reading(str(small_records)) as session:
        found = report(session, "J-1", NOW)
    assert [one.revision for one in found.issues] == [1]
    assert found.issued_before == b'{"a": 1}'


WRONG = {
    "a later revision without a reason": ([FIRST], replace(SECOND, reason=None), "reason"),
    "a later revision with a blank reason": ([FIRST], replace(SECOND, reason="  "), "reason"),
    "a reason for the first": ([], replace(FIRST, reason="a mistake"), "reason"),
    "a revision that somebody else issued meanwhile": ([FIRST, SECOND], SECOND, "revision"),
    "a revision too far": ([FIRST], replace(SECOND, revision=3), "revision"),
}


@pytest.mark.parametrize("wrong", WRONG)
def test_what_may_not_be_issued_is_named_and_nothing_is_written(small_records, wrong):
    before, one, column = WRONG[wrong]
    issued(small_records, *before)
    with pytest.raises(BadInputError) as refused:
        issued(small_records, one)
    assert [finding.column for finding in refused.value.findings] == [column]
    with database.reading(str(small_records)) as session:
        assert len(issues_of(session, "J-1")) == len(before)
        assert len(all_of(session, IssuedForm)) == sum(len(each.forms) for each in before)


def test_an_unknown_job_is_named(small_records):
    with pytest.raises(NotInRecordsError, match="no job 'J-9'"):
        issued(small_records, replace(FIRST, job="J-9"))


@pytest.mark.parametrize(
    ("revision", "form", "said"),
    [(1, "xlsx", "revision 1 of the report of J-1 as xlsx"), (2, "pdf", "revision 2 of the report of J-1")],
)
def test_a_form_that_was_not_issued_is_refused_with_those_that_were(small_records, revision, form, said):
    issued(small_records, FIRST)
    with (
        database.reading(str(small_records)) as session,
        pytest.raises(NotInRecordsError, match=rf"no {said}: issued are 1 \(json, pdf\)"),
    ):
        issued_bytes(session, "J-1", revision, form)


def test_bytes_are_known_as_the_form_of_an_issue_and_whether_it_is_the_latest(small_records):
    issued(small_records, FIRST, SECOND)
    with database.reading(str(small_records)) as session:
        old, new = issue_with(session, b"%PDF-\x00\xff"), issue_with(session, b"{}")
        assert (old.issue.revision, old.form.form, old.latest.revision) == (1, "pdf", 2)
        assert (new.issue.revision, new.form.form, new.latest.revision) == (2, "json", 2)


@pytest.mark.parametrize("content", [b"", b"%PDF-\x00\xfe", b'{"a": 1}\n'])
def test_other_bytes_are_of_no_issue(small_records, content):
    issued(small_records, FIRST)
    with database.reading(str(small_records)) as session:
        assert issue_with(session, content) is None


def test_only_an_engineer_issues_where_there_are_people(small_records):
    """In a file; on a server the person is the login's, which tests/procedures/people/test_persons_and_roles.py asks."""
    for name, role in (("Quinn", "QA"), ("Ed", "engineer")):
        with database.writing(str(small_records)) as session:
            add_person(session, PersonWanted(name, None, [role]), ledger.Signature("Quinn", NOW, "person add"))
    with pytest.raises(BadInputError, match="issue a report"):
        issued(small_records, FIRST, by=replace(ENGINEER, person="Quinn"))
    issued(small_records, FIRST, by=replace(ENGINEER, person="Ed"))
    with database.reading(str(small_records)) as session:
        assert [one.person for one in issues_of(session, "J-1")] == ["Ed"]


@pytest.mark.parametrize("table", ["issued_report", "issued_form"])
def test_the_records_themselves_refuse_to_change_or_lose_an_issue(small_records, table):
    issued(small_records, FIRST)
    for change in (f"UPDATE {table} SET id = 9", f"DELETE FROM {table}"):  # noqa: S608 (our own names)
        with (
            pytest.raises(Exception, match="evidence is never changed"),
            database.writing(str(small_records)) as session,
        ):
            session.execute(text(change))
