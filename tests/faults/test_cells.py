"""A short run of tests.faults.cells."""

from tests.faults.cells import cells


def test_mutated_cells_are_written_or_refused_by_name():
    outcomes, _ = cells(folders=60, each=4, seed=20261128)
    assert outcomes.total() == 60
    assert outcomes["refused"] > 0
