"""What somebody took back, when, by whom and why, and what took its place.

The records that count leave it out (`calib.procedures.on_record.what_counts.not_retracted`); here it is shown.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

from sqlmodel import Session, select

from calib.errors import Finding
from calib.procedures.on_record.by_keys import by_keys
from calib.procedures.on_record.recorded import entry_of
from calib.records.record import RecordCells, key
from calib.records.tables.entries import Retraction
from calib.records.tables.ledger import LedgerEntry


@dataclass(frozen=True)
class TakenBack:
    """That a record counts no more."""

    record_id: int
    at: str
    by: str
    reason: str
    replaced_by: int | None  # key of the record of the same table that took its place

    def document(self) -> RecordCells:
        """The same as cells."""
        return {"at": self.at, "by": self.by, "reason": self.reason, "replaced_by": self.replaced_by}


def taken_back(session: Session, table: Any, keys: Collection[int]) -> dict[int, TakenBack]:
    """Records of a table that were taken back, among those of some keys, by their key."""
    entries = (
        select(Retraction, LedgerEntry.time, LedgerEntry.person)
        .join(LedgerEntry, entry_of(Retraction))
        .where(Retraction.record_table == table.__tablename__)
    )
    return {
        retraction.record_id: TakenBack(
            key(retraction.record_id), time, person, retraction.reason, retraction.replaced_by_id
        )
        for retraction, time, person in by_keys(session, entries, Retraction.record_id, keys)
    }


def shown_back(withdrawn: Mapping[int, TakenBack], record_id: int | None) -> RecordCells:
    """The cell that says whether a record was taken back, among those that were."""
    back = withdrawn.get(key(record_id))
    return {"withdrawn": None if back is None else back.document()}


def against_taken_back(session: Session, table: Any, record_id: int, column: str) -> list[Finding]:
    """The finding on a number typed in a column, where its record counts no more already; none where it counts."""
    before = taken_back(session, table, [record_id]).get(record_id)
    if before is None:
        return []
    said = f"one that counts; it was withdrawn at {before.at} by {before.by}: {before.reason}"
    return [Finding.typed(column, str(record_id), said)]
