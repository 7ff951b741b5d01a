"""Of several records of one thing the latest counts, and the earlier ones stay (ISO/IEC 17025:2017, 7.5.2, from memory)."""

from calib.procedures.on_record.by_name import calibration_numbered, instrument_tagged
from calib.procedures.on_record.in_force import on_record
from calib.procedures.on_record.what_counts import curve_that_counts, curves_of, that_count
from calib.records import database
from calib.records.record import key
from tests.command import calib

CHOSEN = ("calibration", "choose", "VA-1", "C-101", "--degree", "2", "--reason", "the maker states a parabola")


def test_the_later_of_two_records_of_one_thing_counts():
    assert that_count(["a1", "b1", "a2"], lambda record: record[0]) == {"a": "a2", "b": "b1"}


def test_the_curve_that_a_person_chose_later_counts_wherever_it_is_asked_for(small_records):
    assert calib(*CHOSEN, records=small_records).status == 0
    with database.reading(str(small_records)) as session:
        calibration = key(calibration_numbered(session, instrument_tagged(session, "VA-1"), "C-101").id)
        curves = (
            curve_that_counts(session, calibration),
            on_record(session).curves[calibration],
        )
        assert [curve.degree for curve in curves] == [2, 2]
        assert [curve.degree for curve in curves_of(session, calibration)] == [1, 2]
