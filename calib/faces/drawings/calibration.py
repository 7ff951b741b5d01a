"""The picture of a calibration on file: its comparisons and its curve."""

from pathlib import Path
from typing import Any

import numpy as np

from calib.curves.curve import CorrectionCurve
from calib.curves.response import from_text
from calib.faces import drawings
from calib.procedures.certificate.fit_curve import comparisons_in_si
from calib.procedures.on_record.calibrations import CalibrationOnFile
from calib.quantities import Unit, unit
from calib.records.record import typed
from calib.records.tables import Comparison


def curve_figure(kept: CalibrationOnFile) -> Any:
    """The chart of a calibration on file."""
    return drawings.curve_chart(curve_drawing(kept))


def curve_drawing(kept: CalibrationOnFile) -> drawings.CurveDrawing:
    """What the chart shows, in the units of its axes."""
    instrument, record = kept.instrument, kept.curve
    used = [one for one in kept.comparisons if one.phase == record.phase]
    curve = from_text(record.parameters)
    points = comparisons_in_si(typed(instrument), [typed(one) for one in used])
    of_value = unit(instrument.quantity, used[0].unit)
    of_indication = unit(instrument.indicated, used[0].indication_unit or used[0].unit)
    is_correction = isinstance(curve, CorrectionCurve)
    drawn = curve.correction if isinstance(curve, CorrectionCurve) else curve.value
    convert = of_value.difference_from_si if is_correction else of_value.from_si
    along = np.linspace(curve.low, curve.high, 201)
    band = 2.0 * np.hypot(curve.scatter_uncertainty(along), curve.reference_uncertainty(along))
    return drawings.CurveDrawing(
        name=f"{instrument.tag}, certificate {kept.calibration.certificate}, {record.phase}",
        indication_label=f"indication [{of_indication.symbol}]",
        value_label=f"{'correction' if is_correction else instrument.quantity} [{of_value.symbol}]",
        along=of_indication.from_si(along),
        curve=convert(drawn(along)),
        band=of_value.difference_from_si(band),
        indication=of_indication.from_si(points.indication),
        compared=convert(points.correction if is_correction else points.reference),
        expanded_uncertainty=np.array([_stated_u(instrument.quantity, one, of_value) for one in used]),
        fitted=convert(drawn(points.indication)),
        zero_line=is_correction,
    )


def _stated_u(quantity: str, one: Comparison, in_unit: Unit) -> float:
    return in_unit.difference_from_si(unit(quantity, one.unit).difference_to_si(float(one.expanded_uncertainty)))


def save_curve(kept: CalibrationOnFile, path: Path) -> None:
    """Draw the chart of a calibration on file to a .svg, .png or .pdf file; raises CalibError."""
    drawings.save_or_tell(curve_figure(kept), path)
