"""NIST/SEMATECH e-Handbook 2.2.2, 2.3.5.2 and 2.6.2: control limits of check standards (data class A, statistics class D)."""

import numpy as np
import pytest

from calib.confirmation.control_chart import (
    baseline,
    shewhart_limits,
    t_limits,
    weighted_mean_limits,
    weighted_means,
)
from tests.reference import agrees, numbers, printed

YEAR, VALUE = numbers("nist_ehandbook_mass", "check_standard")
STATISTICS = printed("nist_ehandbook_mass", "statistics")
BASE = baseline(VALUE[YEAR < 85.0])
LATER = VALUE[YEAR >= 85.0]


def test_the_baseline_before_1985():
    assert int(STATISTICS["K"]) == BASE.count
    assert agrees(BASE.mean, STATISTICS["mean"])
    assert agrees(BASE.standard_deviation, STATISTICS["s2"])


def test_limits_by_student_s_t():
    limits = t_limits(BASE, 0.05)
    assert agrees(limits.high, STATISTICS["UCL"])
    assert agrees(limits.low, STATISTICS["LCL"])


def test_single_values_since_then_hardly_show_the_shift():
    limits = shewhart_limits(BASE)
    assert LATER.size == int(STATISTICS["values after 1985"])
    assert sum(not limits.holds(value) for value in LATER) == int(STATISTICS["3 s out"])


def test_the_weighted_mean_shows_it():
    limits = weighted_mean_limits(BASE, 0.2)
    assert agrees(limits.low, STATISTICS["EWMA LCL"])
    assert agrees(limits.high, STATISTICS["EWMA UCL"])
    outside = [not limits.holds(mean) for mean in weighted_means(LATER, BASE, 0.2)]
    assert sum(outside) == int(STATISTICS["EWMA out"])


def test_limits_of_the_resistivity_check_standard_and_what_lies_beyond():
    (values,) = numbers("nist_ehandbook_resistivity", "check_standard")
    expected = printed("nist_ehandbook_resistivity_limits", "limits")
    limits = shewhart_limits(baseline(values), 2.0)
    assert agrees(limits.low, expected["LCL"])
    assert agrees(limits.high, expected["UCL"])
    outside = {f"out {place}": value for place, value in enumerate(values) if not limits.holds(value)}
    assert outside == pytest.approx({name: float(text) for name, text in expected.items() if name.startswith("out")})


def test_values_stand_in_the_order_of_their_times():
    assert np.all(np.diff(YEAR) >= 0)
