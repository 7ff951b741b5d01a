"""Which of several records of one thing counts: the latest. The earlier ones stay, to be traced back.

Source: ISO/IEC 17025:2017, 7.5.2 (amendments can be tracked to previous versions, both are kept), from memory. The ledger only
appends, so the key of a record, or its revision, says which of two is the later one.

Nothing heavy is imported here: `calib due` starts with it.
"""

from collections.abc import Callable, Hashable, Iterable
from typing import Any, TypeVar

from sqlmodel import Session, col, func, select

from calib.records.tables.calibrations import Calibration, Withdrawal
from calib.records.tables.curves import StoredCurve

_Record = TypeVar("_Record")
_Thing = TypeVar("_Thing", bound=Hashable)


def that_count(records: Iterable[_Record], of: Callable[[_Record], _Thing]) -> dict[_Thing, _Record]:
    """The record that counts of each thing, by the thing; `records` in the order in which they were recorded."""
    return {of(record): record for record in records}


def curves_of(session: Session, calibration: int) -> tuple[StoredCurve, ...]:
    """Every curve of a calibration in the order in which they were recorded: of several the last one counts."""
    own = select(StoredCurve).where(StoredCurve.calibration_id == calibration)
    return tuple(session.exec(own.order_by(col(StoredCurve.id))))


def curve_that_counts(session: Session, calibration: int) -> StoredCurve:
    """The curve of a calibration, whether the rule or a person chose it; raises IndexError for a calibration without one."""
    return curves_of(session, calibration)[-1]


def counts_of_its_calibration() -> Any:
    """The same as a condition on calibrations joined with curves: the curve is the latest of its calibration."""
    latest = select(func.max(StoredCurve.id)).where(StoredCurve.calibration_id == Calibration.id)
    return col(StoredCurve.id) == latest.correlate(Calibration).scalar_subquery()


def not_withdrawn() -> Any:
    """A condition on calibrations: whatever asks which of them counts leaves out those that were withdrawn."""
    return col(Calibration.id).not_in(select(Withdrawal.calibration_id))
