"""Assess the comparisons of a certificate against the instrument's maximum permissible error, as typed or as on record."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calib.confirmation.acceptance import ComparedErrors, Judged, judge_errors
from calib.confirmation.words import CORRECTED, GUARDED, GUARDED_NON_BINARY, INDICATION, SIMPLE
from calib.curves.curve import Curve
from calib.errors import CalibError
from calib.procedures.certificate.fit_curve import comparisons_in_si, indication_quantity
from calib.procedures.certificate.permissible_error import has_limits, permissible_error
from calib.procedures.typed.sheets import Cells
from calib.quantities import Unit, unit

_RULES = {
    SIMPLE: "simple acceptance",
    GUARDED: "guarded acceptance, guard band U",
    GUARDED_NON_BINARY: "guarded acceptance with conditional statements, guard band U",
}


@dataclass(frozen=True)
class Assessment:
    """Comparisons of one phase, judged."""

    phase: str
    object: str  # what was held against the limits: one of acceptance.JUDGED
    criterion: str  # in words
    unit: Unit  # of the errors as they are printed
    comparisons: tuple[Cells, ...]
    judged: Judged  # in SI

    @property
    def accepted(self) -> bool:
        """Whether every comparison passes."""
        return self.judged.accepted

    def content(self) -> dict[str, Any]:
        """The assessment as the records keep it and as it is answered: numbers in the printed unit, unrounded."""
        return {
            "phase": self.phase,
            "judged": self.object,
            "decision_rule": self.judged.rule,
            "criterion": self.criterion,
            "unit": self.unit.symbol,
            "accepted": self.accepted,
            "comparisons": [self._line(row) for row in range(len(self.comparisons))],
        }

    def _line(self, row: int) -> dict[str, Any]:
        comparison, errors, judged = self.comparisons[row], self.judged.errors, self.judged
        return {
            "reference": comparison["reference"],
            "indication": comparison["indication"],
            "unit": comparison["unit"],
            "indication_unit": comparison["indication_unit"],
            "error": float(self.unit.difference_from_si(errors.error[row])),
            "expanded_uncertainty": float(self.unit.difference_from_si(errors.expanded_uncertainty[row])),
            "coverage_factor": float(errors.coverage_factor[row]),
            "limit": float(self.unit.difference_from_si(errors.limit[row])),
            "statement": str(judged.statement[row]),
            "probability_of_conformity": float(judged.probability[row]),
        }

    def as_text(self) -> str:
        """The same as the JSON that an acceptance keeps."""
        return json.dumps(self.content(), ensure_ascii=False)

    def failures(self) -> list[str]:
        """Each comparison that does not pass, with its numbers."""
        return [
            f"{each['phase']} reference {each['reference']} {each['unit']}: error {each['error']:+.4g} {self.unit.symbol} "
            f"with U = {each['expanded_uncertainty']:.2g}, limits ± {each['limit']:.4g}: {each['statement']}"
            for each, passes in zip(
                ({"phase": self.phase} | self._line(row) for row in range(len(self.comparisons))),
                self.judged.passes,
                strict=True,
            )
            if not passes
        ]


def usual_object(instrument: Cells) -> str:
    """What is judged where nobody says: the indication, or the corrected value where it is no value of the quantity."""
    return INDICATION if indication_quantity(instrument) == instrument["quantity"] else CORRECTED


def assess(
    instrument: Cells, comparisons: Sequence[Cells], phase: str, rule: str, judged: str, curve: Curve | None = None
) -> Assessment:
    """Judge the comparisons of one phase under a decision rule; `curve` makes the corrected values, and is needed for them only.

    u(E)^2 of an indication = (U/k)^2 + repeatability^2/observations + resolution^2/12, the last two where the certificate states
    the repeatability beside U; of a corrected value the curve's reference part and scatter there. Raises CalibError where the
    register states no maximum permissible error, where there are no such comparisons, or where an indication is no value of the
    quantity.
    """
    used = tuple(comparison for comparison in comparisons if comparison["phase"] == phase)
    if not used:
        raise CalibError(f"the certificate has no comparisons {phase}")
    if not has_limits(instrument):
        raise CalibError("the register states no maximum permissible error for it")
    errors = errors_of_indication(instrument, used) if judged == INDICATION else _of_value(instrument, used, curve)
    printed = unit(instrument["quantity"], instrument["unit"] if _indicates(instrument) else used[0]["unit"])
    return Assessment(phase, judged, criterion(instrument, rule, judged), printed, used, judge_errors(errors, rule))


def criterion(instrument: Cells, rule: str, judged: str) -> str:
    """The acceptance criterion in words."""
    percent, absolute = instrument["mpe_percent"], instrument["mpe_absolute"]
    parts = [f"{percent} % of the indication"] if percent is not None else []
    parts += [f"{absolute} {instrument['unit']}"] if absolute is not None else []
    subject = "error of the indication" if judged == INDICATION else "error of the value after correction"
    return f"{subject} within ± ({' + '.join(parts)}), {_RULES.get(rule, rule)}"


def _indicates(instrument: Cells) -> bool:
    return bool(indication_quantity(instrument) == instrument["quantity"])


def errors_of_indication(instrument: Cells, used: Sequence[Cells]) -> ComparedErrors:
    """Indication minus reference of comparisons, u^2 = (U/k)^2 + d^2; raises CalibError where it indicates another quantity."""
    if not _indicates(instrument):
        raise CalibError(
            f"it indicates {indication_quantity(instrument)}, which has no error of indication: judge the corrected value"
        )
    points = comparisons_in_si(instrument, used)
    own = 0.0 if points.independent_uncertainty is None else points.independent_uncertainty
    u = np.hypot(points.reference_uncertainty, own)
    return ComparedErrors(
        -points.correction, u, coverage_factors(used), permissible_error(instrument, points.indication)
    )


def _of_value(instrument: Cells, used: Sequence[Cells], curve: Curve | None) -> ComparedErrors:
    if curve is None:
        raise CalibError("there is no curve that makes corrected values")
    points = comparisons_in_si(instrument, used)
    x = points.indication
    u = np.hypot(curve.reference_uncertainty(x), curve.scatter_uncertainty(x))
    limit = permissible_error(instrument, x) * curve.error_sensitivity(x)
    return ComparedErrors(np.asarray(curve.value(x) - points.reference), u, coverage_factors(used), limit)


def coverage_factors(used: Sequence[Cells]) -> NDArray[np.float64]:
    """(n,) k of each comparison as the certificate states it."""
    return np.array([float(str(comparison["coverage_factor"])) for comparison in used])
