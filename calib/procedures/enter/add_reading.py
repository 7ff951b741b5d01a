"""Add one reading, or one traverse with its points: typed by hand, checked and written like the rows of a file."""

from collections.abc import Mapping
from datetime import datetime

from sqlmodel import Session

from calib.procedures.enter.import_sheets import Imported, import_sheets
from calib.procedures.people.authorise import signed
from calib.procedures.typed.columns import FILES
from calib.procedures.typed.sheets import Cells, FileContent, TypedRow, typed_row
from calib.records import ledger


def add_reading(
    session: Session,
    cells: Cells,
    log: FileContent | None,
    signature: ledger.Signature,
    now: datetime,
    *,
    sure: bool = False,
) -> Imported:
    """Write a reading, or keep it as a refusal; `cells` are those of readings.csv, whoever signs is the operator.

    `log` is the file named in log_file. Raises BadInputError with every finding, and DoubtError where something is unusual of
    which nobody said yet that it is right (`sure`).
    """
    signature = signed(session, signature)
    row = typed_row(None, {**cells, "operator": signature.person})
    row.log = log
    return import_sheets(session, {"readings.csv": [row]}, signature, now, sure=sure)


def add_traverse(
    session: Session,
    cells: Cells,
    points: Mapping[tuple[int, int], str],
    signature: ledger.Signature,
    now: datetime,
    *,
    sure: bool = False,
) -> Imported:
    """Write a traverse with the indications at each (line, point), joined by ; over the passes; otherwise as `add_reading`."""
    signature = signed(session, signature)
    sheets = traverse_rows({**cells, "operator": signature.person}, points)
    return import_sheets(session, sheets, signature, now, sure=sure)


def traverse_rows(cells: Cells, points: Mapping[tuple[int, int], str]) -> dict[str, list[TypedRow]]:
    """A traverse as rows of readings.csv and traverses.csv."""
    return {"readings.csv": [typed_row(None, cells)], "traverses.csv": rows_of_points(cells, points)}


def rows_of_points(reading: Cells, points: Mapping[tuple[int, int], str]) -> list[TypedRow]:
    """Points of a traverse as rows of traverses.csv, named for the reading of these cells."""
    names = {name: reading[name] for name in FILES["readings.csv"].must_name}
    return [
        typed_row(
            f"line {line}, point {point}", {**names, "line": str(line), "point": str(point), "indications": values}
        )
        for (line, point), values in points.items()
    ]
