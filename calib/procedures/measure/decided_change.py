"""By how much a value is widened where a person decided so in an impact review: the change found, which nobody corrects for."""

import numpy as np

from calib.arrays import Floats
from calib.procedures.on_record.held_curves import change_found
from calib.procedures.on_record.in_force import OnRecord


def decided_change(records: OnRecord, calibration: int, indication: Floats) -> Floats:
    """Half-width of the change of the value at indications [SI], (p,); 0 where no review widened that calibration."""
    as_found = records.widened.get(calibration)
    if as_found is None:
        return np.zeros(indication.size)
    before = records.curve(calibration)
    return np.array([change_found(before, as_found, x) for x in indication.tolist()])
