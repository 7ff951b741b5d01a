"""Which meters may be used at a job: those used there, then those of the person, then what measures the same."""

from calib.procedures.fleet.ready_for_job import ready_for_job
from calib.procedures.fleet.record_event import record_event
from calib.records import database
from tests.folders import NOW, SIGNED, changed, records_of


def for_job(location, person="Nobody", chosen="", most=9):
    with database.reading(str(location)) as session:
        return [each.instrument.tag for each in ready_for_job(session, "J-1", person, chosen, NOW, most)]


def test_the_meters_used_there_come_the_latest_first_and_no_reference_standard(small_records):
    assert for_job(small_records) == ["VA-1", "VA-2"]
    assert for_job(small_records, most=1) == ["VA-1"]


def test_the_chosen_meter_comes_first(small_records):
    assert for_job(small_records, chosen="RS-1") == ["RS-1", "VA-1", "VA-2"]


def test_where_nothing_was_measured_come_the_meters_that_the_person_used_elsewhere(tmp_path):
    sheets = changed(*(("outlets.csv", row, "job", "J-2") for row in (2, 3, 4, 5)))
    sheets["jobs.csv"].append(sheets["jobs.csv"][0] | {"job": "J-2"})
    for row in sheets["readings.csv"]:
        row["job"] = "J-2"
    records = records_of(tmp_path, sheets)
    assert for_job(records, "T. Two") == ["VA-1", "VA-2"]
    assert for_job(records) == []
    assert for_job(records, chosen="VA-2") == ["VA-2", "VA-1"]


def test_no_meter_comes_that_may_not_be_used(small_records):
    with database.writing(str(small_records)) as session:
        record_event(session, "VA-1", "suspension", NOW, "dropped", SIGNED)
    assert for_job(small_records) == ["VA-2"]
