"""Declare one method with its standard uncertainty."""

from datetime import datetime

from sqlmodel import Session

from calib.procedures.enter.import_sheets import import_row
from calib.procedures.typed.sheets import Cells, TypedRow
from calib.records import ledger


def add_method(session: Session, cells: Cells, signature: ledger.Signature, now: datetime) -> TypedRow:
    """Write a method and answer with its row as it was kept; `cells` are those of methods.csv. Raises BadInputError."""
    return import_row(session, "methods.csv", cells, signature, now)
