"""Write the records as the CSV files that an import reads back to the same content; the rest beside them, marked as not imported.

What an import reads is every cell as it was typed, in the order in which it was recorded; readings by job and time, whether the
gate let them through or not: it decides anew. So records that are imported from an export have the same flows and the same export.

In the folder `not-imported` stand, row by row as they are stored, what belongs to these records alone: the ledger with who wrote
what and when, people and their roles, impact reviews with their dispositions, files and issued reports with their bytes, the
reasons of refusals.
"""

import csv
import errno
import hashlib
import io
import json
import tempfile
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import LargeBinary
from sqlmodel import Session, SQLModel, col, select

from calib.errors import CalibError, Step
from calib.procedures.typed.columns import FILES
from calib.procedures.typed.rows_together import same_time
from calib.records import tables
from calib.records.record import key
from calib.records.tables import BY_THE_RULE

NOT_IMPORTED = "not-imported"
_OTHERS: tuple[type[SQLModel], ...] = (
    tables.Attachment,
    tables.Attached,
    tables.Person,
    tables.Role,
    tables.HouseRule,
    tables.ImpactReview,
    tables.ImpactLine,
    tables.Disposition,
    tables.IssuedReport,
    tables.IssuedForm,
    tables.Refusal,
    tables.LedgerEntry,
)

Cells = Mapping[str, Any]
Progress = Callable[[str], None]


@dataclass(frozen=True)
class Exported:
    """What an export wrote: rows by file, and how many files of logs, attachments and reports beside them."""

    imported: Mapping[str, int]
    not_imported: Mapping[str, int]


def export_records(session: Session, folder: Path, progress: Progress = lambda _: None) -> Exported:
    """Write a folder whole or not at all; raises CalibError where something is in it already, or it cannot be written."""
    try:
        _must_be_new(folder)
        with tempfile.TemporaryDirectory(dir=folder.resolve().parent, prefix=".calib-") as part:
            imported = _write_sheets(session, Path(part), progress)
            others = _write_others(session, Path(part) / NOT_IMPORTED, progress)
            _must_be_new(folder)
            folder.mkdir(exist_ok=True)
            for one in sorted(Path(part).iterdir()):
                one.rename(folder / one.name)
    except OSError as error:
        raise CalibError(f"{folder}: the records cannot be written there ({error.strerror})") from error
    return Exported(imported, others)


def _must_be_new(folder: Path) -> None:
    if folder.is_dir() and any(folder.iterdir()):
        raise CalibError(f"{folder} holds something already: name a new folder, an export overwrites nothing")
    if folder.exists() and not folder.is_dir():
        raise FileExistsError(errno.EEXIST, "a file is there")
    folder.parent.mkdir(parents=True, exist_ok=True)


# --- what an import reads --------------------------------------------------------------------------------------------------------


class _Names:
    """The names by which files refer to what the records refer to by key."""

    def __init__(self, session: Session) -> None:
        self.session = session
        self.tags = {key(one.id): one.tag for one in self.all(tables.Instrument)}
        self.methods = {key(one.id): one.method for one in self.all(tables.Method)}
        self.jobs = {key(one.id): one.job for one in self.all(tables.Job)}
        self.outlets = {key(one.id): (self.jobs[one.job_id], one.outlet) for one in self.all(tables.Outlet)}
        self.calibrations = {
            key(one.id): (self.tags[one.instrument_id], one.certificate) for one in self.all(tables.Calibration)
        }

    def all(self, table: type[Any]) -> Sequence[Any]:
        """Every record of a table in the order in which it was recorded."""
        return self.session.exec(select(table).order_by(col(table.id))).all()

    def tag(self, number: int | None) -> str | None:
        """Tag of an instrument, where there is one."""
        return None if number is None else self.tags[number]


def _write_sheets(session: Session, folder: Path, progress: Progress) -> dict[str, int]:
    names = _Names(session)
    logs = _Logs(session)
    rows_of: dict[str, Iterable[Cells]] = {
        "instruments.csv": (one.model_dump() for one in names.all(tables.Instrument)),
        "calibrations.csv": _calibrations(names),
        "comparisons.csv": _of_calibration(names, names.all(tables.Comparison)),
        "methods.csv": (one.model_dump() for one in names.all(tables.Method)),
        "jobs.csv": (one.model_dump() for one in names.all(tables.Job)),
        "systems.csv": _of_job(names, tables.SystemDesign),
        "rooms.csv": _of_job(names, tables.Room),
        "outlets.csv": _of_job(names, tables.Outlet),
        "readings.csv": _readings(names, logs),
        "traverses.csv": _traverses(names),
        "conditions.csv": (
            one | {"instrument": names.tag(one["instrument_id"])} for one in _of_job(names, tables.Condition)
        ),
        "events.csv": _of_instrument(names, tables.Event),
        "checks.csv": (
            one | {"other": names.tag(one["other_instrument_id"])}
            for one in _of_instrument(names, tables.IntermediateCheck)
        ),
        "pairings.csv": (
            one.model_dump() | {"probe": names.tags[one.probe_id], "meter": names.tags[one.meter_id]}
            for one in names.all(tables.Pairing)
        ),
        "curves.csv": _of_calibration(
            names, [one for one in names.all(tables.CorrectionCurve) if one.chosen_by != BY_THE_RULE]
        ),
        "withdrawals.csv": _of_calibration(names, names.all(tables.Withdrawal)),
        "factors.csv": _factors(names),
        "factor_pairs.csv": _pairs(names),
        "amendments.csv": _amendments(names),
    }
    counts = {}
    for name, rows in rows_of.items():
        counts[name] = _write(folder / name, [column.name for column in FILES[name]], rows)
        if counts[name]:
            progress(f"wrote {name}")
    counts["logs"] = logs.write(folder)
    return {name: count for name, count in counts.items() if count}


def _of_job(names: _Names, table: type[Any]) -> Iterator[dict[str, Any]]:
    for one in names.all(table):
        yield one.model_dump() | {"job": names.jobs[one.job_id]}


def _of_instrument(names: _Names, table: type[Any]) -> Iterator[dict[str, Any]]:
    for one in names.all(table):
        yield one.model_dump() | {"tag": names.tags[one.instrument_id]}


def _of_calibration(names: _Names, records: Iterable[Any]) -> Iterator[Cells]:
    for one in records:
        tag, certificate = names.calibrations[one.calibration_id]
        yield one.model_dump() | {"tag": tag, "certificate": certificate}


def _calibrations(names: _Names) -> Iterator[Cells]:
    accepted = {one.calibration_id: one.model_dump() for one in names.all(tables.Acceptance)}
    standards: dict[int, list[str]] = defaultdict(list)
    for one in names.all(tables.ReferenceStandard):
        standards[one.calibration_id].append(names.tags[one.instrument_id])
    for one in names.all(tables.Calibration):
        acceptance = accepted.get(key(one.id), {})
        yield (
            acceptance
            | one.model_dump()
            | {
                "tag": names.tags[one.instrument_id],
                "standards": ";".join(standards[key(one.id)]) or None,
                "judged": _judged(acceptance),
            }
        )


def _judged(acceptance: Cells) -> str | None:
    """What the acceptance was judged by, where it states its decision rule."""
    if acceptance.get("decision_rule") is None or acceptance.get("assessment") is None:
        return None
    found = json.loads(acceptance["assessment"]).get("judged")
    return None if found is None else str(found)


def _amendments(names: _Names) -> Iterator[Cells]:
    for one in names.all(tables.OutletRevision):
        job, outlet = names.outlets[one.outlet_id]
        yield one.model_dump() | {"job": job, "outlet": outlet}


def _factors(names: _Names) -> Iterator[Cells]:
    for one in names.all(tables.FoundFactor):
        job, outlet = (None, None) if one.outlet_id is None else names.outlets[one.outlet_id]
        faces = ";".join(repr(each) for each in json.loads(one.face_indications))
        yield (
            one.model_dump()
            | {"job": job, "outlet": outlet, "face_indications": faces, "method": names.methods[one.method_id]}
            | dict(zip(("instrument", "certificate"), names.calibrations[one.calibration_id], strict=True))
        )


def _pairs(names: _Names) -> Iterator[Cells]:
    factors = {key(one.id): one for one in names.all(tables.FoundFactor)}
    readings = {key(one.id): one for one in names.all(tables.Reading)}
    for one in names.all(tables.FactorPair):
        factor = factors[one.found_factor_id]
        yield {
            "factor": factor.factor,
            "revision": factor.revision,
            "value": one.value,
            **_reading_named("traverse", names, readings[one.traverse_reading_id]),
            **_reading_named("face", names, readings[one.face_reading_id]),
        }


def _reading_named(where: str, names: _Names, reading: tables.Reading) -> Cells:
    job, outlet = names.outlets[reading.outlet_id]
    cells = {"job": job, "outlet": outlet, "instrument": names.tags[reading.instrument_id]}
    return {f"{where}_{name}": cell for name, cell in (cells | {"observed_at": reading.observed_at}).items()}


def _observed(names: _Names) -> list[tables.Reading | tables.Refusal]:
    """Readings and refusals by job and time: an order that does not hang on what the gate decided."""
    found = [*names.all(tables.Reading), *names.all(tables.Refusal)]
    places = {number: place for place, number in enumerate(names.outlets)}
    return sorted(
        found, key=lambda one: (_job(names, one), same_time(one.observed_at), places[one.outlet_id], _tag(names, one))
    )


def _job(names: _Names, one: tables.Reading | tables.Refusal) -> str:
    return str(names.outlets[one.outlet_id][0])


def _tag(names: _Names, one: tables.Reading | tables.Refusal) -> str:
    return str(names.tags[one.instrument_id])


def _readings(names: _Names, logs: "_Logs") -> Iterator[Cells]:
    traverses = {key(one.id): one for one in names.all(tables.Traverse)}
    for one in _observed(names):
        job, outlet = names.outlets[one.outlet_id]
        traverse = None if one.traverse_id is None else traverses[one.traverse_id]
        yield one.model_dump() | {
            "job": job,
            "outlet": outlet,
            "instrument": _tag(names, one),
            "probe": names.tag(one.probe_id),
            "method": names.methods[one.method_id],
            "log_file": None if one.logged_series_id is None else logs.names[one.logged_series_id],
            "traverse_rule": None if traverse is None else traverse.rule,
            "traverse_lines": None if traverse is None else traverse.lines,
            "traverse_points": None if traverse is None else traverse.points,
        }


def _traverses(names: _Names) -> Iterator[Cells]:
    points: dict[int, list[tables.TraversePoint]] = defaultdict(list)
    for point in names.all(tables.TraversePoint):
        points[point.traverse_id].append(point)
    for one in _observed(names):
        job, outlet = names.outlets[one.outlet_id]
        of_reading = {"job": job, "outlet": outlet, "instrument": _tag(names, one), "observed_at": one.observed_at}
        for point in points[one.traverse_id or 0]:
            yield point.model_dump() | of_reading


class _Logs:
    """Logged series under file names of their own: the same name and content is one file, the same name with another is another."""

    def __init__(self, session: Session) -> None:
        self.contents: dict[str, bytes] = {}
        self.names: dict[int, str] = {}
        for one in session.exec(select(tables.LoggedSeries).order_by(col(tables.LoggedSeries.id))):
            self.names[key(one.id)] = self._named(one)

    def _named(self, one: tables.LoggedSeries) -> str:
        stem, suffix = Path(one.name).stem, Path(one.name).suffix
        name, number = one.name, 1
        while name.lower() in FILES or self.contents.get(name, one.content) != one.content:
            number += 1
            name = f"{stem}-{number}{suffix}"
        self.contents[name] = one.content
        return name

    def write(self, folder: Path) -> int:
        """Write them; says how many there are."""
        for name, content in self.contents.items():
            (folder / name).write_bytes(content)
        return len(self.contents)


def _write(path: Path, columns: Sequence[str], rows: Iterable[Cells]) -> int:
    """A CSV file, unless there is no row; says how many there are. Raises CalibError."""
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, columns, extrasaction="ignore", lineterminator="\n")
    writer.writeheader()
    count = 0
    for row in rows:
        writer.writerow(row)
        count += 1
    if count:
        try:
            path.write_bytes(out.getvalue().encode())
        except UnicodeEncodeError as error:
            raise CalibError(
                f"{path.name}: a cell holds what is no text, put there past the program: {Step.VERIFY} names it"
            ) from error
    return count


# --- what an import does not read ------------------------------------------------------------------------------------------------


def _write_others(session: Session, folder: Path, progress: Progress) -> dict[str, int]:
    counts: dict[str, int] = {}
    for table in _OTHERS:
        name = f"{table.__tablename__}.csv"
        columns = list(table.__table__.columns.keys())  # type: ignore[attr-defined]
        first = columns[0]
        rows = session.exec(select(table).order_by(col(getattr(table, first))).execution_options(yield_per=100))
        folder.mkdir(exist_ok=True)
        written = _write(folder / name, columns, (_with_files(one, folder) for one in rows))
        if written:
            counts[f"{NOT_IMPORTED}/{name}"] = written
            progress(f"wrote {NOT_IMPORTED}/{name}")
    return counts


def _with_files(one: SQLModel, folder: Path) -> Cells:
    """Cells of a record, with the digest of its content in the content's place: the name of the file that holds it."""
    cells = dict(one.model_dump())
    for column in one.__table__.columns:  # type: ignore[attr-defined]
        content = cells[column.name]
        if isinstance(column.type, LargeBinary) and content is not None:
            cells[column.name] = hashlib.sha256(content).hexdigest()
            (folder / "files").mkdir(exist_ok=True)
            (folder / "files" / cells[column.name]).write_bytes(content)
    return cells
