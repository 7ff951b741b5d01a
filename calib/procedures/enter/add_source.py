"""Declare one source of outlet factors, or another spelling of one."""

from datetime import datetime

from sqlmodel import Session

from calib.procedures.enter.import_sheets import import_row
from calib.procedures.typed.sheets import Cells, TypedRow
from calib.records import ledger


def add_source(session: Session, cells: Cells, signature: ledger.Signature, now: datetime) -> TypedRow:
    """Write a source and answer with its row as it was kept; `cells` are those of sources.csv. Raises BadInputError."""
    return import_row(session, "sources.csv", cells, signature, now)


def add_source_spelling(session: Session, cells: Cells, signature: ledger.Signature, now: datetime) -> TypedRow:
    """The same of another spelling; `cells` are those of source_spellings.csv. Raises BadInputError."""
    return import_row(session, "source_spellings.csv", cells, signature, now)
