"""Stability of a reading from its instrument's history: as worked out by hand from the certificates, and when it counts.

Expected values: the formula of calib.confirmation.stability written out here on the typed numbers (numpy.interp between points).
"""

import math
from datetime import date, timedelta

import numpy as np
import pytest
from sqlalchemy import event
from sqlmodel import select

from calib.procedures.fleet.ready import ready
from calib.procedures.fleet.record_event import record_event
from calib.procedures.measure.distributions import model_of
from calib.procedures.measure.evaluate import evaluate
from calib.procedures.measure.reading_in_job import reading_in_job
from calib.procedures.measure.stability import hidden_change, stability_at
from calib.procedures.on_record.errors_of_indication import history_of
from calib.procedures.on_record.in_force import on_record_of
from calib.records import database
from calib.records.tables.instruments import Instrument
from calib.uncertainty.distributions import StudentT
from tests.folders import NOW, SIGNED, imported, only, records_of, write
from tests.job_with_history import DAYS, SHIFTS, errors, sheets_with_history
from tests.procedures.fleet.test_interval_review import typed_again

OBSERVED = date(2026, 3, 5)
LAST = date(2026, 1, 12)
X = 4.20  # indication of the reading at S-1
MPE = 0.01 * X + 0.03


def by_hand(x=X, days=DAYS, shifts=SHIFTS, on=OBSERVED):
    """Standard uncertainty of the indication and degrees of freedom."""
    when = [*(date.fromisoformat(day) for day in days), LAST]
    error = [np.interp(x, *errors(shift)) for shift in (*shifts, 0.0)]
    change = np.diff(error)
    years = np.diff([day.toordinal() for day in when]) / 365.25
    m, mean = change.size, years.mean()
    s = math.sqrt(np.sum(change**2 * mean / years) / m)
    share = (on - LAST).days / 365.25 / mean
    return s * max(math.sqrt(share), share), 2.0 * m**2 / (3.0 * m - 1.0)


def stability(records, outlet="S-1"):
    """Of a reading's velocity: u, degrees of freedom, type, source."""
    with database.reading(str(records)) as session:
        found = evaluate(session, "J-1", NOW)
    row = next(row for row, one in enumerate(found.measured) if one.outlet.outlet == outlet)
    (one,) = [each for each in found.flows.velocity_contributions if each.name == "stability"]
    return math.sqrt(one.variance[row]), one.degrees_of_freedom[row], bool(one.type_a[row]), int(one.source[row])


def test_stability_comes_from_a_history_of_four_intervals(tmp_path):
    u, dof = by_hand()
    found = stability(records_of(tmp_path, sheets_with_history()))
    assert found[:3] == (pytest.approx(u, rel=1e-3), pytest.approx(dof), True)


def test_readings_with_the_calibration_share_it(tmp_path):
    records = records_of(tmp_path, sheets_with_history())
    assert stability(records, "S-1")[3] == stability(records, "S-2")[3] != stability(records, "R-1")[3]


@pytest.mark.parametrize("count", [0, 1, 2])
def test_fewer_than_three_intervals_leave_the_limits(tmp_path, count):
    records = records_of(tmp_path, sheets_with_history(DAYS[:count], SHIFTS[:count]))
    assert stability(records)[:3] == (pytest.approx(MPE / math.sqrt(3)), math.inf, False)


def test_three_intervals_are_enough(tmp_path):
    records = records_of(tmp_path, sheets_with_history(DAYS[1:], SHIFTS[1:]))
    u, dof = by_hand(days=DAYS[1:], shifts=SHIFTS[1:])
    assert stability(records)[:3] == (pytest.approx(u, rel=1e-3), pytest.approx(dof), True)


def test_a_reading_on_the_day_of_the_calibration_counts_as_one_day_after_it(tmp_path):
    with database.reading(str(records_of(tmp_path, sheets_with_history()))) as session:
        instrument = session.exec(select(Instrument).where(Instrument.tag == "VA-1")).one()
        records = on_record_of(session, [instrument.id])
        calibration = next(one for one in records.register["VA-1"].calibrations if one.calibrated_on == LAST)
        found = stability_at(records, instrument, calibration, [LAST, LAST + timedelta(days=1)], [X, X])
    u, _ = by_hand(on=LAST + timedelta(days=1))
    assert found.half_width == pytest.approx([math.sqrt(3) * u] * 2, rel=1e-3)


@pytest.mark.parametrize(("step", "unit", "expected"), [("0.01", "m/s", 0.01), ("1", "fpm", 0.00508)])
def test_what_two_digital_steps_hide_of_a_change(step, unit, expected):
    """The difference of two indications, each rectangular within a step (GUM F.2.2.1): sqrt(2) step/sqrt(12)."""
    instrument = Instrument(tag="V", quantity="air velocity", unit=unit, resolution=step)
    assert hidden_change(instrument) == pytest.approx(math.sqrt(2 / 12) * expected, rel=1e-12)


def with_limits(sheets):
    sheets["instruments.csv"] = [
        row | {"stability_percent": "0.5", "stability_absolute": "", "stability_basis": "maker's statement"}
        for row in sheets["instruments.csv"]
    ]
    return sheets


def test_history_counts_before_stated_limits_and_stated_limits_before_the_maximum_permissible_error(tmp_path):
    with_history = records_of(tmp_path / "with", with_limits(sheets_with_history()))
    without = records_of(tmp_path / "without", with_limits(sheets_with_history((), ())))
    assert stability(with_history)[0] == pytest.approx(by_hand()[0], rel=1e-3)
    assert stability(without)[0] == pytest.approx(0.005 * X / math.sqrt(3))


def test_certificates_that_nobody_accepted_are_no_history_of_a_reading(tmp_path):
    assert stability(records_of(tmp_path, sheets_with_history(accepted=False)))[2] is False


def test_a_later_certificate_does_not_move_a_reading(tmp_path):
    records = records_of(tmp_path, sheets_with_history())
    before = stability(records)
    later = sheets_with_history(("2026-03-06",), (0.05,))
    added = {
        name: [row for row in rows if row["certificate"].startswith("H-")]
        for name, rows in only(later, "calibrations.csv", "comparisons.csv").items()
    }
    imported(records, write(tmp_path / "later", added))
    assert stability(records)[:3] == before[:3]


def test_what_a_repair_changed_is_not_counted(tmp_path):
    records = records_of(tmp_path, sheets_with_history())
    with database.writing(str(records)) as session:
        at = NOW.replace(year=2024, month=6)
        record_event(session, "VA-1", "repair", at, "new bearing", SIGNED)
        instrument = session.exec(select(Instrument).where(Instrument.tag == "VA-1")).one()
        assert [one.repaired_before for one in history_of(session, instrument)] == [False, False, False, True, False]
    assert stability(records)[1] == pytest.approx(2.0 * 9 / 8)  # three intervals


def test_the_budget_names_what_stability_rests_on(tmp_path):
    records = records_of(tmp_path, sheets_with_history())
    with database.reading(str(records)) as session:
        at = NOW.replace(day=5)
        (found,) = ready(session, ["VA-1"], at, NOW, "4.2 m/s")
        assert found.at.stability_basis == "history of 4 intervals between calibrations, 2022-01-10 to 2026-01-12"
        (other,) = ready(session, ["VA-2"], at, NOW, "800 fpm")
        assert other.at.stability_basis == "maximum permissible error"


def test_a_budget_in_which_a_history_rules_is_not_called_rectangular(tmp_path):
    sheets = sheets_with_history(shifts=(0.9, -0.4, 0.8, -0.4))
    sheets["comparisons.csv"] = [row | {"repeatability": "", "observations": ""} for row in sheets["comparisons.csv"]]
    records = records_of(tmp_path, sheets)
    with database.reading(str(records)) as session:
        from calib.procedures.measure.budget import budget_of

        found = reading_in_job(session, 1, NOW)
        assert found.evaluation.flow.combined.variance_percent[found.row].max() > 90
        assert budget_of(found).dominant is None


def test_monte_carlo_draws_a_history_from_student_s_t(tmp_path):
    records = records_of(tmp_path, sheets_with_history())
    with database.reading(str(records)) as session:
        found = reading_in_job(session, 1, NOW)
        inputs, model = model_of(found.evaluation.readings, found.row)
        assert ("stability", 0) in model.places
    (one,) = [one for one in inputs if isinstance(one, StudentT) and one.degrees_of_freedom == pytest.approx(32 / 11)]
    half_width = model.reading.instrument.stability[0]
    assert one.scale * half_width == pytest.approx(by_hand()[0], rel=1e-3)


def statements(records, job="J-1"):
    """How often the comparisons are asked for in an evaluation."""
    asked = []
    with database.reading(str(records)) as session:
        event.listen(session.get_bind(), "before_cursor_execute", lambda *arguments: asked.append(arguments[2]))
        evaluate(session, job, NOW)
    return sum("FROM comparison" in one for one in asked)


IN_HOUSE = 1  # those of VA-2 are read: they say what they bear of the standard behind them


def test_a_job_without_history_asks_nothing_more_of_the_records(small_records):
    assert statements(small_records) == IN_HOUSE


def test_a_history_is_read_once_for_all_readings(tmp_path):
    assert statements(records_of(tmp_path, sheets_with_history())) == IN_HOUSE + 1


def test_an_instrument_that_indicates_another_quantity_has_no_errors_of_indication(small_records):
    wire = Instrument(id=1, tag="HW-1", quantity="air velocity", indication_quantity="voltage")
    with database.reading(str(small_records)) as session:
        assert history_of(session, wire) == ()
        vane = session.exec(select(Instrument).where(Instrument.tag == "VA-1")).one()
        assert len(history_of(session, vane)) == 1


def test_a_certificate_that_was_typed_again_ends_one_interval(tmp_path):
    """The gate takes the one recorded later; the history up to it is that of the days, not of the pieces of paper."""
    once = stability(records_of(tmp_path / "once", sheets_with_history()))
    again = records_of(tmp_path / "again", typed_again(sheets_with_history()))
    assert stability(again) == once
    with database.reading(str(again)) as session:
        (answer,) = ready(session, ["VA-1"], NOW, NOW, "4.20 m/s")
    assert answer.decision.calibration.certificate == "C-101 (corrected)"
    assert answer.at.stability_basis.startswith(f"history of {len(DAYS)} intervals")
