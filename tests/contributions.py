"""Short ways to write a contribution of the budget in a test."""

import math

import numpy as np

from calib.uncertainty.propagation import Contribution


def contribution(parts, source=None, dof=math.inf, *, type_a=False):
    """Contribution of one influence; `parts` is (n,) or (n, m), each result its own source where none is given."""
    columns = np.asarray(parts, dtype=float).reshape(len(parts), -1)
    size = len(columns)
    sources = np.arange(size) if source is None else np.asarray(source, dtype=np.int64)
    return Contribution("influence", np.full(size, type_a), columns, sources, np.full(size, dof, dtype=float))


def line(u, dof=math.inf, *, type_a=False):
    """One line of the budget of a single result."""
    return contribution([u], dof=dof, type_a=type_a)
