"""Acceptances and certificates that an import states: judged where they name a rule, taken over where they name none.

Source: `calib help` (certificates); common practice, no source, for the four eyes.
"""

import copy
from datetime import datetime

import pytest

from calib.faces.files import import_folders
from calib.procedures.people.house_rules import set_rule
from calib.procedures.people.persons_and_roles import GIVEN, ChangeWanted, PersonWanted, add_person, change_role
from calib.records import database, ledger
from calib.records.tables.calibrations import Acceptance, Calibration
from tests.folders import NOW, SIGNED, UNTOUCHED, all_of, findings_of, imported, ledger_head, small_job, write

NEW = (
    "accepted_by",
    "criterion",
    "decision_rule",
    "judged",
    "received_on",
    "issued_on",
    "adjustment",
    "procedure",
    "traceability",
)


def with_cells(**cells):
    """The small job with more columns in calibrations.csv; the cells are those of VA-1's certificate."""
    sheets = small_job()
    for row in sheets["calibrations.csv"]:
        row.update(dict.fromkeys(NEW, ""))
    sheets["calibrations.csv"][0] |= cells
    return sheets


def acceptances(records):
    with database.reading(str(records)) as session:
        return all_of(session, Acceptance)


def set_to(records, holds):
    with database.writing(str(records)) as session:
        set_rule(session, "one person may accept", holds, "said", SIGNED)


def said_by_import(records, folder):
    said = []
    with database.writing(str(records)) as session:
        import_folders(session, [folder], SIGNED, NOW, said.append)
    return [one for one in said if one.startswith("notice: ")]


def wrong(records, tmp_path, sheets):
    found = findings_of(records, write(tmp_path / "in", sheets))
    assert ledger_head(records) == UNTOUCHED
    return found


def test_what_a_certificate_states_is_kept_as_typed(empty_records, tmp_path):
    cells = {
        "received_on": "2026-01-10", "issued_on": "2026-01-14", "adjustment": "no", "procedure": "LP-3",
        "traceability": "national standards by accredited laboratories",
    }  # fmt: skip
    imported(empty_records, write(tmp_path / "in", with_cells(**cells)))
    with database.reading(str(empty_records)) as session:
        first = all_of(session, Calibration)[0]
    assert {name: getattr(first, name) for name in cells} == cells


def test_an_acceptance_without_a_rule_is_taken_over_as_it_stands(empty_records, tmp_path):
    imported(empty_records, write(tmp_path / "in", with_cells(accepted_by="B. Person", criterion="QP-07")))
    first = acceptances(empty_records)[0]
    assert (first.accepted_by, first.criterion, first.decision_rule) == ("B. Person", "QP-07", None)
    assert first.assessment is None


def test_an_acceptance_with_a_rule_is_judged_by_it_and_keeps_the_assessment(empty_records, tmp_path):
    cells = {"accepted_by": "B. Person", "decision_rule": "simple", "judged": "corrected value"}
    imported(empty_records, write(tmp_path / "in", with_cells(**cells)))
    first = acceptances(empty_records)[0]
    assert first.decision_rule == "simple"
    assert '"accepted": true' in first.assessment


def test_an_acceptance_that_its_rule_does_not_bear_out_is_a_wrong_cell(empty_records, tmp_path):
    (finding,) = wrong(empty_records, tmp_path, with_cells(decision_rule="simple"))
    assert (finding.row, finding.column) == (2, "decision_rule")
    assert "comparisons fail (error of the indication within ± (1.0 % of the indication + 0.03 m/s)" in finding.expected


@pytest.mark.parametrize(
    ("cells", "column"),
    [
        ({"decision_rule": "lenient"}, "decision_rule"),
        ({"judged": "corrected value"}, "judged"),
        ({"adjustment": "perhaps"}, "adjustment"),
        ({"adjustment": "yes"}, "adjustment"),  # its comparisons are as found only
        ({"issued_on": "2026-01-11"}, "issued_on"),  # before the calibration
        ({"received_on": "2026-01-13"}, "received_on"),  # after it
        ({"issued_on": "2026-03-07"}, "issued_on"),  # to come
        ({"received_on": "2026-03-07"}, "received_on"),
        ({"received_on": "12 January"}, "received_on"),
        ({"accepted_on": "", "accepted_by": "B. Person"}, "accepted_by"),
        ({"accepted_on": "", "criterion": "QP-07"}, "criterion"),
        ({"accepted_on": "", "decision_rule": "simple"}, "decision_rule"),
    ],
    ids=lambda value: str(value)[:40],
)
def test_a_wrong_cell_is_named(empty_records, tmp_path, cells, column):
    found = wrong(empty_records, tmp_path, with_cells(**cells))
    assert [(one.row, one.column) for one in found] == [(2, column)]


def test_whoever_imports_and_names_nobody_is_told_so(empty_records, tmp_path):
    sheets = with_cells(accepted_by="B. Person")
    (said,) = said_by_import(empty_records, write(tmp_path / "in", sheets))
    assert "accepted by A. Person, who types them too: C-102 of VA-2, C-103 of RS-1, C-104 of PG-1" in said
    assert [one.accepted_by for one in acceptances(empty_records)] == ["B. Person", *["A. Person"] * 3]


def test_nothing_is_said_where_one_person_may(empty_records, tmp_path):
    set_to(empty_records, "yes")
    assert said_by_import(empty_records, write(tmp_path / "in", small_job())) == []


def test_it_is_refused_once_the_rule_of_the_house_says_no(empty_records, tmp_path):
    set_to(empty_records, "no")
    before = ledger_head(empty_records)
    found = findings_of(empty_records, write(tmp_path / "in", with_cells(accepted_by="a. person")))
    assert [(one.row, one.column) for one in found] == [(row, "accepted_by") for row in (2, 3, 4, 5)]
    assert ledger_head(empty_records) == before
    sheets = copy.deepcopy(with_cells())
    for row in sheets["calibrations.csv"]:
        row["accepted_by"] = "B. Person"
    imported(empty_records, write(tmp_path / "again", sheets))
    assert len(acceptances(empty_records)) == 4


# --- who accepted, once there are people on record --------------------------------------------------------------------------------


def with_people(records, since):
    """A. Person (QA), who has the server's first login, and T. One (technician) on record since a day."""
    then = ledger.Signature("A. Person", datetime.fromisoformat(f"{since}T08:00+00:00"), "person add")
    for wanted in (PersonWanted("A. Person", "owner", ["QA"]), PersonWanted("T. One", "tom", ["technician"])):
        with database.writing(str(records)) as session:
            add_person(session, wanted, then)


def named(*names):
    """The small job, its certificates accepted by these on 19 and 20 January and 3 February."""
    sheets = with_cells()
    for row, name in zip(sheets["calibrations.csv"], names, strict=True):
        row["accepted_by"] = name
    return sheets


def test_who_accepted_is_on_record_as_qa_on_that_day_and_each_cell_is_named(empty_records, tmp_path):
    with_people(empty_records, "2026-01-02")
    before = ledger_head(empty_records)
    found = findings_of(empty_records, write(tmp_path / "in", named("B. Person", "A. Person", "T. One", "a. person")))
    assert [(one.row, one.column, one.value, one.expected) for one in found] == [
        (2, "accepted_by", "B. Person", "a person on record: there is A. Person, T. One"),
        (4, "accepted_by", "T. One", "a person who may accept a calibration (QA: A. Person); T. One is technician"),
        (5, "accepted_by", "a. person", "a person on record: there is A. Person, T. One"),
    ]
    assert ledger_head(empty_records) == before
    imported(empty_records, write(tmp_path / "again", named(*["A. Person"] * 4)))
    assert {one.accepted_by for one in acceptances(empty_records)} == {"A. Person"}


def test_of_days_before_anyone_was_on_record_the_name_is_taken_over(empty_records, tmp_path):
    """Those of January are older than the first role; that of 3 February is not."""
    with_people(empty_records, "2026-02-01")
    sheets = named(*["B. Person"] * 4)
    assert [one.row for one in findings_of(empty_records, write(tmp_path / "in", sheets))] == [3]
    sheets["calibrations.csv"][1]["accepted_by"] = "A. Person"
    imported(empty_records, write(tmp_path / "again", sheets))
    assert [one.accepted_by for one in acceptances(empty_records)] == [
        "B. Person",
        "A. Person",
        "B. Person",
        "B. Person",
    ]


def test_a_role_that_was_given_later_is_none_on_that_day(empty_records, tmp_path):
    with_people(empty_records, "2026-01-02")
    with database.writing(str(empty_records)) as session:
        change_role(session, ChangeWanted("T. One", "QA", GIVEN, "second QA"), SIGNED)
    found = findings_of(empty_records, write(tmp_path / "in", named("T. One", *["A. Person"] * 3)))
    assert [(one.row, one.value) for one in found] == [(2, "T. One")]
