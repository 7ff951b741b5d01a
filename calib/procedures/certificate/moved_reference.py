"""The reference values of a calibration, and its curve, had the curve of its reference standard been another."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from calib.curves.curve import Curve
from calib.errors import CurveError
from calib.procedures.certificate.fit_curve import CurveWish, FittedCurve, fit_curve
from calib.procedures.typed.sheets import Cells
from calib.quantities import unit
from calib.records.record import typed
from calib.records.tables.curves import StoredCurve
from calib.records.tables.instruments import Instrument
from calib.records.words import BY_THE_RULE


def moved_reference(
    instrument: Instrument, standard: Instrument, cells: Cells, before: Curve, after: Curve
) -> tuple[Cells, bool]:
    """A comparison with the reference value that the standard's other curve gives, and whether that was extrapolated.

        r' = r + f'(x) - f(x)      with the standard's indication x: as it was typed, else where f(x) = r

    Outside the indications that both curves cover, r' = r f'(x)/f(x) at the nearer end. A comparison that names another standard
    stays. Raises CurveError where the curves cover nothing in common.
    """
    basis = json.loads(cells.get("basis") or "{}")
    if basis.get("standard", standard.tag) != standard.tag:
        return cells, False
    low, high = max(before.low, after.low), min(before.high, after.high)
    if not low < high:
        raise CurveError(
            f"the comparisons as found of {standard.tag} cover none of the indications that were covered before"
        )
    in_unit = unit(instrument.quantity, str(cells["unit"]))
    reference = in_unit.to_si(float(str(cells["reference"])))
    shown = _shown(standard, basis, cells)
    if shown is None:
        lowest, highest = sorted(float(before.value(end)) for end in (low, high))
        extrapolated = not lowest <= reference <= highest
        x = before.indication(min(max(reference, lowest), highest))
    else:
        extrapolated, x = not low <= shown <= high, shown
    x = min(max(x, low), high)
    value, shift = float(before.value(x)), float(after.value(x)) - float(before.value(x))
    other = reference * (1.0 + shift / value) if extrapolated and value else reference + shift
    return dict(cells) | {"reference": repr(float(in_unit.from_si(other)))}, extrapolated


@dataclass(frozen=True)
class MovedStandard:
    """A reference standard with the curve that the reference values were made with, and another one."""

    standard: Instrument
    before: Curve
    after: Curve


def moved_calibration(
    instrument: Instrument,
    comparisons: Sequence[Cells],
    standards: Sequence[MovedStandard],
    wish: CurveWish | None,
    correlations: Sequence[Cells],
) -> tuple[FittedCurve, tuple[str, ...]]:
    """The curve of a calibration whose reference values are those of the standards' other curves, and how extrapolation enters.

    Raises CalibError where it cannot be worked out.
    """
    cells, notes = list(comparisons), []
    for each in standards:
        if each.standard.quantity != instrument.quantity:
            raise CurveError(
                f"what {each.standard.tag} ({each.standard.quantity}) did to its reference values ({instrument.quantity}) "
                "is not on record: judge it by hand"
            )
        moved = [moved_reference(instrument, each.standard, row, each.before, each.after) for row in cells]
        cells = [row for row, _ in moved]
        if any(extrapolated for _, extrapolated in moved):
            notes.append(
                f"reference values outside the comparisons of {each.standard.tag} were moved by its relative shift at the nearer "
                "end"
            )
    return fit_curve(typed(instrument), cells, wish, correlations), tuple(notes)


def wish_of(curve: StoredCurve) -> CurveWish | None:
    """The shape that a person chose is kept; the rule chooses again where it chose."""
    if curve.chosen_by == BY_THE_RULE:
        return None
    return CurveWish(degree=curve.degree) if curve.shape == "polynomial" else CurveWish(shape=curve.shape)


def _shown(standard: Instrument, basis: Mapping[str, Any], cells: Cells) -> float | None:
    """What the standard showed [SI]; None where it was not typed."""
    typed_indication, symbol = cells.get("standard_indication"), basis.get("indication_unit")
    if typed_indication is None or symbol is None:
        return None
    return unit(standard.indicated, str(symbol)).to_si(float(typed_indication))
