"""The picture of a calibration on file: its comparisons and its curve."""

import pickle
from collections.abc import Callable
from functools import lru_cache

import numpy as np

from calib.curves.curve import CorrectionCurve
from calib.curves.response import curve_from_text
from calib.faces.drawings.curve import CurveDrawing, curve_chart, small_curve_chart
from calib.faces.drawings.style import Chart
from calib.faces.written import unit_text
from calib.procedures.certificate.fit_curve import comparisons_in_si
from calib.procedures.on_record.calibrations import CalibrationOnFile
from calib.quantities import Unit, unit
from calib.records.record import typed
from calib.records.tables.comparisons import Comparison


def calibration_chart(on_file: CalibrationOnFile) -> Chart:
    """The chart of a calibration on file.

    Of one content it is one figure, laid out and drawn once: the revisions of a report show most of their calibrations alike.
    """
    return _chart(pickle.dumps(curve_drawing(on_file)), curve_chart)


def small_calibration_chart(on_file: CalibrationOnFile) -> Chart:
    """The same as wide as a column of text, likewise drawn once."""
    return _chart(pickle.dumps(curve_drawing(on_file)), small_curve_chart)


@lru_cache(maxsize=64)  # figures of a job or two
def _chart(pickled: bytes, chart: Callable[[CurveDrawing], Chart]) -> Chart:
    return chart(pickle.loads(pickled))  # noqa: S301 (its own bytes)


def curve_drawing(on_file: CalibrationOnFile) -> CurveDrawing:
    """What the chart shows, in the units of its axes."""
    instrument, record = on_file.instrument, on_file.curve
    used = [comparison for comparison in on_file.comparisons if comparison.phase == record.phase]
    curve = curve_from_text(record.parameters)
    points = comparisons_in_si(typed(instrument), [typed(comparison) for comparison in used])
    of_value = unit(instrument.quantity, used[0].unit)
    of_indication = unit(instrument.indicated, used[0].indication_unit or used[0].unit)
    is_correction = isinstance(curve, CorrectionCurve)
    drawn = curve.correction if isinstance(curve, CorrectionCurve) else curve.value
    convert = of_value.difference_from_si if is_correction else of_value.from_si
    along = np.linspace(curve.low, curve.high, 201)
    band = 2.0 * np.hypot(curve.scatter_uncertainty(along), curve.reference_uncertainty(along))
    return CurveDrawing(
        name=f"{instrument.tag}, certificate {on_file.calibration.certificate}, {record.phase}",
        indication_label=f"indication [{unit_text(of_indication.symbol)}]",
        value_label=f"{'correction' if is_correction else instrument.quantity} [{unit_text(of_value.symbol)}]",
        along=of_indication.from_si(along),
        curve=convert(drawn(along)),
        band=of_value.difference_from_si(band),
        indication=of_indication.from_si(points.indication),
        compared=convert(points.correction if is_correction else points.reference),
        expanded_uncertainty=np.array([_stated_u(instrument.quantity, comparison, of_value) for comparison in used]),
        fitted=convert(drawn(points.indication)),
        zero_line=is_correction,
    )


def _stated_u(quantity: str, comparison: Comparison, in_unit: Unit) -> float:
    return in_unit.difference_from_si(
        unit(quantity, comparison.unit).difference_to_si(float(comparison.expanded_uncertainty))
    )
