"""Add one instrument to the register."""

from datetime import datetime

from sqlmodel import Session

from calib.procedures.enter.import_sheets import import_sheets
from calib.procedures.typed.sheets import Cells, typed_row
from calib.records import ledger


def add_instrument(session: Session, cells: Cells, signature: ledger.Signature, now: datetime) -> None:
    """Write an instrument; `cells` are those of instruments.csv. Raises BadInputError with every finding."""
    import_sheets(session, {"instruments.csv": [typed_row(None, cells)]}, signature, now)
