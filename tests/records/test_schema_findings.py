"""What a server's CHECKs and indexes say, and whether its indexes have the rows of their tables. With a real server.

Sources: PostgreSQL documentation, 9.27 "System Information Functions" (pg_get_constraintdef, pg_get_indexdef) and F.1 "amcheck".
"""

import pytest
from psycopg import sql

from calib.procedures.verify.whole_state import verify_state
from calib.records import database
from tests.postgres import database_of


@pytest.fixture
def there(postgres_server, empty_there):
    """A function: statements of the server's owner, past the program."""

    def run(*statements):
        for statement in statements:
            postgres_server.sql(database_of(empty_there), statement)

    return run


def verified(records):
    """Findings and remarks: record -> problem."""
    with database.reading(records) as session:
        state = verify_state(session)
    return tuple({each.record: each.problem for each in told} for told in (state.findings, state.remarks))


def test_new_tables_say_what_the_program_s_own_say(empty_there):
    findings, remarks = verified(empty_there)
    assert findings == {}
    assert "CHECKs and indexes" not in remarks


def test_what_was_weakened_under_its_own_name_is_found(empty_there, there):
    there(
        "ALTER TABLE instrument DROP CONSTRAINT tag_not_blank",
        "ALTER TABLE instrument ADD CONSTRAINT tag_not_blank CHECK (length(tag) > -1)",
        "ALTER TABLE job DROP CONSTRAINT decision_rule_is_known",
        "ALTER TABLE job ADD CONSTRAINT decision_rule_is_known "
        "CHECK (decision_rule IN ('simple', 'guarded', 'guarded non-binary')) NOT VALID",
        "DROP INDEX reading_key",
        "CREATE INDEX reading_key ON reading (outlet_id, instrument_id, observed_at, COALESCE(revision, 1))",
        "ALTER TABLE outlet DROP CONSTRAINT outlet_job_id_fkey",
        "ALTER TABLE outlet ADD CONSTRAINT outlet_job_id_fkey FOREIGN KEY (job_id) REFERENCES job (id) ON DELETE CASCADE",
    )
    findings, _ = verified(empty_there)
    assert findings == {
        "CHECK instrument.tag_not_blank": "was changed in the schema",
        "CHECK job.decision_rule_is_known": "was changed in the schema",
        "index reading_key": "was changed in the schema",
        "reference outlet (job_id)": "was changed in the schema",
    }


def test_where_no_temporary_table_may_be_made_names_are_compared_and_that_is_said(
    empty_there, there, server_with_logins
):
    name = database_of(empty_there)
    there(
        sql.SQL("REVOKE TEMPORARY ON DATABASE {} FROM PUBLIC").format(sql.Identifier(name)),
        "GRANT SELECT ON ALL TABLES IN SCHEMA public TO tom",
        "DROP INDEX reading_key",
    )
    findings, remarks = verified(server_with_logins.url(name, "tom"))
    assert findings == {"index reading_key": "is missing in the schema"}
    assert remarks["CHECKs and indexes"].startswith("are compared by their names alone")


def test_an_index_that_lost_a_row_is_found_by_whoever_may_call_amcheck(empty_there, there, server_with_logins):
    """The row is put in while the server is told that the index takes none."""
    takes_rows = "UPDATE pg_index SET indisready = {} WHERE indexrelid = 'ix_room_job_id'::regclass"
    there(
        "CREATE EXTENSION amcheck",
        takes_rows.format("false"),
        "INSERT INTO job (id, job, decision_rule) VALUES (1, 'J-1', 'simple')",
        "INSERT INTO room (job_id, room, pressure) VALUES (1, 'R-1', 'positive')",
        takes_rows.format("true"),
        "GRANT SELECT ON ALL TABLES IN SCHEMA public TO tom",
    )
    findings, remarks = verified(empty_there)
    assert "lacks matching index tuple" in findings["index ix_room_job_id"]
    assert "pages and indexes" not in remarks
    findings, remarks = verified(server_with_logins.url(database_of(empty_there), "tom"))
    assert "index ix_room_job_id" not in findings
    assert remarks["pages and indexes"].startswith("are not proven here")
