"""Calibrations as the records hold them, asked for together. No source: what the house promises of its reader."""

import pytest
from sqlmodel import select

from calib.procedures.on_record.calibrations import calibration_on_file, calibrations_by_key
from calib.records import database
from calib.records.tables.calibrations import Calibration
from calib.records.tables.instruments import Instrument
from tests.statements import statements_of


@pytest.fixture
def session(demo_records):
    with database.reading(str(demo_records)) as session:
        yield session


def test_calibrations_asked_for_together_are_those_asked_for_by_their_names(session):
    named = session.exec(select(Calibration.id, Instrument.tag, Calibration.certificate).join(Instrument)).all()
    together = calibrations_by_key(session, [number for number, _, _ in named])
    assert len(together) == len(named) > 10
    for number, tag, certificate in named:
        on_file = calibration_on_file(session, tag, certificate)
        assert together[number] == on_file
        assert (on_file.instrument.tag, on_file.calibration.certificate) == (tag, certificate)


def test_however_many_calibrations_are_asked_for_the_questions_are_the_same(session):
    numbers = session.exec(select(Calibration.id).order_by(Calibration.id)).all()
    with statements_of(session) as of_a_calibration:
        calibrations_by_key(session, numbers[:1])
    with statements_of(session) as of_all:
        calibrations_by_key(session, numbers)
    assert len(of_all) == len(of_a_calibration) > 0


def test_no_calibration_asked_for_is_none(session):
    assert calibrations_by_key(session, []) == {}
