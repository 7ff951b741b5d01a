"""Damage, repair, adjustment, move and return: what each does to the gate and to what is shown.

Source: ISO/IEC 17025:2017, 6.4.4 (verified before it is placed into service or returned to it), 6.4.9 (out of service until
shown to perform correctly) and 6.4.13 h, from memory; that a calibration on the day of a repair was made after it is common
practice, no source: the records keep no hour of a calibration.
"""

import pytest

from calib.clock import clock
from tests.command import calib
from tests.folders import changed, imported, ledger_head, only, write


def today():
    """The day as it is when a test asks: a run may pass midnight."""
    return clock().date()


WHY = ("--reason", "in a few words")


@pytest.fixture
def records(small_records):
    return small_records


def happened(records, verb, *words, at=None, tag="VA-1"):
    when = () if at is None else ("--at", f"2026-03-{at}T08:00+01:00")
    return calib("instrument", verb, tag, *words, *WHY, *when, records=records)


def reasons(records, on, tag="VA-1"):
    (answer,) = calib("ready", tag, "--on", f"2026-03-{on}", "--json", records=records).document["instruments"]
    return answer["reasons"]


def calibrated(records, tmp_path, day, certificate):
    """Another certificate of VA-1, with the values of its first."""
    sheets = only(changed(("calibrations.csv", 2, "certificate", certificate)), "calibrations.csv", "comparisons.csv")
    for file in sheets:
        sheets[file] = [row | {"certificate": certificate} for row in sheets[file] if row["tag"] == "VA-1"]
    sheets["calibrations.csv"][0] |= {"calibrated_on": day, "accepted_on": day}
    imported(records, write(tmp_path / certificate, sheets))


def refused(ran, expected):
    assert (ran.status, ran.out, len(ran.err.splitlines())) == (2, "", 1)
    assert expected in ran.err


# --- damage ----------------------------------------------------------------------------------------------------------------------


def test_damage_takes_an_instrument_out_of_use_at_once_until_it_is_released(records):
    ran = happened(records, "damage", at="04")
    assert (ran.status, ran.out) == (0, f"VA-1: damage recorded on {today()}, from 2026-03-04T08:00:00+01:00\n")
    assert reasons(records, "03") == []
    told = (
        f"VA-1: damaged since 2026-03-04T08:00:00+01:00, recorded on {today()} (in a few words): use another instrument"
    )
    assert reasons(records, "05") == [f"{told} until it is released"]
    assert happened(records, "release").status == 0
    assert "damaged" not in calib("ready", "VA-1", "--on", str(today()), records=records).out


def test_damage_opens_an_impact_review_of_what_was_read_before_it_was_seen(records):
    ran = happened(records, "damage", at="06")
    assert ran.status == 0
    assert "3 lines: calib review show 1" in ran.err
    (review,) = calib("review", "list", "--json", records=records).document["reviews"]
    assert (review["cause"], review["open_lines"]) == ("damage", 3)


def test_a_suspended_instrument_may_be_damaged_and_a_damaged_one_is_not_suspended_again(records):
    assert happened(records, "suspend", at="02").status == 0
    assert happened(records, "damage", at="03").status == 0
    refused(happened(records, "suspend", at="04"), "expected an instrument that is not suspended already at that time")


# --- repair and adjustment -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("verb", "told"), [("repair", "repaired"), ("adjust", "adjusted")])
def test_the_gate_stays_closed_until_a_calibration_made_afterwards_is_accepted(records, tmp_path, verb, told):
    assert happened(records, verb, at="03").status == 0
    assert reasons(records, "02") == []
    (reason,) = reasons(records, "05")
    assert reason == (
        f"VA-1: {told} at 2026-03-03T08:00:00+01:00, recorded on {today()} (in a few words), after its calibration C-101 of "
        "2026-01-12: have it calibrated again"
    )
    calibrated(records, tmp_path, "2026-03-02", "C-before")
    assert "after its calibration C-before of 2026-03-02" in reasons(records, "05")[0]
    calibrated(records, tmp_path, "2026-03-03", "C-after")
    assert reasons(records, "05") == []


def test_a_release_after_damage_and_a_new_sensor_does_not_open_the_gate_by_itself(records):
    happened(records, "damage", at="03")
    happened(records, "repair", at="04")
    happened(records, "release")
    ran = calib("ready", "VA-1", records=records)
    assert ran.status == 3
    assert "repaired at 2026-03-04T08:00:00+01:00" in ran.out
    assert "damaged" not in ran.out


def test_a_reading_after_a_repair_is_refused(records):
    happened(records, "repair", at="04")
    listed = calib("reading", "list", "J-1", "--json", records=records).document
    assert [one["outlet"] for one in listed["readings"]] == ["R-1"]  # the others were read with VA-1 on the fifth


# --- where it is -----------------------------------------------------------------------------------------------------------------


def test_a_move_and_a_return_say_where_it_is_and_with_whom(records):
    ran = happened(records, "move", "van 7", at="04")
    assert ran.out == f"VA-1: move recorded on {today()}, from 2026-03-04T08:00:00+01:00: now at van 7\n"
    listed = calib("instrument", "list", "--location", "van 7", "--json", records=records).document["instruments"]
    assert [one["tag"] for one in listed] == ["VA-1"]
    assert happened(records, "return", at="05").out.endswith(": now at van 1\n")  # where the register has it
    shown = calib("instrument", "show", "VA-1", "--json", records=records).document
    assert shown["instrument"]["location"] == "van 1"
    assert [(one["kind"], one["value"]) for one in shown["events"]] == [("move", "van 7"), ("return", "van 1")]
    assert happened(records, "return", "the store").out.endswith(": now at the store\n")
    assert reasons(records, "05") == []


def test_whoever_has_it_is_named_with_where_it_is(records, tmp_path):
    sheets = only(changed(), "instruments.csv")
    row = sheets["instruments.csv"][0] | {"tag": "VA-8", "serial": "8", "custodian": "T. One"}
    imported(records, write(tmp_path / "in", {"instruments.csv": [row]}))
    assert happened(records, "move", "van 7", tag="VA-8").out.endswith(": now at van 7, with T. One\n")


def test_a_place_is_asked_for(records):
    refused(happened(records, "move", " "), "LOCATION: ' '; expected where it is now")


# --- out of service --------------------------------------------------------------------------------------------------------------


@pytest.fixture
def retired(records):
    happened(records, "retire", at="05")
    return records


@pytest.mark.parametrize("verb", ["damage", "repair", "adjust"])
def test_nothing_happens_to_a_retired_instrument_any_more(retired, verb):
    refused(happened(retired, verb), "expected an instrument in service; this one is retired")


def test_a_retired_instrument_is_put_somewhere(retired):
    assert happened(retired, "move", "the store").status == 0


def test_retired_gear_is_not_paired(retired):
    before = ledger_head(retired)
    refused(
        calib("instrument", "pair", "VA-2", "VA-1", *WHY, records=retired),
        "METER: 'VA-1'; expected an instrument in service",
    )
    refused(
        calib("instrument", "pair", "VA-1", "PG-1", *WHY, records=retired),
        "PROBE: 'VA-1'; expected an instrument in service",
    )
    assert ledger_head(retired) == before


def test_a_pair_of_which_one_was_retired_is_parted(records):
    calib("instrument", "pair", "VA-1", "PG-1", *WHY, "--at", "2026-03-01T08:00+01:00", records=records)
    happened(records, "retire", at="05")
    assert calib("instrument", "part", "VA-1", "PG-1", *WHY, records=records).status == 0


def test_a_last_calibration_of_a_retired_instrument_is_recorded_with_a_notice(retired, tmp_path):
    sheets = only(changed(("calibrations.csv", 2, "accepted_on", "")), "calibrations.csv", "comparisons.csv")
    for file in sheets:
        sheets[file] = [row | {"certificate": "C-last"} for row in sheets[file] if row["tag"] == "VA-1"]
    ran = calib("import", write(tmp_path / "in", sheets), records=retired)
    assert ran.status == 0
    assert (
        "notice: VA-1 is retired: certificate C-last is kept for what it was found to be, and opens no gate" in ran.err
    )
    assert calib("ready", "VA-1", records=retired).status == 3
