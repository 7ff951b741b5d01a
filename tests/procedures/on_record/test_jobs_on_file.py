"""Jobs as a list: their counts, the day of their last reading, and those of late."""

from datetime import datetime

import pytest
from sqlmodel import select

from calib.procedures.on_record.jobs_on_file import jobs_of_late, jobs_on_file
from calib.records import database, ledger
from calib.records.tables.jobs import Job
from tests.folders import NOW


@pytest.fixture
def session(small_records):
    with database.writing(str(small_records)) as opened:
        newer = [Job(job=name, decision_rule="simple") for name in ("K", "L", "M")]
        ledger.append_entries(opened, newer, ledger.Signature("Quinn", NOW, "test"))
        yield opened
        opened.rollback()


def test_each_job_has_its_counts_and_the_day_of_its_last_reading(session):
    first, *newer = jobs_on_file(session)
    assert (first.outlets >= first.read > 0, first.revision) == (True, None)
    assert datetime.fromisoformat(first.last_read_on).date() <= NOW.date()
    assert [(each.job.job, each.outlets, each.read, each.last_read_on) for each in newer] == [
        (name, 0, 0, None) for name in ("K", "L", "M")
    ]


def test_some_jobs_are_as_they_are_among_all(session):
    keys = dict(session.exec(select(Job.job, Job.id)).all())
    every = {each.job.job: each for each in jobs_on_file(session)}
    chosen = jobs_on_file(session, [keys["L"], min(keys.values())])
    assert [every[each.job.job] for each in chosen] == chosen
    assert len(chosen) == 2


def test_of_late_are_the_newest_and_those_of_the_last_readings(session):
    keys = dict(session.exec(select(Job.job, Job.id)).all())
    assert jobs_of_late(session, 1) == {keys["M"], min(keys.values())}
    assert jobs_of_late(session, 2) == {keys["L"], keys["M"], min(keys.values())}
