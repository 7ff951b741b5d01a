"""The published checks that ship with the program: run on this machine, recorded, cited by reports.

Source: ISO/IEC 17025:2017, 7.11.2 (software is validated before it is used, and that is recorded); the numbers are those of
`reference_data/`, each with its document.
"""

import hashlib
import json
import tomllib
from pathlib import Path

import pytest

from calib import __version__
from calib.faces.files import published_file
from calib.procedures.validate.checks import CHECKS, ComparedNumber, PublishedCheck
from calib.procedures.validate.published_digits import PublishedDigits, agrees_with
from calib.procedures.validate.validate_program import run_checks
from calib.records import database
from calib.records.tables.reports import IssuedReport, SoftwareValidation
from tests.command import calib
from tests.folders import all_of, imported, ledger_head, records_of, small_job, write

PROJECT = Path(__file__).parents[3]
DIGITS = PublishedDigits(published_file)
BY = ("--by", "E. Engineer")


@pytest.fixture
def job(empty_records, tmp_path):
    imported(empty_records, write(tmp_path / "in", small_job()))
    return empty_records


def recorded(records):
    with database.reading(str(records)) as session:
        return all_of(session, SoftwareValidation)


def test_every_published_number_agrees_on_this_machine():
    assert run_checks(DIGITS).wrong == 0


def test_each_check_says_its_document_and_has_numbers():
    for run in run_checks(DIGITS).runs:
        assert run.compared, run.source
        assert run.document


def test_what_was_run_is_recorded_with_version_platform_and_digest(job):
    ran = calib("validate", *BY, "--json", records=job)
    assert (ran.status, ran.document["result"], ran.document["version"]) == (0, "passed", __version__)
    (kept,) = recorded(job)
    assert (kept.result, kept.version, kept.checks) == ("passed", __version__, ran.document["checks"])
    assert hashlib.sha256(kept.content).hexdigest() == kept.sha256 == ran.document["sha256"]
    told = json.loads(kept.content)
    assert sum(len(source["numbers"]) for source in told["sources"]) == kept.checks
    assert all(number["agrees"] for source in told["sources"] for number in source["numbers"])
    assert "Python" in kept.platform
    assert calib("verify", records=job).status == 0


def test_the_same_machine_makes_the_same_digest_twice(job):
    calib("validate", *BY, records=job)
    calib("validate", *BY, records=job)
    first, second = recorded(job)
    assert first.sha256 == second.sha256
    listed = calib("validate", "--list", "--json", records=job).document["validations"]
    assert [one["record_id"] for one in listed] == [1, 2]


def test_a_dry_run_records_nothing(job):
    before = ledger_head(job)
    ran = calib("validate", "--dry-run", records=job)
    assert ran.status == 0
    assert ran.out.count("all agree") == len(CHECKS)
    assert ledger_head(job) == before


@pytest.mark.parametrize(("computed", "printed"), [(1.006, "1.0"), ("pass", "fail"), (float("nan"), "1.0")])
def test_a_number_that_does_not_agree_is_a_finding_and_is_recorded_as_failed(job, monkeypatch, computed, printed):
    wrong = PublishedCheck(
        "gum_h1", "a number", lambda _digits: iter([ComparedNumber("x", computed, printed, units="0.05")])
    )
    monkeypatch.setattr(
        "calib.procedures.validate.validate_program.run_checks", lambda digits: run_checks(digits, [wrong])
    )
    ran = calib("validate", *BY, records=job)
    assert ran.status == 1
    assert f"x: {computed} where {printed} is printed" in ran.out
    assert [kept.result for kept in recorded(job)] == ["failed"]


@pytest.mark.parametrize(
    ("value", "text", "agrees"),
    [(9.75, "9.7", True), (9.7501, "9.7", False), (1.25e-6, "1E-6", True), (93.4, "93", True), (93.6, "93", False)],
)
def test_a_number_agrees_within_half_a_unit_of_its_last_digit(value, text, agrees):
    assert agrees_with(value, text, "0.5") is agrees


def test_a_technician_does_not_record_a_validation(tmp_path):
    """In a file; on a server the grants refuse it too, as they do for every act."""
    records = records_of(tmp_path, small_job())
    for name, role in (("Q. A", "QA"), ("T. Tech", "technician")):
        assert calib("person", "add", name, "--role", role, "--by", "Q. A", records=records).status == 0
    ran = calib("validate", "--by", "T. Tech", records=records)
    assert (ran.status, "a person who may record that the program passed" in ran.err) == (2, True)
    assert recorded(records) == []
    assert calib("validate", "--by", "Q. A", records=records).status == 0


def issued(records, folder):
    ran = calib("report", "J-1", "--issue", "--format", "json,html", "--into", folder, *BY, records=records)
    assert ran.status in (0, 3), ran.err
    with database.reading(str(records)) as session:
        (report,) = all_of(session, IssuedReport)
    return report, json.loads((folder / "J-1-r1.json").read_text()), (folder / "J-1-r1.html").read_text()


def test_an_issued_report_cites_the_validation_of_its_version(job, tmp_path):
    calib("validate", *BY, records=job)
    report, document, page = issued(job, tmp_path)
    (kept,) = recorded(job)
    assert report.validation_id == kept.id
    assert document["validation"]["sha256"] == kept.sha256
    assert f"passed its validation by {kept.checks} published numbers" in page
    assert kept.sha256 in page


def test_a_report_without_a_validation_says_so(job, tmp_path):
    report, document, page = issued(job, tmp_path)
    assert (report.validation_id, document["validation"]) == (None, None)
    assert "No validation of this version is on record." in page


def test_the_assessor_s_page_tells_when_the_software_was_validated(job):
    def answer():
        questions = calib("audit", "J-1", "--on", "2026-03-05", "--json", records=job).document["questions"]
        return next(one for one in questions if "software" in one["question"])

    assert answer()["is_finding"]
    calib("validate", *BY, records=job)
    assert not answer()["is_finding"]
    assert recorded(job)[0].sha256[:12] in answer()["rests_on"][0]


def test_an_export_holds_the_validation_with_what_each_number_gave(job, tmp_path):
    calib("validate", *BY, records=job)
    assert calib("export", tmp_path / "out", records=job).status == 0
    (kept,) = recorded(job)
    assert kept.sha256 in (tmp_path / "out" / "validations.csv").read_text()
    assert (tmp_path / "out" / f"validation-{kept.sha256[:12]}.json").read_bytes() == kept.content


# --- what a wheel takes along ----------------------------------------------------------------------------------------------------


def test_a_wheel_takes_along_what_the_checks_ask_and_nothing_else():
    told = tomllib.loads((PROJECT / "pyproject.toml").read_text(encoding="utf-8"))
    taken = told["tool"]["hatch"]["build"]["targets"]["wheel"]["force-include"]
    names = {check.source for check in CHECKS}
    assert taken == {f"reference_data/{name}": f"calib/reference_data/{name}" for name in names}


def test_every_source_names_its_document():
    assert DIGITS.source("gum_h1").startswith("JCGM 100")
