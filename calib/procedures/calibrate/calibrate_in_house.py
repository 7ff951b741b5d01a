"""Calibrate in house against a reference standard of the register: its indications become reference values with their uncertainty.

    reference value = the standard's corrected value x_s + c_s(x_s) on that day
    u^2 = repeatability of its mean indication + resolution + scatter and reference part of its curve + stability since its
          calibration + difference between the places of the two instruments          (EA-4/02 M:2013, 4, from memory; GUM 5)

with k of the effective degrees of freedom. The whole U counts as common to the certificate's points, though a small part of it (the
standard's repeatability and resolution) is independent from point to point: that overstates, and never understates.

Reference values are kept with U to four digits, and the unrounded parts beside them as JSON.
"""

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import numpy as np
from sqlmodel import Session

from calib.arrays import Floats, finite
from calib.confirmation.interval import CalibrationOnRecord, Decision, gate
from calib.curves.curve import Curve
from calib.errors import BadInputError, Finding, RefusedError
from calib.measurement import flows
from calib.procedures.measure.indicated import IndicationsObserved, StabilityHere, as_readings, repeatability_of
from calib.procedures.measure.stability import stability_at
from calib.procedures.on_record.by_name import instrument_tagged
from calib.procedures.on_record.in_force import OnRecord, on_record_of
from calib.procedures.typed import cells as checks
from calib.procedures.typed.comparison_sheets import comparison_columns
from calib.procedures.typed.declaration import TypedColumn
from calib.procedures.typed.sheets import TypedRow, cell_findings
from calib.quantities import UNITS, Unit, coherent, unit
from calib.records.record import key
from calib.records.tables.instruments import Instrument
from calib.uncertainty.coverage import COVERAGE_PROBABILITY, coverage_factor
from calib.uncertainty.propagation import Contribution, combine
from calib.uncertainty.statement import plain, round_result

# Columns of comparisons.csv that follow from the others.
_WORKED_OUT = ("expanded_uncertainty", "coverage_factor", "standard_indication", "basis")
# Digits of U with which a reference value is kept; the value has the same place. Two more than are ever printed.
_DIGITS = 4


@dataclass(frozen=True)
class PlaceDifference:
    """What the difference between the places of standard and instrument may bring: a relative standard uncertainty, its basis."""

    percent: str = "0"
    basis: str | None = None


@dataclass(frozen=True)
class ReferenceValues:
    """Reference values at n points [SI], and what their uncertainty comes from."""

    value: Floats  # (n,)
    standard_uncertainty: Floats  # (n,)
    degrees_of_freedom: Floats  # (n,) effective
    coverage_factor: Floats  # (n,)
    contributions: tuple[Contribution, ...]

    @property
    def expanded_uncertainty(self) -> Floats:
        """(n,) U = k u."""
        return self.coverage_factor * self.standard_uncertainty


def in_house_columns() -> tuple[TypedColumn, ...]:
    """Columns of a sheet of in-house comparisons: those of comparisons.csv, the standard's indication instead of the reference."""
    shown = "reference_indication"
    columns = [
        replace(column, name=shown if column.name == "reference" else column.name) for column in comparison_columns()
    ]
    return (
        *(column for column in columns if column.name not in _WORKED_OUT),
        TypedColumn("reference_repeatability", checks.not_negative, "standard deviation of the standard's indications"),
        TypedColumn(
            "reference_observations", checks.whole, "how many indications of the standard the one is the mean of"
        ),
    )


def reference_values(
    standard: Instrument, curve: Curve, observed: IndicationsObserved, stability: StabilityHere, place_relative: float
) -> ReferenceValues:
    """Corrected values of a standard and their uncertainty; raises MeasuringIntervalError outside its curve's interval.

    `place_relative`: relative standard uncertainty of the difference between the places of standard and instrument [1].
    """
    evaluated = flows(as_readings(standard, curve, observed, stability))
    value, each = evaluated.velocity, np.arange(evaluated.velocity.size)
    between = Contribution(
        "place",
        np.zeros(each.size, dtype=bool),
        (place_relative * value)[:, np.newaxis],
        each,
        np.full(each.size, np.inf),
    )
    contributions = (*evaluated.velocity_contributions, *((between,) if place_relative > 0 else ()))
    combined = combine(contributions)
    k = coverage_factor(combined.degrees_of_freedom)
    return ReferenceValues(value, combined.standard_uncertainty, combined.degrees_of_freedom, k, contributions)


def in_house(
    session: Session,
    tag: str,
    standard_tag: str,
    on: date,
    rows: Sequence[TypedRow],
    place: PlaceDifference | None = None,
) -> list[TypedRow]:
    """Rows of comparisons.csv from rows with the standard's indication.

    Raises NotInRecordsError; BadInputError with every finding; RefusedError where the gate refuses the standard on that day, or at
    one of its indications.
    """
    instrument, standard = instrument_tagged(session, tag), instrument_tagged(session, standard_tag)
    between = place or PlaceDifference()
    findings = [*_of_call(instrument, standard, between), *cell_findings(rows, in_house_columns())]
    findings += [finding for row in rows for finding in _of_row(row, standard)]
    if findings or not rows:
        nothing = Finding.typed("comparisons", None, "at least one comparison")
        raise BadInputError(findings or [nothing])
    records = on_record_of(session, [key(instrument.id), key(standard.id)])
    calibration = _in_calibration(records, standard, on, rows)
    observed = _observed(standard, rows)
    curve = records.curve(calibration.record_id)
    stability = stability_at(records, standard, calibration, [on] * len(rows), observed.indication)
    values = reference_values(standard, curve, observed, stability, float(between.percent) / 100)
    return [_comparison(row, point, values, standard, calibration, between) for point, row in enumerate(rows)]


def _of_call(instrument: Instrument, standard: Instrument, place: PlaceDifference) -> Iterable[Finding]:
    if standard.id == instrument.id:
        yield Finding.typed("standard", standard.tag, "another instrument than the one calibrated")
    elif standard.quantity != instrument.quantity:
        expected = f"a standard for {instrument.quantity}; {standard.tag} measures {standard.quantity}"
        yield Finding.typed("standard", standard.tag, expected)
    wrong = checks.not_negative(place.percent)
    if wrong is not None:
        yield Finding.typed("place_percent", place.percent, wrong)
    elif float(place.percent) > 0 and not (place.basis or "").strip():
        expected = "what the uncertainty between the two places rests on"
        yield Finding.typed("place_basis", place.basis, expected)


def _of_row(row: TypedRow, standard: Instrument) -> Iterable[Finding]:
    if row.sound("unit") and row.cells["unit"] not in UNITS[standard.indicated]:
        known = ", ".join(UNITS[standard.indicated])
        yield row.finding("unit", f"a unit of what {standard.tag} indicates: one of {known}")
    if row.sound("reference_repeatability") and not int(row.get("reference_observations") or 0) > 1:
        yield row.finding("reference_observations", "2 or more: the number of indications whose spread is typed")
    if row.blank("reference_repeatability") and standard.repeatability is None:
        expected = f"the standard deviation of its indications; {standard.tag} declares no repeatability"
        yield row.finding("reference_repeatability", expected)


def _in_calibration(records: OnRecord, standard: Instrument, on: date, rows: Sequence[TypedRow]) -> CalibrationOnRecord:
    """The standard's calibration on the day; raises RefusedError with every reason against it, at any of its indications."""
    # The day as a whole: the records keep no hour of a calibration.
    decisions = [_decision(records, standard, on, row) for row in rows]
    reasons = dict.fromkeys(reason for decision in decisions for reason in decision.reasons)
    if reasons:
        raise RefusedError("\n".join(reasons))
    calibration = decisions[0].calibration
    assert calibration is not None  # noqa: S101 (the gate lets nothing pass without one)
    return calibration


def _decision(records: OnRecord, standard: Instrument, on: date, row: TypedRow) -> Decision:
    typed, shown = unit(standard.indicated, row.cells["unit"]), row.cells["reference_indication"]
    return gate(records.register, standard.tag, on, on, typed.to_si(float(shown)), f"{shown} {row.cells['unit']}")


def _observed(standard: Instrument, rows: Sequence[TypedRow]) -> IndicationsObserved:
    units = [unit(standard.indicated, row.cells["unit"]) for row in rows]
    counts = np.array([int(row.get("reference_observations") or 1) for row in rows])
    stated = np.array([row.sound("reference_repeatability") for row in rows])
    own = repeatability_of(standard)
    deviation = np.array(
        [
            typed.difference_to_si(float(row.cells["reference_repeatability"])) if is_stated else own
            for typed, row, is_stated in zip(units, rows, stated, strict=True)
        ]
    )
    indication = [typed.to_si(float(row.cells["reference_indication"])) for typed, row in zip(units, rows, strict=True)]
    return IndicationsObserved(
        np.array(indication),
        deviation / np.sqrt(counts),
        stated,
        np.where(stated, counts - 1.0, np.inf),
    )


def _comparison(
    row: TypedRow,
    point: int,
    values: ReferenceValues,
    standard: Instrument,
    calibration: CalibrationOnRecord,
    place: PlaceDifference,
) -> TypedRow:
    in_unit = _unit_of_value(row, standard)
    value, expanded = (
        in_unit.from_si(values.value[point]),
        in_unit.difference_from_si(values.expanded_uncertainty[point]),
    )
    # k as it is kept: U is made from it, so that U/k is u.
    k = f"{values.coverage_factor[point]:.{_DIGITS}f}"
    rounded = round_result(float(value), float(expanded) * float(k) / float(values.coverage_factor[point]), _DIGITS)
    cells = {
        "phase": row.cells["phase"],
        "reference": plain(rounded.value),
        "unit": in_unit.symbol,
        "expanded_uncertainty": plain(rounded.uncertainty),
        "coverage_factor": k,
        "standard_indication": row.cells["reference_indication"],
        "basis": json.dumps(_basis(row, point, values, standard, calibration, place, in_unit), ensure_ascii=False),
    }
    same = ("tag", "certificate", "indication", "repeatability", "observations")
    cells |= {name: row.cells[name] for name in same if row.sound(name)}
    shown = row.get("indication_unit") or row.cells["unit"]
    if shown != in_unit.symbol:
        cells["indication_unit"] = shown
    return TypedRow(row.source, row.row_number, cells, given=row.given)


def _unit_of_value(row: TypedRow, standard: Instrument) -> Unit:
    """As typed where the standard indicates the quantity itself; else the coherent unit."""
    if standard.indicated == standard.quantity:
        return unit(standard.quantity, row.cells["unit"])
    return coherent(standard.quantity)


def _basis(
    row: TypedRow,
    point: int,
    values: ReferenceValues,
    standard: Instrument,
    calibration: CalibrationOnRecord,
    place: PlaceDifference,
    in_unit: Unit,
) -> Mapping[str, Any]:
    """What a reference value was worked out from, unrounded."""

    def difference(si: float) -> float:
        return float(in_unit.difference_from_si(si))

    dof = float(values.degrees_of_freedom[point])
    return {
        "standard": standard.tag,
        "certificate": calibration.certificate,
        "laboratory": calibration.laboratory,
        "calibrated_on": str(calibration.calibrated_on),
        "indication": row.cells["reference_indication"],
        "indication_unit": row.cells["unit"],
        "repeatability": row.get("reference_repeatability"),
        "observations": row.get("reference_observations"),
        "value": float(in_unit.from_si(values.value[point])),
        "unit": in_unit.symbol,
        "standard_uncertainty": difference(values.standard_uncertainty[point]),
        "effective_degrees_of_freedom": finite(dof),
        "coverage_factor": float(values.coverage_factor[point]),
        "coverage_probability": COVERAGE_PROBABILITY,
        "place_percent": place.percent,
        "place_basis": place.basis,
        "contributions": [
            {
                "name": contribution.name,
                "standard_uncertainty": difference(float(np.sqrt(contribution.variance[point]))),
                "degrees_of_freedom": finite(contribution.degrees_of_freedom[point]),
            }
            for contribution in values.contributions
        ],
    }
