"""Record an intermediate check of an instrument; a failed one closes the gate."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sqlmodel import Session

from calib.errors import BadInputError, Finding
from calib.procedures import cells as checks
from calib.procedures.find import instrument_tagged
from calib.procedures.register import key
from calib.procedures.sheets import Column, cell_findings, typed_row
from calib.quantities import UNITS
from calib.records import ledger
from calib.records.tables import IntermediateCheck

KINDS = ("zero", "comparison", "check standard")


def record_check(
    session: Session, tag: str, at: datetime, cells: Mapping[str, str | None], signature: ledger.Signature
) -> IntermediateCheck:
    """Append a check with its result: passed where low <= value <= high. Raises NotInRecordsError or BadInputError."""
    instrument = instrument_tagged(session, tag)
    row = typed_row("command line", cells)
    findings = cell_findings(
        [row],
        (
            Column("kind", checks.one_of(*KINDS), required=True),
            Column("value", checks.number, required=True),
            Column("low", checks.number, required=True),
            Column("high", checks.number, required=True),
            Column("unit", checks.one_of(*UNITS[instrument.quantity]), required=True),
            Column("remarks", checks.text),
        ),
    )
    if row.sound("low", "high") and not float(row.cells["low"]) <= float(row.cells["high"]):
        findings.append(row.finding("high", f"a number not below low ({row.cells['low']})"))
    if at > signature.time:
        findings.append(Finding("command line", None, "at", at.isoformat(), "a time that is not in the future"))
    if findings:
        raise BadInputError(findings)
    passed = float(row.cells["low"]) <= float(row.cells["value"]) <= float(row.cells["high"])
    typed: dict[str, Any] = dict(row.cells)
    check = IntermediateCheck(
        instrument_id=key(instrument.id),
        at=at.isoformat(timespec="seconds"),
        result="passed" if passed else "failed",
        **typed,
    )
    ledger.append(session, [check], signature)
    return check
