"""Which phase of a certificate counts: ISO/IEC 17025:2017, 7.8.4.1 d names results before and after an adjustment (from memory)."""

import pytest

from calib.procedures.certificate.phase import phase_in_use


@pytest.mark.parametrize(
    ("phases", "counts"),
    [
        (("as-found", "as-found"), "as-found"),  # nobody adjusted it
        (("as-found", "as-left"), "as-left"),
        (("as-left", "as-found"), "as-left"),  # in whichever order they were typed
        (("as-left",), "as-left"),
    ],
)
def test_the_instrument_counts_as_it_was_left(phases, counts):
    assert phase_in_use(iter(phases)) == counts
