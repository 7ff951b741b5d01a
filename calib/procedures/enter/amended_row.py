"""What an amendment makes of a record: its cells with what was changed, checked as a whole."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from calib.errors import Finding
from calib.procedures.typed.changes import changes_typed
from calib.procedures.typed.declaration import Declaration
from calib.procedures.typed.reason import without_reason
from calib.procedures.typed.sheets import TypedRow, cell_findings, typed_row
from calib.records.record import RecordCells


@dataclass(frozen=True)
class AmendedRow:
    """A record as it is to be, and what is wrong with its cells or its reason."""

    row: TypedRow
    changes: Mapping[str, tuple[str, str]]  # column -> value before, value after
    findings: list[Finding]


def amended_row(declaration: Declaration, cells: RecordCells, typed: Sequence[str], reason: str) -> AmendedRow:
    """Cells of a record, those of its names left out, with changes typed as column=value; a blank value takes the cell out."""
    amendable = [column for column in declaration if column.name not in declaration.key]
    changed, findings = changes_typed(typed, [column.name for column in amendable])
    before = {name: None if cell is None else str(cell) for name, cell in cells.items()}
    row = typed_row(None, before | changed)
    changes = {
        name: (before.get(name) or "", row.cells.get(name, ""))
        for name in changed
        if row.cells.get(name) != before.get(name)
    }
    findings += cell_findings([row], amendable)
    findings += without_reason(reason, "what was wrong, in a few words")
    if not findings and not changes:
        findings.append(Finding.typed("set", "; ".join(typed), "a value other than the one on record"))
    return AmendedRow(row, changes, findings)
