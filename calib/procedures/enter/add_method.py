"""Declare one method with its standard uncertainty."""

from datetime import datetime

from sqlmodel import Session

from calib.procedures.enter.import_sheets import import_sheets
from calib.procedures.typed.sheets import Cells, TypedRow, typed_row
from calib.records import ledger


def add_method(session: Session, cells: Cells, signature: ledger.Signature, now: datetime) -> TypedRow:
    """Write a method and answer with its row as it was kept; `cells` are those of methods.csv. Raises BadInputError."""
    row = typed_row(None, cells)
    import_sheets(session, {"methods.csv": [row]}, signature, now)
    return row
