"""Normalised error E_n (ISO 13528 and ISO/IEC 17043, from memory); expected values by hand, with U of 0.3 and 0.4: 0.5 together."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.confirmation.normalised_error import agreement
from calib.errors import CalibError


@pytest.mark.parametrize(
    ("second", "e", "agrees", "caution"),
    [
        (10.0, 0.0, True, False),
        (10.39, -0.78, True, False),
        (10.4, -0.8, True, True),
        (9.6, 0.8, True, True),
        (10.5, -1.0, True, True),  # on the limit, which binary floats miss by a last bit
        (9.5, 1.0, True, True),
        (10.500001, -1.000002, False, False),
        (12.0, -4.0, False, False),
    ],
)
def test_two_results_agree_within_their_uncertainties_together(second, e, agrees, caution):
    found = agreement(10.0, 0.3, second, 0.4)
    assert found.normalised_error == pytest.approx(e, abs=1e-12)
    assert (found.agrees, found.caution) == (agrees, caution)


@pytest.mark.parametrize(("e", "agrees"), [(1.0000000003, True), (1.000000002, False)])
def test_the_limit_is_met_to_nine_decimals(e, agrees):
    found = agreement(e, 1.0, 0.0, 0.0)
    assert found.agrees is agrees
    assert found.caution is agrees


def test_no_uncertainty_at_all_is_refused():
    with pytest.raises(CalibError, match="E_n needs an expanded uncertainty above 0"):
        agreement(1.0, 0.0, 1.0, 0.0)


@given(st.floats(-1e3, 1e3), st.floats(-1e3, 1e3), st.floats(1e-3, 10.0), st.floats(1e-3, 10.0))
def test_it_does_not_matter_which_is_called_the_first(one, other, u_one, u_other):
    here, there = agreement(one, u_one, other, u_other), agreement(other, u_other, one, u_one)
    assert here.normalised_error == -there.normalised_error
    assert here.caution == there.caution
