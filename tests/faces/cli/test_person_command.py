"""`calib person` as a person types it. Source: `calib help` (people); common practice, no source, for the rest."""

import getpass
import re

import pytest

from calib.confirmation.authority import ACTS, ROLES
from calib.faces.cli import frame
from calib.faces.manual.pages import source
from calib.records import database
from calib.records.tables.ledger import LedgerEntry
from calib.records.tables.readings import Reading
from tests.command import calib
from tests.folders import all_of, ledger_head


def person(records, *words):
    return calib("person", *words, records=records)


@pytest.fixture
def staffed(small_records):
    """The small job with Quinn (QA), Ed (engineer) and Tom (technician, the login of this machine) on record."""
    assert person(small_records, "add", "Quinn", "--role", "QA", "--login", "quinn", "--by", "The owner").status == 0
    assert person(small_records, "add", "Ed", "--role", "engineer", "--by", "Quinn").status == 0
    tom = ("add", "Tom", "--role", "technician", "--login", getpass.getuser(), "--by", "Quinn")
    assert person(small_records, *tom).status == 0
    return small_records


def refused(records, *words):
    """The one line of a command that is refused with nothing written."""
    before = ledger_head(records)
    ran = calib(*words, records=records)
    assert (ran.status, ran.out) == (2, "")
    assert ledger_head(records) == before
    (line,) = ran.err.splitlines()
    return line


def last_entry(records):
    with database.reading(str(records)) as session:
        return session.get(LedgerEntry, ledger_head(records)[0])


def test_people_are_listed_with_their_roles(staffed):
    found = person(staffed, "list", "--json").document["people"]
    assert [(one["name"], one["roles"]) for one in found] == [
        ("Quinn", ["QA"]),
        ("Ed", ["engineer"]),
        ("Tom", ["technician"]),
    ]
    assert found[0]["changes"][0] | {"at": ""} == {
        "role": "QA", "kind": "given", "at": "", "reason": "on being added", "by": "The owner",
    }  # fmt: skip
    assert [line.split() for line in person(staffed, "list").out.splitlines()][:3] == [
        ["name", "login", "roles"],
        ["Quinn", "quinn", "QA"],
        ["Ed", "-", "engineer"],
    ]


def test_nobody_had_a_role_before_it_was_given(staffed):
    found = person(staffed, "list", "--on", "2020-01-01", "--json").document["people"]
    assert [one["roles"] for one in found] == [[], [], []]


def test_records_without_anyone_say_so(empty_records):
    assert person(empty_records, "list").out == "nobody is on record: every name is taken\n"


def test_the_first_person_must_be_qa(empty_records):
    line = refused(empty_records, "person", "add", "Ed", "--role", "engineer")
    assert line == (
        "error: command line, --role: 'engineer'; expected QA for the first person on record, who adds the others"
    )


def test_a_person_is_answered_in_json(empty_records):
    ran = person(empty_records, "add", "Quinn", "--role", "QA", "--role", "engineer", "--login", "q", "--json")
    assert ran.document == {"name": "Quinn", "login": "q", "roles": ["QA", "engineer"]}


def test_a_role_is_given_with_its_reason(staffed):
    words = ("role", "Ed", "--give", "QA", "--reason", "second pair of eyes", "--by", "Quinn", "--json")
    document = person(staffed, *words).document
    assert document | {"at": ""} == {
        "name": "Ed", "role": "QA", "kind": "given", "at": "", "reason": "second pair of eyes",
    }  # fmt: skip
    entry = last_entry(staffed)
    assert (entry.person, entry.action, entry.record_table) == ("Quinn", "person role", "role")
    assert person(staffed, "role", "Quinn", "--withdraw", "QA", "--reason", "leaves", "--by", "Ed").status == 0


def test_the_last_qa_keeps_the_role(staffed):
    line = refused(staffed, "person", "role", "Quinn", "--withdraw", "QA", "--reason", "leaves", "--by", "Quinn")
    assert "another person with QA first" in line


def test_a_login_is_corrected_with_its_reason_and_the_one_before_stays_on_record(staffed):
    words = ("login", "Ed", "edwin", "--reason", "a new machine", "--by", "Quinn", "--json")
    document = person(staffed, *words).document
    assert document | {"at": ""} == {"name": "Ed", "login": "edwin", "at": "", "reason": "a new machine"}
    entry = last_entry(staffed)
    assert (entry.person, entry.action, entry.record_table) == ("Quinn", "person login", "person_login")
    assert person(staffed, "login", "Ed", "--none", "--reason", "on leave", "--by", "Quinn").out.startswith(
        "Ed: no login any more, from 2"
    )
    ed = person(staffed, "list", "--json").document["people"][1]
    assert ed["login"] is None
    assert [(one["login"], one["reason"], one["by"]) for one in ed["logins"]] == [
        ("edwin", "a new machine", "Quinn"),
        (None, "on leave", "Quinn"),
    ]


def test_a_corrected_login_says_who_writes(staffed, monkeypatch):
    monkeypatch.delenv("CALIB_OPERATOR", raising=False)
    assert person(staffed, "login", "Tom", "tomasz", "--reason", "a new machine", "--by", "Quinn").status == 0
    assert "expected a person on record: there is Quinn, Ed, Tom" in refused(staffed, *CHECK)
    monkeypatch.setattr(frame.getpass, "getuser", lambda: "tomasz")
    assert calib(*CHECK, records=staffed).status == 0
    assert last_entry(staffed).person == "Tom"


WRONG_LOGINS = {
    "LOGIN: 'quinn'; expected a login that is nobody's yet; it is that of Quinn": ("Ed", "quinn", "--reason", "r"),
    "LOGIN: 'calib_qa'; expected a login of a person; calib_qa is a group of logins": (
        "Ed",
        "calib_qa",
        "--reason",
        "r",
    ),
    "LOGIN: blank; expected a login, on one line": ("Ed", "", "--reason", "r"),
    "LOGIN: expected a login; Ed has none": ("Ed", "--none", "--reason", "r"),
    "LOGIN: expected one of a LOGIN and --none": ("Ed", "--reason", "r"),
    "LOGIN: 'e'; expected one of a LOGIN and --none": ("Ed", "e", "--none", "--reason", "r"),
    "--reason: blank; expected why, in a few words": ("Ed", "e", "--reason", ""),
}


@pytest.mark.parametrize("said", WRONG_LOGINS)
def test_a_correction_that_makes_no_sense_is_refused(staffed, said):
    assert refused(staffed, "person", "login", *WRONG_LOGINS[said], "--by", "Quinn").endswith(said)


def test_a_correction_of_a_login_is_a_qa_s_act(staffed):
    assert "a person who may correct a person's login (QA: Quinn); Tom is technician" in refused(
        staffed, "person", "login", "Ed", "e", "--reason", "r", "--by", "Tom"
    )
    assert "no person 'Bo' in the records" in refused(
        staffed, "person", "login", "Bo", "e", "--reason", "r", "--by", "Quinn"
    )


@pytest.mark.parametrize("given", [[], ["--give", "QA", "--withdraw", "engineer"]])
def test_one_change_at_a_time(staffed, given):
    line = refused(staffed, "person", "role", "Ed", *given, "--reason", "r", "--by", "Quinn")
    assert "one of --give ROLE and --withdraw ROLE" in line


def test_an_unknown_person_is_named(staffed):
    line = refused(staffed, "person", "role", "Bo", "--give", "QA", "--reason", "r", "--by", "Quinn")
    assert line == "error: no person 'Bo' in the records: there is Quinn, Ed, Tom"


# --- what the roles limit --------------------------------------------------------------------------------------------------------

CHECK = ("check", "add", "VA-1", "--kind", "zero", "--value", "0", "--low", "-1", "--high", "1", "--unit", "m/s")
COMMANDS = {
    "suspend": (("instrument", "suspend", "VA-1", "--reason", "dropped"), {"Quinn", "Ed", "Tom"}),
    "retire": (("instrument", "retire", "VA-1", "--reason", "old"), {"Quinn"}),
    "check": (CHECK, {"Quinn", "Ed", "Tom"}),
    "choose": (("calibration", "choose", "VA-1", "C-101", "--degree", "1", "--reason", "r"), {"Quinn", "Ed"}),
    "add": (("person", "add", "Nora", "--role", "technician"), {"Quinn"}),
    "method": (("method", "add", "m", "--uncertainty", "2", "--basis", "b"), {"Quinn"}),
}


@pytest.mark.parametrize("name", COMMANDS)
@pytest.mark.parametrize("who", ["Quinn", "Ed", "Tom"])
def test_a_command_asks_for_the_role(staffed, name, who):
    words, may = COMMANDS[name]
    if who in may:
        assert calib(*words, "--by", who, records=staffed).status == 0
        assert last_entry(staffed).person == who
    else:
        assert f"command line, --by: '{who}'; expected a person who may " in refused(staffed, *words, "--by", who)


def test_a_suspended_instrument_is_released_by_qa_only(staffed):
    assert calib("instrument", "suspend", "VA-1", "--reason", "dropped", "--by", "Tom", records=staffed).status == 0
    words = ("instrument", "release", "VA-1", "--reason", "checked")
    assert "release a suspended instrument (QA: Quinn); Tom is technician" in refused(staffed, *words, "--by", "Tom")
    assert calib(*words, "--by", "Quinn", records=staffed).status == 0


def test_a_calibration_is_accepted_by_qa_only(staffed):
    line = refused(staffed, "calibration", "accept", "VA-1", "C-101", "--by", "Ed")
    assert "a person who may accept a calibration (QA: Quinn); Ed is engineer" in line


@pytest.mark.parametrize("name", COMMANDS)
def test_a_name_that_is_not_on_record_is_refused_with_those_that_are(staffed, name):
    line = refused(staffed, *COMMANDS[name][0], "--by", "Bo")
    assert line == "error: command line, --by: 'Bo'; expected a person on record: there is Quinn, Ed, Tom"


def test_who_is_not_named_writes_as_the_person_of_the_login(staffed, monkeypatch):
    monkeypatch.delenv("CALIB_OPERATOR", raising=False)
    assert calib(*CHECK, records=staffed).status == 0
    assert last_entry(staffed).person == "Tom"


def test_the_operator_of_a_reading_is_the_person_of_the_login(staffed, monkeypatch):
    monkeypatch.delenv("CALIB_OPERATOR", raising=False)
    words = (
        "reading",
        "add",
        "J-1",
        "S-1",
        "--instrument",
        "VA-1",
        "--unit",
        "m/s",
        "--method",
        "sweep",
        "--indication",
    )
    assert calib(*words, "4.20", "--at", "2026-03-05T10:10+01:00", records=staffed).status == 0
    with database.reading(str(staffed)) as session:
        assert all_of(session, Reading)[-1].operator == "Tom"


def test_a_login_that_is_nobody_s_is_refused_with_the_names_known(staffed, monkeypatch):
    monkeypatch.delenv("CALIB_OPERATOR", raising=False)
    monkeypatch.setattr(frame.getpass, "getuser", lambda: "stranger")
    assert "'stranger'; expected a person on record: there is Quinn, Ed, Tom" in refused(staffed, *CHECK)


def test_who_only_reads_needs_no_name(staffed, monkeypatch):
    monkeypatch.setattr(frame.getpass, "getuser", lambda: "stranger")
    assert calib("instrument", "list", records=staffed).status == 0


# --- what is printed -------------------------------------------------------------------------------------------------------------


def table_of_the_manual():
    """Rows of the table in the page "people"."""
    rows = [
        [cell.strip() for cell in line.strip("|").split("|")]
        for line in source("people").splitlines()
        if line[:1] == "|"
    ]
    return [row for row in rows if not re.fullmatch(r"-+", row[0])]


def test_the_table_of_roles_is_printed_as_the_manual_shows_it():
    printed = [re.split(r" {2,}", line) for line in calib("person", "roles").out.splitlines()]
    assert printed[:-1] == table_of_the_manual()
    assert len(printed) == 2 + len(ACTS)


def test_the_table_of_roles_is_answered_in_json():
    acts = calib("person", "roles", "--json").document["acts"]
    allowed = {one["does"]: [role in (one["roles"] or ROLES) for role in ROLES] for one in acts}
    assert allowed == {row[0]: [cell == "yes" for cell in row[1:]] for row in table_of_the_manual()[1:]}


def test_the_grants_are_printed_as_statements(staffed):
    printed = person(staffed, "grants").out.splitlines()
    assert printed == person(staffed, "grants", "--json").document["statements"]
    assert (printed[0], printed[-1]) == ("BEGIN;", "COMMIT;")
    assert 'GRANT calib_qa TO "quinn";' in printed
    assert 'GRANT INSERT ON "acceptance" TO calib_qa;' in printed
