"""Judge comparisons as found by the maximum permissible error: whether an instrument was in order."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from calib.confirmation.acceptance import ComparedErrors
from calib.confirmation.as_found import ErrorsAsFound, judge_as_found
from calib.confirmation.words import CORRECTED, INDICATION, SIMPLE
from calib.curves.curve import Curve
from calib.procedures.certificate.assess import coverage_factors, criterion, errors_of_indication
from calib.procedures.certificate.fit_curve import comparisons_in_si
from calib.procedures.certificate.permissible_error import has_limits, permissible_error
from calib.procedures.typed.sheets import Cells
from calib.quantities import unit
from calib.records.tables.instruments import Instrument


@dataclass(frozen=True)
class JudgedAsFound:
    """Comparisons as found, judged in one way."""

    judged: str  # one of acceptance.JUDGED
    criterion: str
    comparisons: tuple[Cells, ...]
    as_found: ErrorsAsFound  # in SI

    def content(self, instrument: Instrument) -> dict[str, Any]:
        """As the review keeps it: numbers unrounded, in the unit in which the certificate states the values."""
        return {
            "judged": self.judged,
            "criterion": self.criterion,
            "comparisons": [self._line(instrument, row) for row in range(len(self.comparisons))],
        }

    def _line(self, instrument: Instrument, row: int) -> dict[str, Any]:
        comparison, errors = self.comparisons[row], self.as_found.judged.errors
        in_unit = unit(instrument.quantity, str(comparison["unit"]))
        return {
            "reference": comparison["reference"],
            "indication": comparison["indication"],
            "unit": comparison["unit"],
            "indication_unit": comparison["indication_unit"],
            "error": float(in_unit.difference_from_si(errors.error[row])),
            "expanded_uncertainty": float(in_unit.difference_from_si(errors.expanded_uncertainty[row])),
            "limit": float(in_unit.difference_from_si(errors.limit[row])),
            "beyond": bool(self.as_found.beyond[row]),
            "within_U_of_the_limit": bool(self.as_found.near[row]),
        }


def judgements(instrument: Cells, comparisons: Sequence[Cells], before: Curve, judged: str) -> list[JudgedAsFound]:
    """Comparisons as found, judged as the calibration before was accepted, and by the value that its curve makes of them.

    None where the register states no maximum permissible error.
    """
    if not comparisons or not has_limits(instrument):
        return []
    judgement_of = (_judged(instrument, comparisons, before, way) for way in dict.fromkeys((judged, CORRECTED)))
    return [judgement for judgement in judgement_of if judgement is not None]


def _judged(instrument: Cells, comparisons: Sequence[Cells], before: Curve, judged: str) -> JudgedAsFound | None:
    used = comparisons
    if judged == INDICATION:
        errors = errors_of_indication(instrument, used)
    else:
        # What the curve before does not cover, no flow rested on.
        covered = before.covers(comparisons_in_si(instrument, comparisons).indication)
        used = [each for each, inside in zip(comparisons, covered, strict=True) if inside]
        if not used:
            return None
        errors = _of_value_before(instrument, used, before)
    return JudgedAsFound(judged, criterion(instrument, SIMPLE, judged), tuple(used), judge_as_found(errors))


def _of_value_before(instrument: Cells, used: Sequence[Cells], before: Curve) -> ComparedErrors:
    """Errors of the values that another calibration's curve makes: u^2 = (U/k)^2 + (f' d)^2, its own part left out."""
    points = comparisons_in_si(instrument, used)
    x, own = points.indication, points.independent_uncertainty
    scatter = 0.0 if own is None else np.abs(before.sensitivity(x)) * own
    return ComparedErrors(
        np.asarray(before.value(x) - points.reference),
        np.hypot(points.reference_uncertainty, scatter),
        coverage_factors(used),
        permissible_error(instrument, x) * before.error_sensitivity(x),
    )
