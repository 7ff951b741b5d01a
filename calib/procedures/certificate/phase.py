"""Which phase of a certificate counts: the instrument as it was left, or as it was found where nobody adjusted it.

Source: ISO/IEC 17025:2017, 7.8.4.1 d (results before and after an adjustment), from memory; that the results after it hold for what
is measured from then on follows from what an adjustment is (VIM 3.11).
"""

from collections.abc import Iterable

from calib.records.words import PHASES

AS_FOUND, AS_LEFT = PHASES


def phase_in_use(phases: Iterable[str | None]) -> str:
    """The phase that counts among those of a certificate's comparisons: as-left where there is one, else as-found."""
    return AS_LEFT if AS_LEFT in phases else AS_FOUND
