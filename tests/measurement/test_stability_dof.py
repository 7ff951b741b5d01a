"""Stability that comes from statistics: Type A with its degrees of freedom; expected values by the law of propagation, by hand."""

from dataclasses import replace

import numpy as np
import pytest

from calib.measurement import flows
from calib.measurement.ways import VELOCITY_PRESSURE
from calib.uncertainty.propagation import combine
from tests.arrays import correction, readings, single


def contribution(given, name="stability"):
    return next(one for one in flows(given).contributions if one.name == name)


PLAIN = readings(single(4.0, limit=0.03), single(5.0, limit=0.06))


def test_limits_of_change_are_type_b_and_taken_as_known():
    one = contribution(PLAIN)
    assert one.type_a.tolist() == [False, False]
    assert one.degrees_of_freedom.tolist() == [np.inf, np.inf]


def test_a_history_is_type_a_with_its_degrees_of_freedom():
    one = contribution(replace(PLAIN, stability_dof=np.array([2.25, np.inf])))
    assert one.type_a.tolist() == [True, False]
    assert one.degrees_of_freedom.tolist() == [2.25, np.inf]


def test_the_uncertainty_is_the_same_for_the_same_half_width():
    plain, history = (flows(one) for one in (PLAIN, replace(PLAIN, stability_dof=np.array([2.25, 2.25]))))
    u = [combine(one.contributions).standard_uncertainty for one in (plain, history)]
    assert u[0] == pytest.approx(u[1])


def test_few_degrees_of_freedom_lower_the_effective_ones():
    alone = readings(single(4.0, limit=0.3))
    history = flows(replace(alone, stability_dof=np.array([2.25])))
    share = (
        contribution(replace(alone, stability_dof=np.array([2.25]))).variance
        / combine(history.contributions).standard_uncertainty ** 2
    )
    expected = 2.25 / share**2
    assert combine(history.contributions).degrees_of_freedom == pytest.approx(expected, rel=1e-12)


def test_a_probe_s_history_gives_its_line_degrees_of_freedom():
    with_probe = readings(
        single(60.0, way=VELOCITY_PRESSURE, probe=1, probe_limit=0.01),
        single(60.0, way=VELOCITY_PRESSURE),
        curves=[correction(), correction()],
    )
    dof = np.array([3.0, np.inf])
    history = replace(with_probe, probes=replace(with_probe.probes, stability_dof=dof))
    plain, own = contribution(with_probe, "probe"), contribution(history, "probe")
    assert own.variance == pytest.approx(plain.variance)
    assert own.degrees_of_freedom[0] < plain.degrees_of_freedom[0]
