"""What the records hold, by the names that people type: what import and export go by."""

from collections.abc import Mapping, Sequence
from typing import Any

from sqlmodel import Session, SQLModel, col, select

from calib.procedures.on_record.in_force import outlets_in_force
from calib.procedures.typed.columns import DECLARED, FILES
from calib.procedures.typed.declaration import Declaration, RecordNames, Reference
from calib.procedures.typed.sheets import Cells
from calib.records.record import key
from calib.records.tables import Outlet, Reading, Refusal


class NamesOnRecord:
    """Names of records, and the keys that they stand for; each table is read when it is first asked for."""

    def __init__(self, session: Session) -> None:
        self.session = session
        self._names: dict[type[SQLModel], dict[int, RecordNames]] = {}
        self._keys: dict[tuple[type[SQLModel], int], dict[RecordNames, int]] = {}

    def all(self, table: type[Any]) -> Sequence[Any]:
        """Every record of a table in the order in which it was recorded."""
        return self.session.exec(select(table).order_by(col(table.id))).all()

    def names(self, table: type[Any]) -> Mapping[int, RecordNames]:
        """Names of the records of a table by their keys, as typed, in the order in which they were recorded."""
        if table not in self._names:
            self._names[table] = self._read(table, DECLARED[Reading if table is Refusal else table])
        return self._names[table]

    def _read(self, table: type[Any], declaration: Declaration) -> dict[int, RecordNames]:
        references = [each for each in declaration.references if each.stored and {*each.columns} <= {*declaration.key}]
        named = {column for reference in references for column in reference.columns}
        own = [column for column in declaration.key if column not in named]
        asked = [getattr(table, column) for column in (*own, *(str(each.stored) for each in references))]
        read = {}
        for number, *stored in self.session.exec(select(table.id, *asked).order_by(col(table.id))):
            cells = dict(zip(own, map(str, stored), strict=False))
            for reference, record in zip(references, stored[len(own) :], strict=True):
                cells |= zip(reference.columns, self.names(reference.table)[record], strict=True)
            read[number] = tuple(cells[column] for column in declaration.key)
        return read

    def cells(self, declaration: Declaration, record: Any) -> dict[str, Any]:
        """Cells of a record as its file has them: with the names of the records that it refers to."""
        cells = dict(record.model_dump())
        for reference in declaration.references:
            if reference.stored is not None:
                named = getattr(record, reference.stored)
                names = [None] * len(reference.columns) if named is None else self.names(reference.table)[named]
                cells |= zip(reference.columns, names, strict=True)
        return cells

    def key(self, reference: Reference, cells: Mapping[str, str]) -> int | None:
        """Key of the record that cells name; None where they name none."""
        if not cells.keys() >= {*reference.columns}:
            return None
        declaration, width = DECLARED[reference.table], len(reference.columns)
        if (reference.table, width) not in self._keys:
            self._keys[reference.table, width] = {
                declaration.compared(names[:width]): number for number, names in self.names(reference.table).items()
            }
        return self._keys[reference.table, width].get(declaration.compared(cells[name] for name in reference.columns))

    def forget(self, table: type[SQLModel]) -> None:
        """Read a table anew when it is next asked for."""
        self._names.pop(table, None)
        self._keys = {asked: keys for asked, keys in self._keys.items() if asked[0] is not table}


class Recorded(dict[str, Mapping[RecordNames, Cells]]):
    """What the records hold: file -> names, as they compare with others -> cells. Each file is read when it is first asked for."""

    def __init__(self, session: Session) -> None:
        super().__init__()
        self._names = NamesOnRecord(session)

    def __missing__(self, file: str) -> Mapping[RecordNames, Cells]:
        read = self[file] = self._of_readings() if file == "readings.csv" else self._read(FILES[file])
        return read

    def _read(self, declaration: Declaration) -> dict[RecordNames, Cells]:
        names = self._names.names(declaration.table)
        amended = outlets_in_force(self._names.session) if declaration.table is Outlet else {}
        records = self._names.all(declaration.table)
        return {
            declaration.compared(names[key(record.id)]): amended.get(key(record.id), record).model_dump(mode="json")
            for record in records
        }

    def _of_readings(self) -> dict[RecordNames, Cells]:
        """Readings and refusals: both were typed, and neither is typed again. Nobody asks for their cells."""
        compared = DECLARED[Reading].compared
        return {compared(names): {} for table in (Reading, Refusal) for names in self._names.names(table).values()}

    @property
    def factors(self) -> dict[str, Cells]:
        """Factors found in the field, by name, as they count now."""
        return {names[0]: cells for names, cells in self["factors.csv"].items()}
