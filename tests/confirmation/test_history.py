"""History of errors: interpolated between neighbouring points, changes from as left to as found.

Expected values by hand from the definitions (VIM 4.20, instrumental drift).
"""

import numpy as np
import pytest

from calib.confirmation.history import changes_between, error_points, one_a_day, unbroken, years_between
from tests.histories import FIRST, calibrated, points, yearly


def test_an_error_between_two_points_is_interpolated():
    assert points((0.1, 0.4), (1.0, 4.0)).at(2.0).error == pytest.approx(0.2)


@pytest.mark.parametrize(("x", "error"), [(0.25, 0.1), (0.2499, np.nan), (4.75, 0.4), (4.751, np.nan), (1.0, 0.1)])
def test_a_certificate_reaches_a_quarter_of_a_gap_beyond_its_last_points(x, error):
    assert points((0.1, 0.4), (1.0, 4.0)).at(x).error == pytest.approx(error, nan_ok=True)


def test_a_single_point_speaks_for_its_own_indication_only():
    one = points(0.1, (2.0,))
    assert [float(one.at(x).error) for x in (1.999, 2.0, 2.001)] == pytest.approx([np.nan, 0.1, np.nan], nan_ok=True)


def test_points_at_one_indication_are_averaged_and_keep_the_largest_reference_part():
    found = error_points(
        np.array([1.0, 1.2, 5.0]), np.array([1.1, 1.1, 5.0]), np.array([0.03, 0.04, 0.01]), np.array([0.1, 0.2, 0.3])
    )
    assert found.indication.tolist() == [1.1, 5.0]
    assert found.error == pytest.approx([0.0, 0.0], abs=1e-15)
    assert found.independent == pytest.approx([0.025, 0.01])
    assert found.reference.tolist() == [0.2, 0.3]


def test_a_change_goes_from_as_left_to_as_found():
    history = [calibrated(0, 0.5, left=0.0), calibrated(365, 0.2, left=0.05), calibrated(730, -0.1)]
    assert changes_between(history, [1.0, 10.0]).change.tolist() == pytest.approx(
        np.array([[0.2, 0.2], [-0.15, -0.15]])
    )


def test_an_interval_without_comparisons_as_found_or_with_a_repair_does_not_count():
    history = [
        calibrated(0, 0.0),
        calibrated(100, None, left=0.1),
        calibrated(200, 0.2),
        calibrated(300, 0.9, repaired=True),
    ]
    seen = changes_between(history, 1.0)
    assert seen.change.ravel() == pytest.approx([0.1])
    assert seen.until == (history[2].on,)


def test_a_change_is_unknown_where_one_of_the_certificates_does_not_reach():
    history = [calibrated(0, 0.0, indications=(1.0, 5.0)), calibrated(365, 0.1)]
    assert np.isnan(changes_between(history, [1.0, 9.0]).change).tolist() == [[False, True]]


def test_no_history_has_no_changes():
    assert changes_between([], [1.0, 2.0]).change.shape == (0, 2)


def test_years_are_of_365_and_a_quarter_days():
    assert years_between(FIRST, FIRST.replace(year=FIRST.year + 4)) == 4.0


def test_a_history_is_unbroken_back_to_the_certificate_after_which_something_is_not_known():
    history = [calibrated(0, 0.0), *(calibrated(day, None if day == 200 else 0.1, left=0.1) for day in (100, 200, 300))]
    assert [one.certificate for one in unbroken(history, 1.0)] == ["C-200", "C-300"]


def test_a_history_is_broken_where_a_certificate_does_not_reach_the_indication():
    history = [*yearly(0.0, 0.1, indications=(1.0, 5.0)), calibrated(900, 0.2), calibrated(1200, 0.3)]
    assert len(unbroken(history, 2.0)) == 4
    assert len(unbroken(history, 9.0)) == 2


def test_of_two_certificates_of_one_day_the_last_counts_and_a_repair_before_both_is_kept():
    wrong, right = calibrated(365, 9.9, repaired=True), calibrated(365, 0.2)
    kept = one_a_day([calibrated(0, 0.1), wrong, right, calibrated(730, 0.3)])
    assert [float(one.as_left.error[0]) for one in kept] == [0.1, 0.2, 0.3]
    assert [one.repaired_before for one in kept] == [False, True, False]
