"""A short run of tests.faults.workbooks."""

from tests.faults.workbooks import workbooks


def test_mutated_workbooks_are_refused_or_read_to_what_they_hold():
    outcomes = workbooks(files=200, seed=20261129)
    assert outcomes.total() == 200
    for kind in (".xlsx", ".ods"):
        assert outcomes[kind, "refused"] > 20
        assert outcomes[kind, "read, every row"] > 20
