"""Cells that no act of the program could have written, as findings of verify.

Decision (2026-11-29). Remarked are those that are mended or cannot be any more: of rows whose ledger entries name no version of the
program, since an earlier one took some cells that this one does not; of rows that were taken back, or amended since. Cost: whoever
puts in a row and takes it back leaves a remark only, with both entries in the ledger.
"""

from collections.abc import Collection, Mapping
from typing import Any

from sqlmodel import Session, SQLModel, col, func, select

from calib.procedures.on_record.by_keys import by_keys
from calib.procedures.on_record.declared_cells import wrong_cells
from calib.records.tables.entries import Retraction
from calib.records.tables.instruments import Instrument, InstrumentRevision
from calib.records.tables.jobs import Job, JobRevision
from calib.records.tables.ledger import LedgerEntry
from calib.records.tables.methods import Method, MethodRevision
from calib.records.tables.outlets import Outlet, OutletRevision
from calib.records.verification import LedgerFinding

_REVISIONS: Mapping[type[SQLModel], tuple[Any, Any]] = {
    Outlet: (OutletRevision, OutletRevision.outlet_id),
    Instrument: (InstrumentRevision, InstrumentRevision.instrument_id),
    Method: (MethodRevision, MethodRevision.method_id),
    Job: (JobRevision, JobRevision.job_id),
}


def declared_findings(session: Session) -> tuple[list[LedgerFinding], list[LedgerFinding]]:
    """Findings: cells that their column's declaration does not allow. Remarks: those that are mended or cannot be."""
    findings: list[LedgerFinding] = []
    remarks: list[LedgerFinding] = []
    for table, records in wrong_cells(session).items():
        past = (
            _unversioned(session, table, records)
            | _taken_back(session, table, records)
            | _amended(session, table, records)
        )
        for record_id in sorted(records):
            told = remarks if record_id in past else findings
            told += (LedgerFinding(f"{table.__tablename__} {record_id}", problem) for problem in records[record_id])
    return findings, remarks


def _unversioned(session: Session, table: type[SQLModel], keys: Collection[int]) -> set[int]:
    own = select(LedgerEntry.record_id).where(
        LedgerEntry.record_table == table.__tablename__, col(LedgerEntry.version).is_(None)
    )
    return set(by_keys(session, own, LedgerEntry.record_id, keys))


def _taken_back(session: Session, table: type[SQLModel], keys: Collection[int]) -> set[int]:
    own = select(Retraction.record_id).where(Retraction.record_table == table.__tablename__)
    return set(by_keys(session, own, Retraction.record_id, keys))


def _amended(session: Session, table: type[SQLModel], keys: Collection[int]) -> set[int]:
    """Of records that have revisions, those with one; of revisions, those with a later one."""
    if table in _REVISIONS:
        _, owner = _REVISIONS[table]
        return set(by_keys(session, select(owner), owner, keys))
    for revisions, owner in _REVISIONS.values():
        if revisions is table:
            own: Any = table
            latest: dict[int, int] = {**dict(session.execute(select(owner, func.max(own.id)).group_by(owner)).tuples())}
            owners = by_keys(session, select(own.id, owner), own.id, keys)
            return {record_id for record_id, owned in owners if latest[owned] > record_id}
    return set()
