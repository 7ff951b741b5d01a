"""A short run of tests.faults.certificates."""

from tests.faults.certificates import certificates


def test_mutated_certificates_are_refused_or_read_to_what_they_say():
    outcomes = certificates(files=400, seed=20261129)
    assert outcomes.total() == 400
    assert outcomes["unsigned", "refused"] > 50
    assert outcomes["unsigned", "as it says"] > 0
    assert outcomes["signed", "refused"] > 100
