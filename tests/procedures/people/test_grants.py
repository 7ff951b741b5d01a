"""What the PostgreSQL server itself refuses, and that a login says who writes. With a real server.

Sources: `calib help` (people), which keeps the contract; PostgreSQL documentation, GRANT and 5.9 "Row Security Policies".
"""

from contextlib import closing
from datetime import timedelta
from functools import cache

import psycopg
import pytest
from psycopg import sql
from sqlalchemy import text

from calib.confirmation.authority import PersonOnRecord, RoleChange
from calib.errors import BadInputError
from calib.procedures.people.authorise import People, append, authorise, login_of, people_on_record
from calib.procedures.people.grants import grants, statements
from calib.procedures.people.persons_and_roles import (
    GIVEN,
    WITHDRAWN,
    ChangeWanted,
    LoginWanted,
    PersonWanted,
    add_person,
    change_role,
    correct_login,
)
from calib.records import database, ledger
from calib.records.digests import ENTRY_COLUMNS, entry_digests
from calib.records.tables.evidence import EVIDENCE
from calib.records.tables.jobs import Job
from calib.records.tables.ledger import LedgerEntry
from calib.records.tables.people import Person
from tests.command import calib
from tests.conftest import LOGINS
from tests.folders import NOW, changed, only, write
from tests.postgres import PASSWORD


def by(person, time=NOW, **login):
    return ledger.Signature(person, time, "test", **login)


@cache
def _nothing_in(server):
    """A database with records that hold nothing, to be copied."""
    name = server.new_database()
    database.make(server.url(name))
    return name


def made(server):
    """Records that hold nothing: the name of their database, and their URL for each login."""
    name = server.new_database(_nothing_in(server))
    return name, {"owner": server.url(name)} | {one: server.url(name, one) for one in LOGINS}


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
    "INSERT INTO job (id, job, decision_rule) VALUES (900, 'J', 'simple'), (901, 'K', 'simple')",
    "INSERT INTO job_revision (job_id, revision, reason, decision_rule) VALUES (901, 2, 'r', 'guarded')",
    "INSERT INTO impact_review (id, calibration_id, criterion, assessment) VALUES (1, 1, 'c', '[]')",
    "INSERT INTO impact_line (id, impact_review_id, record_table, record_id, finding) VALUES (1, 1, 'reading', 1, '{}')",
    "SELECT nextval('calibration_id_seq'), nextval('impact_review_id_seq')",  # which gave the numbers typed above
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


def amended(column, value, job=900, revision=2, rule="'simple'"):
    cells = {"job_id": job, "revision": revision, "reason": "'r'", "decision_rule": rule} | {column: value}
    columns, values = ", ".join(cells), ", ".join(map(str, cells.values()))
    return f"INSERT INTO job_revision ({columns}) VALUES ({values})"  # noqa: S608


# What is inserted -> which logins the server lets do so.
INSERTS = {
    "acceptance": (
        "INSERT INTO acceptance (calibration_id, accepted_on, accepted_by) VALUES (1, '2026-01-03', 'x')",
        {"quinn"},
    ),
    "withdrawal": ("INSERT INTO withdrawal (calibration_id, reason) VALUES (1, 'r')", {"quinn"}),
    "check": (CHECK, {"quinn", "ed", "tom"}),
    "suspension": (event("suspension"), {"quinn", "ed", "tom"}),
    "damage": (event("damage"), {"quinn", "ed", "tom"}),
    "release": (event("release"), {"quinn"}),
    "retirement": (event("retirement"), {"quinn"}),
    "interval change": (event("interval change"), {"quinn"}),
    "repair": (event("repair"), {"quinn", "ed", "tom"}),
    "curve by the rule": (CURVE + "'rule')", {"quinn", "ed", "tom"}),
    "curve chosen": (CURVE + "'x')", {"quinn", "ed"}),
    "disposition": ("INSERT INTO disposition (impact_line_id, decision, reason) VALUES (1, 'stands', 'r')", {"quinn"}),
    "review of a certificate of another day": (
        (
            "INSERT INTO impact_review (calibration_id, criterion, assessment, cause, cause_table, cause_id) "
            "VALUES (1, 'c', '[]', 'withdrawal', 'calibration', 1)"
        ),
        {"quinn"},
    ),
    "certificate with its review": (
        (
            "INSERT INTO calibration (instrument_id, certificate, laboratory, calibrated_on) VALUES (1, 'd', 'l', '2026-01-03'); "
            "INSERT INTO impact_review (calibration_id, criterion, assessment) SELECT max(id), 'c', '[]' FROM calibration"
        ),
        {"quinn", "ed", "tom"},
    ),
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
    "job amended in its title": (amended("title", "'T'"), {"quinn", "ed", "tom"}),
    "job amended in its decision rule": (amended("decision_rule", "'guarded'"), {"quinn", "ed"}),
    "job amended in its density": (amended("density_kg_per_m3", "'1.2'"), {"quinn", "ed"}),
    "job amended in who agreed": (amended("agreed_by", "'x'"), {"quinn", "ed"}),
    "job amended back to the rule that it was first typed with": (
        amended("title", "'T'", job=901, revision=3),
        {"quinn", "ed"},
    ),
    "job amended in nothing but its title once more": (
        amended("title", "'T'", job=901, revision=3, rule="'guarded'"),
        {"quinn", "ed", "tom"},
    ),
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


REFUSALS = ("permission denied for table", "violates row-level security policy", "holds no role in these records")


@pytest.mark.parametrize("login", LOGINS)
@pytest.mark.parametrize("name", INSERTS)
def test_the_server_lets_a_login_insert_what_its_roles_allow(recorded, name, login):
    statement, may = INSERTS[name]
    refusal = attempt(recorded[login], statement)
    if login in may:
        assert refusal is None
    else:
        assert any(one in refusal for one in REFUSALS)


@pytest.mark.parametrize("verb", ["UPDATE job SET job = 'K'", "DELETE FROM job", "TRUNCATE job CASCADE"])
@pytest.mark.parametrize("login", LOGINS)
def test_no_login_changes_what_is_recorded(recorded, login, verb):
    assert "permission denied for table job" in attempt(recorded[login], verb)


@pytest.mark.parametrize("table", [*(one.__tablename__ for one in EVIDENCE), "ledger"])
def test_whoever_has_a_role_reads_everything_and_nobody_else_anything(recorded, table):
    asked = f'SELECT count(*) FROM "{table}"'  # noqa: S608 (own names)
    for login in ("quinn", "ed", "tom"):
        assert attempt(recorded[login], asked) is None
    refusal = attempt(recorded["nora"], asked)  # an empty table has nothing to refuse
    assert (refusal is None) == (asked_of(recorded["owner"], asked) == 0)
    assert refusal is None or 'the login "nora" holds no role in these records' in refusal
    assert f"permission denied for table {table}" in attempt(recorded["stranger"], asked)


def test_a_table_with_policies_is_read_whole(recorded):
    assert entries(recorded["tom"]) == entries(recorded["owner"]) > 0


def test_a_person_without_a_role_is_told_so_in_one_line(recorded):
    for words in (
        ("verify", "--rows-only"),
        ("verify",),
        ("due",),
        ("instrument", "suspend", "VA-1", "--reason", "dropped"),
    ):
        ran = calib(*words, records=recorded["nora"])
        assert (ran.status, ran.out, ran.err.count("\n")) == (2, "", 1)
        assert 'the login "nora" holds no role in these records: the login\'s roles do not allow it' in ran.err


def entries(url):
    with database.reading(url) as session:
        return session.execute(text("SELECT count(*) FROM ledger")).scalar_one()


@pytest.fixture
def entry(recorded):
    """A function: a statement that puts in the next entry by the name of a person, of a record that is there."""

    def said(person):
        with database.reading(recorded["owner"]) as session:
            sequence, previous = ledger.ledger_head(session)
        cells = {
            "sequence": sequence + 1, "time": NOW.isoformat(), "person": person, "action": "a", "record_table": "job",
            "record_id": 900, "record_digest": "d", "previous": previous, "version": "1",
        }  # fmt: skip
        (cells["digest"],) = entry_digests([(cells[name],) for name in ENTRY_COLUMNS])
        marks = ", ".join(repr(one) for one in cells.values())
        return f"INSERT INTO ledger ({', '.join(cells)}) VALUES ({marks})"  # noqa: S608 (own names)

    return said


@pytest.mark.parametrize(("login", "person"), [("tom", "Tom"), ("quinn", "Quinn"), ("ed", "Ed")])
def test_a_login_signs_with_its_own_name_only(recorded, entry, login, person):
    assert attempt(recorded[login], entry(person)) is None
    for other in ("Nora", login, "", "The owner"):
        assert 'row-level security policy for table "ledger"' in attempt(recorded[login], entry(other))


def test_a_login_without_a_role_signs_nothing(recorded, entry):
    """One row of its own could end all writing."""
    assert "holds no role in these records" in attempt(recorded["nora"], entry("Nora"))
    assert "permission denied for table ledger" in attempt(recorded["stranger"], entry("Nora"))


def test_a_login_does_not_become_another_by_set_role(recorded, entry):
    # Within the group alone it may sign, as the person it logged in as.
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


def test_a_role_withdrawn_is_gone_before_the_statements_ran_again(recorded):
    times = [NOW + timedelta(hours=hours) for hours in (3, 4, 5, 6)]
    change(recorded["quinn"], ChangeWanted("Tom", "QA", GIVEN, "as agreed"), by("Quinn", times[0]))
    refresh(recorded, times[0])
    assert attempt(recorded["tom"], INSERTS["release"][0]) is None
    change(recorded["quinn"], ChangeWanted("Tom", "QA", WITHDRAWN, "as agreed"), by("Quinn", times[1]))
    assert 'row-level security policy for table "event"' in attempt(recorded["tom"], INSERTS["release"][0])
    change(recorded["quinn"], ChangeWanted("Tom", "technician", WITHDRAWN, "left"), by("Quinn", times[2]))
    for statement in (INSERTS["check"][0], "SELECT FROM instrument"):
        assert 'the login "tom" holds no role in these records' in attempt(recorded["tom"], statement)
    change(recorded["quinn"], ChangeWanted("Tom", "technician", GIVEN, "is back"), by("Quinn", times[3]))
    assert attempt(recorded["tom"], INSERTS["check"][0]) is None
    refresh(recorded, times[3])


@pytest.mark.parametrize("key", [2**31 - 1, 2**63 - 1])
def test_a_login_takes_no_key_but_the_next(recorded, key):
    """Of several records of one kind the one with the highest key counts: none could follow the last one."""
    cells = "id, job, decision_rule"
    refusal = attempt(recorded["tom"], f"INSERT INTO job ({cells}) VALUES ({key}, 'K', 'simple')")  # noqa: S608 (own names)
    assert 'row-level security policy for table "job"' in refusal
    several = "INSERT INTO job (job, decision_rule) VALUES ('K1', 'simple'), ('K2', 'simple'), ('K3', 'simple')"
    assert attempt(recorded["tom"], several) is None


ACCEPTED = "INSERT INTO acceptance (calibration_id, accepted_on, accepted_by) VALUES (2, '2026-01-03', 'x')"
OF_A_CERTIFICATE = {
    "comparison": (
        "INSERT INTO comparison (calibration_id, phase, reference, indication, unit, expanded_uncertainty, coverage_factor) "
        "VALUES (2, 'as-left', '1', '1', 'm/s', '0.1', '2')"
    ),
    "comparison_correlation": (
        "INSERT INTO comparison_correlation (calibration_id, phase, point, other_point, correlation) "
        "VALUES (2, 'as-left', 1, 2, '0.5')"
    ),
    "reference_standard": "INSERT INTO reference_standard (calibration_id, instrument_id) VALUES (2, 1)",
    "correction_curve": CURVE.replace("VALUES (1", "VALUES (2") + "'rule')",
}


@pytest.fixture(scope="module")
def certificate(recorded):
    """A second certificate, nobody has accepted it yet."""
    columns = "id, instrument_id, certificate, laboratory, calibrated_on"
    run(recorded["owner"], f"INSERT INTO calibration ({columns}) VALUES (2, 1, 'd', 'l', '2026-02-02')")  # noqa: S608 (own names)
    return recorded


@pytest.mark.parametrize("table", OF_A_CERTIFICATE)
@pytest.mark.parametrize("login", ["quinn", "tom"])
def test_the_rows_of_a_certificate_are_closed_once_it_is_accepted(certificate, table, login):
    assert attempt(certificate[login], OF_A_CERTIFICATE[table]) is None
    with closing(
        psycopg.connect(certificate["owner"])
    ) as connection:  # accepted and taken back: within one transaction
        connection.execute(ACCEPTED)
        connection.execute(f"SET SESSION AUTHORIZATION {login}")
        with pytest.raises(psycopg.Error, match=f'row-level security policy for table "{table}"'):
            connection.execute(OF_A_CERTIFICATE[table])


def test_a_curve_that_a_person_chose_is_written_after_the_acceptance_too(certificate):
    chosen = CURVE.replace("VALUES (1", "VALUES (2") + "'x')"
    assert attempt(certificate["quinn"], ACCEPTED, chosen) is None


def test_a_break_of_the_ledger_is_closed_by_the_owner_of_the_tables_alone(recorded):
    statement = "INSERT INTO ledger_break (sequence, digest, reason) VALUES (1, 'd', 'r')"
    assert 'row-level security policy for table "ledger_break"' in attempt(recorded["quinn"], statement)
    assert "permission denied" in attempt(recorded["tom"], statement)
    assert attempt(recorded["owner"], statement) is None


@pytest.mark.parametrize("login", ["quinn", "tom"])
def test_nobody_makes_tables_or_functions_beside_the_records(recorded, login):
    assert "permission denied for schema public" in attempt(recorded[login], "CREATE TABLE own (id int)")
    own = "CREATE FUNCTION roles_held(x int) RETURNS text[] LANGUAGE sql AS $$ SELECT ARRAY['QA'] $$"
    assert "permission denied for schema public" in attempt(recorded[login], own)


def test_the_statements_run_again_change_nothing(recorded):
    asked = "SELECT string_agg(concat(policyname, qual, with_check), ';' ORDER BY policyname) FROM pg_policies"
    before = asked_of(recorded["owner"], asked)
    refresh(recorded, NOW + timedelta(hours=6))
    assert asked_of(recorded["owner"], asked) == before


def test_a_policy_of_an_earlier_version_is_taken_away(recorded):
    run(recorded["owner"], "CREATE POLICY calib_job_anything ON job FOR INSERT TO calib_person WITH CHECK (true)")
    refresh(recorded, NOW + timedelta(hours=6))
    assert asked_of(recorded["owner"], "SELECT count(*) FROM pg_policies WHERE policyname = 'calib_job_anything'") == 0


def asked_of(url, statement):
    with closing(psycopg.connect(url)) as connection:
        return connection.execute(statement).fetchone()[0]


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


# --- logins ----------------------------------------------------------------------------------------------------------------------


def notices(url, script):
    """What the server says while statements run."""
    said = []
    with closing(psycopg.connect(url, autocommit=True)) as connection:
        connection.add_notice_handler(lambda one: said.append((one.severity, one.message_primary)))
        connection.execute(script)
    return [message for severity, message in said if severity == "NOTICE" and "already been granted" not in message]


def members(server, group="calib_person"):
    asked = (
        "SELECT m.rolname FROM pg_auth_members a JOIN pg_roles m ON m.oid = a.member JOIN pg_roles g ON g.oid = a.roleid "
        "WHERE g.rolname = %s"
    )
    return {row[0] for row in server.sql("postgres", asked, group)}


@pytest.fixture(scope="module")
def other_logins(server_with_logins):
    """Logins of another company on the same server, whose groups are the server's."""
    logins = [f"co_{login}" for login in LOGINS]
    for login in logins:
        made_there = sql.SQL("CREATE ROLE {} LOGIN PASSWORD {}")
        server_with_logins.sql("postgres", made_there.format(sql.Identifier(login), sql.Literal(PASSWORD)))
    return logins


@pytest.fixture
def company(server_with_logins, other_logins):
    """Records of their own with Quinn (QA), whose login was mistyped: login -> URL."""
    name, urls = made(server_with_logins)
    urls |= {login: server_with_logins.url(name, login) for login in other_logins}
    add(urls["owner"], "Quinn", "QA", login="co_qiunn", signature=by("The owner"))
    yield urls
    server_with_logins.drop(name)
    for login in other_logins:
        for group in ("calib_person", "calib_qa", "calib_technician", "calib_engineer"):
            server_with_logins.sql("postgres", f"REVOKE {group} FROM {login}")


def test_a_login_that_is_not_there_is_skipped_with_a_notice(company, server_with_logins):
    with database.reading(company["owner"]) as session:
        script = "\n".join(grants(session, NOW))
    assert notices(company["owner"], script) == [
        "the login co_qiunn is not on this server, or may not log in: it is skipped"
    ]
    assert "co_qiunn" not in members(server_with_logins)


def correct(url, name, login, signature, reason="mistyped"):
    with database.writing(url) as session:
        return correct_login(session, LoginWanted(name, login, reason), signature)


def test_a_mistyped_login_of_the_first_qa_does_not_stop_all_writing(company):
    """The owner of the tables corrects it, by the name of a QA on record, and can do nothing else."""
    with pytest.raises(BadInputError, match="database login of a person on record, which 'owner' is not"):
        add(company["owner"], "Ed", "engineer", login="co_ed")
    with pytest.raises(BadInputError, match="a person on record: there is Quinn"):
        correct(company["owner"], "Quinn", "co_quinn", by("The owner"))
    correct(company["owner"], "Quinn", "co_quinn", by("Quinn"))
    refresh(company)
    add(company["co_quinn"], "Ed", "engineer", login="co_ed")
    assert last_writer(company["owner"]) == "Quinn"
    with database.reading(company["owner"]) as session:
        assert ledger.verify(session.connection()) == ()


def test_where_a_qa_can_log_in_the_owner_of_the_tables_corrects_nothing(company):
    correct(company["owner"], "Quinn", "co_quinn", by("Quinn"))
    with pytest.raises(BadInputError, match="database login of a person on record, which 'owner' is not"):
        correct(company["owner"], "Quinn", "co_nora", by("Quinn"))


def test_a_login_that_does_not_own_the_tables_corrects_nothing(company):
    run(company["owner"], "GRANT SELECT, INSERT ON ALL TABLES IN SCHEMA public TO co_stranger")
    with pytest.raises(BadInputError, match="database login of a person on record, which 'co_stranger' is not"):
        correct(company["co_stranger"], "Quinn", "co_stranger", by("Quinn"))


def test_a_corrected_login_counts_at_once_and_the_earlier_is_in_no_group_afterwards(company, server_with_logins):
    correct(company["owner"], "Quinn", "co_quinn", by("Quinn"))
    refresh(company)
    add(company["co_quinn"], "Tom", "technician", login="co_tom")
    refresh(company)
    assert {"co_quinn", "co_tom"} <= members(server_with_logins)
    correct(company["co_quinn"], "Tom", "co_nora", by("Quinn"), "another machine's")
    assert 'the login "co_tom" holds no role' in attempt(company["co_tom"], "SELECT FROM person")
    refresh(company)
    assert "co_tom" not in members(server_with_logins)
    assert "co_nora" in members(server_with_logins, "calib_technician")
    write_job(company["co_nora"], by("root", as_login=True), "by the new one")
    assert last_writer(company["co_quinn"]) == "Tom"
    correct(company["co_quinn"], "Tom", None, by("Quinn"), "on leave")
    refresh(company)
    assert "co_nora" not in members(server_with_logins)
    with database.reading(company["co_quinn"]) as session:
        assert [one.login for one in people_on_record(session).people] == ["co_quinn", None]


def test_the_only_qa_keeps_a_login_on_a_server(company):
    correct(company["owner"], "Quinn", "co_quinn", by("Quinn"))
    refresh(company)
    with pytest.raises(BadInputError, match="a login, since Quinn is the only QA who has one"):
        correct(company["co_quinn"], "Quinn", None, by("Quinn"))


def test_a_group_is_no_login(company, server_with_logins):
    correct(company["owner"], "Quinn", "co_quinn", by("Quinn"))
    refresh(company)
    with pytest.raises(BadInputError, match="a login of a person; calib_qa is a group of logins"):
        add(company["co_quinn"], "Ed", "engineer", login="calib_qa")
    run(company["owner"], "INSERT INTO person (name, login) VALUES ('Bo', 'calib_qa')")
    with database.reading(company["owner"]) as session:
        script = "\n".join(grants(session, NOW))
    assert notices(company["owner"], script) == [
        "the login calib_qa is not on this server, or may not log in: it is skipped"
    ]
    assert "calib_qa" not in members(server_with_logins)


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
    register = write(tmp_path / "register", only(waiting, "instruments.csv"))
    assert "put an instrument or a method on record" in ran("tom", "import", register).err
    assert "permission denied for table method" in attempt(
        urls["tom"],
        "INSERT INTO method (method, relative_standard_uncertainty_percent, basis) VALUES ('a guess', '0.1', 'none')",
    )
    assert ran("quinn", "import", register).status == 0
    folder = write(tmp_path / "folder", only(waiting, "calibrations.csv", "comparisons.csv"))
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


@pytest.mark.parametrize("login", ["$login$", "$a$login$", "'; DROP TABLE job; --", "%", "END IF; $$"])
def test_a_login_does_not_end_the_lines_about_it(server_with_logins, login):
    server_with_logins.sql("postgres", sql.SQL("CREATE ROLE {} LOGIN").format(sql.Identifier(login)))
    name, urls = made(server_with_logins)
    add(urls["owner"], "Quinn", "QA", login=login, signature=by("The owner"))
    refresh(urls)
    assert login in members(server_with_logins, "calib_qa")
    server_with_logins.drop(name)
    server_with_logins.sql("postgres", sql.SQL("DROP ROLE {}").format(sql.Identifier(login)))


def test_what_is_taken_away_comes_before_what_is_given():
    known = People((PersonOnRecord("Q", "q", ("w",)),), (RoleChange("Q", "QA", given=True, at=NOW),))
    found = statements(known, NOW)
    first = min(place for place, line in enumerate(found) if line.startswith(("GRANT ", "CREATE POLICY")))
    assert all(place < first for place, line in enumerate(found) if line.startswith("REVOKE "))
    assert "REVOKE CREATE ON SCHEMA public FROM PUBLIC;" in found
    for group in ("calib_person", "calib_qa", "calib_technician", "calib_engineer"):
        assert f'REVOKE {group} FROM "w";' in found
