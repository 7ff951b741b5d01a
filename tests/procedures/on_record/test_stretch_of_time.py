"""Within a stretch of time the gate says one thing of an instrument: asked afresh at every time, whatever the zone it was typed in.

The check is the gate itself (ISO/IEC 17025:2017, 6.4), which knows no stretches.
"""

from collections import defaultdict
from datetime import date, datetime, timedelta, timezone
from itertools import product

import pytest

from calib.confirmation.interval import (
    CalibrationOnRecord,
    CheckOnRecord,
    EventOnRecord,
    InstrumentOnRecord,
    IntervalChange,
    gate,
)
from calib.procedures.on_record.in_force import OnRecord
from calib.procedures.on_record.probe_pairs import Pair

NOON = datetime.fromisoformat("2026-03-05T12:00+01:00")
NOW = NOON + timedelta(days=2)
ZONES = [timezone(timedelta(hours=hours)) for hours in (0, 1, -11, 13)]
# Minutes from noon at which something befell VA-1: each lies between, or at, times that are asked.
HAPPENED = {"suspension": -90, "release": -30, "retirement": 1500}


def calibration(number, on, due_on=None):
    accepted = on + timedelta(days=1)
    return CalibrationOnRecord(
        number, f"C-{number}", "North Laboratory", on, accepted, due_on, 0.3, 15.0, "0.3 to 15 m/s"
    )


def at(minutes):
    return NOON + timedelta(minutes=minutes)


VANE = InstrumentOnRecord(
    "VA-1",
    12,
    14,
    (calibration(1, date(2025, 3, 4)), calibration(2, date(2026, 3, 5), date(2026, 3, 6))),
    tuple(EventOnRecord(kind, at(minutes), "dropped") for kind, minutes in HAPPENED.items()),
    (CheckOnRecord(at(-60), "zero", passed=True), CheckOnRecord(at(45), "zero", passed=False)),
    (IntervalChange(at(-120), 11),),
)
PAIR = Pair(1, 2, at(10), at(20))
RECORDS = OnRecord({"VA-1": VANE}, {}, {}, {}, {}, {}, {}, pairs=(PAIR,))
ASKED = [at(minutes).astimezone(zone) for minutes, zone in product(range(-2880, 4320, 15), ZONES)]


@pytest.fixture(scope="module")
def stretches():
    found = defaultdict(list)
    for when in ASKED:
        found[RECORDS.stretch(when, NOW)].append(when)
    return found


def test_the_gate_says_one_thing_within_a_stretch(stretches):
    for times in stretches.values():
        assert len({gate({"VA-1": VANE}, "VA-1", when, NOW) for when in times}) == 1


def test_a_pair_holds_or_not_within_a_stretch(stretches):
    for times in stretches.values():
        assert len({PAIR.holds(when) for when in times}) == 1


def test_many_times_lie_in_one_stretch_and_only_those_to_come_stand_alone(stretches):
    to_come = [when for when in ASKED if when > NOW]
    past = [times for times in stretches.values() if times[0] <= NOW]
    assert len(stretches) == len(past) + len(to_come)
    assert sum(map(len, past)) > 20 * len(past)


@pytest.mark.parametrize("minutes", [*HAPPENED.values(), -120, -60, 45, 10, 20])
def test_a_stretch_ends_when_something_happens(minutes):
    before, then = at(minutes) - timedelta(seconds=1), at(minutes)
    assert RECORDS.stretch(before, NOW) != RECORDS.stretch(then, NOW)
    assert RECORDS.stretch(then, NOW) == RECORDS.stretch(then + timedelta(seconds=1), NOW)
