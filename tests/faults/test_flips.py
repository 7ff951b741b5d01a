"""A short run of tests.faults.flips: no bit that is turned over changes an answer unseen."""

from tests.faults.flips import flips


def test_no_flip_is_missed():
    verdicts, missed = flips(30, seed=20261128)
    assert missed == []
    assert verdicts["found"] > 0
    assert verdicts.total() == 30
