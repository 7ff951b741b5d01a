"""Add one instrument to the register."""

from datetime import datetime

from sqlmodel import Session

from calib.procedures.enter.import_sheets import import_row
from calib.procedures.typed.sheets import Cells
from calib.records import ledger


def add_instrument(session: Session, cells: Cells, signature: ledger.Signature, now: datetime) -> None:
    """Write an instrument; `cells` are those of instruments.csv. Raises BadInputError with every finding."""
    import_row(session, "instruments.csv", cells, signature, now)
