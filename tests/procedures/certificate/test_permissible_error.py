"""The maximum permissible error at an indication (VIM 4.26); expected values by hand."""

import numpy as np
import pytest

from calib.procedures.certificate.permissible_error import has_limits, permissible_error


def instrument(percent, absolute, quantity="air velocity", unit="m/s", **cells):
    return {"quantity": quantity, "unit": unit, "mpe_percent": percent, "mpe_absolute": absolute} | cells


@pytest.mark.parametrize(
    ("stated", "indication", "limit"),
    [
        (instrument("3", "0.05"), 2.0, 0.11),
        (instrument("3", None), -2.0, 0.06),
        (instrument(None, "0.05"), 2.0, 0.05),
        (instrument("1", "0.2", "temperature", "degC"), 273.15 + 20, 0.4),  # a percentage of 20 degC, not of 293.15 K
        (instrument("2", "10", unit="fpm"), 500 * 0.00508, 20 * 0.00508),  # 1 ft/min is 0.00508 m/s (exact)
        (instrument("1", "0.01", unit="V", indication_quantity="voltage"), 2.0, 0.03),  # of what it indicates
    ],
)
def test_the_limit_at_an_indication(stated, indication, limit):
    assert permissible_error(stated, indication) == pytest.approx(limit, rel=1e-12)
    assert permissible_error(stated, [indication, indication]).shape == (2,)


def test_where_the_register_states_none_there_is_no_limit():
    nothing = instrument(None, None)
    assert not has_limits(nothing)
    assert np.isnan(permissible_error(nothing, [1.0, 2.0])).all()
