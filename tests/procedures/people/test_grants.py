"""What the PostgreSQL server itself refuses, and that a login says who writes. With a real server.

Sources: `calib help` (people), which keeps the contract; PostgreSQL documentation, GRANT and 5.9 "Row Security Policies".
"""

from contextlib import closing
from datetime import timedelta

import psycopg
import pytest
from sqlalchemy import text

from calib.errors import BadInputError
from calib.procedures.people.authorise import People, append, authorise, login_of, people_on_record
from calib.procedures.people.grants import grants, statements
from calib.procedures.people.persons_and_roles import (
    GIVEN,
    WITHDRAWN,
    ChangeWanted,
    PersonWanted,
    add_person,
    change_role,
)
from calib.records import database, ledger
from calib.records.tables import EVIDENCE, Job, LedgerEntry, Person
from tests.command import calib
from tests.conftest import LOGINS
from tests.folders import NOW, changed, only, write


def by(person, time=NOW, **login):
    return ledger.Signature(person, time, "test", **login)


def made(server):
    """Records that hold nothing: the name of their database, and their URL for each login."""
    name = server.new_database()
    urls = {"owner": server.url(name)} | {one: server.url(name, one) for one in LOGINS}
    database.make(urls["owner"])
    return name, urls


def refresh(urls, at=NOW):
    """Run what `calib person grants` prints, as the owner of the tables."""
    with database.reading(urls["owner"]) as session:
        wanted = grants(session, at)
    run(urls["owner"], "\n".join(wanted))


def run(url, script):
    """Run statements past the program."""
    with closing(psycopg.connect(url, autocommit=True)) as connection:
        connection.execute(script)


def add(url, name, *roles, login=None, signature=None):
    with database.writing(url) as session:
        add_person(session, PersonWanted(name, login, roles), signature or by("Quinn"))


def change(url, wanted, signature):
    with database.writing(url) as session:
        change_role(session, wanted, signature)


@pytest.fixture(scope="module")
def records(server_with_logins):
    """Shared records with Quinn (QA), Ed (engineer), Tom (technician) and Nora (no role left): login -> URL."""
    _, urls = made(server_with_logins)
    add(urls["owner"], "Quinn", "QA", login="quinn", signature=by("The owner"))
    refresh(urls)
    add(urls["quinn"], "Ed", "engineer", login="ed")
    add(urls["quinn"], "Tom", "technician", login="tom")
    add(urls["quinn"], "Nora", "technician", login="nora")
    change(urls["quinn"], ChangeWanted("Nora", "technician", WITHDRAWN, "left"), by("Quinn"))
    refresh(urls)
    return urls


# --- the server ------------------------------------------------------------------------------------------------------------------

INSTRUMENT = (
    "INSERT INTO instrument (id, tag, kind, maker, model, serial, quantity, range_low, range_high, unit, resolution, "
    "interval_months) VALUES (1, 'VA-1', 'k', 'm', 'm', '1', 'air velocity', '0', '9', 'm/s', '1', 12)"
)
RECORDED = [
    INSTRUMENT,
    "INSERT INTO calibration (id, instrument_id, certificate, laboratory, calibrated_on) VALUES (1, 1, 'c', 'l', '2026-01-02')",
    "INSERT INTO job (id, job, decision_rule) VALUES (900, 'J', 'simple')",
    "INSERT INTO impact_review (id, calibration_id, criterion, assessment) VALUES (1, 1, 'c', '[]')",
    "INSERT INTO impact_line (id, impact_review_id, record_table, record_id, finding) VALUES (1, 1, 'reading', 1, '{}')",
]


CURVE = (
    "INSERT INTO correction_curve (calibration_id, shape, phase, low, high, measuring_interval, parameters, reason, chosen_by) "
    "VALUES (1, 'polynomial', 'as-left', 0, 1, 'm', '{}', 'r', "
)


def event(kind):
    return f"INSERT INTO event (instrument_id, kind, at, reason) VALUES (1, '{kind}', '2026-03-02T12:00', 'r')"  # noqa: S608


REPORT = (
    "INSERT INTO issued_report (job_id, revision, issued_at, ledger_digest) VALUES (900, 1, '2026-03-02T12:00', 'd')"
)
CHECK = (
    "INSERT INTO intermediate_check (instrument_id, at, kind, value, low, high, unit, result) "
    "VALUES (1, '2026-03-02T12:00', 'zero', '0', '0', '1', 'm/s', 'passed')"
)

# What is inserted -> which logins the server lets do so.
INSERTS = {
    "acceptance": (
        "INSERT INTO acceptance (calibration_id, accepted_on, accepted_by) VALUES (1, '2026-01-03', 'x')",
        {"quinn"},
    ),
    "withdrawal": ("INSERT INTO withdrawal (calibration_id, reason) VALUES (1, 'r')", {"quinn"}),
    "check": (CHECK, {"quinn", "ed", "tom"}),
    "suspension": (event("suspension"), {"quinn", "ed", "tom", "nora"}),
    "damage": (event("damage"), {"quinn", "ed", "tom", "nora"}),
    "release": (event("release"), {"quinn"}),
    "retirement": (event("retirement"), {"quinn"}),
    "interval change": (event("interval change"), {"quinn"}),
    "repair": (event("repair"), {"quinn", "ed", "tom"}),
    "curve by the rule": (CURVE + "'rule')", {"quinn", "ed", "tom"}),
    "curve chosen": (CURVE + "'x')", {"quinn", "ed"}),
    "disposition": ("INSERT INTO disposition (impact_line_id, decision, reason) VALUES (1, 'stands', 'r')", {"quinn"}),
    "rule of the house": (
        "INSERT INTO house_rule (rule, holds, reason) VALUES ('one person may accept', 'yes', 'r')",
        {"quinn"},
    ),
    "person": ("INSERT INTO person (name, login) VALUES ('Bo', 'bo')", {"quinn"}),
    "role": (
        "INSERT INTO role (person_id, role, kind, at, reason) VALUES (3, 'QA', 'given', '2026-03-02T12:00', 'r')",
        {"quinn"},
    ),
    "report": (REPORT, {"ed"}),
}


@pytest.fixture(scope="module")
def recorded(records):
    run(records["owner"], "; ".join(RECORDED))
    return records


def attempt(url, *wanted):
    """Run statements past the program, take them back; what the server says against them."""
    with closing(psycopg.connect(url)) as connection:
        try:
            for one in wanted:
                connection.execute(one)
        except psycopg.Error as error:
            return str(error)
    return None


@pytest.mark.parametrize("login", LOGINS)
@pytest.mark.parametrize("name", INSERTS)
def test_the_server_lets_a_login_insert_what_its_roles_allow(recorded, name, login):
    statement, may = INSERTS[name]
    refusal = attempt(recorded[login], statement)
    if login in may:
        assert refusal is None
    else:
        assert "permission denied for table" in refusal or "violates row-level security policy" in refusal


@pytest.mark.parametrize("verb", ["UPDATE job SET job = 'K'", "DELETE FROM job", "TRUNCATE job CASCADE"])
@pytest.mark.parametrize("login", LOGINS)
def test_no_login_changes_what_is_recorded(recorded, login, verb):
    assert "permission denied for table job" in attempt(recorded[login], verb)


@pytest.mark.parametrize("table", [*(one.__tablename__ for one in EVIDENCE), "ledger"])
def test_everyone_on_record_reads_everything_and_nobody_else_anything(recorded, table):
    asked = f'SELECT count(*) FROM "{table}"'  # noqa: S608 (own names)
    assert attempt(recorded["nora"], asked) is None
    assert f"permission denied for table {table}" in attempt(recorded["stranger"], asked)


def test_a_table_with_policies_is_read_whole(recorded):
    assert entries(recorded["nora"]) == entries(recorded["owner"]) > 0


def entries(url):
    with database.reading(url) as session:
        return session.execute(text("SELECT count(*) FROM ledger")).scalar_one()


def entry(person):
    columns = "sequence, time, person, action, record_table, record_id, record_digest, previous, digest"
    return f"INSERT INTO ledger ({columns}) VALUES (999, 't', '{person}', 'a', 'job', 999, 'd', 'p', 'd')"  # noqa: S608 (own names)


@pytest.mark.parametrize(("login", "person"), [("tom", "Tom"), ("quinn", "Quinn"), ("nora", "Nora")])
def test_a_login_signs_with_its_own_name_only(recorded, login, person):
    assert attempt(recorded[login], entry(person)) is None
    for other in ("Ed", login, "", "The owner"):
        assert 'row-level security policy for table "ledger"' in attempt(recorded[login], entry(other))


def test_a_login_does_not_become_another_by_set_role(recorded):
    assert attempt(recorded["tom"], "SET ROLE calib_person", entry("Tom")) is None
    assert "row-level security policy" in attempt(recorded["tom"], "SET ROLE calib_person", entry("Ed"))
    assert "permission denied to set role" in attempt(recorded["tom"], "SET ROLE calib_qa")


def test_a_role_withdrawn_is_gone_from_the_server_once_the_statements_ran_again(recorded):
    statement = INSERTS["release"][0]
    for hours, kind in ((1, GIVEN), (2, WITHDRAWN)):
        time = NOW + timedelta(hours=hours)
        change(recorded["quinn"], ChangeWanted("Ed", "QA", kind, "as agreed"), by("Quinn", time))
        refresh(recorded, time)
        assert (attempt(recorded["ed"], statement) is None) == (kind == GIVEN)


# --- the program on a shared database --------------------------------------------------------------------------------------------


def write_job(url, signature, job):
    with database.writing(url) as session:
        append(session, [Job(job=job, decision_rule="simple")], signature)


def last_writer(url):
    with database.reading(url) as session:
        return session.get(LedgerEntry, ledger.ledger_head(session)[0]).person


@pytest.mark.parametrize("login", ["quinn", "ed", "tom"])
def test_the_login_says_who_writes_whether_named_or_not(records, login):
    person = login.capitalize()
    write_job(records[login], by(person), f"{login} named")
    assert last_writer(records[login]) == person
    write_job(records[login], by("root", as_login=True), f"{login} not named")
    assert last_writer(records[login]) == person


def test_another_s_name_is_refused(records):
    with pytest.raises(BadInputError, match="by: 'Quinn'; expected Tom, whose database login 'tom' this is"):
        write_job(records["tom"], by("Quinn"), "in another's name")


def test_a_login_that_is_nobody_s_is_refused(records):
    with database.writing(records["owner"]) as session, pytest.raises(BadInputError) as caught:
        authorise(session, by("Quinn"), "record")
    assert "a database login of a person on record, which 'owner' is not" in str(caught.value)
    assert "there is Quinn (quinn), Ed (ed), Tom (tom), Nora (nora)" in str(caught.value)


def test_the_role_is_that_of_the_login(records):
    with database.reading(records["tom"]) as session, pytest.raises(BadInputError, match="Tom is technician"):
        authorise(session, by("Tom"), "accept")
    with database.reading(records["quinn"]) as session:
        assert authorise(session, by("root", as_login=True), "accept") == by("Quinn")


def test_the_login_is_that_of_the_session_whatever_role_was_set(records):
    with database.reading(records["tom"]) as session:
        session.execute(text("SET ROLE calib_technician"))
        assert login_of(session) == "tom"


def test_a_qa_without_a_login_does_not_stand_in_for_the_last(records):
    add(records["quinn"], "Paula", "QA")
    with pytest.raises(BadInputError, match="another person with QA first"):
        change(records["quinn"], ChangeWanted("Quinn", "QA", WITHDRAWN, "leaves"), by("Quinn"))


def test_the_first_person_of_a_shared_database_has_a_login(server_with_logins):
    _, urls = made(server_with_logins)
    with pytest.raises(BadInputError, match="login: expected the database login"):
        add(urls["owner"], "Quinn", "QA")


# --- by command ------------------------------------------------------------------------------------------------------------------


def test_a_company_works_with_roles_on_a_server(server_with_logins, tmp_path):
    _, urls = made(server_with_logins)

    def ran(login, *words):
        return calib(*words, records=urls[login])

    first = ran("owner", "person", "add", "Quinn", "--role", "QA", "--login", "quinn", "--by", "The owner")
    assert (first.status, first.err) == (
        0, "the server follows once the owner of its tables runs what `calib person grants` prints\n",
    )  # fmt: skip
    run(urls["owner"], ran("owner", "person", "grants").out)
    assert ran("quinn", "person", "add", "Tom", "--role", "technician", "--login", "tom").status == 0
    run(urls["owner"], ran("owner", "person", "grants").out)
    waiting = changed(*(("calibrations.csv", row, "accepted_on", "") for row in (2, 3, 4, 5)))
    folder = write(tmp_path / "folder", only(waiting, "instruments.csv", "calibrations.csv", "comparisons.csv"))
    assert ran("tom", "import", folder).status == 0
    assert last_writer(urls["tom"]) == "Tom"
    refused = ran("tom", "calibration", "accept", "RS-1", "C-103")
    assert refused.status == 2
    assert refused.err.endswith("a person who may accept a calibration (QA: Quinn); Tom is technician\n")
    assert "expected Tom, whose database login 'tom' this is" in ran("tom", "import", folder, "--by", "Quinn").err
    assert ran("quinn", "calibration", "accept", "RS-1", "C-103").status == 0
    assert "0 finding(s)" in ran("tom", "verify").out


# --- the statements --------------------------------------------------------------------------------------------------------------


def test_every_table_is_granted_to_somebody_and_none_to_the_public():
    found = statements(People((), ()), NOW)
    for table in EVIDENCE:
        assert sum(f'GRANT INSERT ON "{table.__tablename__}" TO calib_' in one for one in found) == 1
    assert not any("TO PUBLIC" in one for one in found)
    assert not any(verb in one for one in found for verb in ("GRANT ALL", "GRANT UPDATE", "GRANT DELETE"))


def test_a_login_is_quoted(empty_records):
    with database.writing(str(empty_records)) as session:
        add_person(session, PersonWanted("Q", 'q"; DROP TABLE job; --', ["QA"]), by("Q"))
        found = statements(people_on_record(session), NOW)
        assert session.get(Person, 1).login == 'q"; DROP TABLE job; --'
    assert 'GRANT calib_qa TO "q""; DROP TABLE job; --";' in found
