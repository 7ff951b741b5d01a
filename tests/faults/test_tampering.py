"""A short run of tests.faults.tampering: nothing that is changed by SQL is missed."""

from tests.faults.tampering import tampering


def test_no_change_past_the_program_is_missed():
    plain, anew, missed = tampering(20, seed=20261129)
    assert missed == []
    assert plain["found"] > 0
    assert anew["found"] > 0
    assert plain.total() == 20
