"""Accept a calibration: once, by a person, not before it was made. Source: ISO 10012:2003, 7.1 (metrological confirmation)."""

from datetime import date

import pytest

from calib.errors import BadInputError, NotInRecordsError
from calib.procedures.accept_calibration import accept_calibration
from calib.procedures.ready import ready
from calib.records import database
from calib.records.tables import Acceptance
from tests.folders import NOW, SIGNED, all_of, changed, ledger_head, records_of


@pytest.fixture
def waiting(tmp_path):
    """Records in which the certificate of VA-1, of 12 January, waits for its acceptance."""
    return records_of(tmp_path, changed(("calibrations.csv", 2, "accepted_on", "")))


def accept(records, on, tag="VA-1", certificate="C-101", criterion=None):
    with database.writing(str(records)) as session:
        accept_calibration(session, tag, certificate, date.fromisoformat(on), criterion, SIGNED)


def allowed(records):
    with database.reading(str(records)) as session:
        return ready(session, ["VA-1"], NOW, NOW, None)[0].decision.allowed


def test_an_accepted_calibration_counts(waiting):
    assert not allowed(waiting)
    accept(waiting, "2026-03-01")
    assert allowed(waiting)


def test_an_acceptance_keeps_day_person_and_criterion(waiting):
    accept(waiting, "2026-03-01", criterion="error plus U within the maximum permissible error")
    with database.reading(str(waiting)) as session:
        kept = all_of(session, Acceptance)[-1]
    assert (kept.accepted_on, kept.accepted_by) == ("2026-03-01", "A. Person")
    assert kept.criterion == "error plus U within the maximum permissible error"


@pytest.mark.parametrize("on", ["2026-01-12", "2026-03-06"])
def test_the_day_of_the_calibration_and_today_are_allowed(waiting, on):
    accept(waiting, on)
    assert allowed(waiting)


@pytest.mark.parametrize(
    ("on", "expected"),
    [("2026-01-11", "on or after the calibration (2026-01-12)"), ("2026-03-07", "a date that is not in the future")],
)
def test_a_day_that_cannot_be_is_refused(waiting, on, expected):
    before = ledger_head(waiting)
    with pytest.raises(BadInputError) as caught:
        accept(waiting, on)
    (finding,) = caught.value.findings
    assert (finding.column, finding.value) == ("on", on)
    assert expected in finding.expected
    assert ledger_head(waiting) == before


def test_a_second_acceptance_is_refused(small_records):
    with pytest.raises(BadInputError, match="one not accepted yet; it was on 2026-01-19"):
        accept(small_records, "2026-03-01")


@pytest.mark.parametrize(
    ("tag", "certificate", "message"),
    [
        ("VA-9", "C-101", "no instrument 'VA-9'"),
        ("VA-1", "C-102", "no certificate 'C-102' of VA-1 in the records: there is C-101"),
    ],
)
def test_what_is_not_there_is_named(waiting, tag, certificate, message):
    with pytest.raises(NotInRecordsError, match=message):
        accept(waiting, "2026-03-01", tag, certificate)
