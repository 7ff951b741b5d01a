"""A short run of tests.faults.cluster, where its programs are; it takes minutes and is no part of CI."""

import os

import pytest

from tests.faults.cluster import KILLED, NoClusterError, disturbed_cluster


@pytest.mark.skipif(bool(os.environ.get("CI")), reason="a cluster is no part of CI: python -m tests.faults.cluster 20")
def test_a_primary_that_is_killed_takes_nothing_acknowledged_with_it(tmp_path):
    try:
        seen = disturbed_cluster(1, seed=19, folder=tmp_path)
    except NoClusterError as error:
        pytest.skip(str(error))
    assert 0 < seen.acknowledged <= seen.there
    assert len(seen.pauses[KILLED]) == 1
