"""A short run of tests.faults.kills."""

import os

import pytest

from tests.faults.kills import kills


@pytest.mark.skipif(not hasattr(os, "fork"), reason="the writers are forks of the test")
def test_nothing_acknowledged_is_lost_when_writers_are_killed():
    acknowledged, there = kills(20, seed=20261128)
    assert 0 < acknowledged <= there <= acknowledged + 20
