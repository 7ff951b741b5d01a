"""Names that make one file name make two files, and no file is written over. Source: `calib help report`.

That some systems take upper and lower case for one is common knowledge of file systems (NTFS, APFS as they come), no source.
"""

import hashlib
import json

import pytest

from calib.faces.report.file_names import file_stem, like_names, stem_among
from calib.procedures.people.authorise import append
from calib.records import database
from calib.records.tables.readings import LoggedSeries
from tests.command import calib
from tests.folders import SIGNED, imported, only, small_job, write


def with_job(records, folder, job):
    """The outlets and readings of the small job once more, under another name."""
    sheets = only(small_job(), "jobs.csv", "outlets.csv", "readings.csv")
    copied = {file: [row | {"job": job} for row in rows] for file, rows in sheets.items()}
    imported(records, write(folder / f"in-{hashlib.sha256(job.encode()).hexdigest()[:8]}", copied))


def report(records, job, into, *more):
    return calib("report", job, "--format", "json", "--into", into, *more, records=records)


def jobs_in(folder):
    return {path.name: json.loads(path.read_text(encoding="utf-8"))["job"] for path in folder.glob("*.json")}


@pytest.mark.parametrize(("first", "second", "names"), [
    ("A/1", "A:1", {"A_1.json": "A/1", "A_1~2.json": "A:1"}),
    ("Hall", "HALL", {"Hall.json": "Hall", "HALL~2.json": "HALL"}),
    ("A/1", "A-1", {"A_1.json": "A/1", "A-1.json": "A-1"}),
])  # fmt: skip
def test_jobs_whose_names_make_one_file_name_have_reports_of_their_own(small_records, tmp_path, first, second, names):
    for job in (first, second):
        with_job(small_records, tmp_path, job)
    for job in (second, first, second):
        assert report(small_records, job, tmp_path / "out").status == 0
    assert jobs_in(tmp_path / "out") == names


def test_the_draft_of_one_job_is_not_the_issue_of_another(small_records, tmp_path):
    with_job(small_records, tmp_path, "J-1-r1")
    assert report(small_records, "J-1", tmp_path / "out", "--issue").status == 0
    assert report(small_records, "J-1-r1", tmp_path / "out").status == 0
    assert jobs_in(tmp_path / "out") == {"J-1-r1.json": "J-1", "J-1-r1_.json": "J-1-r1"}


def test_issues_of_such_jobs_stand_beside_one_another(small_records, tmp_path):
    for job in ("A/1", "A 1"):
        with_job(small_records, tmp_path, job)
        assert report(small_records, job, tmp_path / "out", "--issue").status == 0
    assert jobs_in(tmp_path / "out") == {"A_1-r1.json": "A/1", "A_1~2-r1.json": "A 1"}


def test_an_issue_is_not_written_over_a_file_that_holds_something_else(small_records, tmp_path):
    other = tmp_path / "J-1-r1.json"
    other.write_text("of other records", encoding="utf-8")
    ran = report(small_records, "J-1", tmp_path, "--issue")
    assert ran.status == 2
    assert (
        "is there already and holds something else: name another folder; it is issued as revision 1 all the same"
        in ran.err
    )
    assert other.read_text(encoding="utf-8") == "of other records"
    again = report(small_records, "J-1", tmp_path, "--revision", "1")
    assert (again.status, other.read_text(encoding="utf-8")) == (2, "of other records")
    assert report(small_records, "J-1", tmp_path / "out", "--revision", "1").status == 0
    assert report(small_records, "J-1", tmp_path / "out", "--revision", "1").status == 0  # the same bytes


@pytest.mark.parametrize(
    ("job", "other"),
    [("A/1", "A:1"), ("hall", "HALL"), ("..x", "x."), ("é 1", "É?1"), ("n" * 70, "n" * 80), ("A_", "A/")],
)
def test_the_pattern_meets_every_name_that_makes_the_same_file(tmp_path, job, other):
    assert file_stem(job).casefold() == file_stem(other).casefold()
    assert stem_among(other, [job, other]) != stem_among(job, [job, other])
    records = tmp_path / "records.sqlite"
    database.make(str(records))
    for name in (job, other):
        with_jobs_only(records, tmp_path, name)
    from calib.procedures.on_record.jobs_by_name import jobs_like

    with database.reading(str(records)) as session:
        assert jobs_like(session, like_names(job)) == jobs_like(session, like_names(other)) == [job, other]


def with_jobs_only(records, folder, job):
    row = small_job()["jobs.csv"][0] | {"job": job}
    imported(records, write(folder / hashlib.sha256(job.encode()).hexdigest()[:8], {"jobs.csv": [row]}))


def test_logs_whose_names_differ_in_case_alone_are_two_files_of_an_export(small_records, tmp_path):
    with database.writing(str(small_records)) as session:
        logs = [("Log.csv", b"1"), ("log.csv", b"2"), ("LOG.csv", b"1"), ("Log.csv", b"1")]
        rows = [
            LoggedSeries(name=name, content=content, sha256=hashlib.sha256(content).hexdigest())
            for name, content in logs
        ]
        append(session, rows, SIGNED)
    assert calib("export", tmp_path / "out", records=small_records).status == 0
    written = {path.name: path.read_bytes() for path in (tmp_path / "out").glob("[Ll][Oo][Gg]*")}
    assert written == {"Log.csv": b"1", "log-2.csv": b"2", "LOG-3.csv": b"1"}
    assert len({name.casefold() for name in written}) == len(written)
