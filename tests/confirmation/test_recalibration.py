"""What a recalibration round holds, and what nothing would measure meanwhile. Source: common practice, no source."""

from dataclasses import replace
from datetime import date, datetime, time, timedelta, timezone

import pytest

from calib.confirmation.due import CHECK
from calib.confirmation.interval import RETIREMENT, SUSPENSION, Decision, EventOnRecord, gate
from calib.confirmation.recalibration import Gap, InstrumentOfRound, Traveller, recalibration_round
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


# --- each line of a round, from decisions that are written out -------------------------------------------------------------------

ON = date(2026, 3, 10)
PRESSURE = InstrumentOfRound("pressure")


def after(days):
    return None if days is None else ON + timedelta(days=days)


def decision(tag, days, *reasons, check=None, known=None):
    """The gate's answer: its calibration is due in some days (None: there is none), its check in some."""
    in_force = known or (None if days is None else calibration(7))
    return Decision(tag, in_force, after(days), reasons, after(check))


def round_of(*decisions, gear=None, fleet=(), within=30):
    known = {each.tag: VELOCITY for each in decisions} | (gear or {})
    instruments = register(*(instrument(tag=each.tag) for each in decisions)) | register(*fleet)
    return recalibration_round(instruments, {each.tag: each for each in decisions}, known, ON, within)


def reasons_to_go(found):
    return {one.tag: one.why for parcel in found.parcels for one in parcel.travellers}


def test_a_traveller_has_all_that_its_parcel_needs():
    known = calibration(7, standards=("S-2", "S-1"))
    (parcel,) = round_of(decision("A", 12, known=known)).parcels
    assert parcel.travellers == (
        Traveller("A", "air velocity", "Laboratory", "C-7", after(12), 12, "comes due", ("S-2", "S-1")),
    )
    assert (parcel.laboratory, parcel.quantity, parcel.standards) == ("Laboratory", "air velocity", ("S-1", "S-2"))
    assert parcel.refused_standards == ()


@pytest.mark.parametrize(
    ("days", "why"),
    [(31, None), (30, "comes due"), (0, "comes due"), (-1, "overdue"), (None, "no calibration accepted")],
)
def test_the_days_left_say_why_an_instrument_goes(days, why):
    assert reasons_to_go(round_of(decision("A", days))) == ({} if why is None else {"A": why})


@pytest.mark.parametrize("incomplete", [Decision("A", None, after(200), ()), Decision("A", calibration(7), None, ())])
def test_without_a_calibration_or_a_day_nothing_is_accepted(incomplete):
    assert reasons_to_go(round_of(incomplete)) == {"A": "no calibration accepted"}


@pytest.mark.parametrize(
    ("days", "last"),
    [
        ((1,), None),
        ((0,), 0),
        ((-9, -3, 1), -3),
        ((-9, -5, -3), -3),
        ((-60,), -60),
        ((-61,), None),
    ],
)
def test_the_last_check_that_failed_since_the_calibration_is_named(days, last):
    """It was calibrated sixty days ago."""
    failing = instrument(
        tag="A", checks=[check(after(-2), passed=True), *(check(after(day), passed=False) for day in days)]
    )
    known = decision("A", 300, known=calibration(7, calibrated_on=after(-60)))
    found = round_of(known, fleet=[failing])
    assert reasons_to_go(found) == ({} if last is None else {"A": f"intermediate check failed on {after(last)}"})


def test_without_one_in_force_the_last_calibration_on_record_names_the_laboratory():
    """Of two on one day the later record."""
    other = [
        replace(calibration(number, calibrated_on=day), laboratory=f"Laboratory {number}", standards=(f"S-{number}",))
        for number, day in ((3, after(-500)), (2, after(-400)), (1, after(-400)), (4, after(-900)))
    ]
    (parcel,) = round_of(decision("A", None), fleet=[instrument(*other, tag="A")]).parcels
    assert parcel.travellers == (
        Traveller("A", "air velocity", "Laboratory 2", "C-2", None, None, "no calibration accepted", ("S-2",)),
    )


def test_a_partner_goes_to_the_same_laboratory_as_what_it_is_calibrated_with():
    gear = {
        "METER": replace(PRESSURE, partners=("PROBE", "GONE")),
        "PROBE": InstrumentOfRound("air velocity", ("METER",)),
    }
    own = replace(calibration(8), laboratory="Elsewhere")
    (parcel,) = round_of(decision("METER", 5), decision("PROBE", 200, known=own), gear=gear).parcels
    assert (parcel.laboratory, parcel.quantity) == ("Laboratory", "pressure")
    assert parcel.travellers[1] == Traveller(
        "PROBE", "pressure", "Laboratory", "C-8", after(200), 200, "calibrated with METER", ()
    )


def test_a_partner_that_goes_for_itself_goes_for_its_own_reason():
    gear = {"METER": replace(PRESSURE, partners=("PROBE",)), "PROBE": InstrumentOfRound("air velocity", ("METER",))}
    found = round_of(decision("METER", 5), decision("PROBE", -5), gear=gear)
    assert reasons_to_go(found) == {"METER": "comes due", "PROBE": "overdue"}
    assert [(parcel.quantity, len(parcel.travellers)) for parcel in found.parcels] == [
        ("air velocity", 1),
        ("pressure", 1),
    ]


def suspended(tag):
    return instrument(tag=tag, events=[event(SUSPENSION, date(2026, 1, 5))])


def test_what_is_put_aside_stands_apart_the_most_urgent_first():
    decisions = [
        decision("A", 5, "suspended"),
        decision("B", -5, "suspended"),
        decision("C", None, "suspended"),
        decision("D", 5),
    ]
    found = round_of(*decisions, fleet=[suspended(tag) for tag in "ABC"])
    assert [one.tag for one in found.put_aside] == ["C", "B", "A"]
    assert tags(found) == [["D"]]


def test_a_partner_that_is_put_aside_goes_along_and_stands_there_alone():
    gear = {"METER": replace(PRESSURE, partners=("PROBE",))}
    found = round_of(decision("METER", 5), decision("PROBE", -5, "suspended"), gear=gear, fleet=[suspended("PROBE")])
    assert reasons_to_go(found) == {"METER": "comes due", "PROBE": "calibrated with METER"}
    assert found.put_aside == ()


def test_the_checks_of_what_stays_are_told_and_no_others():
    decisions = [
        decision("STAYS", 200, check=3), decision("LATER", 200, check=31), decision("GOES", 5, check=3),
        decision("ASIDE", 200, "suspended", check=3), decision("REFUSED", 200, "dropped"),
    ]  # fmt: skip
    found = round_of(*decisions, fleet=[suspended("ASIDE")])
    assert [(entry.tag, entry.what, entry.days) for entry in found.checks] == [("STAYS", CHECK, 3)]


def test_parcels_stand_by_laboratory_and_quantity_and_those_without_a_laboratory_last():
    def of(laboratory):
        return replace(calibration(7), laboratory=laboratory)

    gear = {"P": PRESSURE, "NEW": PRESSURE, "Q": PRESSURE}
    decisions = [
        decision("NEW", None), decision("OTHER", None), decision("Q", 1, known=of("West")), decision("P", 1, known=of("East")),
        decision("V", 1, known=of("East")), decision("U", 1, known=of("")),
    ]  # fmt: skip
    found = round_of(*decisions, gear=gear)
    assert [(parcel.laboratory, parcel.quantity) for parcel in found.parcels] == [
        ("", "air velocity"),
        ("East", "air velocity"),
        ("East", "pressure"),
        ("West", "pressure"),
        (None, "air velocity"),
        (None, "pressure"),
    ]


@pytest.mark.parametrize(("first", "then"), [(0, 1), (-1, 0), (-2, 1)])
def test_of_a_parcel_the_most_urgent_stand_first(first, then):
    found = round_of(decision("A", then), decision("B", first), decision("D", then))
    assert tags(found) == [["B", "A", "D"]]
    without_day = Decision("Z", calibration(7), None, ())
    assert tags(round_of(decision("A", then), without_day)) == [["Z", "A"]]


def test_standards_of_a_parcel_are_each_told_once_with_what_is_against_them():
    first, second = (
        decision(tag, 1, known=calibration(7, standards=standards))
        for tag, standards in (("A", ("S", "R")), ("B", ("S", "GONE")))
    )
    (parcel, *_) = round_of(first, second, decision("S", 200, "S was dropped"), decision("R", 200)).parcels
    assert (parcel.standards, parcel.refused_standards) == (("GONE", "R", "S"), ("S was dropped",))


def test_a_quantity_that_others_still_measure_is_no_gap():
    """B is refused, so that it measures nothing, and P measures something else."""
    gear = {"P": PRESSURE}
    going, refused, other, staying = (
        decision("A", 1),
        decision("B", 200, "dropped"),
        decision("P", 200),
        decision("C", 200),
    )
    assert round_of(going, refused, other, staying, gear=gear).gaps == ()
    (gap,) = round_of(going, refused, other, gear=gear).gaps
    assert (gap.quantity, gap.leaving) == ("air velocity", ("A",))
    every = round_of(decision("P", 1), decision("C", 1), decision("A", 1), gear=gear)
    assert [(gap.quantity, gap.leaving) for gap in every.gaps] == [("air velocity", ("A", "C")), ("pressure", ("P",))]


def test_the_advice_goes_by_how_many_leave():
    """One, two, none."""
    (one,) = round_of(decision("A", 1)).gaps
    (two,) = round_of(decision("A", 1), decision("B", 1)).gaps
    (none,) = round_of(decision("A", -1, "overdue")).gaps
    assert one == Gap(
        "air velocity",
        ("A",),
        "A is the only one in calibration: borrow another meanwhile, or agree on a day's calibration",
    )
    assert two.advice == "A, B are all that is in calibration: send them one after the other"
    assert none.advice == "nothing is in calibration for it now either: borrow an instrument, or plan no such reading"
