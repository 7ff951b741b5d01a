"""What was put into a certificate after its acceptance: whoever accepted it has not seen that."""

from collections.abc import Collection, Iterator
from typing import Any

from sqlalchemy import and_, select
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from calib.records.tables.calibrations import Acceptance, ReferenceStandard
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
    own, accepted = aliased(LedgerEntry), aliased(LedgerEntry)
    late = (
        select(col(table.id), col(own.person), col(own.time))
        .join(Acceptance, col(Acceptance.calibration_id) == col(table.calibration_id))
        .join(own, and_(col(own.record_table) == str(table.__tablename__), col(own.record_id) == col(table.id)))
        .join(accepted, and_(col(accepted.record_table) == "acceptance", col(accepted.record_id) == col(Acceptance.id)))
        .where(col(own.sequence) > col(accepted.sequence))
        .order_by(col(table.id))
    )
    return late.where(col(StoredCurve.chosen_by) == BY_THE_RULE) if table is StoredCurve else late
