"""One program serves many people by one login, `calib_pages`, and takes on each person's own: the server still refuses the same.

Source: PostgreSQL documentation, SET ROLE and GRANT (WITH INHERIT, WITH SET). With a real server.
"""

from contextlib import closing

import psycopg
import pytest

from calib.confirmation.authority import PersonOnRecord
from calib.errors import BadInputError, RecordsError
from calib.procedures.people.authorise import append, people_on_record
from calib.procedures.people.grants import PAGES_LOGIN
from calib.procedures.people.persons_and_roles import LoginWanted, correct_login, enrollable
from calib.records import database, ledger
from calib.records.tables.jobs import Job
from calib.records.tables.methods import Method
from tests.folders import NOW
from tests.procedures.people.test_grants import add, by, made, refresh


@pytest.fixture(scope="module")
def urls(server_with_logins):
    """Records with Quinn (QA) and Tom (technician), and the login of the pages, which is nobody's."""
    name, urls = made(server_with_logins)
    add(urls["owner"], "Quinn", "QA", login="quinn", signature=by("The owner"))
    refresh(urls)
    add(urls["quinn"], "Tom", "technician", login="tom")
    refresh(urls)
    return urls | {"pages": server_with_logins.url(name, PAGES_LOGIN)}


@pytest.fixture
def pages(urls):
    engine = database.open_records(urls["pages"])
    yield engine
    engine.dispose()


def test_a_write_is_that_of_the_person_whose_login_was_taken_on(pages):
    with database.writing(database.acting_as(pages, "tom")) as session:
        append(session, [Job(job="of Tom", decision_rule="simple")], by("Tom"))
    with database.reading(database.acting_as(pages, "quinn")) as session:
        assert ledger.written(session, "job", 1)[0] == "Tom"


def test_nobody_signs_with_the_name_of_another(pages):
    with (
        pytest.raises(BadInputError, match="expected Tom, whose database login 'tom' this is"),
        database.writing(database.acting_as(pages, "tom")) as session,
    ):
        append(session, [Job(job="forged", decision_rule="simple")], by("Quinn"))


def test_the_server_itself_refuses_another_name_past_the_program(pages):
    with (
        pytest.raises(RecordsError, match="row-level security"),
        database.writing(database.acting_as(pages, "tom")) as session,
    ):
        ledger.append_entries(session, [Job(job="forged", decision_rule="simple")], by("Quinn"))


def test_the_server_itself_refuses_a_technician_what_qa_alone_may(pages):
    with (
        pytest.raises(RecordsError, match="the login's roles do not allow it"),
        database.writing(database.acting_as(pages, "tom")) as session,
    ):
        ledger.append_entries(
            session, [Method(method="M", relative_standard_uncertainty_percent="1", basis="b")], by("Tom")
        )


def test_the_login_of_the_pages_has_no_right_of_its_own(pages):
    with pytest.raises(RecordsError, match="permission denied"), database.reading(pages) as session:
        people_on_record(session)


def test_a_transaction_ends_with_its_login(pages):
    with database.reading(database.acting_as(pages, "quinn")) as session:
        assert people_on_record(session).people
    with pytest.raises(RecordsError, match="permission denied"), database.reading(pages) as session:
        people_on_record(session)


def test_a_login_of_nobody_is_not_taken_on(pages):
    with (
        pytest.raises(RecordsError, match=r"permission denied to set role|holds no role in these records"),
        database.reading(database.acting_as(pages, "nora")) as session,
    ):
        people_on_record(session)


def test_a_person_takes_on_no_login_of_another(urls):
    with closing(psycopg.connect(urls["tom"])) as connection, pytest.raises(psycopg.errors.InsufficientPrivilege):
        connection.execute("SET ROLE quinn")


def test_a_group_that_was_taken_on_is_no_login(urls):
    with closing(psycopg.connect(urls["tom"], autocommit=True)) as connection:
        connection.execute("SET ROLE calib_technician")
        assert connection.execute("SELECT acting_login()").fetchone() == ("tom",)


def test_who_has_no_login_begins_no_session_in_a_browser(urls):
    add(urls["quinn"], "Lars", "technician")
    with database.reading(urls["quinn"]) as session:
        assert enrollable(session, "Tom", NOW) == PersonOnRecord("Tom", "tom")
        with pytest.raises(BadInputError, match="a person with a login of the shared database"):
            enrollable(session, "Lars", NOW)


def test_a_login_that_is_a_persons_no_more_is_not_taken_on_after_the_next_grants(urls):
    with database.writing(urls["quinn"]) as session:
        correct_login(session, LoginWanted("Tom", "ed", "a new one"), by("Quinn"))
    refresh(urls)
    engine = database.open_records(urls["pages"])
    try:
        with (
            pytest.raises(RecordsError, match="permission denied to set role"),
            database.reading(database.acting_as(engine, "tom")) as session,
        ):
            people_on_record(session)
        with database.reading(database.acting_as(engine, "ed")) as session:
            assert people_on_record(session).people
    finally:
        engine.dispose()
        with database.writing(urls["quinn"]) as session:
            correct_login(session, LoginWanted("Tom", "tom", "back"), by("Quinn", NOW))
        refresh(urls)
