"""The maximum permissible error at an indication (VIM 4.26), as the register states it.

MPE(x) = |x| percent/100 + absolute        a percentage is one of what is shown: of degrees Celsius, not of kelvin
"""

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calib.procedures.certificate.fit_curve import quantity_indicated
from calib.quantities import unit


def has_limits(instrument: Mapping[str, Any]) -> bool:
    """Whether the register states a maximum permissible error."""
    return instrument["mpe_percent"] is not None or instrument["mpe_absolute"] is not None


def permissible_error(instrument: Mapping[str, Any], indication: ArrayLike) -> NDArray[np.float64]:
    """Maximum permissible error at indications [SI]; NaN where the register states none."""
    if not has_limits(instrument):
        return np.full(np.shape(indication), np.nan)
    own = unit(quantity_indicated(instrument), instrument["unit"])
    relative, absolute = float(instrument["mpe_percent"] or 0) / 100, float(instrument["mpe_absolute"] or 0)
    shown = np.abs(own.from_si(np.asarray(indication, dtype=float)))
    return np.asarray(own.difference_to_si(relative * shown + absolute))
