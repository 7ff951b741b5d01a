"""What a device sends is written once, at the time that its clock had less what it is ahead; on a file and on a server."""

from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from calib.errors import BadInputError, DoubtError, RefusedError
from calib.procedures.enter.correct_reading import correct_reading
from calib.procedures.enter.send_entry import MeanwhileError, Sending, send_entry
from calib.procedures.enter.sitting import Sitting
from calib.procedures.enter.withdraw_reading import withdraw_reading
from calib.records import database
from calib.records.tables.entries import SentEntry
from calib.records.tables.readings import Reading, Refusal
from tests.folders import NOW, SIGNED, all_of, imported, ledger_head, write

SENT = Sending("phone 1, entry 1", NOW.isoformat(), "a phone")
DUCT = {
    "outlets.csv": [
        {
            "job": "J-1", "outlet": "D-1", "system": "AH-1", "service": "supply", "place": "duct", "shape": "rectangular",
            "width": "300", "height": "200", "dimension_unit": "mm", "dimension_limit": "1", "design_flow": "520",
            "flow_unit": "m3/h", "tolerance_percent": "10",
        }
    ]
}  # fmt: skip
EARLIER = NOW - timedelta(minutes=20)


def typed(*values, outlet="S-2", at=EARLIER, **setup):
    own = {"instrument": "VA-1", "unit": "m/s", "method": "sweep"} | setup
    return Sitting("J-1", own, outlet=outlet).with_values(values, at).entry


def sent(records, entry, sending=SENT, *, sure=True, keep_refused=False, now=NOW):
    with database.writing(str(records)) as session:
        return send_entry(session, entry, sending, SIGNED, now, sure=sure, keep_refused=keep_refused)


def on_record(records, table):
    with database.reading(str(records)) as session:
        return [row.model_dump() for row in all_of(session, table)]


def reading(records, arrived):
    return next(row for row in on_record(records, Reading) if row["id"] == arrived.written.record_id)


def test_an_entry_that_is_sent_twice_is_one_reading(small_records):
    first = sent(small_records, typed("3.1", "3.2"))
    before = ledger_head(small_records)
    later = sent(
        small_records, typed("3.1", "3.2"), replace(SENT, device="the same, started anew"), now=NOW + timedelta(hours=3)
    )
    assert (first.again, later.again) == (False, True)
    assert later.written == first.written
    assert ledger_head(small_records) == before


@pytest.mark.parametrize(("ahead", "offset"), [(0, "0"), (37, "37"), (-3600, "-3600")])
def test_the_time_is_kept_by_this_clock_and_what_the_device_was_ahead_beside_it(small_records, ahead, offset):
    of_device = timedelta(seconds=ahead)
    entry = typed("3.1", "3.2", at=EARLIER + of_device)
    arrived = sent(small_records, entry, replace(SENT, sent_at=(NOW + of_device).isoformat()))
    (row,) = on_record(small_records, SentEntry)
    assert row["clock_offset_s"] == offset
    kept = datetime.fromisoformat(reading(small_records, arrived)["observed_at"])
    assert kept + timedelta(seconds=int(offset)) == EARLIER + of_device  # as the device had it
    assert kept == EARLIER


def test_what_was_sent_stands_with_its_record(small_records):
    arrived = sent(small_records, typed("3.1", "3.2"))
    (row,) = on_record(small_records, SentEntry)
    assert (row["record_table"], row["record_id"]) == ("reading", arrived.written.record_id)
    assert (row["client_key"], row["sent_at"], row["device"]) == (SENT.client_key, SENT.sent_at, "a phone")


def test_a_reading_that_whoever_typed_did_not_know_of_is_named_and_nothing_is_written(small_records):
    known = [row["id"] for row in on_record(small_records, Reading)]
    other = sent(small_records, typed("3.1", "3.2", at=NOW - timedelta(minutes=30)), replace(SENT, client_key="other"))
    before = ledger_head(small_records)
    for _ in range(2):
        with pytest.raises(MeanwhileError) as raised, database.writing(str(small_records)) as session:
            send_entry(session, typed("3.1", "3.2"), SENT, SIGNED, NOW, sure=True, keep_refused=False, known=known)
        assert raised.value.readings == (other.written.record_id,)
        assert str(raised.value) == "1 reading was recorded here meanwhile"
    assert ledger_head(small_records) == before


def test_an_entry_that_had_arrived_is_found_whatever_stands_there_meanwhile(small_records):
    first = sent(small_records, typed("3.1", "3.2"))
    with database.writing(str(small_records)) as session:
        again = send_entry(session, typed("3.1", "3.2"), SENT, SIGNED, NOW, sure=False, keep_refused=False, known=[])
    assert (again.again, again.written) == (True, first.written)


def test_an_entry_without_a_time_is_observed_when_it_is_sent_first(small_records):
    entry = typed("3.1", "3.2")
    entry = replace(entry, cells={name: cell for name, cell in entry.cells.items() if name != "observed_at"})
    later = NOW + timedelta(seconds=3)
    first = sent(small_records, entry)
    assert reading(small_records, first)["observed_at"] == NOW.isoformat()
    assert sent(small_records, entry, replace(SENT, sent_at=later.isoformat()), now=later).written == first.written


def test_a_reading_that_was_corrected_since_is_known_again(small_records):
    first = sent(small_records, typed("3.1", "3.2"))
    with database.writing(str(small_records)) as session:
        changes = {"observations": "3.1;3.3"}
        correct_reading(session, "J-1", first.written.record_id, changes, None, {}, "a slip", SIGNED, NOW)
    assert sent(small_records, typed("3.1", "3.2")).written == first.written


def test_a_reading_that_was_withdrawn_since_is_not_written_again(small_records):
    first = sent(small_records, typed("3.1", "3.2"))
    with database.writing(str(small_records)) as session:
        withdraw_reading(session, "J-1", first.written.record_id, "wrong grille", SIGNED)
    arrived = sent(small_records, typed("3.1", "3.2"))
    assert (arrived.again, arrived.written) == (True, first.written)


@pytest.mark.parametrize(
    "other",
    [
        typed("3.1", "3.3"), typed("3.1", "3.2", outlet="S-1"), typed("3.1", "3.2", at=NOW),
        typed("610", "630", instrument="VA-2", unit="fpm"), typed("3.1", "3.2", unit="km/h"),
    ],
)  # fmt: skip
def test_a_key_that_another_entry_has_is_named_and_nothing_is_written(small_records, other):
    sent(small_records, typed("3.1", "3.2"))
    before = ledger_head(small_records)
    with pytest.raises(BadInputError, match="a key of this entry alone"):
        sent(small_records, other)
    assert ledger_head(small_records) == before


def test_two_entries_of_two_keys_are_two_readings(small_records):
    first = sent(small_records, typed("3.1", "3.2"))
    second = sent(small_records, typed("3.1", "3.2", at=NOW), replace(SENT, client_key="phone 2, entry 1"))
    assert first.written != second.written


def test_a_traverse_that_is_sent_twice_is_one_reading_and_another_point_is_another_entry(small_records, tmp_path):
    imported(small_records, write(tmp_path / "duct", DUCT))
    entry = replace(
        typed("1", outlet="D-1"), points={(line, point): "2.4;2.5" for line in (1, 2) for point in (1, 2, 3)}
    )
    traversed = {"traverse_rule": "equal-area", "traverse_lines": "2", "traverse_points": "3"}
    cells = {name: cell for name, cell in entry.cells.items() if name != "indication"} | traversed
    entry = replace(entry, cells=cells)
    first = sent(small_records, entry)
    assert sent(small_records, entry).written == first.written
    with pytest.raises(BadInputError, match="a key of this entry alone"):
        sent(small_records, replace(entry, points={**entry.points, (2, 3): "2.4;2.6"}))


def test_a_refusal_that_is_kept_is_known_again(small_records):
    entry = typed("14.1", "14.2", outlet="S-1")  # above the 13.60 m/s of its certificate
    first = sent(small_records, entry, keep_refused=True)
    assert first.reasons
    again = sent(small_records, entry)
    assert (again.again, again.written) == (True, first.written)
    assert len(on_record(small_records, Refusal)) == 1


@pytest.mark.parametrize(
    ("values", "sure", "raised"),
    [
        (("14.1", "14.2"), True, RefusedError),
        (("0.31", "4.96"), False, DoubtError),
        (("3000",), True, BadInputError),
    ],
)
def test_what_was_not_written_may_be_sent_again_put_right_under_the_same_key(small_records, values, sure, raised):
    before = ledger_head(small_records)
    with pytest.raises(raised):
        sent(small_records, typed(*values), sure=sure)
    assert ledger_head(small_records) == before
    assert not sent(small_records, typed("3.1", "3.2")).again


@pytest.mark.parametrize(
    ("sending", "at", "column"),
    [
        (replace(SENT, client_key=""), EARLIER, "client_key"),
        (replace(SENT, client_key="k" * 101), EARLIER, "client_key"),
        (replace(SENT, client_key="a\nb"), EARLIER, "client_key"),
        (replace(SENT, device=" "), EARLIER, "device"),
        (replace(SENT, sent_at="now"), EARLIER, "sent_at"),
        (replace(SENT, sent_at="2026-03-06T09:00"), EARLIER, "sent_at"),  # of no zone
        (SENT, NOW + timedelta(seconds=1), "observed_at"),  # after it was sent
    ],
)
def test_what_a_device_cannot_say_is_named(small_records, sending, at, column):
    before = ledger_head(small_records)
    with pytest.raises(BadInputError) as caught:
        sent(small_records, typed("3.1", "3.2", at=at), sending)
    assert [finding.column for finding in caught.value.findings] == [column]
    assert ledger_head(small_records) == before
