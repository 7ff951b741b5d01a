"""People and roles on record, and that every write asks for them.

On a server each writes by a login of their own, which may write every table there: what is refused here, the program refuses.
Source: `calib help` (people), which keeps the contract; ISO/IEC 17025:2017, 6.2.5 f and 6.2.6, 7.5.1.
"""

from contextlib import closing
from datetime import timedelta

import psycopg
import pytest
from sqlmodel import Session

from calib.errors import BadInputError, CalibError, NotInRecordsError
from calib.procedures.calibrate.choose_curve import choose_curve
from calib.procedures.certificate.fit_curve import CurveWish
from calib.procedures.fleet.record_check import record_check
from calib.procedures.fleet.record_event import record_event
from calib.procedures.people.authorise import append, authorise, login_of, people_on_record, signed
from calib.procedures.people.persons_and_roles import (
    GIVEN,
    WITHDRAWN,
    ChangeWanted,
    PersonWanted,
    add_person,
    change_role,
    people_on_file,
)
from calib.records import database, ledger
from calib.records.tables.calibrations import Withdrawal
from calib.records.tables.company import HouseRule
from calib.records.tables.events import Event
from calib.records.tables.ledger import LedgerEntry
from calib.records.tables.people import Person, Role
from calib.records.tables.reports import IssuedReport
from calib.records.tables.reviews import Disposition, ImpactLine, ImpactReview
from tests.conftest import FILE, LOGINS, SERVER
from tests.folders import NOW, all_of, changed, imported, ledger_head, only, write
from tests.postgres import OWNER

LATER = timedelta(hours=1)


def by(person, time=NOW, **login):
    return ledger.Signature(person, time, "test", **login)


def as_whom(records, signature):
    """Where whoever signs finds the records: the file, or the server by a login of their own; the stranger's is nobody's."""
    login = signature.person.strip().casefold()
    return str(records).replace(f"//{OWNER}:", f"//{login if login in LOGINS else 'stranger'}:")


def with_session(records, act, *arguments):
    with database.writing(as_whom(records, arguments[-1])) as session:
        return act(session, *arguments)


def add(records, name, *roles, login=None, signature=None):
    with_session(records, add_person, PersonWanted(name, login, roles), signature or by("Quinn"))


def change(records, name, role, kind, signature=None, reason="as agreed"):
    with_session(records, change_role, ChangeWanted(name, role, kind, reason), signature or by("Quinn"))


def refused(records, act, *arguments, **named):
    """Findings of a write that is refused, which leaves nothing behind."""
    before = ledger_head(records)
    with pytest.raises(BadInputError) as caught:
        act(records, *arguments, **named)
    assert ledger_head(records) == before
    return [(one.column, one.value, one.expected) for one in caught.value.findings]


def open_to_all(records, backend):
    """Records that every login of the server may read and append to."""
    if backend == SERVER:
        with closing(psycopg.connect(records, autocommit=True)) as connection:
            connection.execute("GRANT SELECT, INSERT ON ALL TABLES IN SCHEMA public TO PUBLIC")
            connection.execute("GRANT USAGE ON ALL SEQUENCES IN SCHEMA public TO PUBLIC")
    return records


@pytest.fixture
def empty_records(backend, request, empty_records):
    if backend == SERVER:
        request.getfixturevalue("server_with_logins")
    return open_to_all(empty_records, backend)


@pytest.fixture
def small_records(backend, request, small_records):
    if backend == SERVER:
        request.getfixturevalue("server_with_logins")
    return open_to_all(small_records, backend)


@pytest.fixture
def staffed(backend, small_records):
    """The small job with Quinn (QA), Ed (engineer) and Tom (technician) on record; in a file Tom has no login."""
    add(small_records, "Quinn", "QA", login="quinn")
    add(small_records, "Ed", "engineer", login="ed")
    add(small_records, "Tom", "technician", login=toms_login(backend))
    return small_records


def toms_login(backend):
    return "tom" if backend == SERVER else None


def on_file(records, at=NOW):
    with database.reading(str(records)) as session:
        return {one.name: one for one in people_on_file(session, at)}


# --- people ----------------------------------------------------------------------------------------------------------------------


def test_a_person_is_kept_with_login_roles_and_ledger_entries(empty_records):
    add(empty_records, " Quinn ", "QA", "engineer", login=" quinn ", signature=by("The owner"))
    with database.reading(str(empty_records)) as session:
        (person,), roles = all_of(session, Person), all_of(session, Role)
        entries = [session.get(LedgerEntry, number) for number in (1, 2, 3)]
        assert (person.name, person.login) == ("Quinn", "quinn")
        assert [(one.role, one.kind, one.at) for one in roles] == [
            ("QA", "given", NOW.isoformat()),
            ("engineer", "given", NOW.isoformat()),
        ]
        assert [(one.person, one.record_table) for one in entries] == [
            ("The owner", "person"),
            ("The owner", "role"),
            ("The owner", "role"),
        ]


def test_the_first_person_has_the_role_qa(empty_records):
    ((column, value, expected),) = refused(empty_records, add, "Ed", "engineer", login="ed")
    assert (column, value) == ("role", "engineer")
    assert expected == "QA for the first person on record, who adds the others"


def test_only_qa_adds_people(staffed):
    ((column, value, expected),) = refused(staffed, add, "Nora", "technician", signature=by("Ed"))
    assert (column, value) == ("by", "Ed")
    assert expected.startswith("a person who may add a person, give or withdraw a role (QA: Quinn)")
    add(staffed, "Nora", "technician")
    assert on_file(staffed)["Nora"].roles == ("technician",)


@pytest.mark.parametrize(
    ("name", "roles", "login", "column"),
    [
        ("", ["QA"], None, "NAME"),
        (" \t", ["QA"], None, "NAME"),
        ("two\nlines", ["QA"], None, "NAME"),
        ("rule", ["QA"], None, "NAME"),
        ("quinn", ["QA"], None, "NAME"),
        ("Nora", [], None, "role"),
        ("Nora", ["boss"], None, "role"),
        ("Nora", ["qa"], None, "role"),
        ("Nora", ["QA", "QA"], None, "role"),
        ("Nora", ["QA"], "", "login"),
        ("Nora", ["QA"], "a\x1bb", "login"),
        ("Nora", ["QA"], "quinn", "login"),
    ],
)
def test_what_is_no_person_is_named(staffed, name, roles, login, column):
    found = refused(staffed, add, name, *roles, login=login)
    assert [one[0] for one in found] == [column]


def test_capitals_and_the_width_of_spaces_make_no_other_person(staffed):
    add(staffed, "Ann Marlow", "technician")
    ((column, _, expected),) = refused(staffed, add, "ann  Marlow", "QA")
    assert (column, expected) == ("NAME", "a name that is not on record yet; there is Ann Marlow")


def test_everything_wrong_is_named_at_once(staffed):
    found = refused(staffed, add, "", "boss", login="ed")
    assert [one[0] for one in found] == ["NAME", "login", "role"]


# --- roles -----------------------------------------------------------------------------------------------------------------------


def test_a_role_is_given_and_withdrawn_each_with_its_reason(staffed):
    change(staffed, "Ed", "QA", GIVEN, reason=" second pair of eyes ")
    change(staffed, "Ed", "QA", WITHDRAWN, by("Quinn", NOW + LATER), "back to site work")
    kept = on_file(staffed, NOW + LATER)["Ed"]
    assert kept.roles == ("engineer",)
    assert [(one.role, one.kind, one.reason, one.by) for one in kept.changes] == [
        ("engineer", "given", "on being added", "Quinn"),
        ("QA", "given", "second pair of eyes", "Quinn"),
        ("QA", "withdrawn", "back to site work", "Quinn"),
    ]
    assert on_file(staffed)["Ed"].roles == ("QA", "engineer")


def test_the_last_qa_keeps_the_role(staffed):
    ((column, value, expected),) = refused(staffed, change, "Quinn", "QA", WITHDRAWN)
    assert (column, value) == ("withdraw", "QA")
    assert expected.startswith("another person with QA first")
    change(staffed, "Ed", "QA", GIVEN)
    change(staffed, "Quinn", "QA", WITHDRAWN)
    assert refused(staffed, change, "Ed", "QA", WITHDRAWN, by("Ed"))[0][2].startswith("another person with QA first")


def test_a_qa_whose_role_counts_only_later_does_not_stand_in_for_the_last(staffed):
    change(staffed, "Ed", "QA", GIVEN, by("Quinn", NOW + LATER))
    assert refused(staffed, change, "Quinn", "QA", WITHDRAWN)[0][0] == "withdraw"


@pytest.mark.parametrize(
    ("name", "role", "kind", "reason", "column"),
    [
        ("Ed", "engineer", GIVEN, "why", "give"),
        ("Ed", "technician", WITHDRAWN, "why", "withdraw"),
        ("Ed", "boss", GIVEN, "why", "give"),
        ("Ed", "QA", GIVEN, " \n", "reason"),
    ],
)
def test_a_change_that_is_none_is_named(staffed, name, role, kind, reason, column):
    found = refused(staffed, change, name, role, kind, reason=reason)
    assert [one[0] for one in found] == [column]


def test_a_change_before_the_last_one_is_refused(staffed):
    change(staffed, "Ed", "engineer", WITHDRAWN, by("Quinn", NOW + LATER))
    ((_, _, expected),) = refused(staffed, change, "Ed", "engineer", GIVEN, by("Quinn", NOW))
    assert expected.startswith("a time not before its last change")


def test_an_unknown_person_is_named_with_those_known(staffed):
    with pytest.raises(NotInRecordsError, match="no person 'Bo' in the records: there is Quinn, Ed, Tom"):
        change(staffed, "Bo", "QA", GIVEN)


def test_only_qa_gives_roles(staffed):
    assert refused(staffed, change, "Tom", "QA", GIVEN, by("Tom"))[0][:2] == ("by", "Tom")


# --- every write -----------------------------------------------------------------------------------------------------------------


def suspend(records, signature, kind="suspension"):
    with_session(records, record_event, "VA-1", kind, signature.time, "dropped", signature)


def choose(records, signature):
    with_session(records, choose_curve, "VA-1", "C-101", CurveWish(1, "polynomial"), "as agreed", signature)


def check(records, signature):
    cells = {"kind": "zero", "value": "0", "low": "-1", "high": "1", "unit": "m/s"}
    with_session(records, record_check, "VA-1", signature.time, cells, signature)


def write_one(record):
    return lambda records, signature: with_session(records, append, [record()], signature)


def event(kind):
    return lambda: Event(instrument_id=1, kind=kind, at=NOW.isoformat(), reason="r")


def report():
    digest = "0" * 64
    return IssuedReport(
        job_id=1,
        revision=1,
        issued_at=NOW.isoformat(),
        ledger_digest=digest,
    )


def disposition():
    return Disposition(impact_line_id=1, decision="stands", reason="r")


def withdrawal():
    return Withdrawal(calibration_id=1, reason="r")


def rule():
    return HouseRule(rule="one person may accept", holds="no", reason="r")


# What is written -> who of Quinn (QA), Ed (engineer), Tom (technician) may.
WRITES = {
    "suspend": (suspend, {"Quinn", "Ed", "Tom"}),
    "damage": (write_one(event("damage")), {"Quinn", "Ed", "Tom"}),
    "repair": (write_one(event("repair")), {"Quinn", "Ed", "Tom"}),
    "check": (check, {"Quinn", "Ed", "Tom"}),
    "release": (write_one(event("release")), {"Quinn"}),
    "retire": (lambda records, who: suspend(records, who, "retirement"), {"Quinn"}),
    "interval change": (write_one(event("interval change")), {"Quinn"}),
    "choose a curve": (choose, {"Quinn", "Ed"}),
    "withdraw": (write_one(withdrawal), {"Quinn"}),
    "rule of the house": (write_one(rule), {"Quinn"}),
    "issue": (write_one(report), {"Ed"}),
}


@pytest.mark.parametrize("person", ["Quinn", "Ed", "Tom"])
@pytest.mark.parametrize("name", WRITES)
def test_what_is_written_asks_for_a_role(staffed, name, person):
    act, may = WRITES[name]
    if person in may:
        act(staffed, by(person))
        with database.reading(str(staffed)) as session:
            assert session.get(LedgerEntry, ledger.ledger_head(session)[0]).person == person
    else:
        ((column, value, expected),) = refused(staffed, act, by(person))
        assert (column, value) == ("by", person)
        assert expected.startswith("a person who may ")


@pytest.mark.parametrize("name", WRITES)
def test_who_is_not_on_record_writes_nothing(backend, staffed, name):
    expected = {
        FILE: "a person on record: there is Quinn, Ed, Tom",
        SERVER: "a database login of a person on record, which 'stranger' is not: there is Quinn (quinn), Ed (ed), Tom (tom)",
    }
    assert refused(staffed, WRITES[name][0], by("Bo")) == [("by", "Bo", expected[backend])]


@pytest.mark.parametrize("name", WRITES)
def test_records_without_anyone_take_every_name(small_records, name):
    WRITES[name][0](small_records, by("Bo"))
    with database.reading(str(small_records)) as session:
        assert session.get(LedgerEntry, ledger.ledger_head(session)[0]).person == "Bo"


def test_a_line_of_an_impact_review_is_disposed_of_by_qa(staffed):
    review = ImpactReview(calibration_id=1, criterion="c", assessment="[]")
    with_session(staffed, append, [review], by("Tom"))
    line = ImpactLine(impact_review_id=1, record_table="reading", record_id=1, finding="{}")
    with_session(staffed, append, [line], by("Tom"))
    assert refused(staffed, write_one(disposition), by("Ed"))[0][:2] == ("by", "Ed")
    write_one(disposition)(staffed, by("Quinn"))


def test_a_role_given_later_lets_nobody_write_earlier(staffed):
    change(staffed, "Tom", "QA", GIVEN, by("Quinn", NOW + LATER))
    refused(staffed, suspend, by("Tom"), kind="retirement")
    suspend(staffed, by("Tom", NOW + LATER), kind="retirement")


def test_a_role_withdrawn_lets_nobody_write_later(staffed):
    change(staffed, "Tom", "technician", WITHDRAWN, by("Quinn", NOW + LATER))
    check(staffed, by("Tom", NOW))
    assert refused(staffed, check, by("Tom", NOW + LATER))[0][2].endswith("Tom has no role then")
    suspend(staffed, by("Tom", NOW + LATER))


def test_an_import_that_accepts_calibrations_asks_for_qa_and_one_that_does_not_for_any_role(empty_records, tmp_path):
    add(empty_records, "Quinn", "QA", login="quinn")
    add(empty_records, "Tom", "technician", login="tom")
    register, accepted = ("instruments.csv",), ("calibrations.csv", "comparisons.csv")
    waiting = changed(*(("calibrations.csv", row, "accepted_on", "") for row in (2, 3, 4, 5)))
    first = write(tmp_path / "accepted", only(changed(), *accepted))
    second = write(tmp_path / "waiting", only(waiting, *accepted))
    gear = write(tmp_path / "register", only(changed(), *register))
    found = refused(empty_records, import_by, gear, "Tom")
    assert found[0][2].startswith("a person who may put an instrument or a method on record, or amend one (QA: Quinn)")
    import_by(empty_records, gear, "Quinn")
    found = refused(empty_records, import_by, first, "Tom")
    assert found[0][2].startswith("a person who may accept a calibration (QA: Quinn); Tom is technician")
    import_by(empty_records, second, "Tom")
    with database.reading(str(empty_records)) as session:
        assert {one.person for one in all_entries(session)} == {"Quinn", "Tom"}


def import_by(records, folder, person):
    from calib.faces.files import import_folders

    with database.writing(as_whom(records, by(person))) as session:
        import_folders(session, [folder], by(person), NOW)


def all_entries(session: Session):
    return [session.get(LedgerEntry, number) for number in range(1, ledger.ledger_head(session)[0] + 1)]


def test_an_import_before_anyone_is_on_record_is_as_it_was(empty_records, tmp_path):
    imported(empty_records, write(tmp_path / "folder", only(changed(), "methods.csv", "jobs.csv")))
    assert ledger_head(empty_records)[0] == 2


# --- names -----------------------------------------------------------------------------------------------------------------------


def test_who_is_not_named_is_the_person_of_the_login(staffed):
    found = told_of(staffed, by("quinn", as_login=True))
    assert (found.person, found.as_login) == ("Quinn", False)


def told_of(records, signature):
    """The signature with the person as the records know them."""
    with database.reading(as_whom(records, signature)) as session:
        return signed(session, signature)


def test_who_was_not_named_and_may_not_is_told_by_the_name_on_record(staffed):
    assert refused(staffed, suspend, by("ed", as_login=True), kind="retirement")[0][:2] == ("by", "Ed")


def test_a_name_that_was_typed_is_no_login(backend, staffed):
    expected = {FILE: "a person on record", SERVER: "Quinn, whose database login 'quinn' this is"}
    with pytest.raises(BadInputError, match=expected[backend]):
        told_of(staffed, by("quinn"))


def test_in_a_file_who_is_not_named_may_have_the_name_of_a_person_without_a_login(backend, staffed):
    if backend == FILE:
        with database.reading(str(staffed)) as session:
            assert authorise(session, by("Tom", as_login=True), "record").person == "Tom"
    else:  # on a server the login counts, whatever this machine calls its user
        with database.reading(as_whom(staffed, by("ed"))) as session:
            assert authorise(session, by("Tom", as_login=True), "record").person == "Ed"


def test_the_ledger_names_the_person_and_not_the_login(staffed):
    suspend(staffed, by("ed", as_login=True))
    with database.reading(str(staffed)) as session:
        assert session.get(LedgerEntry, ledger.ledger_head(session)[0]).person == "Ed"


def test_a_file_has_no_login_and_a_server_says_whose_it_is(backend, staffed):
    with database.reading(as_whom(staffed, by("Ed"))) as session:
        assert login_of(session) == {FILE: None, SERVER: "ed"}[backend]


def test_everyone_on_record_is_read_with_their_changes_in_order(backend, staffed):
    with database.reading(str(staffed)) as session:
        known = people_on_record(session)
    assert [(one.name, one.login) for one in known.people] == [
        ("Quinn", "quinn"),
        ("Ed", "ed"),
        ("Tom", toms_login(backend)),
    ]
    assert [(one.person, one.role, one.given, one.at) for one in known.changes] == [
        ("Quinn", "QA", True, NOW),
        ("Ed", "engineer", True, NOW),
        ("Tom", "technician", True, NOW),
    ]


def test_records_keep_to_the_roles_when_the_whole_is_verified(staffed):
    change(staffed, "Ed", "QA", GIVEN)
    with database.reading(str(staffed)) as session:
        assert ledger.verify(session.connection()) == ()


def test_the_acts_are_named_as_the_caller_knows_them(staffed):
    with database.reading(as_whom(staffed, by("Quinn"))) as session:
        assert authorise(session, by("Quinn"), "dispose") == by("Quinn")
    with database.reading(as_whom(staffed, by("Ed"))) as session:
        with pytest.raises(CalibError, match="dispose of a line of an impact review"):
            authorise(session, by("Ed"), "dispose")
        with pytest.raises(BadInputError, match="accept a calibration"):
            authorise(session, by("Ed"), "accept")
