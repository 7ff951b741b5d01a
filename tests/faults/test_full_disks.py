"""A short run of tests.faults.full_disks."""

import os

import pytest

from calib.records import database
from tests.command import calib
from tests.faults.full_disks import COMMANDS, full_disks, in_small_file_system, prepared, ran, words_of

forked = pytest.mark.skipif(not hasattr(os, "fork"), reason="commands run in forks of the test")


@forked
def test_without_room_a_command_is_done_or_says_so_and_leaves_nothing_half():
    outcomes = full_disks(len(COMMANDS), seed=20261129)
    assert outcomes.total() == len(COMMANDS)
    assert {status for _, _, status in outcomes} == {0, 2}


@forked
@pytest.mark.parametrize("room", [800_000, 1_100_000, 1_300_000, 4_000_000])
def test_records_are_said_to_be_made_where_all_of_them_are_on_the_disk(tmp_path, room, monkeypatch, by_migrations):
    """There was room for the log of SQLite, and none to put its pages in their places: the log was taken away with them."""
    monkeypatch.setattr(database, "_migrate", by_migrations)
    with in_small_file_system(prepared(tmp_path / "source"), room) as folder:
        if folder is None:
            pytest.skip("this process may mount no file system")
        status, _, err = ran(words_of("init", folder))
        made = list((folder / "new").iterdir())
        assert (status, len(made)) == ((0, 1) if room > 2_000_000 else (2, 0)), err
        if made:
            assert calib("verify", records=made[0]).status == 0
