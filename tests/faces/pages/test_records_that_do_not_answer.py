"""A server of the records that has gone for a while: pages say so and no more, nobody is signed out by it, nothing is doubled."""

from contextlib import contextmanager
from datetime import UTC, datetime

import pytest
from psycopg import sql

from calib.records.tables.entries import SentEntry
from calib.records.tables.readings import Reading
from tests.faces.pages.test_unsent import FIELDS, on_record, send, unsent
from tests.postgres import OWNER, database_of
from tests.served import company, put_on_server

S_2 = "/jobs/J-1/outlets/S-2"
CALM = "the records do not answer just now: nothing was written; try again in a minute"


@pytest.fixture
def served(server_with_logins, small_there, tmp_path):
    """The small job, served from a server of its records."""
    with company(put_on_server(server_with_logins, small_there), tmp_path, records=small_there) as made:
        yield made


@pytest.fixture
def gone(postgres_server, small_there):
    """A block in which the server takes no connection to the records, and has ended those that were."""
    name = database_of(small_there)

    def taken(how):
        change = sql.SQL("ALTER DATABASE {} ALLOW_CONNECTIONS {}").format(sql.Identifier(name), sql.SQL(how))
        postgres_server.sql("postgres", change)
        ended = "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = %s"
        postgres_server.sql("postgres", ended, name)

    @contextmanager
    def block():
        taken("false")
        try:
            yield
        finally:
            taken("true")

    return block


def test_a_page_says_to_try_again_and_names_no_server(tom, gone, caplog, small_there):
    with gone():
        page = tom.get("/")
    assert page.status_code == 503
    assert CALM in page.text
    assert "Try again</a>" in page.text
    assert "postgresql" not in page.text
    assert OWNER not in page.text
    assert database_of(small_there) in caplog.text


def test_a_page_of_which_nobody_knows_whose_it_is_says_that_of_nobody_and_signs_nobody_out(tom, gone):
    """A phone gives up the pages that it keeps of a person where a page is another's, or nobody's."""
    with gone():
        page = tom.get("/")
    assert "Calib-Person" not in page.headers
    assert "set-cookie" not in page.headers
    again = tom.get("/")
    assert (again.status_code, again.headers["Calib-Person"]) == (200, "Tom")


def test_a_reading_that_could_not_be_written_is_written_once_when_it_is_sent_again(served, tom, gone):
    before, token = len(on_record(served, Reading)), tom.token
    fields = {"token": token, **FIELDS, "client_key": "a form's"}
    with gone():
        refused = tom.fill_in(S_2, **fields)
    assert refused.status_code == 503
    assert CALM in refused.text
    assert [tom.fill_in(S_2, **fields).status_code for _ in range(2)] == [303, 303]
    assert len(on_record(served, Reading)) == before + 1


def test_a_reading_that_a_phone_keeps_stays_there_and_is_sent_later(served, tom, gone):
    entry, token = unsent(served), tom.token
    sent_at = datetime.now(UTC).isoformat(timespec="seconds")
    with gone():
        answer = tom.post("/unsent/send", json={**entry, "sent_at": sent_at}, headers={"Calib-Token": token})
    assert (answer.status_code, answer.json()["error"]) == (503, CALM)
    assert send(tom, entry).json()["outcome"] == "accepted"
    assert len(on_record(served, SentEntry)) == 1


def test_a_reading_whose_confirmation_was_lost_is_said_to_be_unsure_and_is_one(
    served, tom, postgres_server, small_there
):
    """A trigger at the very end of the transaction ends its own connection: the answer to the commit never comes."""
    there = database_of(small_there)
    body = "$$ BEGIN PERFORM pg_terminate_backend(pg_backend_pid()); RETURN NULL; END $$"
    function = f"CREATE FUNCTION leave() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER AS {body}"
    at_its_end = "AFTER INSERT ON reading DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION leave()"
    for statement in (function, f"CREATE CONSTRAINT TRIGGER leaves {at_its_end}"):
        postgres_server.sql(there, statement)
    fields = {"token": tom.token, **FIELDS, "client_key": "a form's"}
    before, unsure = len(on_record(served, Reading)), tom.fill_in(S_2, **fields)
    assert unsure.status_code == 503
    assert "all of it may be on record, or nothing; look in a minute" in unsure.text
    assert "nothing was written" not in unsure.text
    postgres_server.sql(there, "DROP TRIGGER leaves ON reading")
    assert [tom.fill_in(S_2, **fields).status_code for _ in range(2)] == [303, 303]
    assert len(on_record(served, Reading)) == before + 1
