"""Correction curve of one calibration: from indication to value (VIM 2.53, 4.31).

    corrected value  v = x + c(x),     c = reference - indication as a function of the indication x

Two uncertainties are kept apart: the *scatter* of the comparisons about the curve, which more points bring down, and the
*reference part*, the certificate's own U/k, common to all points, which nothing brings down.
"""

import json
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calib.curves.regression import Polynomial
from calib.errors import MeasuringIntervalError


@dataclass(frozen=True)
class CorrectionCurve:
    """A correction curve with its two uncertainties. All values in the coherent SI unit of the quantity."""

    polynomial: Polynomial  # c(x); its covariance already multiplied by `scale`
    scale: float  # chi^2/(n-p) where chi^2 rejects the curve at 5 %, else 1; never below 1
    stated_repeatability: bool  # False: the certificate states none, the scatter is estimated from the residuals
    reference_indications: NDArray[np.float64]  # (m,) rising
    reference_uncertainties: NDArray[np.float64]  # (m,) U/k at those indications

    @property
    def low(self) -> float:
        """Lowest indication compared: the lower end of the measuring interval."""
        return float(self.reference_indications[0])

    @property
    def high(self) -> float:
        """Highest indication compared: the upper end of the measuring interval."""
        return float(self.reference_indications[-1])

    def covers(self, x: ArrayLike) -> NDArray[np.bool_]:
        """Whether indications lie within the measuring interval, its ends included."""
        indications = np.asarray(x, dtype=float)
        return (indications >= self.low) & (indications <= self.high)

    def _inside(self, x: ArrayLike) -> NDArray[np.float64]:
        indications = np.asarray(x, dtype=float)
        outside = indications[~self.covers(indications)]
        if outside.size:
            raise MeasuringIntervalError(
                f"indication {outside.flat[0]:g} is outside the calibrated measuring interval {self.low:g} to {self.high:g} (SI)"
            )
        return indications

    def correction(self, x: ArrayLike) -> NDArray[np.float64]:
        """Correction c(x); raises MeasuringIntervalError outside the measuring interval."""
        return self.polynomial.value(self._inside(x))

    def value(self, x: ArrayLike) -> NDArray[np.float64]:
        """Corrected value x + c(x); raises MeasuringIntervalError outside the measuring interval."""
        return np.asarray(x, dtype=float) + self.correction(x)

    def sensitivity(self, x: ArrayLike) -> NDArray[np.float64]:
        """dv/dx = 1 + dc/dx: what an error of the indication does to the value."""
        return 1.0 + self.polynomial.slope(self._inside(x))

    def scatter_parts(self, x: ArrayLike) -> NDArray[np.float64]:
        """(..., p) orthogonal signed parts of the scatter: u_scatter^2(x) = j(x) C j(x)^T is the sum of their squares."""
        return self.polynomial.parts(self._inside(x))

    def scatter_uncertainty(self, x: ArrayLike) -> NDArray[np.float64]:
        """Standard uncertainty from the scatter of the comparisons, n-p degrees of freedom."""
        return self.polynomial.standard_uncertainty(self._inside(x))

    def reference_uncertainty(self, x: ArrayLike) -> NDArray[np.float64]:
        """The certificate's U/k at x, interpolated linearly between the neighbouring indications."""
        return np.asarray(np.interp(self._inside(x), self.reference_indications, self.reference_uncertainties))

    def as_text(self) -> str:
        """The curve as the records keep it: JSON, floats with all their digits."""
        own = self.polynomial
        return json.dumps(
            {
                "centre": own.centre,
                "half_width": own.half_width,
                "coefficients": own.coefficients.tolist(),
                "covariance": own.covariance.tolist(),
                "degrees_of_freedom": own.degrees_of_freedom,
                "chi_squared": own.chi_squared,
                "residuals": own.residuals.tolist(),
                "scale": self.scale,
                "stated_repeatability": self.stated_repeatability,
                "reference_indications": self.reference_indications.tolist(),
                "reference_uncertainties": self.reference_uncertainties.tolist(),
            }
        )


def from_text(text: str) -> CorrectionCurve:
    """The curve that `CorrectionCurve.as_text` wrote."""
    kept = json.loads(text)
    polynomial = Polynomial(
        kept["centre"],
        kept["half_width"],
        np.array(kept["coefficients"]),
        np.array(kept["covariance"]),
        kept["degrees_of_freedom"],
        kept["chi_squared"],
        np.array(kept["residuals"]),
    )
    return CorrectionCurve(
        polynomial,
        kept["scale"],
        kept["stated_repeatability"],
        np.array(kept["reference_indications"]),
        np.array(kept["reference_uncertainties"]),
    )


def reference_part(x: NDArray[np.float64], u: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Nodes of the reference part: rising indications and U/k; of several points at one indication the largest counts.

    So repeating a point never lowers it.
    """
    nodes, place = np.unique(x, return_inverse=True)
    largest = np.zeros_like(nodes)
    np.maximum.at(largest, place, u)
    return nodes, largest
