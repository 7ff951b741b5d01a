"""What people decided and set is read back: reviews, rules of the house, competences, validations. Common practice, no source."""

import csv
import json

import pytest

from calib.procedures.measure.evaluate import evaluate
from calib.procedures.on_record.held_curves import AS_FOUND_FROM
from calib.procedures.people.house_rules import rules
from calib.records import database
from calib.records.tables.factors import FoundFactor
from calib.records.tables.people import Competence
from calib.records.tables.reports import SoftwareValidation
from tests import factor_pairs
from tests.as_found import LATER, added, drifted, reviewed, stated_flows
from tests.command import calib
from tests.folders import all_of, findings_of, imported, records_of, small_job
from tests.procedures.enter.test_export_records import again, assert_same, exported, files_of
from tests.procedures.impact.test_decide_review import decide, with_factor_left_behind
from tests.procedures.impact.test_open_review import with_factor

PEOPLE = (("Quinn", "QA"), ("Tom", "technician"), ("Rea", "QA"))


def table(records, kind):
    with database.reading(str(records)) as session:
        return all_of(session, kind)


def staff(records):
    for name, role in PEOPLE:
        login = ("--login", "owner") if name == "Quinn" else ()
        ran = calib("person", "add", name, "--role", role, *login, "--by", "Quinn", records=records)
        assert ran.status == 0, ran.err


def edited(folder, file, row, column, value):
    """The export with one cell changed, rows counted as a spreadsheet does."""
    path = folder / file
    with path.open(encoding="utf-8", newline="") as opened:
        rows = list(csv.DictReader(opened))
    rows[row - 2][column] = value
    with path.open("w", encoding="utf-8", newline="") as opened:
        writer = csv.DictWriter(opened, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def told(folder, tmp_path):
    fresh = tmp_path / "fresh.sqlite"
    database.make(str(fresh))
    (finding,) = findings_of(fresh, folder, now=LATER)
    return str(finding)


@pytest.fixture
def decided(tmp_path):
    """VA-1 found 4 % high; QA decided that the curve as found holds."""
    sheets = small_job()
    records = reviewed(tmp_path / "records", sheets, drifted(sheets, "VA-1"))
    decide(records)
    return records


@pytest.mark.parametrize("curve", ["as found", "widened", "as before"])
def test_a_decision_on_a_curve_comes_back_with_its_flows(tmp_path, curve):
    sheets = small_job()
    records = reviewed(tmp_path / "records", sheets, drifted(sheets, "VA-1"))
    decide(records, curve)
    new = again(records, tmp_path, LATER)
    assert stated_flows(new, "J-1") == stated_flows(records, "J-1")
    exported(new, tmp_path / "again")
    assert files_of(tmp_path / "again") == files_of(tmp_path / "export")


def test_flows_of_an_import_follow_the_decision_and_not_the_certificate(decided, tmp_path):
    before = stated_flows(decided, "J-1")
    exported(decided, tmp_path / "out")
    (tmp_path / "out" / "review_decisions.csv").unlink()
    undecided = tmp_path / "undecided.sqlite"
    database.make(str(undecided))
    imported(undecided, tmp_path / "out", now=LATER)
    assert stated_flows(undecided, "J-1") != before


def test_a_factor_that_was_found_anew_counts_and_one_left_behind_refuses(tmp_path):
    """The order of decision and factor is what tells: it comes back."""
    sheets = factor_pairs.paired_job()
    records = records_of(tmp_path / "records", sheets)
    with_factor(records)
    added(records, tmp_path / "second", drifted(sheets, "VB-1"))
    decide(records)
    assert len(table(records, FoundFactor)) == 2
    assert_same(records, tmp_path, sheets["jobs.csv"][0]["job"], LATER)
    before, after = (
        [(each.factor, each.revision, each.value) for each in table(one, FoundFactor)]
        for one in (records, tmp_path / "new.sqlite")
    )
    assert before == after


def test_a_factor_that_was_left_behind_still_refuses_its_readings(tmp_path):
    records = with_factor_left_behind(tmp_path)
    decide(records)
    new = again(records, tmp_path, LATER)
    before, after = (refused_in(one, "J-1") for one in (records, new))
    assert any("decided since that another curve holds for what it was found with" in reason for reason in after)
    assert {reason for reason in before if "decided since" in reason} == {
        reason for reason in after if "decided since" in reason
    }
    exported(new, tmp_path / "again")
    assert files_of(tmp_path / "again") == files_of(tmp_path / "export")


def refused_in(records, job):
    with database.reading(str(records)) as session:
        return {reason for each in evaluate(session, job, LATER).refused for reason in each.reasons}


@pytest.mark.parametrize(
    ("column", "value", "expected"),
    [
        ("certificate", "X-9", "expected a certificate of VA-1 in calibrations.csv"),
        ("certificate", "C-101", "expected a certificate whose comparisons as found open a review: this one's do not"),
        ("curve", "as it was", "expected one of as before, as found, as found from, widened"),
        ("curve", AS_FOUND_FROM, "expected the time from which on the curve as found holds"),
        ("from_at", "2026-03-01T08:00+01:00", "expected nothing but with the curve 'as found from'"),
        ("factors_before", "3", "expected at most 0, the rows of factors.csv"),
        ("reason", "", "expected a value"),
    ],
)
def test_a_wrong_decision_is_named_by_its_cell(decided, tmp_path, column, value, expected):
    exported(decided, tmp_path / "out")
    edited(tmp_path / "out", "review_decisions.csv", 2, column, value)
    said = told(tmp_path / "out", tmp_path)
    place = "from_at" if value == AS_FOUND_FROM else column
    assert f"review_decisions.csv row 2, {place}" in said
    assert expected in said


@pytest.fixture
def house(tmp_path):
    """The small job with rules, competences and a validation."""
    small_records = records_of(tmp_path / "first", small_job())
    staff(small_records)
    said = [
        ("rule", "set", "retention in years", "--holds", "yes", "--value", "10", "--reason", "contract"),
        ("rule", "set", "one person may accept", "--holds", "no", "--reason", "two are there"),
        ("person", "competence", "Tom", "--scope", "duct traverses", "--from", "2026-01-01", "--until", "2028-06-30"),
        ("validate",),
    ]
    for words in said:
        ran = calib(*words, "--by", "Quinn", records=small_records)
        assert ran.status == 0, ran.err
    exported(small_records, tmp_path / "out")
    return small_records


@pytest.fixture
def fresh(tmp_path):
    records = tmp_path / "fresh.sqlite"
    database.make(str(records))
    staff(records)
    return records


def brought(records, folder, by="Quinn"):
    return calib("import", folder, "--by", by, records=records)


def test_rules_competences_and_validations_come_back_where_the_people_are(house, empty_records, tmp_path):
    fresh = empty_records
    staff(fresh)
    ran = brought(fresh, tmp_path / "out")
    assert ran.status == 0, ran.err
    exported(fresh, tmp_path / "again")
    assert files_of(tmp_path / "again") == files_of(tmp_path / "out")
    with database.reading(str(fresh)) as session:
        assert [(each.rule, each.holds, each.value) for each in rules(session)] == [
            ("retention in years", True, "10"),
            ("one person may accept", False, None),
        ]
    assert [each.scope for each in table(fresh, Competence)] == ["duct traverses"]
    assert [each.content for each in table(fresh, SoftwareValidation)] == [
        each.content for each in table(house, SoftwareValidation)
    ]
    assert calib("verify", records=fresh).status == 0


@pytest.mark.usefixtures("house")
def test_competences_without_their_people_are_named_by_row(tmp_path):
    empty = tmp_path / "empty.sqlite"
    database.make(str(empty))
    ran = brought(empty, tmp_path / "out")
    assert ran.status == 2
    assert "competences.csv row 2, person: 'Tom'; expected a person on record: there is nobody yet: add them" in ran.err


@pytest.mark.parametrize(
    ("file", "column", "value", "expected"),
    [
        ("house_rules.csv", "rule", "nothing holds", "expected one of one person may accept, open review closes"),
        ("house_rules.csv", "value", "long", "expected a whole number of years, 1 to 999"),
        ("house_rules.csv", "holds", "maybe", "expected one of yes, no"),
        ("competences.csv", "until_on", "2025-01-01", "expected a day not before from_on (2026-01-01)"),
        ("competences.csv", "from_on", "soon", "expected a date as YYYY-MM-DD"),
        ("competences.csv", "person", "Quinn", "expected another person than yourself"),
        ("competences.csv", "authorised_by", "Tom", "expected another person than yourself"),
        ("validations.csv", "sha256", "0" * 64, "expected that of validation-"),
        ("validations.csv", "result", "failed", "expected passed, as validation-"),
        ("validations.csv", "checks", "1", "as validation-"),
        ("validations.csv", "file", "elsewhere.json", "expected "),
        ("validations.csv", "at", "2999-01-01T08:00+01:00", "expected "),
    ],
)
@pytest.mark.usefixtures("house")
def test_a_wrong_cell_of_the_house_is_named(fresh, tmp_path, file, column, value, expected):
    edited(tmp_path / "out", file, 2, column, value)
    ran = brought(fresh, tmp_path / "out")
    assert ran.status == 2, ran.out
    assert f"{file} row 2, {column}" in ran.err
    assert expected in ran.err
    assert table(fresh, SoftwareValidation) == []


@pytest.mark.usefixtures("house")
def test_what_a_validation_gave_cannot_be_edited_beside_it(fresh, tmp_path):
    (file,) = (tmp_path / "out").glob("validation-*.json")
    content = json.loads(file.read_bytes())
    content["sources"][0]["numbers"][0]["agrees"] = False
    file.write_text(json.dumps(content))
    ran = brought(fresh, tmp_path / "out")
    assert (ran.status, "validations.csv row 2, sha256" in ran.err) == (2, True)


@pytest.mark.usefixtures("house")
def test_a_technician_brings_no_rule_of_the_house(fresh, tmp_path):
    folder = tmp_path / "rules"
    folder.mkdir()
    (folder / "house_rules.csv").write_bytes((tmp_path / "out" / "house_rules.csv").read_bytes())
    ran = brought(fresh, folder, by="Tom")
    assert (ran.status, "who may set a rule of the house" in ran.err) == (2, True), ran.err
