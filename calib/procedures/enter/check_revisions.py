"""What revisions of one reading must hold together: they are counted, and each but the last was taken back."""

from collections import defaultdict
from collections.abc import Iterable, Sequence

from calib.errors import Finding
from calib.procedures.typed.columns import FILES
from calib.procedures.typed.declaration import TAKEN_BACK, RecordNames
from calib.procedures.typed.rows_together import Known, KnownNames, duplicate
from calib.procedures.typed.sheets import Cells, Sheets, TypedRow

_READINGS = FILES["readings.csv"]
_NAMES = _READINGS.must_name  # of a reading in all its revisions


def revision_findings(named: KnownNames, *, correcting: bool) -> Iterable[Finding]:
    """All findings on rows whose reading was typed before; `correcting`: the one before is taken back in the same act."""
    of_readings: dict[RecordNames, list[TypedRow]] = defaultdict(list)
    for row in named.sheets["readings.csv"]:
        if row.sound(*_NAMES) and "revision" not in row.bad:
            of_readings[_READINGS.compared(row.cells[column] for column in _NAMES)].append(row)
    for reading, rows in of_readings.items():
        if len(rows) > 1 or revision_of(rows[0]) > 1:
            on_record = _on_record(named.known, reading)
            yield from _of_one(sorted(rows, key=revision_of), on_record, correcting=correcting)


def typed_again(sheets: Sheets, known: Known) -> None:
    """Give a reading that is typed by hand its revision where all before it was withdrawn: whoever types it again means it.

    A row of a file is not counted so: a file that is imported again would bring back what was withdrawn since.
    """
    for row in sheets["readings.csv"]:
        if row.source is None and row.blank("revision") and row.sound(*_NAMES):
            before = _on_record(known, _READINGS.compared(row.cells[column] for column in _NAMES))
            if before and all(cells[TAKEN_BACK] is not None for cells in before.values()):
                row.cells["revision"] = str(1 + max(before))


def _on_record(known: Known, reading: RecordNames) -> dict[int, Cells]:
    """Revisions of a reading that the records hold."""
    return {int(names[-1]): cells for names, cells in known["readings.csv"].items() if names[:-1] == reading}


def revision_of(row: TypedRow) -> int:
    """The revision of a reading's row."""
    return int(row.cells.get("revision", 1))


def _of_one(rows: Sequence[TypedRow], on_record: dict[int, Cells], *, correcting: bool) -> Iterable[Finding]:
    before: TypedRow | None = None
    for expected, row in enumerate(rows, start=1 + len(on_record)):
        if revision_of(row) in on_record or (before is not None and revision_of(before) == revision_of(row)):
            return  # it is told as repeated
        if revision_of(row) != expected:
            yield duplicate(row, ("revision",), f"{expected}: revisions of one reading are counted")
            return
        if before is not None and before.blank(TAKEN_BACK):
            yield before.finding(TAKEN_BACK, f"why: revision {expected} takes its place")
        elif before is None and on_record and not correcting and on_record[max(on_record)][TAKEN_BACK] is None:
            yield duplicate(row, ("revision",), "a reading that was withdrawn: the one on record counts")
        before = row
