"""Add the conditions of the air at a place of a job."""

from collections.abc import Mapping
from datetime import datetime

from sqlmodel import Session

from calib.procedures.enter.import_sheets import Imported, import_sheets
from calib.procedures.typed.sheets import Cells, typed_row
from calib.records import ledger


def add_conditions(
    session: Session, quantities: Mapping[str, Cells], signature: ledger.Signature, now: datetime
) -> Imported:
    """Write conditions: cells of conditions.csv by their quantity, which is the source in findings. Raises BadInputError."""
    rows = [typed_row(source, cells) for source, cells in quantities.items()]
    return import_sheets(session, {"conditions.csv": rows}, signature, now)
