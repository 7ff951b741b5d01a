"""A short run of the kills of tests.faults.entry_kills."""

import sys

import pytest

from tests.faults.entry_kills import entry_kills


@pytest.mark.skipif(sys.platform == "win32", reason="there is no fork")
def test_nothing_is_lost_or_there_twice_however_a_sitting_ends(tmp_path):
    assert entry_kills(4, seed=16, folder=tmp_path) > 1000
