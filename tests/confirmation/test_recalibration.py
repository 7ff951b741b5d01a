"""What a recalibration round holds, and what nothing would measure meanwhile. Source: common practice, no source."""

from datetime import date, datetime, time, timedelta, timezone

import pytest

from calib.confirmation.interval import RETIREMENT, SUSPENSION, EventOnRecord, gate
from calib.confirmation.recalibration import InstrumentOfRound, recalibration_round
from tests.confirmation.test_interval import DUE, calibration, check, event, instrument, register

VELOCITY = InstrumentOfRound("air velocity")
BEFORE = DUE - timedelta(days=30)
LATER = date(2025, 11, 30)  # calibrated: due ten months after DUE


def asked(*instruments, gear=None, on=BEFORE, within=60):
    known = {one.tag: VELOCITY for one in instruments} | (gear or {})
    fleet = register(*instruments)
    return recalibration_round(fleet, {tag: gate(fleet, tag, on, on) for tag in fleet}, known, on, within)


def tags(found):
    return [[one.tag for one in parcel.travellers] for parcel in found.parcels]


def vane(tag, number=1, **other):
    return instrument(calibration(number, **other), tag=tag)


def test_what_comes_due_within_the_days_goes_and_the_rest_stays():
    found = asked(vane("A"), vane("B", 2, calibrated_on=LATER))
    assert tags(found) == [["A"]]
    assert found.gaps == ()


def test_the_last_day_counts():
    assert tags(asked(vane("A"), within=30)) == [["A"]]
    assert tags(asked(vane("A"), within=29)) == []


def test_what_is_overdue_or_was_never_accepted_goes_first():
    found = asked(vane("A"), instrument(tag="NEW"), vane("OLD", 2, calibrated_on=date(2024, 6, 1)))
    why = {one.tag: one.why for parcel in found.parcels for one in parcel.travellers}
    assert why == {"A": "comes due", "OLD": "overdue", "NEW": "no calibration accepted"}
    assert tags(found) == [["OLD", "A"], ["NEW"]]  # without a laboratory on record last


def test_a_failed_intermediate_check_sends_an_instrument():
    failed = instrument(calibration(2, calibrated_on=LATER), tag="B", checks=[check(date(2025, 12, 15), passed=False)])
    (parcel,) = asked(failed, vane("C", 3, calibrated_on=LATER)).parcels
    assert [(one.tag, one.why) for one in parcel.travellers] == [("B", "intermediate check failed on 2025-12-15")]


def test_a_check_that_failed_before_the_calibration_sends_nothing():
    cleared = instrument(calibration(2, calibrated_on=LATER), tag="B", checks=[check(date(2025, 6, 1), passed=False)])
    assert asked(cleared).parcels == ()


def test_retired_instruments_stay_at_home():
    assert asked(instrument(calibration(), tag="A", events=[event(RETIREMENT, date(2025, 6, 1))])).parcels == ()


def test_each_laboratory_and_quantity_makes_a_parcel():
    gear = {"P": InstrumentOfRound("pressure")}
    assert tags(asked(vane("A"), vane("P", 2), vane("B", 3), gear=gear)) == [["A", "B"], ["P"]]


def test_what_is_calibrated_as_a_pair_goes_together():
    gear = {"METER": InstrumentOfRound("pressure", ("PROBE",)), "PROBE": InstrumentOfRound("air velocity", ("METER",))}
    found = asked(vane("METER"), vane("PROBE", 2, calibrated_on=LATER), gear=gear)
    assert tags(found) == [["METER", "PROBE"]]
    assert found.parcels[0].travellers[1].why == "calibrated with METER"


def test_the_partner_that_goes_along_is_missing_meanwhile_too():
    gear = {"METER": InstrumentOfRound("pressure", ("PROBE",)), "PROBE": InstrumentOfRound("air velocity", ("METER",))}
    found = asked(vane("METER"), vane("PROBE", 2, calibrated_on=LATER), gear=gear)
    leaving = {tag for one in found.gaps for tag in one.leaving}
    assert leaving == {"METER", "PROBE"}


def test_the_only_one_in_calibration_is_a_gap():
    (gap,) = asked(vane("A")).gaps
    assert (gap.quantity, gap.leaving) == ("air velocity", ("A",))
    assert "A is the only one in calibration" in gap.advice


def test_several_that_all_go_are_better_sent_one_after_the_other():
    (gap,) = asked(vane("A"), vane("B", 2)).gaps
    assert gap.leaving == ("A", "B")
    assert "send them one after the other" in gap.advice


def test_a_suspended_instrument_that_stays_fills_no_gap():
    suspended = instrument(calibration(2, calibrated_on=LATER), tag="B", events=[event(SUSPENSION, LATER)])
    (gap,) = asked(vane("A"), suspended).gaps
    assert gap.leaving == ("A",)


def test_where_nothing_is_in_calibration_the_gap_says_so():
    (gap,) = asked(instrument(tag="NEW")).gaps
    assert gap.leaving == ()
    assert "nothing is in calibration for it now either" in gap.advice


def test_in_house_calibrations_name_their_standards_and_whether_they_may_be_used():
    own = vane("A", 1, standards=("S",))
    found = asked(own, vane("S", 2, calibrated_on=date(2024, 6, 1)))
    parcel = next(one for one in found.parcels if "A" in [each.tag for each in one.travellers])
    assert parcel.standards == ("S",)
    assert "S: calibration C-2 of 2024-06-01 was due on 2025-06-01" in parcel.refused_standards[0]


def test_nothing_due_makes_no_round():
    found = asked(vane("A", 1, calibrated_on=LATER))
    assert (found.parcels, found.gaps) == ((), ())


@pytest.mark.parametrize("hours", [-8, 0, 13])
def test_what_was_retired_this_evening_stays_at_home_in_any_zone(hours):
    evening = datetime.combine(BEFORE, time(23, 30), timezone(timedelta(hours=hours)))
    gone = instrument(calibration(), tag="A", events=[EventOnRecord(RETIREMENT, evening, "worn out")])
    assert asked(gone).parcels == ()
