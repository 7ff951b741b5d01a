"""A certificate that fails as found is recorded, and its review decided, by people with logins of their own. With a real server.

None of them owns the tables, so that every policy of the server holds. Source: `calib help` (people), which keeps the contract.
"""

import pytest

from calib.records import database
from tests import factor_pairs
from tests.as_found import drifted
from tests.command import calib, done
from tests.folders import csv_text, imported, write
from tests.postgres import database_of
from tests.procedures.impact.test_open_review import with_factor
from tests.procedures.people.test_grants import run

PEOPLE = {"quinn": ("Q. Uayle", "QA"), "tom": ("T. Omas", "technician")}
CALIBRATED = ("--laboratory", "L", "--calibrated-on", "2026-03-20", "--issued-on", "2026-03-20")


@pytest.fixture
def logins(server_with_logins, empty_there, tmp_path):
    """The job of paired readings with its factor, on a server: login -> URL."""
    sheets = factor_pairs.paired_job()
    imported(empty_there, write(tmp_path / "sheets", sheets))
    with_factor(empty_there)
    name = database_of(empty_there)
    logins = {login: server_with_logins.url(name, login) for login in PEOPLE}
    for (login, (person, role)), writer in zip(PEOPLE.items(), (empty_there, logins["quinn"]), strict=True):
        added = calib("person", "add", person, "--role", role, "--login", login, records=writer)
        assert added.status == 0, added.err
        granted = calib("person", "grants", records=empty_there)
        assert granted.status == 0, granted.err
        run(empty_there, granted.out)
    return logins


@pytest.fixture
def as_found(tmp_path):
    """The comparisons of a certificate by which VA-1 was found 4 % high."""
    rows = [
        {column: cell for column, cell in row.items() if column not in ("tag", "certificate")}
        for row in drifted(factor_pairs.paired_job(), "VA-1")["comparisons.csv"]
    ]
    path = tmp_path / "as-found.csv"
    path.write_text(csv_text(rows), encoding="utf-8")
    return path


@pytest.mark.parametrize("login", PEOPLE)
def test_a_certificate_that_fails_as_found_is_recorded_by_whoever_may(logins, as_found, login):
    added = calib(
        "calibration", "add", "VA-1", "D-1", *CALIBRATED, "--comparisons", str(as_found), records=logins[login]
    )
    assert added.status == 0, added.err
    assert "VA-1 was found beyond its limits: impact review of certificate D-1" in added.err
    with database.reading(logins["quinn"]) as session:
        assert (
            session.connection()
            .exec_driver_sql("SELECT count(*) FROM correction_curve WHERE calibration_id = 1")
            .scalar()
            == 1
        )


def test_a_review_is_decided_by_qa_and_its_factor_found_anew(logins, as_found):
    calib("calibration", "add", "VA-1", "D-1", *CALIBRATED, "--comparisons", str(as_found), records=logins["tom"])
    review = ("review", "decide", "1", "--reason", "the dent is old", "--curve")
    refused = calib(*review, "as found", records=logins["tom"])
    assert refused.status == 2
    for curve in ("as found", "widened", "as before"):
        decided = calib(*review, curve, records=logins["quinn"])
        assert decided.status == 0, decided.err
        assert "factor GR-9: found anew" in decided.out + decided.err
    assert calib("verify", records=logins["quinn"]).status == 0


def test_an_act_is_named_for_what_it_changes_in_an_issued_report_and_not_for_what_was_otherwise_before(
    logins, empty_there, tmp_path
):
    """The records as they were before the act are read as the person too."""
    quinn = logins["quinn"]
    done(quinn, "person", "role", "Q. Uayle", "--give", "engineer", "--reason", "nobody else is there")
    run(empty_there, done(empty_there, "person", "grants").out)
    issue = (
        "report",
        "J-1",
        "--issue",
        "--with-gaps",
        "S-11 is closed",
        "--format",
        "json",
        "--into",
        str(tmp_path / "out"),
    )
    done(quinn, *issue)
    done(quinn, "calibration", "withdraw", "VA-1", "C-101", "--reason", "of another meter")
    amended = done(logins["tom"], "outlet", "amend", "J-1", "D-9", "--set", "design_flow=300", "--reason", "read again")
    assert "the records now say otherwise: report J-1 revision 1: reading 1 at D-9" in amended.err
    assert "at S-9" not in amended.err
