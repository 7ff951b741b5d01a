"""What a new fit says of the candidates that a calibration's curve was chosen from, as `calib calibration candidates` answers."""

from calib.arrays import finite
from calib.curves.choice import Candidate
from calib.curves.regression import Polynomial
from calib.faces.parts.curve import formula, response_formula, unit_of_residuals
from calib.faces.plain_text import table_text
from calib.faces.written import Content, figure_text
from calib.procedures.certificate.fit_curve import CurveWish
from calib.procedures.on_record.calibrations import CalibrationOnFile, refit
from calib.quantities import Unit, unit
from calib.records.words import BY_THE_RULE


def document(calibration: CalibrationOnFile) -> Content:
    """The candidates with the figures they are judged by; which of them has the shape and degree of the curve that counts."""
    curve = calibration.curve
    wish = None if curve.chosen_by == BY_THE_RULE else CurveWish(curve.degree, curve.shape)
    return {
        "tag": calibration.instrument.tag,
        "certificate": calibration.calibration.certificate,
        "made_from": curve.phase,
        "judged_by": _judged_by(calibration),
        "residual_unit": unit_of_residuals(curve, calibration.instrument).symbol,
        "candidates": [_candidate(calibration, each) for each in refit(calibration, wish).choice.candidates],
    }


def _judged_by(calibration: CalibrationOnFile) -> str:
    if _states_repeatability(calibration):
        return "chi-squared"
    polynomial = calibration.curve.shape == "polynomial"
    return "F test of the added terms" if polynomial else "AICc of the residuals in the indication"


def _states_repeatability(calibration: CalibrationOnFile) -> bool:
    used = (each for each in calibration.comparisons if each.phase == calibration.curve.phase)
    return all(each.repeatability is not None for each in used)


def _candidate(calibration: CalibrationOnFile, candidate: Candidate) -> Content:
    fit, curve, instrument = candidate.fit, calibration.curve, calibration.instrument
    squares = fit.chi_squared
    if isinstance(fit, Polynomial):
        own = unit(instrument.quantity, instrument.unit)
        written = formula(fit.in_unit(own.scale, own.offset).in_powers_of_x()[0].tolist())
        squares = squares if _states_repeatability(calibration) else squares / own.scale**2
    else:
        written = response_formula(fit)
    return {
        "shape": candidate.shape,
        "title": candidate.title,
        "degree": candidate.degree,
        "formula": written,
        "sum_of_squares": squares,
        "degrees_of_freedom": fit.degrees_of_freedom,
        "probability": candidate.probability,
        "aicc": finite(candidate.aicc),
        "leave_one_out": _left_out(unit_of_residuals(curve, instrument), candidate),
        "lack_of_fit_probability": candidate.lack_of_fit,
        "kept": candidate.stands,
        "chosen": (candidate.shape, candidate.degree) == (curve.shape, curve.degree),
    }


def _left_out(in_unit: Unit, candidate: Candidate) -> float | None:
    return finite(float(in_unit.difference_from_si(candidate.leave_one_out)))


def text(answer: Content) -> str:
    """The same for people."""
    squares = "chi-squared" if answer["judged_by"] == "chi-squared" else "sum of res.²"
    header = ("candidate", squares, "dof", "probability", "AICc", "left out", "lack of fit", "at 5 %")
    return "\n".join(
        [
            f"{answer['tag']}, certificate {answer['certificate']}, made from the comparisons {answer['made_from']}",
            f"candidates, judged by {answer['judged_by']}; left out: rms of residuals from curves without the point:",
            table_text(header, [_row(each) for each in answer["candidates"]], right=range(1, 7)),
        ]
    )


def _row(each: Content) -> tuple[str, ...]:
    return (
        each["title"],
        f"{each['sum_of_squares']:.5g}",
        f"{each['degrees_of_freedom']:.4g}",
        f"{each['probability']:.3g}",
        figure_text(each["aicc"], ".4g"),
        figure_text(each["leave_one_out"], ".3g"),
        figure_text(each["lack_of_fit_probability"], ".3g"),
        f"{'not rejected' if each['kept'] else 'rejected'}{'  <- chosen' if each['chosen'] else ''}",
    )
