"""A short run of tests.faults.full_disks."""

import os

import pytest

from tests.faults.full_disks import COMMANDS, full_disks


@pytest.mark.skipif(not hasattr(os, "fork"), reason="commands run in forks of the test")
def test_without_room_a_command_is_done_or_says_so_and_leaves_nothing_half():
    outcomes = full_disks(len(COMMANDS), seed=20261129)
    assert outcomes.total() == len(COMMANDS)
    assert {status for _, _, status in outcomes} == {0, 2}
