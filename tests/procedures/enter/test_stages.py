"""Stages of readings: told once, in the order of time, and a repeat of something; else nothing is written."""

import pytest

from calib.records import database
from calib.records.tables.readings import Reading
from tests.command import calib
from tests.folders import (
    all_of,
    findings_of,
    imported,
    ledger_head,
    only,
    records_of,
    refused_by_new_records,
    small_job,
    write,
)

S1 = {"job": "J-1", "outlet": "S-1", "instrument": "VA-1"}


def staged(*stages):
    """The small job with some readings of S-1: (time, stage) each."""
    sheets = small_job()
    first, *others = sheets["readings.csv"]
    sheets["readings.csv"] = [
        *(first | {"observed_at": f"2026-03-05T{at}+01:00", "stage": stage} for at, stage in stages),
        *(other | {"stage": ""} for other in others),
    ]
    return sheets


def refused(folder, sheets):
    found = refused_by_new_records(folder, sheets)
    return [(one.row, one.column, one.value, one.expected) for one in found]


def test_readings_before_and_after_adjustment_and_a_repeat_are_kept_with_their_stage(tmp_path):
    records = records_of(
        tmp_path, staged(("09:10", "before adjustment"), ("11:00", "after adjustment"), ("15:00", "repeat"))
    )
    with database.reading(str(records)) as session:
        stages = [reading.stage for reading in all_of(session, Reading)]
    assert stages == ["before adjustment", "after adjustment", "repeat", None, None, None]


def test_a_reading_before_adjustment_is_not_later_than_one_after(tmp_path):
    ((row, column, value, expected),) = refused(
        tmp_path, staged(("09:10", "after adjustment"), ("11:00", "before adjustment"))
    )
    assert (row, column, value) == (3, "stage", "before adjustment")
    assert expected.startswith(
        "a reading before adjustment is earlier than any after it; another of this outlet says after"
    )
    assert "readings.csv row 2" in expected


def test_one_time_has_not_both_stages(tmp_path):
    sheets = staged(("09:10", "before adjustment"), ("09:10", "after adjustment"))
    sheets["readings.csv"][1] |= {"instrument": "VA-2", "unit": "fpm", "observations": "", "indication": "827"}
    ((row, column, *_),) = refused(tmp_path, sheets)
    assert (row, column) == (3, "stage")


def test_a_stage_told_twice_of_one_reading_is_a_reading_typed_twice(tmp_path):
    ((row, column, _, expected),) = refused(
        tmp_path, staged(("09:10", "before adjustment"), ("09:10", "before adjustment"))
    )
    assert (row, column) == (3, "observed_at")
    assert "it stands in" in expected


def test_a_stage_in_conflict_for_one_reading_is_named_as_a_conflict_too(tmp_path):
    found = refused(tmp_path, staged(("09:10", "before adjustment"), ("09:10", "after adjustment")))
    assert {(row, column) for row, column, *_ in found} == {(3, "observed_at"), (3, "stage")}


def test_a_repeat_repeats_an_earlier_reading(tmp_path):
    ((row, column, value, expected),) = refused(tmp_path, staged(("09:10", "repeat"), ("11:00", "")))
    assert (row, column, value) == (2, "stage", "repeat")
    assert expected == "a repeat of an earlier reading of this outlet: there is none"


def test_another_word_is_no_stage(tmp_path):
    ((row, column, value, expected),) = refused(tmp_path, staged(("09:10", "adjusted")))
    assert (row, column, value) == (2, "stage", "adjusted")
    assert expected == "one of before adjustment, after adjustment, repeat"


@pytest.mark.parametrize(
    ("on_record", "at", "stage"),
    [("after adjustment", "16:00", "before adjustment"), ("before adjustment", "08:00", "after adjustment")],
)
def test_what_is_on_record_contradicts_too(tmp_path, on_record, at, stage):
    records = records_of(tmp_path, staged(("09:10", on_record)))
    head = ledger_head(records)
    more = only(staged((at, stage)), "readings.csv")
    (found,) = findings_of(records, write(tmp_path / "more", {"readings.csv": more["readings.csv"][:1]}))
    assert found.column == "stage"
    assert "(on record)" in found.expected
    assert ledger_head(records) == head


def test_a_repeat_of_what_is_on_record_is_written(tmp_path):
    records = records_of(tmp_path, staged(("09:10", "")))
    more = only(staged(("15:00", "repeat")), "readings.csv")
    imported(records, write(tmp_path / "more", {"readings.csv": more["readings.csv"][:1]}))
    with database.reading(str(records)) as session:
        assert [reading.stage for reading in all_of(session, Reading)][-1] == "repeat"


def test_a_stage_is_typed_as_an_option_too(tmp_path):
    records = records_of(tmp_path, staged(("09:10", "before adjustment")))
    typed = (
        "reading",
        "add",
        "J-1",
        "S-1",
        "--instrument",
        "VA-1",
        "--unit",
        "m/s",
        "--method",
        "sweep",
        "--observations",
        "4.1;4.2",
    )
    run = calib(*typed, "--at", "2026-03-05T08:00+01:00", "--stage", "after adjustment", records=records)
    assert run.status == 2
    assert "--stage" in run.err
    calib(*typed, "--at", "2026-03-05T12:00+01:00", "--stage", "after adjustment", records=records)
    with database.reading(str(records)) as session:
        assert [reading.stage for reading in all_of(session, Reading)][-1] == "after adjustment"
