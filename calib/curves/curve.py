"""Correction curve of one calibration: from indication to value (VIM 2.53, 4.31).

    corrected value  v = x + c(x),     c = reference - indication as a function of the indication x

Two uncertainties are kept apart: the *scatter* of the comparisons about the curve, which more points bring down, and the
*reference part*, the certificate's own U/k, common to all points, which nothing brings down.
"""

import json
import math
from abc import ABC, abstractmethod
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from calib.arrays import Floats, Truths
from calib.curves.regression import Polynomial
from calib.errors import CurveError, MeasuringIntervalError


@dataclass(frozen=True)
class Curve(ABC):
    """A calibration curve of one certificate: its measuring interval, its reference part, and what every shape answers.

    Indications are in the coherent SI unit of what the instrument indicates, values in that of the quantity.
    """

    scale: float  # chi^2/(n-p) where chi^2 rejects the curve at 5 %, else 1; never below 1
    stated_repeatability: bool  # False: the certificate states none, the scatter is estimated from the residuals
    reference_indications: Floats  # (m,) rising
    reference_uncertainties: Floats  # (m,) U/k at those indications [unit of the value]
    reference_degrees_of_freedom: float = field(
        default=math.inf, kw_only=True
    )  # nu of U/k, as the certificate's k tells

    @property
    def low(self) -> float:
        """Lowest indication compared: the lower end of the measuring interval."""
        return float(self.reference_indications[0])

    @property
    def high(self) -> float:
        """Highest indication compared: the upper end of the measuring interval."""
        return float(self.reference_indications[-1])

    def covers(self, x: ArrayLike) -> Truths:
        """Whether indications lie within the measuring interval, its ends included."""
        indications = np.asarray(x, dtype=float)
        return (indications >= self.low) & (indications <= self.high)

    def inside(self, x: ArrayLike) -> Floats:
        """The indications, if all lie within the measuring interval; raises MeasuringIntervalError otherwise."""
        indications = np.asarray(x, dtype=float)
        if indications.size and not (indications.min() >= self.low and indications.max() <= self.high):
            outside = indications[~self.covers(indications)]
            raise MeasuringIntervalError(
                f"indication {outside.flat[0]:g} is outside the calibrated measuring interval {self.low:g} to {self.high:g} (SI)"
            )
        return indications

    def indication(self, value: float) -> float:
        """The inverse: the indication at which the curve gives a value; raises CurveError where it gives it nowhere.

        For curves that rise or fall throughout the measuring interval, as those of working instruments do.
        """
        from scipy.optimize import brentq  # noqa: PLC0415 (a quarter of a second, which no stored curve needs)

        apart = [float(self.value(end)) - value for end in (self.low, self.high)]
        if apart[0] * apart[1] > 0:
            raise CurveError(
                f"no indication between {self.low:g} and {self.high:g} gives the value {value:g}; "
                f"the ends give {apart[0] + value:g} and {apart[1] + value:g} (SI)"
            )
        return float(brentq(lambda x: float(self.value(x)) - value, self.low, self.high, xtol=1e-14 * self.high))

    def reference_uncertainty(self, x: ArrayLike) -> Floats:
        """The certificate's U/k at x, interpolated linearly between the neighbouring indications."""
        return np.asarray(np.interp(self.inside(x), self.reference_indications, self.reference_uncertainties))

    def scatter_uncertainty(self, x: ArrayLike) -> Floats:
        """Standard uncertainty from the scatter of the comparisons, n-p degrees of freedom."""
        return np.asarray(np.sqrt(np.sum(self.scatter_parts(x) ** 2, axis=-1)))

    @property
    @abstractmethod
    def coefficients(self) -> Floats:
        """(p,) coefficients."""

    @property
    @abstractmethod
    def covariance(self) -> Floats:
        """(p, p) covariance of the coefficients from the scatter of the comparisons."""

    @property
    def reference_correlation(self) -> Floats | None:
        """(m, m) correlations of the reference part at its indications, where the certificate states them."""
        return None

    @property
    def parts(self) -> int:
        """Number p of coefficients, and so of orthogonal parts of the scatter."""
        return int(self.coefficients.size)

    @property
    @abstractmethod
    def degrees_of_freedom(self) -> float:
        """Degrees of freedom n-p of the scatter."""

    @abstractmethod
    def value(self, x: ArrayLike) -> Floats:
        """Value at an indication; raises MeasuringIntervalError outside the measuring interval."""

    @abstractmethod
    def sensitivity(self, x: ArrayLike) -> Floats:
        """dv/dx: what an error of the indication does to the value."""

    @abstractmethod
    def error_sensitivity(self, x: ArrayLike) -> Floats:
        """What an error of indication, as limits of error are stated, does to the value."""

    @abstractmethod
    def scatter_parts(self, x: ArrayLike) -> Floats:
        """(..., p) orthogonal signed parts of the scatter; the sum of their squares is u_scatter^2(x)."""

    @abstractmethod
    def value_with(self, x: Floats, coefficients: Floats) -> Floats:
        """Value at indications x (n,) if the coefficients were (n, p) others: for the propagation of distributions."""

    @abstractmethod
    def as_text(self) -> str:
        """The curve as the records keep it: JSON, floats with all their digits."""


@dataclass(frozen=True)
class CorrectionCurve(Curve):
    """A correction curve with its two uncertainties. All values in the coherent SI unit of the quantity."""

    polynomial: Polynomial  # c(x); its covariance already multiplied by `scale`
    averaged: "AveragedScatter | None" = None  # where the degree was chosen on the residuals that tell the scatter
    correlation: Floats | None = (
        None  # (m, m) of the reference part at its indications; None: the certificate states none
    )

    @property
    def reference_correlation(self) -> Floats | None:
        """(m, m) correlations of the reference part at its indications, where the certificate states them."""
        return self.correlation

    @cached_property
    def scattered(self) -> Polynomial:
        """The same c(x) with the covariance that counts: terms that other candidates have and it has not are 0."""
        if self.averaged is None:
            return self.polynomial
        own = np.zeros(len(self.averaged.covariance))
        own[: self.polynomial.coefficients.size] = self.polynomial.coefficients
        return replace(
            self.polynomial,
            coefficients=own,
            covariance=self.averaged.covariance,
            degrees_of_freedom=self.averaged.degrees_of_freedom,
        )

    @property
    def coefficients(self) -> Floats:
        """(p,) coefficients in powers of (x - centre)/half_width."""
        return self.scattered.coefficients

    @property
    def covariance(self) -> Floats:
        """(p, p) covariance of the coefficients."""
        return self.scattered.covariance

    @property
    def degrees_of_freedom(self) -> float:
        """Degrees of freedom of the scatter: n-p, or those of the average over the candidates."""
        return self.scattered.degrees_of_freedom

    def correction(self, x: ArrayLike) -> Floats:
        """Correction c(x); raises MeasuringIntervalError outside the measuring interval."""
        return self.polynomial.value(self.inside(x))

    def value(self, x: ArrayLike) -> Floats:
        """Corrected value x + c(x); raises MeasuringIntervalError outside the measuring interval."""
        return np.asarray(x, dtype=float) + self.correction(x)

    def sensitivity(self, x: ArrayLike) -> Floats:
        """dv/dx = 1 + dc/dx: what an error of the indication does to the value."""
        return 1.0 + self.polynomial.slope(self.inside(x))

    def error_sensitivity(self, x: ArrayLike) -> Floats:
        """1: a limit of error is stated in the quantity itself, indication minus value."""
        return np.ones_like(self.inside(x))

    def scatter_parts(self, x: ArrayLike) -> Floats:
        """(..., p) orthogonal signed parts of the scatter: u_scatter^2(x) = j(x) C j(x)^T is the sum of their squares."""
        return self.scattered.parts(self.inside(x))

    def value_with(self, x: Floats, coefficients: Floats) -> Floats:
        """x + c(x) with (n, p) other coefficients."""
        return np.asarray(x + np.einsum("ij,ij->i", self.scattered.powers(x), coefficients))

    def as_text(self) -> str:
        """The curve as the records keep it: JSON, floats with all their digits."""
        own = self.polynomial
        stated = {} if self.correlation is None else {"reference_correlation": self.correlation.tolist()}
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
                **stated,
                **self._later(),
            }
        )

    def _later(self) -> dict[str, object]:
        """What curves of the first edition of the rule have not; left out where there is none."""
        later = reference_degrees_written(self)
        if self.averaged is not None:
            later["averaged"] = {
                "covariance": self.averaged.covariance.tolist(),
                "degrees_of_freedom": self.averaged.degrees_of_freedom,
            }
        return later


@dataclass(frozen=True)
class AveragedScatter:
    """Scatter of a curve about which several candidates speak, in powers of the same (x - centre)/half_width."""

    covariance: Floats  # (m, m) up to the highest candidate's degree m - 1 [unit of y squared]
    degrees_of_freedom: float


def reference_degrees_written(curve: Curve) -> dict[str, object]:
    """The degrees of freedom of the reference part as the records keep them; nothing where they are infinite."""
    dof = curve.reference_degrees_of_freedom
    return {} if math.isinf(dof) else {"reference_degrees_of_freedom": dof}


def correction_curve_from_text(text: str) -> CorrectionCurve:
    """The curve that `CorrectionCurve.as_text` wrote."""
    written = json.loads(text)
    polynomial = Polynomial(
        written["centre"],
        written["half_width"],
        np.array(written["coefficients"]),
        np.array(written["covariance"]),
        written["degrees_of_freedom"],
        written["chi_squared"],
        np.array(written["residuals"]),
    )
    return CorrectionCurve(
        written["scale"],
        written["stated_repeatability"],
        np.array(written["reference_indications"]),
        np.array(written["reference_uncertainties"]),
        polynomial,
        _averaged_from(written.get("averaged")),
        np.array(written["reference_correlation"]) if "reference_correlation" in written else None,
        reference_degrees_of_freedom=written.get("reference_degrees_of_freedom", math.inf),
    )


def _averaged_from(written: dict[str, Any] | None) -> AveragedScatter | None:
    return None if written is None else AveragedScatter(np.array(written["covariance"]), written["degrees_of_freedom"])


def reference_part(x: Floats, u: Floats) -> tuple[Floats, Floats]:
    """Nodes of the reference part: rising indications and U/k; of several points at one indication the largest counts.

    So repeating a point never lowers it.
    """
    nodes, place = np.unique(x, return_inverse=True)
    largest = np.zeros_like(nodes)
    np.maximum.at(largest, place, u)
    return nodes, largest
