"""A calibration curve as an answer: its shape, coefficients and formula."""

from collections.abc import Sequence

import numpy as np

from calib.arrays import Floats, without_rounding
from calib.curves.curve import CorrectionCurve, Curve
from calib.curves.response import ResponseFit, curve_from_text, fit_of, response_of
from calib.faces.written import Content
from calib.procedures.on_record.calibrations import CalibrationOnFile
from calib.quantities import Unit, unit
from calib.records.tables.curves import StoredCurve
from calib.records.tables.instruments import Instrument


def unit_of_residuals(curve: StoredCurve, instrument: Instrument) -> Unit:
    """Corrections are in the quantity, residuals of a response in what is indicated; an instrument's unit is that of both."""
    return unit(instrument.quantity if curve.shape == "polynomial" else instrument.indicated, instrument.unit)


def stored_residuals(calibration: CalibrationOnFile) -> list[float | None]:
    """Residual of each comparison from the curve that counts, as the records hold both; None of the phase that is not used."""
    curve = calibration.curve
    in_unit = unit_of_residuals(curve, calibration.instrument)
    of_fit = in_unit.difference_from_si(fit_of(curve_from_text(curve.parameters)).residuals)
    residuals = iter(without_rounding(of_fit).tolist())
    return [next(residuals) if each.phase == curve.phase else None for each in calibration.comparisons]


def curve(record: StoredCurve, instrument: Instrument) -> Content:
    """A calibration curve: a polynomial in the instrument's own unit, another shape in SI."""
    stored = curve_from_text(record.parameters)
    fit = fit_of(stored)
    stated = stored.stated_repeatability
    return {
        "made_from": record.phase,
        "shape": record.shape,
        "degree": record.degree,
        **_shape_of(stored, instrument),
        "chi_squared": fit.chi_squared if stated else None,
        "degrees_of_freedom": stored.degrees_of_freedom,
        "probability": fit.probability if stated else None,
        "scatter_enlarged_by": stored.scale,
        "chosen_by": record.chosen_by,
        "reason": record.reason,
    }


def _shape_of(stored: Curve, instrument: Instrument) -> Content:
    own = unit(instrument.quantity, instrument.unit) if isinstance(stored, CorrectionCurve) else None
    if isinstance(stored, CorrectionCurve) and own is not None:
        coefficients, _ = stored.polynomial.in_unit(own.scale, own.offset).in_powers_of_x()
        _, covariance = stored.scattered.in_unit(own.scale, own.offset).in_powers_of_x()
        symbol, written = own.symbol, formula(coefficients.tolist())
        names, scattered = _POLYNOMIAL[: coefficients.size], _POLYNOMIAL[: covariance.shape[0]]
    else:
        fit = response_of(stored).fit
        coefficients, covariance = fit.coefficients, fit.covariance
        symbol, written = "SI units", response_formula(fit)
        names = scattered = fit.shape.parameters
    u = np.sqrt(np.clip(np.diag(covariance), 0.0, None))
    return {
        "title": f"degree {coefficients.size - 1}" if own is not None else response_of(stored).fit.shape.title,
        "unit": symbol,
        "coefficient_names": list(names),
        "coefficients": coefficients.tolist(),
        "standard_uncertainties": u[: coefficients.size].tolist(),
        "scatter": {
            "names": list(scattered),
            "standard_uncertainties": u.tolist(),
            "correlations": correlations(covariance, u).tolist(),
        },
        "formula": written,
    }


def correlations(covariance: Floats, u: Floats) -> Floats:
    """Correlation coefficients (p, p) from covariances and standard uncertainties (p,); 0 beside what has no uncertainty."""
    both = np.outer(u, u)
    others = ~np.eye(u.size, dtype=bool)
    return np.divide(covariance, both, out=np.eye(u.size), where=(both > 0) & others)


def response_formula(fit: ResponseFit) -> str:
    """A response with its coefficients: x² = a + b vⁿ with a = 1.46933, b = 0.913071, n = 0.420905."""
    values = ", ".join(
        f"{name} = {value:.6g}" for name, value in zip(fit.shape.parameters, fit.coefficients, strict=True)
    )
    return f"{fit.shape.equation} with {values}"


_POLYNOMIAL = ("a₀", "a₁ (of x)", "a₂ (of x²)", "a₃ (of x³)")
_POWERS = ("", " x", " x²", " x³")


def formula(coefficients: Sequence[float]) -> str:
    """Correction as a polynomial in the indication: c(x) = -0.08856 + 0.039079 x."""
    terms = [f"{coefficients[0]:.6g}"]
    for power, coefficient in enumerate(coefficients[1:], start=1):
        terms.append(f"{'−' if coefficient < 0 else '+'} {abs(coefficient):.6g}{_POWERS[power]}")
    return "c(x) = " + " ".join(terms).replace("-", "−").replace("e−", "e-")
