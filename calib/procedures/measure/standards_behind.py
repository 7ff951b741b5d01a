"""The reference standards behind calibrations made in house, as far as the records say what reference values bear of them.

A comparison made in house keeps what its reference value was worked out from. Of these parts the standard's own reference part, the
scatter of its curve and its stability are errors of the standard's calibration, which it hands on to everything calibrated with it;
the rest (its repeatability and resolution, the difference between the places) belongs to the comparison.

Decision (2026-11-29). A calibration that names standards of the register, and does not say what its reference values bear of them,
shares to an extent that is not known: with what was calibrated with one of these standards, and with what their laboratories
calibrated. Option: a part worked out from the standard's certificate, which the calibration may not have used. Cost: nothing
cancels in a difference.
"""

import json
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import Any, NamedTuple

import numpy as np

from calib.arrays import Floats, Integers
from calib.confirmation.interval import CalibrationOnRecord
from calib.curves.curve import Curve
from calib.measurement.at_comparisons import neighbours
from calib.measurement.readings import StandardBehind
from calib.measurement.standards_behind import between_comparisons
from calib.procedures.measure.stability import stability_at
from calib.procedures.on_record.in_force import OnRecord
from calib.procedures.typed.spelling import spelled_alike
from calib.quantities import unit
from calib.records.tables.comparisons import Comparison
from calib.records.tables.instruments import Instrument
from calib.uncertainty.estimate import from_expanded

_HANDED_ON = ("reference standard", "calibration scatter", "stability")  # parts of a reference value


class Borne(NamedTuple):
    """What reference values at m comparisons bear of one calibration of a standard, as shares of their standard uncertainty."""

    reference: Floats  # (m, s)
    scatter: Floats  # (m, p)
    stability: Floats  # (m, s)


class StandardThen(NamedTuple):
    """A calibration of a reference standard, and the day on which it stood behind another."""

    instrument: Instrument
    calibration: CalibrationOnRecord
    day: date


class _Point(NamedTuple):
    """A reference value that a standard gave: which calibration it had, its indication [SI], its parts by name over the whole."""

    standard: StandardThen
    indication: float
    shares: Mapping[str, float]


class Behind:
    """What stands behind some calibrations: worked out once for each."""

    def __init__(self, records: OnRecord) -> None:
        self.records = records
        self.used: dict[int, StandardThen] = {}  # standards by the key of their calibration
        self._borne: dict[int, dict[int, Borne]] = {}

    def of(self, calibration: int) -> dict[int, Borne]:
        """What its reference values bear, by the key of the standard's calibration; nothing where the records do not say."""
        if calibration not in self._borne:
            self._borne[calibration] = {}  # a circle of standards, which the gate refuses, ends here
            self._borne[calibration] = self._worked_out(calibration)
        return self._borne[calibration]

    def _worked_out(self, calibration: int) -> dict[int, Borne]:
        curve = self.records.curve(calibration)
        points = _points(self.records, calibration, curve)
        if points is None:
            return {}
        borne: dict[int, Borne] = {}
        for place, point in enumerate(points):
            self.used.setdefault(point.standard.calibration.record_id, point.standard)
            for standard, share in self._of_point(point).items():
                if standard not in borne:
                    borne[standard] = Borne(*(np.zeros((len(points), each.size)) for each in share))
                for rows, own in zip(borne[standard], share, strict=True):
                    rows[place] += own
        return borne

    def _of_point(self, point: _Point) -> dict[int, Borne]:
        """What one reference value bears: of its standard's calibration, and of those behind that; rows (s,) and (p,)."""
        records, (instrument, calibration, day) = self.records, point.standard
        key, x = calibration.record_id, np.array([point.indication])
        curve = records.curve(key)
        nodes, u = curve.reference_indications, curve.reference_uncertainties
        along = neighbours([nodes], np.zeros(1, dtype=np.int64), x)
        reference, scatter, stability = (point.shares.get(name, 0.0) for name in _HANDED_ON)
        before = {
            standard: Borne(*(between_comparisons(along, u, rows) for rows in own))
            for standard, own in self.of(key).items()
        }
        handed_on = sum(_square(own) for own in before.values())
        directions = curve.scatter_parts(x)[0]
        length = float(np.linalg.norm(directions))
        change = stability_at(records, instrument, calibration, [day] * nodes.size, nodes).half_width
        each = np.eye(nodes.size)
        own_part = float(np.sqrt(max(1.0 - handed_on, 0.0)))
        mine = Borne(
            reference * own_part * between_comparisons(along, u * _own_at(self.of(key), nodes.size), each)[0],
            scatter * directions / length if length > 0 else np.zeros_like(directions),
            stability * between_comparisons(along, change, each)[0],
        )
        return {key: mine} | {
            standard: Borne(*(reference * rows[0] for rows in own)) for standard, own in before.items()
        }


def _square(borne: Borne) -> float:
    """Share of the variance at one comparison."""
    reference, scatter, stability = borne
    return float(reference.sum() ** 2 + np.sum(scatter**2) + stability.sum() ** 2)


def _own_at(behind: Mapping[int, Borne], size: int) -> Floats:
    """(size,) share of the standard uncertainty at each comparison of a calibration that no standard behind it accounts for."""
    squares = np.zeros(size)
    for borne in behind.values():
        squares += [_square(Borne(*(rows[place] for rows in borne))) for place in range(size)]
    return np.sqrt(np.maximum(1.0 - squares, 0.0))


def _points(records: OnRecord, calibration: int, curve: Curve) -> list[_Point] | None:
    """The reference value at each comparison of a curve; None unless a standard of the register gave every one of them."""
    instrument = records.instruments[records.calibrations[calibration].instrument_id]
    on_record = records.register[instrument.tag].calibration(calibration)
    if not on_record.standards:
        return None
    phase = records.curves[calibration].phase
    given: dict[float, tuple[float, _Point]] = {}
    for comparison in records.comparisons(calibration):
        if comparison.phase != phase:
            continue
        shown = unit(instrument.indicated, comparison.indication_unit or comparison.unit)
        point = _point(records, on_record, comparison)
        if point is None:
            return None
        x, u = shown.to_si(float(comparison.indication)), _reference_uncertainty(instrument, comparison)
        # Of several at one indication the largest uncertainty counts, as for the curve.
        if x not in given or u > given[x][0]:
            given[x] = (u, point)
    known = [given[x][1] for x in curve.reference_indications.tolist() if x in given]
    return known if len(known) == curve.reference_indications.size else None


def _reference_uncertainty(instrument: Instrument, comparison: Comparison) -> float:
    in_si = unit(instrument.quantity, comparison.unit).difference_to_si
    return in_si(from_expanded(float(comparison.expanded_uncertainty), float(comparison.coverage_factor)))


def _point(records: OnRecord, of: CalibrationOnRecord, comparison: Comparison) -> _Point | None:
    """What a comparison says of its reference value; None where it says nothing of the calibration of a standard on record."""
    basis: dict[str, Any] = json.loads(comparison.basis or "{}")
    tag, certificate = basis.get("standard"), basis.get("certificate")
    if tag not in of.standards or tag not in records.register:
        return None
    known = [each for each in records.register[tag].calibrations if each.certificate == certificate]
    standard = next((each for each in records.instruments.values() if each.tag == tag), None)
    parts = {str(part["name"]): float(part["standard_uncertainty"]) for part in basis.get("contributions", ())}
    whole = float(np.linalg.norm(list(parts.values()))) if parts else 0.0
    if not known or standard is None or whole <= 0 or {"indication", "indication_unit"} - basis.keys():
        return None
    x = unit(standard.indicated, str(basis["indication_unit"])).to_si(float(basis["indication"]))
    used = StandardThen(standard, known[-1].as_held(of.calibrated_on), of.calibrated_on)
    if not records.curve(used.calibration.record_id).covers(x):
        return None
    return _Point(used, x, {name: u / whole for name, u in parts.items()})


def standards_of(behind: Behind, calibrations: Sequence[int]) -> tuple[list[int], list[list[StandardBehind]]]:
    """Calibrations followed by those of the standards behind them, and what stands behind each; numbered in that order."""
    numbered = list(calibrations)
    for calibration in calibrations:
        numbered += [standard for standard in behind.of(calibration) if standard not in numbered]
    place = {calibration: index for index, calibration in enumerate(numbered)}
    return numbered, [
        [StandardBehind(place[standard], *borne) for standard, borne in behind.of(calibration).items()]
        for calibration in numbered
    ]


def laboratories_of(records: OnRecord, behind: Behind, calibrations: Sequence[int]) -> Integers:
    """Numbers of groups of calibrations of which it is not known how far they share reference standards.

    Those of one laboratory for one quantity; and where standards of the register are named but not accounted for, those that name
    one of them too and those of the standards' own laboratories.
    """
    groups: list[set[tuple[str, ...]]] = []
    own = [_names_of(records, behind, calibration) for calibration in calibrations]
    for names in own:
        apart = [group for group in groups if not group & names]
        groups = [*apart, names.union(*(group for group in groups if group & names))]
    return np.array([next(index for index, group in enumerate(groups) if group & names) for names in own])


def _names_of(records: OnRecord, behind: Behind, calibration: int) -> set[tuple[str, ...]]:
    names: set[tuple[str, ...]] = {laboratory_and_quantity(records, calibration)}
    record = records.calibrations[calibration]
    tag = records.instruments[record.instrument_id].tag
    standards = () if behind.of(calibration) else records.register[tag].calibration(calibration).standards
    for standard in standards:
        names |= {("standard", standard, ""), *_laboratories(records, standard)}
    return names


def _laboratories(records: OnRecord, standard: str) -> Iterable[tuple[str, ...]]:
    for each in records.register[standard].calibrations if standard in records.register else ():
        yield laboratory_and_quantity(records, each.record_id)


def laboratory_and_quantity(records: OnRecord, calibration: int) -> tuple[str, str]:
    """Whose reference standards stand behind a calibration, as far as the certificate tells: its laboratory, and for what."""
    record = records.calibrations[calibration]
    return spelled_alike(record.laboratory), records.instruments[record.instrument_id].quantity
