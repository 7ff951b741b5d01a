"""Drift: the line against statsmodels' generalised least squares, and both views against processes that are known.

The tolerances of the drawn histories are the Monte Carlo error of the draws.
"""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
import statsmodels.api as sm

from calib.confirmation.drift import Drift, drift_line, time_to, wandering
from calib.confirmation.history import CalibrationErrors, Changes, ErrorPoints, changes_between, years_between
from tests.histories import FIRST, calibrated, points, yearly

X = 5.0  # indication
ERRORS = (0.11, 0.12, 0.16, 0.15, 0.19)
DAYS = (0, 350, 760, 1100, 1480)
OWN = (0.010, 0.012, 0.008, 0.011, 0.010)
REFERENCE = (0.020, 0.020, 0.015, 0.025, 0.020)


def history(laboratories, errors=ERRORS):
    rows = zip(DAYS, errors, laboratories, OWN, REFERENCE, strict=True)
    return [calibrated(day, e, laboratory=lab, own=d, reference=r) for day, e, lab, d, r in rows]


def statsmodels_fit(covariance, errors=ERRORS):
    years = np.array([(day - DAYS[-1]) / 365.25 for day in DAYS])
    return sm.GLS(np.array(errors), sm.add_constant(years), sigma=covariance).fit()


# --- exact values, by hand -------------------------------------------------------------------------------------------------------


def straight(*deviations, own=0.03, reference=0.04):
    """Calibrations 1461 days apart, four years, each 0.4 up but for deviations; sqrt(own^2 + reference^2) = 0.05."""
    return [
        calibrated(1461 * k, 0.4 * k + deviation, own=own, reference=reference, laboratory=f"{k}")
        for k, deviation in enumerate(deviations)
    ]


def test_a_line_by_hand():
    # Times -16, -12, -8, -4, 0 years; deviations 1, -2, 0, 2, -1 times 0.01 are orthogonal to both 1 and the time.
    found = drift_line(straight(0.01, -0.02, 0.0, 0.02, -0.01), X)
    assert found.since == FIRST + timedelta(days=5844)
    assert (found.calibrations, found.scale, found.degrees_of_freedom) == (5, 1.0, np.inf)
    assert found.coverage_factor == pytest.approx(2.0, rel=1e-12)
    assert found.years == pytest.approx([-16.0, -12.0, -8.0, -4.0, 0.0], abs=1e-12)
    assert found.errors == pytest.approx([0.01, 0.38, 0.8, 1.22, 1.59], abs=1e-12)
    assert found.expanded_uncertainties == pytest.approx([0.1] * 5, rel=1e-12)
    assert (found.level, found.rate) == (pytest.approx(1.6, rel=1e-12), pytest.approx(0.1, rel=1e-12))
    # sum (t + 8)^2 = 160; chi^2 = (1 + 4 + 4 + 1)e-4/0.05^2.
    assert found.chi_squared == pytest.approx(0.4, rel=1e-11)
    assert found.rate_uncertainty == pytest.approx(0.05 / np.sqrt(160.0), rel=1e-12)
    assert found.rate_band == pytest.approx(0.1 / np.sqrt(160.0), rel=1e-12)
    assert found.error([-8.0, 2.0]) == pytest.approx([0.8, 1.8], rel=1e-12)
    expected = 2.0 * 0.05 * np.sqrt([1 / 5, 1 / 5 + 64 / 160, 1 / 5 + 100 / 160])
    assert found.band([-8.0, 0.0, 2.0]) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(("chi_squared", "scale"), [(7.81, 1.0), (7.82, 7.82 / 3.0)])
def test_the_band_is_widened_from_the_95_percent_quantile_of_chi_squared_on(chi_squared, scale):
    # 7.815 for three degrees of freedom (any table).
    size = 0.05 * np.sqrt(chi_squared / 10.0)
    found = drift_line(straight(*(size * np.array([1.0, -2.0, 0.0, 2.0, -1.0]))), X)
    assert found.chi_squared == pytest.approx(chi_squared, rel=1e-10)
    assert found.scale == pytest.approx(scale, rel=1e-10)
    assert found.rate_uncertainty == pytest.approx(0.05 * np.sqrt(scale / 160.0), rel=1e-10)
    assert found.degrees_of_freedom == (np.inf if scale == 1.0 else 3.0)


@pytest.mark.parametrize(("chi_squared", "scale"), [(15.50, 1.0), (15.52, 1.94)])
def test_a_scale_between_one_and_two_widens_the_band_too(chi_squared, scale):
    # 15.507 for eight degrees of freedom (any table). Ten calibrations, the deviations of the line above, and the same again.
    pattern = np.array([1.0, -2.0, 0.0, 2.0, -1.0, 1.0, -2.0, 0.0, 2.0, -1.0])
    times = np.arange(10.0)
    pattern -= np.polyval(np.polyfit(times, pattern, 1), times)
    found = drift_line(straight(*(0.05 * np.sqrt(chi_squared / (pattern @ pattern)) * pattern)), X)
    assert found.chi_squared == pytest.approx(chi_squared, rel=1e-9)
    assert found.scale == pytest.approx(scale, rel=1e-9)
    assert found.degrees_of_freedom == (np.inf if scale == 1.0 else 8.0)
    # Times four years apart: sum (t - mean)^2 = 16 * 82.5.
    assert found.rate_uncertainty == pytest.approx(0.05 * np.sqrt(scale / 1320.0), rel=1e-9)


def test_three_calibrations_make_a_line():
    found = drift_line(straight(0.0, 0.0, 0.0), X)
    assert (found.calibrations, found.rate) == (3, pytest.approx(0.1, rel=1e-12))


@pytest.mark.parametrize(("years", "seen"), [(9.5, True), (9.95, True), (10.05, False), (10.5, False)])
def test_no_limit_is_looked_for_beyond_ten_years(years, seen):
    # 0.03 of the limit of 0.05 is left to the drift beside twice 0.01.
    found = time_to(0.05, drift(0.0, 0.03 / years, 0.01))
    assert found == (pytest.approx(years, abs=1.01 / 365.25) if seen else None)


def test_a_wandering_error_by_hand():
    # Changes 0.4, 0.8, 0.1 in 4, 8 and 4 years: b = 1.3/16; w^2 = (0.075^2/4 + 0.15^2/8 + 0.225^2/4)/2.
    past = walked([0.4, 0.8, 0.1], [1461, 2922, 1461])
    found = wandering(past, changes_between(past, X), X)
    assert (found.since, found.calibrations, found.degrees_of_freedom) == (past[-1].on, 4, 2.0)
    assert (found.level, found.rate) == (pytest.approx(1.3, rel=1e-12), pytest.approx(0.08125, rel=1e-12))
    assert found.rate_uncertainty == pytest.approx(np.sqrt(0.0084375 / 16.0), rel=1e-12)
    assert round(found.coverage_factor, 2) == 4.53  # GUM Table G.2, two degrees of freedom
    assert found.variance(np.array([2.0, -2.0, 16.0])) == pytest.approx([0.0189843750, 0.0189843750, 0.27], rel=1e-12)


# --- against another hand, and against what is known -----------------------------------------------------------------------------


def test_with_a_laboratory_for_each_certificate_the_line_is_that_of_generalised_least_squares():
    found = drift_line(history("ABCDE"), X)
    fit = statsmodels_fit(np.diag(np.array(OWN) ** 2 + np.array(REFERENCE) ** 2))
    covariance = fit.cov_params() / fit.scale  # as stated, not from the residuals
    assert [found.level, found.rate] == pytest.approx(fit.params, rel=1e-10)
    assert found.rate_uncertainty == pytest.approx(np.sqrt(covariance[1, 1]), rel=1e-10)
    assert found.band(0.0) == pytest.approx(2.0 * np.sqrt(covariance[0, 0]), rel=1e-10)
    assert found.chi_squared == pytest.approx(fit.scale * 3.0, rel=1e-10)
    assert (found.scale, found.degrees_of_freedom) == (1.0, np.inf)


def test_a_laboratory_that_may_repeat_its_reference_part_does_not_bring_the_level_below_it():
    one, each = drift_line(history("AAAAA"), X), drift_line(history("ABCDE"), X)
    assert one.rate_uncertainty == pytest.approx(each.rate_uncertainty)  # drawn anew is the worse for the slope
    assert np.all(one.band(np.linspace(-4.0, 0.0, 9)) >= 2.0 * 0.9 * min(REFERENCE))
    assert one.band(-2.0) > 1.5 * each.band(-2.0)


@pytest.mark.parametrize("repeated", [False, True])
def test_the_band_covers_the_error_whether_the_reference_part_is_repeated_or_not(repeated):
    generator = np.random.default_rng(20260305)
    trials, rate, level = 600, 0.03, 0.2
    years = np.array([(day - DAYS[-1]) / 365.25 for day in DAYS])
    inside = np.zeros(3)
    for _ in range(trials):
        reference = generator.normal() if repeated else generator.normal(size=5)
        errors = level + rate * years + generator.normal(size=5) * OWN + reference * np.array(REFERENCE)
        found = drift_line(history("AAAAA", errors), X)
        inside += [
            abs(found.rate - rate) <= found.rate_band,
            abs(found.level - level) <= found.band(0.0),
            abs(found.error(1.0) - level - rate) <= found.band(1.0),
        ]
    assert np.all(inside / trials >= 0.9545 - 3.0 * np.sqrt(0.9545 * 0.0455 / trials))


def test_a_known_drift_is_recovered():
    generator = np.random.default_rng(1)
    rates = [
        drift_line(yearly(*(0.05 * np.arange(6) + generator.normal(0, 0.02, 6)), own=0.02, reference=1e-6), X).rate
        for _ in range(800)
    ]
    assert np.mean(rates) == pytest.approx(0.05, abs=4.0 * np.std(rates) / np.sqrt(300))


def test_adjustments_are_taken_out():
    steady = yearly(0.00, 0.10, 0.20, 0.30)
    adjusted = [
        calibrated(0, 0.0),
        calibrated(365, 0.10, left=0.02),
        calibrated(730, 0.12),
        calibrated(1096, 0.22, left=-0.01),
    ]
    one, other = drift_line(steady, X), drift_line(adjusted, X)
    assert other.rate == pytest.approx(one.rate, rel=1e-3)  # the weights differ a little
    assert other.level == pytest.approx(one.level - 0.31, abs=1e-4)  # as it was left at last
    assert other.rate_uncertainty > one.rate_uncertainty  # each adjustment is compared twice


def test_errors_that_scatter_beyond_their_uncertainties_widen_the_band():
    found = drift_line(yearly(0.0, 0.3, -0.2, 0.4, 0.0), X)
    assert found.scale == pytest.approx(found.chi_squared / 3.0)
    assert found.scale > 1.0
    assert (found.degrees_of_freedom, round(found.coverage_factor, 2)) == (3.0, 3.31)  # GUM Table G.2
    plain = drift_line(yearly(0.0, 0.03, -0.02, 0.04, 0.0), X)
    assert found.rate_uncertainty == pytest.approx(plain.rate_uncertainty * np.sqrt(found.scale))


def test_two_calibrations_make_no_line():
    assert drift_line(yearly(0.0, 0.1), X) is None
    assert drift_line([calibrated(0, 0.0), calibrated(0, 0.1), calibrated(365, 0.1)], X) is None
    assert drift_line(yearly(0.0, 0.1, 0.2, indications=(1.0, 2.0)), X) is None


# --- changes ---------------------------------------------------------------------------------------------------------------------


def walked(steps, days):
    """A history whose errors are exactly known, changing by steps."""
    error = np.r_[0.0, np.cumsum(steps)]
    when = np.r_[0, np.cumsum(days)]
    x = np.array([X])
    return [
        CalibrationErrors(
            FIRST + timedelta(days=int(day)), f"C-{day}", "L", one := ErrorPoints(x, np.array([e]), 0 * x, 0 * x), one
        )
        for day, e in zip(when, error, strict=True)
    ]


def test_changes_of_a_walk_give_its_drift_and_a_band_that_covers_what_comes():
    generator = np.random.default_rng(20260307)
    trials, days, rate, wander, ahead = 1500, np.array([300, 420, 365, 380, 340]), 0.05, 0.1, 0.8
    rates, inside = [], 0
    for _ in range(trials):
        years = days / 365.25
        past = walked(rate * years + wander * np.sqrt(years) * generator.normal(size=5), days)
        found = wandering(past, changes_between(past, X), X)
        to_come = float(past[-1].as_left.error[0]) + rate * ahead + wander * np.sqrt(ahead) * generator.normal()
        rates.append(found.rate)
        inside += abs(to_come - found.error(ahead)) <= found.band(ahead)
    total = days.sum() / 365.25
    assert np.mean(rates) == pytest.approx(rate, abs=4.0 * wander / np.sqrt(total * trials))
    # Student's t is exact here: neither fewer nor more.
    assert inside / trials == pytest.approx(0.9545, abs=4.0 * np.sqrt(0.9545 * 0.0455 / trials))


def test_of_two_indications_the_drift_is_that_of_the_first():
    past = walked([0.4, 0.8, 0.1], [1461, 2922, 1461])
    first, other = changes_between(past, X).change, np.array([[9.0], [np.nan], [9.0]])
    seen = Changes(tuple(one.on for one in past[1:]), np.array([4.0, 8.0, 4.0]), np.hstack([first, other]))
    assert wandering(past, seen, X).rate == pytest.approx(0.08125, rel=1e-12)


def test_where_the_instrument_was_left_at_another_indication_alone_nothing_is_said_of_this():
    past = walked([0.4, 0.8, 0.1], [1461, 2922, 1461])
    past[-1] = replace(past[-1], as_left=points(0.2, (50.0, 100.0)))
    assert wandering(past, changes_between(past, X), X) is None


def test_two_changes_make_no_drift():
    past = walked([0.1, 0.1], [365, 365])
    assert wandering(past, changes_between(past, X), X) is None


# --- time to a limit -------------------------------------------------------------------------------------------------------------


def drift(level, rate, u):
    return Drift(FIRST, level, rate, 0.0, 2.0, np.inf, 3, lambda at: np.full_like(at, u**2))


@pytest.mark.parametrize(
    ("level", "rate", "years"),
    [
        (0.0, 0.01, 3.0),  # 0.01 t + 2 * 0.01 = 0.05
        (0.0, -0.01, 3.0),
        (0.02, 0.01, 1.0),
        (-0.01, 0.01, 4.0),  # it goes through zero first
        (0.04, 0.01, 0.0),
        (0.0, 0.001, None),
    ],
)
def test_the_limit_is_reached_where_error_and_band_together_meet_it(level, rate, years):
    found = time_to(0.05, drift(level, rate, 0.01))
    assert found == (None if years is None else pytest.approx(years, abs=1.01 / 365.25))


def test_a_limit_that_is_met_just_when_the_calibration_is_made_is_reached_then():
    # 0.25 + 2 x 0.125, exact in binary.
    assert time_to(0.5, drift(0.25, 0.0, 0.125)) == 0.0


def test_what_is_corrected_for_is_not_held_against_the_limit():
    assert time_to(0.05, drift(0.4, 0.01, 0.01), corrected=0.4) == pytest.approx(3.0, abs=1.01 / 365.25)


def test_the_last_calibration_is_where_time_begins():
    past = yearly(0.0, 0.1, 0.2, 0.3)
    assert drift_line(past, X).since == past[-1].on
    assert drift_line(past, X).years[0] == pytest.approx(years_between(past[-1].on, past[0].on))
