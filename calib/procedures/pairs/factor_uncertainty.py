"""An outlet factor found in the field with its uncertainty, by which calibration it is used with."""

import numpy as np

from calib.procedures.measure.results import Results, results
from calib.records.tables.factors import FoundFactor
from calib.uncertainty.coverage import COVERAGE_PROBABILITY
from calib.uncertainty.propagation import Contribution, combine

SAME, OTHER = 0, 1  # rows of `factor_results`: used with the same calibration, and after a recalibration


def factor_results(factor: FoundFactor) -> Results:
    """K [1] with its uncertainty, in two rows: used with the SAME calibration, and with an OTHER one.

    u_rel^2 = (s/(sqrt(n) K))^2 + u_reference^2 + u_instrument^2: spread of the pairs, what the traverses share, and the calibration
    error of the instrument at the face, as a common relative error. That one is 0 with the SAME calibration: an instrument that
    reads high made the factor low, so that v K is right. It holds as far as the error is the same fraction at both velocities; the
    reading then bears no calibration term of its own either, and only a drift since. With an OTHER one it stays, and the reading
    bears its own besides.
    """
    dof = np.inf if factor.degrees_of_freedom is None else factor.degrees_of_freedom
    rows = (
        _contribution("spread", (factor.relative_spread,) * 2, factor.value, dof, type_a=True),
        _contribution("reference", (factor.relative_reference,) * 2, factor.value),
        _contribution("instrument", (0.0, factor.relative_instrument), factor.value),
    )
    return results(np.full(2, factor.value), combine(rows), COVERAGE_PROBABILITY)


def _contribution(
    name: str, relative: tuple[float, float], value: float, dof: float = np.inf, *, type_a: bool = False
) -> Contribution:
    parts = value * np.array(relative)[:, np.newaxis]
    return Contribution(name, np.full(2, type_a), parts, np.zeros(2, dtype=np.int64), np.full(2, dof))
