"""Judge comparisons as found by the maximum permissible error: whether an instrument was in order."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from calib.confirmation.acceptance import CORRECTED, INDICATION, ComparedErrors
from calib.confirmation.as_found import AsFound, judge_as_found
from calib.confirmation.conformity import SIMPLE
from calib.curves.curve import Curve
from calib.procedures.certificate.assess import criterion
from calib.procedures.certificate.fit_curve import comparisons_in_si
from calib.procedures.certificate.permissible_error import has_limits, permissible_error
from calib.procedures.typed.sheets import Cells
from calib.quantities import unit
from calib.records import tables


@dataclass(frozen=True)
class JudgedAsFound:
    """Comparisons as found, judged in one way."""

    judged: str  # one of acceptance.JUDGED
    criterion: str
    comparisons: tuple[Cells, ...]
    found: AsFound  # in SI

    def content(self, instrument: tables.Instrument) -> dict[str, Any]:
        """As the review keeps it: numbers unrounded, in the unit in which the certificate states the values."""
        return {
            "judged": self.judged,
            "criterion": self.criterion,
            "comparisons": [self._line(instrument, row) for row in range(len(self.comparisons))],
        }

    def _line(self, instrument: tables.Instrument, row: int) -> dict[str, Any]:
        one, errors = self.comparisons[row], self.found.judged.errors
        in_unit = unit(instrument.quantity, str(one["unit"]))
        return {
            "reference": one["reference"],
            "indication": one["indication"],
            "unit": one["unit"],
            "indication_unit": one["indication_unit"],
            "error": float(in_unit.difference_from_si(errors.error[row])),
            "expanded_uncertainty": float(in_unit.difference_from_si(errors.expanded_uncertainty[row])),
            "limit": float(in_unit.difference_from_si(errors.limit[row])),
            "beyond": bool(self.found.beyond[row]),
            "within_U_of_the_limit": bool(self.found.near[row]),
        }


def judgements(instrument: Cells, comparisons: Sequence[Cells], before: Curve, judged: str) -> list[JudgedAsFound]:
    """Comparisons as found, judged as the calibration before was accepted, and by the value that its curve makes of them.

    None where the register states no maximum permissible error.
    """
    if not comparisons or not has_limits(instrument):
        return []
    ways = dict.fromkeys((judged, CORRECTED))
    return [found for way in ways if (found := _judged(instrument, comparisons, before, way)) is not None]


def _judged(instrument: Cells, comparisons: Sequence[Cells], before: Curve, judged: str) -> JudgedAsFound | None:
    points = comparisons_in_si(instrument, comparisons)
    own = 0.0 if points.independent_uncertainty is None else points.independent_uncertainty
    # What the curve before does not cover, no flow rested on.
    rows = np.flatnonzero(before.covers(points.indication) | (judged == INDICATION)).tolist()
    if not rows:
        return None
    x, reference = points.indication[rows], points.reference[rows]
    limit = permissible_error(instrument, x)
    sensitivity = np.ones_like(x)
    if judged == INDICATION:
        error = x - reference
    else:
        error = before.value(x) - reference
        limit, sensitivity = limit * before.error_sensitivity(x), np.abs(before.sensitivity(x))
    u = np.hypot(points.reference_uncertainty[rows], sensitivity * np.broadcast_to(own, points.indication.shape)[rows])
    factors = np.array([float(str(comparisons[row]["coverage_factor"])) for row in rows])
    found = judge_as_found(ComparedErrors(np.asarray(error), np.asarray(u), factors, np.asarray(limit)))
    words = criterion(instrument, SIMPLE, judged)
    return JudgedAsFound(judged, words, tuple(comparisons[row] for row in rows), found)
