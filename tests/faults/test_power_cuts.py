"""A short run of tests.faults.power_cuts, and that it would tell: without a sync before it is acknowledged, a record is lost."""

import random

import pytest

from tests.faults.power_cuts import Done, cuts, left_by


def test_nothing_acknowledged_is_lost_when_the_power_is_cut():
    more, cut = cuts(40, seed=20261129)
    assert 0 <= more < cut == 40


@pytest.mark.parametrize(("synced", "lost"), [(True, False), (False, True)])
def test_what_was_not_synced_may_be_lost_or_torn(synced, lost):
    done = [
        Done("r", written=b"a" * 2048, place=512),
        *([Done("r", synced=True)] if synced else []),
        Done("", acknowledged=1),
    ]
    laid_out = [left_by(done, {"r": b"-" * 512}, random.Random(seed)) for seed in range(50)]  # noqa: S311 (no secret)
    assert {acknowledged for _, acknowledged in laid_out} == {1}
    torn = [files for files, _ in laid_out if files != {"r": b"-" * 512 + b"a" * 2048}]
    assert bool(torn) is lost
    assert all(set(files["r"]) <= set(b"-a\0") for files in torn)


def test_a_removal_that_was_not_synced_may_not_have_happened():
    done = [Done("r-wal", removed=True)]
    laid_out = [left_by(done, {"r-wal": b"x"}, random.Random(seed))[0] for seed in range(50)]  # noqa: S311 (no secret)
    assert {"r-wal": b"x"} in laid_out
    assert {} in laid_out
