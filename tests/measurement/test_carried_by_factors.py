"""Flows of some readings among others: what each is, and how it is known, does not hang on who stands beside."""

import pytest

from calib.measurement import flows
from calib.measurement.carried_by_factors import first_of
from calib.procedures.measure.results import results_of_flows
from tests.arrays import readings, single


def test_what_is_known_by_limits_stays_so_beside_the_traverses_of_other_jobs():
    """A change within limits has short tails (JCGM 101, 6.4.2): beside few observations it makes a smaller k than a normal one."""
    alone = readings(single(2.0, u=0.03, limit=0.05, dof=2))
    beside = readings(single(2.0, u=0.03, limit=0.05, dof=2), single(3.0))
    expected = results_of_flows(flows(alone)).expanded_uncertainty
    found = results_of_flows(first_of(flows(beside), 1, 1)).expanded_uncertainty
    assert found == pytest.approx(expected, rel=1e-12)
