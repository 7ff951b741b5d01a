"""One instrument's whole history. Source: `calib help` (commands); ISO/IEC 17025:2017, 6.4.13 for what belongs to it."""

import pytest

from calib.errors import NotInRecordsError
from calib.procedures.fleet.record_event import record_event
from calib.procedures.on_record.calibrations import calibration_on_file
from calib.procedures.on_record.instrument_history import instrument_history
from calib.records import database
from calib.records.ledger import append_entries
from calib.records.tables.events import IntermediateCheck
from calib.records.tables.reviews import Disposition, ImpactLine, ImpactReview
from tests.every_way import NOW as LATER
from tests.every_way import every_way
from tests.folders import NOW, SIGNED, changed, imported, records_of, write


def history(records, tag, at=NOW):
    with database.reading(str(records)) as session:
        return instrument_history(session, tag, at)


def write_all(records, *written):
    with database.writing(str(records)) as session:
        append_entries(session, written, SIGNED)


def test_the_readings_that_rest_on_an_instrument_are_counted_with_the_first_and_the_last(small_records):
    assert history(small_records, "VA-1").used == {
        "readings": 3,
        "refused_readings": 0,
        "first_reading": "2026-03-05T09:10:00+01:00",
        "last_reading": "2026-03-05T09:40:00+01:00",
    }
    assert history(small_records, "PG-1").used["readings"] == 0


def test_a_probe_s_readings_count_as_those_of_its_meter_do(tmp_path):
    records = records_of(tmp_path, every_way())
    assert history(records, "PT-1", LATER).used["readings"] == 1


def test_refused_readings_are_counted_by_themselves(tmp_path, empty_records):
    sheets = changed(("calibrations.csv", 3, "accepted_on", ""))
    imported(empty_records, write(tmp_path / "in", sheets))
    assert history(empty_records, "VA-2").used["refused_readings"] == 1


def test_an_event_names_who_recorded_it(small_records):
    with database.writing(str(small_records)) as session:
        record_event(session, "VA-1", "suspension", NOW, "dropped", SIGNED)
    (event,) = history(small_records, "VA-1").events
    assert (event["kind"], event["reason"], event["person"]) == ("suspension", "dropped", "A. Person")


def test_a_check_against_another_instrument_is_that_of_the_one_checked(small_records):
    check = IntermediateCheck(
        instrument_id=1, at="2026-03-05T08:00+01:00", kind="comparison", value="0.1", low="-1", high="1", unit="m/s",
        result="passed", other_instrument_id=3,
    )  # fmt: skip
    write_all(small_records, check)
    assert len(history(small_records, "VA-1").checks) == 1
    assert history(small_records, "RS-1").checks == ()


def test_an_impact_review_says_how_many_of_its_lines_are_open(small_records):
    write_all(small_records, ImpactReview(calibration_id=1, criterion="limits", assessment='{"judgements": []}'))
    lines = [ImpactLine(impact_review_id=1, record_table="reading", record_id=n, finding="{}") for n in (1, 2, 3)]
    write_all(small_records, *lines)
    decided = [Disposition(impact_line_id=1, decision=one, reason="why") for one in ("reissue", "stands")]
    write_all(small_records, *decided)
    (review,) = history(small_records, "VA-1").reviews
    assert (review["certificate"], review["lines"], review["open_lines"]) == ("C-101", 3, 2)
    assert history(small_records, "VA-2").reviews == ()


def test_a_calibration_on_file_names_who_typed_it(small_records):
    with database.reading(str(small_records)) as session:
        assert calibration_on_file(session, "VA-1", "C-101").typed_by == "A. Person"


def test_an_unknown_instrument_is_named(small_records):
    with pytest.raises(NotInRecordsError, match="no instrument 'VA-9'"):
        history(small_records, "VA-9")
