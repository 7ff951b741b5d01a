"""What a sitting asks of the records and writes into them, on a file and on a server."""

from dataclasses import replace

import pytest

from calib.errors import BadInputError, DoubtError, NotInRecordsError, RefusedError
from calib.procedures.enter.on_site import (
    against_setup,
    asks_of_setup,
    job_listed,
    job_on_site,
    last_used,
    readings_meanwhile,
    setup_cell,
    stage_meant,
    write_entry,
    written_as,
)
from calib.procedures.enter.sitting import Sitting
from calib.records import database
from tests.folders import NOW, SIGNED, ledger_head

SETUP = {"instrument": "VA-1", "unit": "m/s", "method": "sweep"}


def typed(*values, outlet="S-2", **setup):
    return Sitting("J-1", SETUP | setup, outlet=outlet).with_values(values, NOW).entry


def written(records, entry, *, sure=True, keep_refused=False):
    with database.writing(str(records)) as session:
        return write_entry(session, entry, SIGNED, NOW, sure=sure, keep_refused=keep_refused)


def test_outlets_are_in_the_order_of_the_job_whatever_index_the_database_takes(small_records):
    with database.writing(str(small_records)) as session:
        session.connection().exec_driver_sql("DROP INDEX ix_outlet_job_id")  # the other one goes by the outlets' names
        assert list(job_on_site(session, "J-1", NOW).outlets) == ["S-1", "S-2", "R-1", "E-1"]
        session.rollback()


def test_what_was_used_last_is_that_of_the_reading_recorded_last(small_records):
    written(small_records, typed("600", "610", outlet="R-1", instrument="VA-2", unit="fpm"))
    with database.reading(str(small_records)) as session:
        assert last_used(session, "J-1") == {
            "instrument": "VA-2", "unit": "fpm", "method": "sweep", "operator": "A. Person",
        }  # fmt: skip


def test_a_person_is_offered_what_they_used_themselves_and_of_a_meter_what_it_was_used_with(small_records):
    """R-1 was read last but one, by T. Two with VA-2; S-1 and S-2 by T. One with VA-1."""
    with database.reading(str(small_records)) as session:
        assert last_used(session, "J-1", "T. One")["operator"] == "T. One"
        assert last_used(session, "J-1", "Nobody") == last_used(session, "J-1")
        assert last_used(session, "J-1", "T. One", None, "VA-2")["unit"] == "fpm"
        assert last_used(session, "J-1", "T. One", None, "PG-1") == {}


def test_a_job_is_listed_as_it_is_evaluated(small_records):
    written(small_records, typed("3.1", "3.2"))
    with database.reading(str(small_records)) as session:
        assert job_listed(session, "J-1") == job_on_site(session, "J-1", NOW)


def test_an_entry_is_known_again_as_what_it_was_written(small_records):
    entry = typed("3.1", "3.2")
    with database.reading(str(small_records)) as session:
        assert written_as(session, entry) is None
    written(small_records, entry)
    refused = typed("14.1", "14.2", outlet="S-1")
    written(small_records, refused, keep_refused=True)
    with database.reading(str(small_records)) as session:
        assert [written_as(session, each).refused for each in (entry, refused)] == [False, True]
        elsewhere = replace(entry, cells={**entry.cells, "outlet": "R-1"})
        later = replace(entry, cells={**entry.cells, "observed_at": "2026-03-06T10:00:01+00:00"})
        assert [written_as(session, each) for each in (elsewhere, later)] == [None, None]
        # The same moment, in another zone.
        same = replace(entry, cells={**entry.cells, "observed_at": "2026-03-06T10:00:00+01:00"})
        assert written_as(session, same) == written_as(session, entry)


@pytest.mark.parametrize(
    ("values", "sure", "raised"),
    [
        (("14.1", "14.2"), True, RefusedError),  # above 13.60 m/s, and no refusal is wanted
        (("0.31", "4.96"), False, DoubtError),
        (("3000",), True, BadInputError),
    ],
)
def test_what_is_not_written_leaves_nothing(small_records, values, sure, raised):
    before = ledger_head(small_records)
    with pytest.raises(raised):
        written(small_records, typed(*values), sure=sure)
    assert ledger_head(small_records) == before


@pytest.mark.parametrize(
    ("cells", "said"),
    [
        ({}, None),
        ({"method": "hall"}, "method: 'hall'; expected"),
        ({"instrument": "PG-1", "unit": "Pa"}, "expected the conditions of the air"),
    ],
)
def test_what_is_against_a_set_up_is_told_before_anything_is_typed(small_records, cells, said):
    before = ledger_head(small_records)
    with database.reading(str(small_records)) as session:
        against = against_setup(session, Sitting("J-1", SETUP | cells, outlet="S-2"), "A. Person", NOW)
    assert [said in each for each in against[:1]] == ([] if said is None else [True])
    assert ledger_head(small_records) == before


def test_the_set_up_is_asked_for_in_the_words_of_the_records(small_records):
    with database.reading(str(small_records)) as session:
        asks = asks_of_setup(session, "VA-2", NOW)
        assert (asks.columns, asks.unit) == (["unit", "method"], "fpm")
        assert setup_cell(session, "J-1", "unit", "FT/MIN", asks) == "ft/min"
        for column, cell in (("instrument", "VA-9"), ("method", "guess"), ("conditions", "roof")):
            with pytest.raises(NotInRecordsError, match=cell):
                setup_cell(session, "J-1", column, cell, asks)
        with pytest.raises(BadInputError):
            setup_cell(session, "J-1", "unit", "furlong", asks)


@pytest.mark.parametrize(
    ("word", "stage"),
    [("before", "before adjustment"), ("After", "after adjustment"), ("rep", "repeat"), ("", None)],
)
def test_a_stage_is_meant_by_its_beginning(word, stage):
    assert stage_meant(word) == stage


def test_what_another_recorded_meanwhile_is_seen(small_records):
    with database.reading(str(small_records)) as session:
        site = job_on_site(session, "J-1", NOW)
        assert site.left == []
        assert readings_meanwhile(session, site.outlets["S-2"], site.measured) is None
        assert readings_meanwhile(session, site.outlets["S-2"], {"S-1"}) is not None
