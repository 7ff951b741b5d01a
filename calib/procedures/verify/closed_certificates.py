"""What was put into a certificate after its acceptance: whoever accepted it has not seen that."""

from collections.abc import Collection, Iterator
from typing import Any

from sqlalchemy import select
from sqlmodel import Session, col

from calib.procedures.on_record.recorded import entry_of
from calib.procedures.on_record.what_counts import after_acceptance
from calib.records.tables.calibrations import ReferenceStandard
from calib.records.tables.comparisons import Comparison, ComparisonCorrelation
from calib.records.tables.curves import StoredCurve
from calib.records.tables.ledger import LedgerEntry
from calib.records.verification import LedgerFinding
from calib.records.words import BY_THE_RULE

_Closed = type[Comparison] | type[ComparisonCorrelation] | type[ReferenceStandard] | type[StoredCurve]
CLOSED: tuple[_Closed, ...] = (Comparison, ComparisonCorrelation, ReferenceStandard, StoredCurve)


def late_findings(session: Session, calibrations: Collection[int] | None = None) -> Iterator[LedgerFinding]:
    """Comparisons, correlations, standards and curves by the rule that were written after the acceptance of their certificate."""
    for table in CLOSED:
        late = _later(table)
        if calibrations is not None:
            late = late.where(col(table.calibration_id).in_(sorted(calibrations)))
        for record_id, person, time in session.execute(late):
            problem = f"was written into a certificate after its acceptance, {time} by {person}"
            yield LedgerFinding(f"{table.__tablename__} {record_id}", problem)


def _later(table: _Closed) -> Any:
    written = select(col(table.id), col(LedgerEntry.person), col(LedgerEntry.time)).join(LedgerEntry, entry_of(table))
    late = written.where(after_acceptance(table)).order_by(col(table.id))
    return late.where(col(StoredCurve.chosen_by) == BY_THE_RULE) if table is StoredCurve else late
