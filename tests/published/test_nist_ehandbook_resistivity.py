"""NIST/SEMATECH e-Handbook 2.6.2: mean and level-2 standard deviation of a check standard (data class A, statistics class B).

Control limits from the same values: test_nist_ehandbook_control_charts.py.
"""

import math

from calib.uncertainty.estimate import type_a
from tests.reference import agrees, numbers, printed


def test_mean_and_standard_deviation_of_the_occasions():
    (values,) = numbers("nist_ehandbook_resistivity", "check_standard")
    found, statistics = type_a(list(values)), printed("nist_ehandbook_resistivity", "statistics")
    assert agrees(found.value, statistics["mean"])
    assert agrees(found.standard_uncertainty * math.sqrt(values.size), statistics["level-2 s"])
