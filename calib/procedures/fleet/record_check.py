"""Record an intermediate check of an instrument; a failed one closes the gate (ISO/IEC 17025:2017, 6.4.10 and 7.7.1).

It opens an impact review too, of what was measured since the instrument was last shown to be in order (7.10).

kind             value                               limits of what passes
zero             as typed                            as typed
comparison       E_n of two instruments              -1 to 1; or, with something outside the register, as typed
check standard   as typed                            as typed, or from the values before that passed

Decision (2026-11). A failed check is cleared by a new calibration only. Events carry a time, calibrations a date, which is the
local one of the reading's zone. Cost (11-25): a check that was itself done wrongly sends the instrument away; within the day of
a calibration nobody can tell before from after, so a check of that day counts as made after it.
"""

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from sqlmodel import Session

from calib.errors import BadInputError, Finding
from calib.procedures.fleet.check_values import Worked, compare_two, from_baseline
from calib.procedures.impact.gather import RecordKind
from calib.procedures.impact.open_review import open_reviews
from calib.procedures.impact.out_of_order import open_for_failed_check
from calib.procedures.on_record.by_name import instrument_tagged
from calib.procedures.people.authorise import append
from calib.procedures.typed import cells as checks
from calib.procedures.typed.declaration import TypedColumn
from calib.procedures.typed.declared.events import CHECKS_CSV, OF_TWO_INSTRUMENTS
from calib.procedures.typed.observations import result_of
from calib.procedures.typed.sheets import TypedRow, cell_findings, typed_row
from calib.procedures.typed.time_to_come import expected_of
from calib.quantities import UNITS
from calib.records import ledger
from calib.records.record import key
from calib.records.tables.events import IntermediateCheck
from calib.records.tables.instruments import Instrument
from calib.records.words import CHECK_KINDS

ZERO, COMPARISON, CHECK_STANDARD = CHECK_KINDS
_OF_TWO = tuple(column.name for column in OF_TWO_INSTRUMENTS)
_NOT_TYPED = ("tag", "at", "other", "basis")  # as cells: said apart, or worked out
_KEPT = ("kind", "remarks")


@dataclass(frozen=True)
class CheckAsked:
    """A check as it was typed."""

    instrument: Instrument
    other: Instrument | None
    row: TypedRow
    at: datetime


def record_check(
    session: Session,
    tag: str,
    at: datetime,
    cells: Mapping[str, str | None],
    signature: ledger.Signature,
    remark: Callable[[str], None] = lambda _: None,
) -> IntermediateCheck:
    """Append a check with its result; a failed one opens an impact review, which `remark` is told of.

    `cells` are those of checks.csv, and for a comparison of two instruments OF_TWO_INSTRUMENTS. Raises
    NotInRecordsError, BadInputError, and RefusedError where the gate refuses the other instrument.
    """
    asked = _asked(session, tag, at, cells)
    findings = _findings(asked, signature)
    if findings:
        raise BadInputError(findings)
    worked = _worked(session, asked)
    typed: dict[str, Any] = {name: asked.row.get(name) for name in _KEPT}
    check = IntermediateCheck(
        instrument_id=key(asked.instrument.id),
        at=at.isoformat(timespec="seconds"),
        value=worked.value,
        low=worked.low,
        high=worked.high,
        unit=worked.unit,
        result=result_of(worked.low, worked.value, worked.high),
        other_instrument_id=None if asked.other is None else key(asked.other.id),
        basis=None if worked.basis is None else json.dumps(worked.basis),
        **typed,
    )
    append(session, [check], signature)
    # What was compared with an instrument under review becomes a line of it.
    joined = open_reviews(session, signature, signature.time, (), [(RecordKind.CHECK, key(check.id))])
    opened = open_for_failed_check(session, check, signature, signature.time)
    for told in (*joined.remarks, *opened.remarks):
        remark(told)
    return check


def _asked(session: Session, tag: str, at: datetime, cells: Mapping[str, str | None]) -> CheckAsked:
    row = typed_row(None, cells)
    other = row.get("other")
    return CheckAsked(
        instrument_tagged(session, tag), None if other is None else instrument_tagged(session, other), row, at
    )


def _worked(session: Session, asked: CheckAsked) -> Worked:
    row = asked.row
    if asked.other is not None and row.cells["kind"] == COMPARISON:
        return compare_two(session, asked.instrument, asked.other, row.cells, asked.at)
    if row.blank("low"):
        return from_baseline(session, asked.instrument, asked.other, row.cells, asked.at)
    return Worked(row.cells["value"], row.cells["low"], row.cells["high"], row.cells["unit"], None)


def _findings(asked: CheckAsked, signature: ledger.Signature) -> list[Finding]:
    row, at = asked.row, asked.at
    findings = cell_findings([row], _columns(asked.instrument))
    findings += _of_limits(row)
    findings += _of_two(asked)
    to_come = expected_of(at, signature.time)
    if to_come is not None:
        findings.append(Finding.typed("at", at.isoformat(), to_come))
    return findings


def _columns(instrument: Instrument) -> Iterator[TypedColumn]:
    """What may be typed: limits where they are not worked out, a unit that the instrument has."""
    units = checks.one_of(*UNITS[instrument.quantity])
    for column in (*CHECKS_CSV, *OF_TWO_INSTRUMENTS):
        if column.name in ("low", "high"):
            yield replace(column, required=False)
        elif column.name not in _NOT_TYPED:
            yield replace(column, check=units) if column.name == "unit" else column


def _of_limits(row: TypedRow) -> list[Finding]:
    """Limits are both typed, or neither where they are worked out."""
    kind = row.get("kind")
    if kind == COMPARISON and not row.blank("other"):
        typed = [name for name in ("low", "high") if not row.blank(name)]
        return [row.finding(name, "nothing: two instruments are compared by E_n") for name in typed]
    if row.sound("low", "high") and not float(row.cells["low"]) <= float(row.cells["high"]):
        return [row.finding("high", f"a number not below low ({row.cells['low']})")]
    if kind is None or (kind == CHECK_STANDARD and row.blank("low") and row.blank("high")):
        return []
    return [row.finding(name, _WANTED[name]) for name in ("low", "high") if row.blank(name)]


_WANTED = {
    "low": "a finite number, the lowest value that passes",
    "high": "a finite number, the highest value that passes",
}


def _of_two(asked: CheckAsked) -> list[Finding]:
    row, other = asked.row, asked.other
    if row.get("kind") != COMPARISON or other is None:
        typed = [name for name in _OF_TWO if not row.blank(name)]
        expected = "nothing without a comparison with another instrument (kind comparison, with the tag of the other)"
        return [row.finding(name, expected) for name in typed]
    findings = [_unlike(asked.instrument, other, row)]
    findings += [row.finding("other_value", "what the other instrument showed")] if row.blank("other_value") else []
    stated: Sequence[str] = [name for name in _OF_TWO[1:] if not row.blank(name)]
    missing = [name for name in _OF_TWO[1:] if name not in stated] if stated else []
    findings += [
        row.finding(name, "the expanded uncertainty (k = 2) of both values, or of neither") for name in missing
    ]
    return [finding for finding in findings if finding is not None]


def _unlike(instrument: Instrument, other: Instrument, row: TypedRow) -> Finding | None:
    if other.id == instrument.id:
        return row.finding("other", "another instrument than the one that is checked")
    if (other.quantity, other.indicated) != (instrument.quantity, instrument.indicated):
        return row.finding("other", f"an instrument that measures {instrument.quantity} as {instrument.tag} does")
    return None
