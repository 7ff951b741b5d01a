"""Cells that no act of the program could have written, as findings of verify.

Decision (2026-11-29). Remarked are those that are mended or cannot be any more: of rows whose ledger entries name no version of the
program, since an earlier one took some cells that this one does not; of rows that were taken back, or amended since. Cost: whoever
puts in a row and takes it back leaves a remark only, with both entries in the ledger.
"""

from collections.abc import Collection

from sqlmodel import Session, SQLModel, col, select

from calib.confirmation.authority import owner_column, owner_table
from calib.procedures.on_record.by_keys import by_keys
from calib.procedures.on_record.declared_cells import wrong_cells
from calib.procedures.on_record.taken_back import taken_back
from calib.records.tables.ledger import LedgerEntry
from calib.records.verification import LedgerFinding


def declared_findings(session: Session) -> tuple[list[LedgerFinding], list[LedgerFinding]]:
    """Findings: cells that their column's declaration does not allow. Remarks: those that are mended or cannot be."""
    findings: list[LedgerFinding] = []
    remarks: list[LedgerFinding] = []
    for table, records in wrong_cells(session).items():
        past = {
            *_unversioned(session, table, records),
            *taken_back(session, table, records),
            *_amended(session, table, records),
        }
        for record_id in sorted(records):
            told = remarks if record_id in past else findings
            told += (LedgerFinding(f"{table.__tablename__} {record_id}", problem) for problem in records[record_id])
    return findings, remarks


def _unversioned(session: Session, table: type[SQLModel], keys: Collection[int]) -> set[int]:
    own = select(LedgerEntry.record_id).where(
        LedgerEntry.record_table == table.__tablename__, col(LedgerEntry.version).is_(None)
    )
    return set(by_keys(session, own, LedgerEntry.record_id, keys))


def _amended(session: Session, table: type[SQLModel], keys: Collection[int]) -> set[int]:
    """Of records that have revisions, those with one; of revisions, those with a later one."""
    name, tables = str(table.__tablename__), SQLModel.metadata.tables
    if owner_table(name) != name:
        own, later = tables[name], tables[name].alias()
        owner = owner_column(name)
        after = select(later.c.id).where(later.c[owner] == own.c[owner], later.c.id > own.c.id)
        return set(by_keys(session, select(own.c.id).where(after.exists()), own.c.id, keys))
    revisions = next((each for each in tables if owner_table(each) == name != each), None)
    if revisions is None:
        return set()
    amended = tables[revisions].c[owner_column(revisions)]
    return set(by_keys(session, select(amended), amended, keys))
