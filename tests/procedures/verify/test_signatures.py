"""Verify asks who might write each entry then, of all amendments together. No source: what the house promises of itself."""

from dataclasses import replace

from sqlmodel import select

from calib.procedures.verify.signatures import signature_findings
from calib.records import database, ledger
from calib.records.tables.jobs import Job, JobRevision
from calib.records.tables.people import Person, Role
from tests.folders import SIGNED
from tests.statements import statements_of


def amended(session, revision, person=SIGNED.person, **cells):
    """One more revision of the job, put in past the program's check of roles."""
    job = session.exec(select(Job)).one()
    own = job.model_dump(include=set(JobRevision.model_fields) - {"id"}) | cells
    record = JobRevision(**own, job_id=job.id, revision=revision, reason="r")
    ledger.append_entries(session, [record], replace(SIGNED, person=person))


def told(records):
    with database.reading(str(records)) as session:
        return [each.problem for each in signature_findings(session)[0]]


def test_a_revision_is_held_against_the_one_before_it_and_the_first_against_the_job(small_records):
    with database.writing(str(small_records)) as session:
        for name, role in ((SIGNED.person, "QA"), ("Tom", "technician")):
            person = Person(name=name)
            ledger.append_entries(session, [person], SIGNED)
            given = Role(person_id=person.id, role=role, kind="given", at="2026-01-01T08:00:00+00:00", reason="r")
            ledger.append_entries(session, [given], SIGNED)
        amended(session, 2, "Tom", client="Another")
        amended(session, 3, decision_rule="simple")
        amended(session, 4, "Tom", decision_rule="simple", client="A third")
    assert told(small_records) == []

    with database.writing(str(small_records)) as session:
        amended(session, 5, "Tom", decision_rule="guarded", client="A third")
    (problem,) = told(small_records)
    assert problem.startswith("is signed by 'Tom'; expected a person who may amend a job's decision rule")


def test_many_amendments_are_asked_for_in_as_many_statements_as_few(small_records):
    def asked(revisions):
        with database.writing(str(small_records)) as session:
            for revision in revisions:
                amended(session, revision)
        with database.reading(str(small_records)) as session, statements_of(session) as sent:
            signature_findings(session)
        return len(sent)

    assert asked([2]) == asked(range(3, 9))
