"""What the records hold, by the names that people type: what import and export go by."""

from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from typing import Any

from sqlalchemy import Integer
from sqlmodel import Session, SQLModel, col, select

from calib.procedures.enter.check_certificates import standard_tags
from calib.procedures.enter.check_stages import StagesOnRecord
from calib.procedures.enter.refusal_on_record import REFUSAL_NUMBER
from calib.procedures.on_record.amended import instruments_in_force
from calib.procedures.on_record.by_keys import MOST_AT_ONCE, by_keys
from calib.procedures.on_record.by_name import retired_among
from calib.procedures.on_record.in_force import outlets_in_force
from calib.procedures.on_record.jobs_by_name import jobs_in_force
from calib.procedures.on_record.methods import methods_in_force
from calib.procedures.on_record.outlets import outlet_cells
from calib.procedures.on_record.taken_back import taken_back
from calib.procedures.on_record.what_counts import not_retracted
from calib.procedures.typed.columns import DECLARED, FILES
from calib.procedures.typed.declaration import TAKEN_BACK, Declaration, RecordNames, Reference
from calib.procedures.typed.sheets import Cells, Sheets
from calib.records.record import key
from calib.records.tables.calibrations import Calibration
from calib.records.tables.conditions import Condition
from calib.records.tables.factors import FoundFactor
from calib.records.tables.instruments import Instrument
from calib.records.tables.jobs import Job
from calib.records.tables.methods import Method
from calib.records.tables.outlets import Outlet
from calib.records.tables.readings import Reading, Refusal


class AskedNames:
    """The names that sheets mention, by table and column: what of the records their rows have to do with."""

    def __init__(self, sheets: Sheets) -> None:
        self._cells: dict[tuple[type[SQLModel], str], set[str]] = defaultdict(set)
        for file, rows in sheets.items():
            declaration = FILES[file]
            keys = [(declaration.table, declaration.key, declaration.key)]
            keys += [(each.table, DECLARED[each.table].key, each.columns) for each in declaration.references]
            for table, names, columns in keys:
                for name, column in zip(names, columns, strict=False):
                    self._cells[table, name] |= {row.cells[column] for row in rows if column in row.cells}
        standards = (row.get("standards") or "" for row in sheets["calibrations.csv"])
        self._cells[Instrument, "tag"] |= {tag for cell in standards for tag in standard_tags(cell)}
        # Of these more has to be looked at than the rows name: every revision, every quantity, every outlet of a system or beside
        # one with a factor's source, and every factor where one is named, since a message says which there are.
        self._all_of = {(FoundFactor, "revision"), (Condition, "quantity")}
        if any("found_factor" in row.cells for file in ("outlets.csv", "amendments.csv") for row in sheets[file]):
            self._all_of.add((FoundFactor, "factor"))
        sourced = any(
            "outlet_factor_source" in row.cells for file in ("outlets.csv", "amendments.csv") for row in sheets[file]
        )
        if sheets["systems.csv"] or sheets["rooms.csv"] or sourced:
            self._all_of.add((Outlet, "outlet"))

    def of(self, table: type[SQLModel], column: str) -> set[str] | None:
        """The names mentioned in a column of a table's key; None where all have to be looked at."""
        names = self._cells[table, column]
        return None if (table, column) in self._all_of or len(names) > MOST_AT_ONCE else names


class NamesOnRecord:
    """Names of records, and the keys that they stand for; each table is read when it is first asked for.

    Where `asked` is given, the records that it has to do with are read and no others.
    """

    def __init__(self, session: Session, asked: AskedNames | None = None) -> None:
        self.session = session
        self.asked = asked
        self._names: dict[type[SQLModel], dict[int, RecordNames]] = {}
        self._keys: dict[tuple[type[SQLModel], int], dict[RecordNames, int]] = {}

    def all(self, table: type[Any]) -> Sequence[Any]:
        """Records of a table in the order in which they were recorded: those that were asked for, or every one."""
        if self.asked is None:
            return self._every(table)
        declaration = DECLARED[Reading if table is Refusal else table]
        if declaration.key:
            return self.of(table, "id", self.names(table).keys())
        if not declaration.references:  # of the house, and few
            return self._every(table)
        reference = declaration.references[0]
        return self.of(table, str(reference.stored), self.names(reference.table).keys())

    def of(self, table: type[Any], column: str, keys: Collection[int | None]) -> Sequence[Any]:
        """Records of a table whose column holds one of the keys; every one where nothing was asked in particular."""
        if self.asked is None:
            return self._every(table)
        known = {each for each in keys if each is not None}
        read = by_keys(self.session, select(table), getattr(table, column), known)
        return sorted(read, key=lambda record: key(record.id))

    def _every(self, table: type[Any]) -> Sequence[Any]:
        return self.session.exec(select(table).order_by(col(table.id))).all()

    def names(self, table: type[Any]) -> Mapping[int, RecordNames]:
        """Names of the records of a table by their keys, as typed, in the order in which they were recorded."""
        if table not in self._names:
            self._names[table] = self._read(table)
        return self._names[table]

    def with_names(self, declaration: Declaration, records: Sequence[Any]) -> Sequence[Any]:
        """The records, once the names of all that they refer to are read."""
        for reference in declaration.references:
            if reference.stored is not None:
                self.name_too(reference.table, {getattr(record, reference.stored) for record in records} - {None})
        return records

    def _read(self, table: type[Any], keys: Collection[int] | None = None) -> dict[int, RecordNames]:
        """Names of the records that are asked for, or of those of some keys."""
        declaration = DECLARED[Reading if table is Refusal else table]
        references = [each for each in declaration.references if each.stored and {*each.columns} <= {*declaration.key}]
        named = {column for reference in references for column in reference.columns}
        own = [column for column in declaration.key if column not in named]
        columns = [getattr(table, column) for column in (*own, *(str(each.stored) for each in references))]
        query = select(table.id, *columns)
        if keys is None:
            query = self._confined(query, table, declaration, own, references)
            rows = self.session.exec(query.order_by(col(table.id))).all()
        else:
            rows = list(by_keys(self.session, query, table.id, keys))
        for place, reference in enumerate(references, start=1 + len(own)):
            self.name_too(reference.table, {row[place] for row in rows})
        read = {}
        for record_id, *stored in rows:
            cells = dict(zip(own, map(_name, stored), strict=False))
            for reference, record in zip(references, stored[len(own) :], strict=True):
                cells |= zip(reference.columns, self.names(reference.table)[record], strict=True)
            read[record_id] = tuple(cells[column] for column in declaration.key)
        return read

    def _confined(
        self,
        query: Any,
        table: type[Any],
        declaration: Declaration,
        own: Sequence[str],
        references: Sequence[Reference],
    ) -> Any:
        """The query for rows that what is asked names: by their own names, and by the records that they refer to."""
        if self.asked is None:
            return query
        as_typed = {column.name for column in declaration if column.compared is str}
        for column in own:
            stored = getattr(table, column)
            # A revision is stored as the number that it is.
            is_text = column in as_typed and not isinstance(stored.type, Integer)
            names = self.asked.of(declaration.table, column) if is_text else None
            if names is not None:
                query = query.where(col(stored).in_(names))
        for reference in (
            references if table is not Calibration else ()
        ):  # a laboratory numbers those of all instruments
            keys = self.names(reference.table).keys()
            if len(keys) <= MOST_AT_ONCE:
                query = query.where(col(getattr(table, str(reference.stored))).in_(keys))
        return query

    def name_too(self, table: type[Any], keys: Collection[int]) -> None:
        """Names of these records too, though nobody asked for them by name."""
        missing = {*keys} - self.names(table).keys()
        if missing:
            self._names[table].update(self._read(table, missing))

    def cells(self, declaration: Declaration, record: Any) -> dict[str, Any]:
        """Cells of a record as its file has them: with the names of the records that it refers to."""
        cells = dict(record.model_dump())
        for reference in declaration.references:
            if reference.stored is not None:
                named = getattr(record, reference.stored)
                names = [None] * len(reference.columns) if named is None else self.names(reference.table)[named]
                cells |= zip(reference.columns, names, strict=False)
        return cells

    def key(self, reference: Reference, cells: Mapping[str, str]) -> int | None:
        """Key of the record that cells name; None where they name none."""
        names = [cells[column] for column in reference.columns if column in cells]
        declaration, width = DECLARED[reference.table], len(reference.columns)
        if len(names) < width:
            return None
        if (reference.table, width) not in self._keys:
            self._keys[reference.table, width] = {
                declaration.compared(recorded[:width]): record_id
                for record_id, recorded in self.names(reference.table).items()
            }
        return self._keys[reference.table, width].get(declaration.compared(names))

    def forget(self, table: type[SQLModel]) -> None:
        """Read a table anew when it is next asked for."""
        self._names.pop(table, None)
        self._keys = {asked: keys for asked, keys in self._keys.items() if asked[0] is not table}


def _name(stored: object) -> str:
    """A name as it is compared; one that may be blank as blank."""
    return "" if stored is None else str(stored)


class Recorded(dict[str, Mapping[RecordNames, Cells]]):
    """What the records hold: file -> names, as they compare with others -> cells. Each file is read when it is first asked for."""

    def __init__(self, session: Session, asked: AskedNames) -> None:
        super().__init__()
        self.names = NamesOnRecord(session, asked)
        self._unasked = NamesOnRecord(session)

    def __missing__(self, file: str) -> Mapping[RecordNames, Cells]:
        read = self[file] = self._of_readings() if file == "readings.csv" else self._read(FILES[file])
        return read

    def _read(self, declaration: Declaration) -> dict[RecordNames, Cells]:
        names = self.names.names(declaration.table)
        session = self.names.session
        table: Any = declaration.table
        records = sorted(by_keys(session, select(table), table.id, names), key=lambda record: key(record.id))
        amended = _IN_FORCE.get(table, _as_typed)(session, records) if records else {}
        back = _why_taken_back(session, declaration, names)
        return {
            declaration.compared(names[key(record.id)]): record.model_dump(mode="json")
            | amended.get(record.id, {})
            | back.get(key(record.id), {})
            for record in records
        }

    def _of_readings(self) -> dict[RecordNames, Cells]:
        """Readings and refusals, of which neither is typed again: why each was taken back, and the number of a refusal."""
        compared, session = DECLARED[Reading].compared, self.names.session
        read: dict[RecordNames, Cells] = {}
        for table in (Reading, Refusal):
            names = self.names.names(table)
            withdrawn = _why_taken_back(session, DECLARED[Reading], names, table)
            for record_id, own in names.items():
                refusal = {REFUSAL_NUMBER: str(record_id)} if table is Refusal else {}
                read[compared(own)] = withdrawn[record_id] | refusal
        return read

    def every(self, file: str) -> Iterable[RecordNames]:
        """Names of all records of a file, whatever was asked for."""
        return self._unasked.names(FILES[file].table).values()

    def in_force(self, file: str, names: RecordNames) -> Cells:
        """Cells of a record as they count now, where they may have been amended since they were typed."""
        return self[file].get(names, {}) if FILES[file].table in _IN_FORCE else {}

    @property
    def stages(self) -> StagesOnRecord:
        """Readings on record of the outlets that are asked for: when they were observed, and at what stage."""
        session, outlets = self.names.session, self.names.names(Outlet)
        read: StagesOnRecord = {}
        columns = select(Reading.id, Reading.outlet_id, Reading.observed_at, Reading.stage).where(
            not_retracted(Reading)
        )
        for _, outlet, observed_at, stage in by_keys(session, columns, Reading.outlet_id, outlets):
            read.setdefault(outlets[outlet], []).append((observed_at, stage))
        return read

    def retired_since(self, tag: str) -> str | None:
        """When the instrument of a tag was retired; None for one that was not."""
        return retired_among(self.names.session, [tag]).get(tag)

    @property
    def factors(self) -> dict[str, Cells]:
        """Factors found in the field, by name, as they count now."""
        return {names[0]: cells for names, cells in self["factors.csv"].items()}


def _why_taken_back(
    session: Session, declaration: Declaration, keys: Collection[int], table: Any = None
) -> dict[int, dict[str, str | None]]:
    """The cell that says why a record was taken back, by its key, where a file has one."""
    if TAKEN_BACK not in declaration.by_name:
        return {}
    withdrawn = taken_back(session, table or declaration.table, keys)
    return {
        record_id: {TAKEN_BACK: withdrawn[record_id].reason if record_id in withdrawn else None} for record_id in keys
    }


# --- as they count now -----------------------------------------------------------------------------------------------------------

_Amendments = Callable[[Session, Sequence[Any]], Mapping[int, dict[str, Any]]]


def _as_typed(_session: Session, _records: Sequence[Any]) -> Mapping[int, dict[str, Any]]:
    return {}


def _outlets(session: Session, records: Sequence[Any]) -> Mapping[int, dict[str, Any]]:
    in_force = outlets_in_force(session, {record.job_id for record in records})
    return {record.id: outlet_cells(in_force[record.id]) for record in records}


def _dumped(in_force: Mapping[int, SQLModel]) -> Mapping[int, dict[str, Any]]:
    return {record_id: record.model_dump(mode="json") for record_id, record in in_force.items()}


def _instruments(session: Session, records: Sequence[Any]) -> Mapping[int, dict[str, Any]]:
    return _dumped({key(each.id): each for each in instruments_in_force(session, _keys(records))})


def _methods(session: Session, records: Sequence[Any]) -> Mapping[int, dict[str, Any]]:
    return _dumped(methods_in_force(session, _keys(records)))


def _jobs(session: Session, records: Sequence[Any]) -> Mapping[int, dict[str, Any]]:
    return _dumped(jobs_in_force(session, _keys(records)))


def _keys(records: Sequence[Any]) -> set[int]:
    return {key(record.id) for record in records}


_IN_FORCE: Mapping[type[Any], _Amendments] = {
    Outlet: _outlets, Instrument: _instruments, Method: _methods, Job: _jobs,
}  # fmt: skip
