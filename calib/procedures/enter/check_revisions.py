"""What revisions of one record must hold together: they are counted, and each but the last was taken back.

Of readings, of designs, rooms and conditions of the air: what was withdrawn is typed again under the same names.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence

from calib.errors import Finding
from calib.procedures.typed.columns import FILES
from calib.procedures.typed.declaration import TAKEN_BACK, RecordNames
from calib.procedures.typed.rows_together import Known, KnownNames, duplicate
from calib.procedures.typed.sheets import Cells, Sheets, TypedRow

# File -> how a record of it is called; its names in all revisions are the columns of its key that must be filled.
_REVISED = {
    "readings.csv": "one reading", "systems.csv": "one design", "rooms.csv": "one room", "conditions.csv": "one set of conditions",
}  # fmt: skip


def revision_findings(named: KnownNames, *, correcting: bool) -> Iterable[Finding]:
    """All findings on rows that were typed before; `correcting`: the reading before is taken back in the same act."""
    for file, what in _REVISED.items():
        declared, of_names = FILES[file], FILES[file].must_name
        of_records: dict[RecordNames, list[TypedRow]] = defaultdict(list)
        for row in named.sheets[file]:
            if row.sound(*of_names) and "revision" not in row.bad:
                of_records[declared.compared(row.cells[column] for column in of_names)].append(row)
        for record, rows in of_records.items():
            if len(rows) > 1 or revision_of(rows[0]) > 1:
                on_record = _on_record(named.known, file, record)
                yield from _of_one(sorted(rows, key=revision_of), on_record, what, correcting=correcting)


def typed_again(sheets: Sheets, known: Known) -> None:
    """Give a record that is typed by hand its revision where all before it was withdrawn: whoever types it again means it.

    A row of a file is not counted so: a file that is imported again would bring back what was withdrawn since.
    """
    for file in _REVISED:
        declared, of_names = FILES[file], FILES[file].must_name
        for row in sheets[file]:
            if row.row_number is None and row.blank("revision") and row.sound(*of_names):
                before = _on_record(known, file, declared.compared(row.cells[column] for column in of_names))
                if before and all(cells[TAKEN_BACK] is not None for cells in before.values()):
                    row.cells["revision"] = str(1 + max(before))


def _on_record(known: Known, file: str, record: RecordNames) -> dict[int, Cells]:
    """Revisions of a record that the records hold."""
    return {int(names[-1]): cells for names, cells in known[file].items() if names[:-1] == record}


def revision_of(row: TypedRow) -> int:
    """The revision of a row."""
    return int(row.cells.get("revision", 1))


def _of_one(rows: Sequence[TypedRow], on_record: dict[int, Cells], what: str, *, correcting: bool) -> Iterable[Finding]:
    before: TypedRow | None = None
    for expected, row in enumerate(rows, start=1 + len(on_record)):
        if revision_of(row) in on_record or (before is not None and revision_of(before) == revision_of(row)):
            return  # it is told as repeated
        if revision_of(row) != expected:
            yield duplicate(row, ("revision",), f"{expected}: revisions of {what} are counted")
            return
        if before is not None and before.blank(TAKEN_BACK):
            yield before.finding(TAKEN_BACK, f"why: revision {expected} takes its place")
        elif before is None and on_record and not correcting and on_record[max(on_record)][TAKEN_BACK] is None:
            yield duplicate(row, ("revision",), f"{what} that was withdrawn: what is on record counts")
        before = row
