"""Whether an instrument was found in order when it was calibrated.

ISO/IEC 17025:2017, 6.4.9 (the effect of an instrument shown to be defective is examined) and 7.10 (nonconforming work);
ISO 10012, 7.1; all from memory.
"""

from dataclasses import dataclass

import numpy as np

from calib.arrays import Truths
from calib.confirmation.acceptance import ComparedErrors, Judged, judge_errors
from calib.confirmation.words import SIMPLE

# Compared after rounding to this share of the limit.
_ROUNDING = 1e-9


@dataclass(frozen=True)
class ErrorsAsFound:
    """Comparisons as found, judged under simple acceptance (JCGM 106, 8.2): beyond where |E| > MPE."""

    judged: Judged

    @property
    def beyond(self) -> Truths:
        """(n,) whether the error lies beyond its limit."""
        return ~self.judged.passes

    @property
    def near(self) -> Truths:
        """(n,) whether it lies within U of its limit, on either side: there the comparison alone does not decide."""
        errors = self.judged.errors
        apart = np.abs(np.abs(errors.error) - errors.limit)
        return np.asarray(apart <= errors.expanded_uncertainty + _ROUNDING * errors.limit)


def judge_as_found(errors: ComparedErrors) -> ErrorsAsFound:
    """Judge the errors that comparisons as found show."""
    return ErrorsAsFound(judge_errors(errors, SIMPLE))
