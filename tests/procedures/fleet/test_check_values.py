"""Checks whose value or limits are worked out: E_n of two instruments, control limits of a check standard.

Expected values: E_n by hand; the corrected value of VA-1 from tests/worked_cases/worked_vane; limits from scipy's t distribution.
"""

import json
import math
from datetime import datetime, timedelta

import numpy as np
import pytest
from scipy import stats

from calib.errors import BadInputError, CurveError, RefusedError
from calib.procedures.fleet.checks_on_file import charts_of, checks_on_file
from calib.procedures.fleet.ready import ready
from calib.procedures.fleet.record_check import record_check
from calib.procedures.fleet.record_event import record_event
from calib.records import database
from calib.records.ledger import Signature
from tests.folders import NOW, SIGNED, imported, ledger_head, small_job, write

AT = datetime.fromisoformat("2026-03-05T08:00+00:00")
TWO = {"kind": "comparison", "value": "4.20", "other": "RS-1", "other_value": "4.27", "unit": "m/s"}
STATED = {"expanded_uncertainty": "0.3", "other_expanded_uncertainty": "0.4"}


def check(records, cells, tag="VA-1", at=AT):
    with database.writing(str(records)) as session:
        kept = record_check(session, tag, at, cells, SIGNED)
        return kept.result, kept.value, json.loads(kept.basis or "{}")


def allowed(records, tag="VA-1", at=AT + timedelta(hours=1)):
    with database.reading(str(records)) as session:
        return ready(session, [tag], at, NOW, None)[0].decision.allowed


# --- two instruments -------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("other", "e", "result"), [("4.30", "-0.2", "passed"), ("4.70", "-1", "passed"), ("4.71", "-1.02", "failed")]
)
def test_two_stated_values_are_judged_by_their_normalised_error(small_records, other, e, result):
    found = check(small_records, TWO | STATED | {"other_value": other})
    assert found[:2] == (result, e)
    assert allowed(small_records) is (result == "passed")
    assert allowed(small_records, "RS-1")  # it is VA-1 that is checked


def test_both_instruments_are_kept(small_records):
    check(small_records, TWO | STATED)
    with database.reading(str(small_records)) as session:
        (kept,) = checks_on_file(session, "VA-1")
    assert (kept["tag"], kept["other"], kept["unit"], kept["low"], kept["high"]) == ("VA-1", "RS-1", "1", "-1", "1")
    assert [(one["tag"], one["certificate"]) for one in kept["basis"]["values"]] == [
        ("VA-1", "C-101"),
        ("RS-1", "C-103"),
    ]


def test_indications_are_corrected_with_the_uncertainty_of_each_calibration(small_records):
    result, value, basis = check(small_records, TWO)
    first, second = basis["values"]
    assert first["value"] == pytest.approx(4.27557, abs=5e-6)  # worked vane
    # scatter and reference part of the worked vane, declared repeatability, step/sqrt(12), limits of change/sqrt(3)
    parts = (0.00358, 0.024655, 0.02 * 1.0391, 0.01 / math.sqrt(12), (0.042 + 0.03) / math.sqrt(3))
    assert first["expanded_uncertainty"] == pytest.approx(2.0 * np.linalg.norm(parts), rel=2e-3)
    together = math.hypot(first["expanded_uncertainty"], second["expanded_uncertainty"])
    assert float(value) == pytest.approx((first["value"] - second["value"]) / together, abs=1e-9)
    assert result == "passed"


def test_a_history_of_the_instrument_counts_in_a_comparison_too(tmp_path):
    from tests.folders import records_of
    from tests.job_with_history import sheets_with_history

    with_history, without = (
        records_of(tmp_path / name, sheets) for name, sheets in (("a", sheets_with_history()), ("b", small_job()))
    )
    u = [check(one, TWO)[2]["values"][0]["expanded_uncertainty"] for one in (with_history, without)]
    assert u[0] < u[1]


def test_a_value_near_the_limit_is_a_caution(small_records):
    assert check(small_records, TWO | STATED | {"other_value": "4.60"})[2]["caution"] is True
    assert (
        check(small_records, TWO | STATED | {"other_value": "4.59"}, at=AT + timedelta(hours=1))[2]["caution"] is False
    )


def test_one_laboratory_of_both_is_named(small_records):
    assert check(small_records, TWO | STATED)[2]["same_laboratory"] == "North Laboratory"
    assert check(small_records, TWO | STATED, tag="VA-2")[2]["same_laboratory"] is None  # calibrated in house


def test_the_other_instrument_must_pass_the_gate(small_records):
    with database.writing(str(small_records)) as session:
        record_event(session, "RS-1", "suspension", AT - timedelta(hours=1), "dropped", SIGNED)
    before = ledger_head(small_records)
    with pytest.raises(RefusedError, match="RS-1: suspended since"):
        check(small_records, TWO)
    assert ledger_head(small_records) == before


def test_the_other_instrument_must_be_calibrated_there(small_records):
    with pytest.raises(RefusedError, match=r"RS-1: indication 9\.5 m/s is outside"):
        check(small_records, TWO | {"value": "9.4", "other_value": "9.5"})


def test_a_suspended_instrument_can_be_compared(small_records):
    with database.writing(str(small_records)) as session:
        record_event(session, "VA-1", "suspension", AT - timedelta(hours=1), "dropped", SIGNED)
    assert check(small_records, TWO)[0] == "passed"


def test_an_indication_that_no_calibration_reaches_needs_stated_uncertainties(small_records):
    below = {"value": "0.50", "other_value": "0.55"}
    with pytest.raises(CurveError, match=r"VA-1: no calibration in force that reaches 0\.50 m/s"):
        check(small_records, TWO | below)
    assert check(small_records, TWO | below | STATED)[0] == "passed"


@pytest.mark.parametrize(
    ("cells", "column", "expected"),
    [
        ({"other": "VA-1"}, "other", "another instrument"),
        ({"other": "PG-1"}, "other", "an instrument that measures air velocity"),
        ({"other_value": ""}, "other_value", "what the other instrument showed"),
        ({"other_value": "x"}, "other_value", "a finite number"),
        ({"expanded_uncertainty": "0.1"}, "other_expanded_uncertainty", "of both values, or of neither"),
        (
            {"expanded_uncertainty": "0", "other_expanded_uncertainty": "1"},
            "expanded_uncertainty",
            "a finite number above 0",
        ),
        ({"low": "0"}, "low", "nothing: two instruments are compared by E_n"),
        ({"kind": "zero", "other": "", "low": "0", "high": "9"}, "other_value", "nothing without a comparison"),
        ({"other": "", "other_value": ""}, "low", "the lowest value that passes"),
    ],
)
def test_a_wrong_cell_is_named_and_nothing_is_written(small_records, cells, column, expected):
    before = ledger_head(small_records)
    with pytest.raises(BadInputError) as caught:
        check(small_records, TWO | cells)
    first = caught.value.findings[0]
    assert (first.column, expected in first.expected) == (column, True)
    assert ledger_head(small_records) == before


# --- check standard --------------------------------------------------------------------------------------------------------------

VALUES = [2.51, 2.49, 2.50, 2.52, 2.48, 2.50, 2.51, 2.50, 2.49, 2.51]
STANDARD = {"kind": "check standard", "unit": "m/s"}
FIRST = datetime.fromisoformat("2026-01-20T08:00+00:00")


def recorded(records, values, first=FIRST, **cells):
    """Check-standard values with typed limits, one a day."""
    for day, value in enumerate(values):
        typed = STANDARD | {"value": f"{value}", "low": "2", "high": "3"} | cells
        check(records, typed, at=first + timedelta(days=day))


def limits_by_hand(values):
    n, s = len(values), np.std(values, ddof=1)
    half = stats.t.ppf(1 - 0.0027 / 2, n - 1) * s * math.sqrt(1 + 1 / n)
    return np.mean(values) - half, np.mean(values) + half


@pytest.mark.parametrize("sign", [-1, 1])
def test_limits_come_from_the_values_that_passed(small_records, sign):
    recorded(small_records, VALUES)
    low, high = limits_by_hand(VALUES)
    at_the_limit = low if sign < 0 else high
    assert check(small_records, STANDARD | {"value": f"{at_the_limit - sign * 0.0005:.4f}"})[0] == "passed"
    assert allowed(small_records)
    result, _, basis = check(
        small_records, STANDARD | {"value": f"{at_the_limit + sign * 0.06:.4f}"}, at=AT + timedelta(minutes=1)
    )
    assert result == "failed"
    assert basis["count"] == 11
    assert not allowed(small_records)


def test_limits_are_kept_beside_the_value(small_records):
    recorded(small_records, VALUES)
    check(small_records, STANDARD | {"value": "2.50"})
    with database.reading(str(small_records)) as session:
        kept = checks_on_file(session, "VA-1")[-1]
    assert (float(kept["low"]), float(kept["high"])) == pytest.approx(limits_by_hand(VALUES), abs=1e-5)
    assert kept["basis"]["standard_deviation"] == pytest.approx(np.std(VALUES, ddof=1))


def test_too_few_values_make_no_limits(small_records):
    recorded(small_records, VALUES[:9])
    with pytest.raises(
        BadInputError, match=r"limits: 9 value\(s\) have passed since the latest adjustment, and 10 make a baseline"
    ):
        check(small_records, STANDARD | {"value": "2.50"})


def test_each_check_standard_has_its_own_baseline(small_records):
    recorded(small_records, VALUES)
    with pytest.raises(BadInputError, match=r"0 value\(s\)"):
        check(small_records, STANDARD | {"value": "2.50", "other": "RS-1"})


def test_values_in_another_unit_join_the_baseline(small_records):
    recorded(small_records, VALUES[:5])
    recorded(
        small_records,
        [value / 0.00508 for value in VALUES[5:]],
        FIRST + timedelta(days=5),
        unit="fpm",
        low="300",
        high="700",
    )
    assert check(small_records, STANDARD | {"value": "2.50"})[2]["mean"] == pytest.approx(np.mean(VALUES))


def test_values_that_failed_are_no_baseline(small_records):
    recorded(small_records, [9.0, *VALUES])
    assert check(small_records, STANDARD | {"value": "2.50"})[2]["mean"] == pytest.approx(np.mean(VALUES))


def test_an_adjustment_begins_a_new_baseline(small_records, tmp_path):
    recorded(small_records, VALUES)
    sheets = small_job()
    calibration = sheets["calibrations.csv"][0] | {
        "certificate": "C-201",
        "calibrated_on": "2026-02-10",
        "accepted_on": "2026-02-10",
    }
    compared = [row | {"certificate": "C-201", "phase": "as-left"} for row in sheets["comparisons.csv"][:7]]
    imported(small_records, write(tmp_path / "more", {"calibrations.csv": [calibration], "comparisons.csv": compared}))
    with pytest.raises(BadInputError, match=r"0 value\(s\) have passed since the latest adjustment"):
        check(small_records, STANDARD | {"value": "2.50"})


def test_equal_values_leave_room_for_the_digits(small_records):
    recorded(small_records, [2.50] * 10)
    assert check(small_records, STANDARD | {"value": "2.51"})[0] == "passed"  # one step of 0.01: 3.5 step/sqrt(12)
    assert check(small_records, STANDARD | {"value": "2.53"}, at=AT + timedelta(minutes=1))[0] == "failed"


# --- charts ----------------------------------------------------------------------------------------------------------------------


def chart(records, kind=None):
    with database.reading(str(records)) as session:
        return charts_of(session, "VA-1", kind)


def test_a_chart_tells_baseline_and_later_values_apart(small_records):
    recorded(small_records, [*VALUES, *VALUES, *VALUES[:8]])
    (found,) = chart(small_records)
    assert found.base.count == 25
    assert [one.in_baseline for one in found.checks] == [True] * 25 + [False] * 3
    assert [one.weighted_mean is None for one in found.checks] == [True] * 25 + [False] * 3
    assert not found.drifting


def test_what_scatters_between_days_is_told_from_what_scatters_within_one(small_records):
    """GUM H.5.2: five days of two values, 2.50 + offset and 0.02 more; F by scipy's analysis of variance."""
    offsets = (0.0, 0.05, -0.03, 0.04, -0.06)
    for day, offset in enumerate(offsets):
        morning = FIRST + timedelta(days=day)
        recorded(small_records, [round(2.50 + offset, 2)], morning)
        recorded(small_records, [round(2.52 + offset, 2)], morning + timedelta(hours=2))
    (found,) = chart(small_records)
    expected = stats.f_oneway(*([2.50 + offset, 2.52 + offset] for offset in offsets))
    assert (found.components.groups, found.components.observations) == (5, 10)
    assert found.components.f == pytest.approx(expected.statistic, rel=1e-9)
    assert found.components.differ == (expected.pvalue < 0.05)
    assert found.components.within == pytest.approx(math.sqrt(2e-4), rel=1e-9)
    assert found.components.between == pytest.approx(math.sqrt(np.var(offsets, ddof=1) - 1e-4), rel=1e-9)


def test_one_value_a_day_tells_no_components(small_records):
    recorded(small_records, VALUES)
    assert chart(small_records)[0].components is None


def test_a_small_shift_that_lasts_is_seen_though_every_value_passed(small_records):
    shifted = [value + 0.018 for value in VALUES]
    recorded(small_records, [*VALUES, *VALUES, *VALUES[:5], *shifted])
    (found,) = chart(small_records)
    assert all(one.passed for one in found.checks)
    assert found.drifting


def test_each_kind_has_its_chart(small_records):
    recorded(small_records, VALUES[:2])
    check(small_records, TWO | STATED)
    check(small_records, {"kind": "zero", "value": "0", "low": "-0.02", "high": "0.02", "unit": "m/s"})
    assert [(one.kind, one.other, one.unit) for one in chart(small_records)] == [
        ("check standard", None, "m/s"),
        ("comparison", "RS-1", "1"),
        ("zero", None, "m/s"),
    ]
    assert [one.kind for one in chart(small_records, "zero")] == ["zero"]


def test_who_signs_is_kept(small_records):
    with database.writing(str(small_records)) as session:
        record_check(session, "VA-1", AT, TWO | STATED, Signature("B. Person", NOW, "check add"))
    from calib.records.tables.ledger import LedgerEntry
    from tests.folders import select

    with database.reading(str(small_records)) as session:
        last = session.exec(select(LedgerEntry).order_by(LedgerEntry.sequence.desc())).first()
    assert (last.person, last.record_table) == ("B. Person", "intermediate_check")
