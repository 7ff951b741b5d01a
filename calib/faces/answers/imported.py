"""What an import wrote, or would write, as `calib import` answers."""

from collections.abc import Iterator, Sequence
from dataclasses import asdict

from calib.counted import count_of
from calib.faces.plain_text import one_line, shortened
from calib.faces.written import Content
from calib.procedures.enter.import_sheets import Imported
from calib.procedures.typed.sheets import TypedRow

_MOST_ROWS = 20  # of one sheet, that are shown before they are written
_LONGEST = 60  # signs of a cell that is shown


def document(imported: Imported, *, dry_run: bool) -> Content:
    """How many records of each table; readings that the gate refused; of a dry run each row as it would be written."""
    written = {
        "records": dict(imported.records),
        "on_record_already": dict(imported.on_record),
        "refusals": [asdict(each) for each in imported.refusals],
    }
    rows = {file: [dict(row.cells) for row in rows] for file, rows in imported.rows.items()}
    return written | {"would_write": rows} if dry_run else written


def text(answer: Content) -> str:
    """The number of records for people."""
    return "\n".join(f"{count:6d}  {name.replace('_', ' ')}" for name, count in answer["records"].items())


def would_write(imported: Imported) -> str:
    """The rows of a dry run for people, the first ones of each sheet, and the number of records."""
    return "\n".join([*_rows_told(imported), text(document(imported, dry_run=False))])


def _rows_told(imported: Imported) -> Iterator[str]:
    for file, rows in imported.rows.items():
        by_source: dict[str, list[TypedRow]] = {}
        for row in rows:
            by_source.setdefault(row.source or "", []).append(row)
        for source, own in by_source.items():
            yield f"would write {count_of(len(own), 'row', 'rows')} of {file}, from {one_line(source)}:"
            yield from (f"  row {row.row_number}: {_cells_told(row)}" for row in own[:_MOST_ROWS])
            yield from _rest(own)


def _cells_told(row: TypedRow) -> str:
    return ", ".join(
        f"{name.replace('_', ' ')} {one_line(shortened(cell, _LONGEST))}" for name, cell in row.cells.items()
    )


def _rest(rows: Sequence[TypedRow]) -> list[str]:
    return [f"  and {len(rows) - _MOST_ROWS} more"] if len(rows) > _MOST_ROWS else []
