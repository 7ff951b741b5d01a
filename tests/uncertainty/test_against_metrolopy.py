"""The law of propagation beside metrolopy, a general-purpose library that carries every influence through the arithmetic."""

import math
import warnings

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.uncertainty.propagation import combine, combine_totals
from tests.contributions import contribution

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # it warns of optional parts that are not installed
    from metrolopy import gummy

relative = st.floats(0.001, 0.1)
flow = st.floats(0.01, 2.0)


@given(st.lists(st.tuples(flow, relative), min_size=2, max_size=6), relative, st.integers(2, 30))
def test_flows_with_a_shared_factor_and_their_total(outlets, shared, dof):
    # q_i = q (1 + own_i) (1 + factor), the factor shared by all of them.
    factor = gummy(1.0, shared)
    flows = [q * gummy(1.0, own, dof=dof) * factor for q, own in outlets]
    own = contribution([q * u for q, u in outlets], dof=dof, type_a=True)
    common = contribution([q * shared for q, _ in outlets], source=np.zeros(len(outlets), dtype=np.int64))
    single = combine([own, common])
    total = combine_totals([own, common], np.zeros(len(outlets), dtype=np.int64), np.ones(len(outlets)), 1)
    assert single.standard_uncertainty == pytest.approx([one.u for one in flows], rel=1e-12)
    summed = sum(flows[1:], flows[0])
    assert float(total.standard_uncertainty[0]) == pytest.approx(summed.u, rel=1e-12)
    assert float(single.degrees_of_freedom[0]) == pytest.approx(float(flows[0].dof), rel=1e-12) or math.isinf(
        flows[0].dof
    )
