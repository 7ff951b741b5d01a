"""Acceptance of a calibration: each comparison against the maximum permissible error, with its uncertainty taken into account.

    E = indication - reference,     -MPE <= E <= MPE      (MPE: maximum permissible error, VIM 4.26)

The decision rule is one of `words.DECISION_RULES` with w = U(E) (JCGM 106, 8.2 and 8.3.2; ILAC-G8:09/2019, 4.2). A calibration
is accepted where every comparison passes; a conditional pass passes (ILAC-G8, 4.2.3). See ISO 10012:2003, 7.1 (confirmation).
Clauses from memory.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calib.confirmation.conformity import ToleranceIntervals, conformity, probability_of_conformity

PASSES = ("pass", "conditional pass")


@dataclass(frozen=True)
class ComparedErrors:
    """Errors of n comparisons with their limits, all in one unit."""

    error: NDArray[np.float64]  # (n,) E
    standard_uncertainty: NDArray[np.float64]  # (n,) u(E), above 0
    coverage_factor: NDArray[np.float64]  # (n,) as the certificate states it
    limit: NDArray[np.float64]  # (n,) maximum permissible error there, 0 or above

    @property
    def expanded_uncertainty(self) -> NDArray[np.float64]:
        """(n,) U(E) = k u(E)."""
        return self.coverage_factor * self.standard_uncertainty


@dataclass(frozen=True)
class Judged:
    """Errors under a decision rule."""

    errors: ComparedErrors
    rule: str
    statement: NDArray[np.str_]  # (n,) statements of conformity
    probability: NDArray[np.float64]  # (n,) of conformity, from the normal distribution

    @property
    def passes(self) -> NDArray[np.bool_]:
        """(n,) whether each comparison passes; a conditional pass does."""
        return np.isin(self.statement, PASSES)

    @property
    def accepted(self) -> bool:
        """Whether the calibration can be accepted: there are comparisons, and each of them passes."""
        return bool(self.passes.size and self.passes.all())


def judge_errors(errors: ComparedErrors, rule: str) -> Judged:
    """Statement and probability of conformity of each comparison; raises CalibError for a rule that is none.

    An error on its limit passes.
    """
    permissible = ToleranceIntervals(-errors.limit, errors.limit)
    statement = conformity(errors.error, errors.expanded_uncertainty, permissible, rule)
    probability = probability_of_conformity(errors.error, errors.standard_uncertainty, permissible)
    return Judged(errors, rule, statement, probability)
