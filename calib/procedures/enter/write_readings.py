"""Write readings through the gate: what it refuses is kept as a refusal. Their logs and traverses are records of their own."""

import hashlib
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from types import SimpleNamespace
from typing import Any

from sqlmodel import Session, SQLModel

from calib.procedures.enter.check_readings import reading_key
from calib.procedures.enter.later_records import amended_outlets
from calib.procedures.enter.names_on_record import NamesOnRecord
from calib.procedures.enter.record_rows import cells_of_table, keys_of
from calib.procedures.enter.write_retractions import retractions_of_readings
from calib.procedures.measure.gate_reading import Taken, gate_reading, gate_readings
from calib.procedures.on_record.in_force import OnRecord, in_order, on_record_of, outlets_in_force
from calib.procedures.typed.columns import FILES
from calib.procedures.typed.observations import Observed, Traversed, observed
from calib.procedures.typed.sheets import Sheets, TypedRow
from calib.records.record import RecordCells, key
from calib.records.tables.entries import Retraction
from calib.records.tables.outlets import Outlet
from calib.records.tables.readings import LoggedSeries, Reading, Refusal, Traverse, TraversePoint

Append = Callable[[type[SQLModel], Sequence[RecordCells]], Sequence[int]]  # rows of a table -> their keys

# A reading for the gate, which asks for cells alone: of thousands of them no mapped object is made. What is not typed reads None.
_TypedReading: Any = type("_TypedReading", (SimpleNamespace,), dict.fromkeys(Reading.model_fields))


@dataclass(frozen=True)
class RefusedReading:
    """A reading that the gate refused."""

    job: str
    outlet: str
    instrument: str
    observed_at: str
    reasons: tuple[str, ...]


def write_readings(
    session: Session,
    sheets: Sheets,
    names: NamesOnRecord,
    before: OnRecord | None,
    now: datetime,
    append: Append,
    *,
    correcting: str | None = None,
) -> tuple[RefusedReading, ...]:
    """Append the readings of checked sheets, those that the gate refuses as refusals, and what of both was taken back.

    `before` is what counted before the same import withdrew calibrations or decided reviews, where it did; `correcting` is why the
    readings on record are taken back whose place the rows take.
    """
    rows = sheets["readings.csv"]
    if not rows:
        return ()
    outlets = outlets_in_force(session, _jobs(rows, names))
    gate = _Gate(session, on_record_of_rows(session, sheets, names), before, outlets, now)
    amended = amended_outlets(sheets)
    series = _write_logs(rows, append)
    traverses, traversed = _write_traverses(rows, sheets["traverses.csv"], append)
    typed = [
        {
            **cells_of_table(FILES["readings.csv"], row.cells),
            **keys_of(FILES["readings.csv"], row, names),
            "logged_series_id": series.get(place),
            "traverse_id": traverses.get(place),
        }
        for place, row in enumerate(rows)
    ]
    observations = [observed(row.cells, _log(row), traversed.get(place)) for place, row in enumerate(rows)]
    places = [(row.cells["job"], row.cells["outlet"]) for row in rows]
    readings: list[RecordCells] = []
    refusals: list[RecordCells] = []
    refused: list[RefusedReading] = []
    decided = gate.reasons(typed, observations, [place in amended for place in places])
    for row, cells, place, reasons in zip(rows, typed, places, decided, strict=True):
        if reasons:
            refusals.append(cells | {"reasons": json.dumps(reasons, ensure_ascii=False)})
            refused.append(RefusedReading(*place, row.cells["instrument"], row.cells["observed_at"], reasons))
        else:
            readings.append(cells)
    keys = iter(append(Reading, readings)), iter(append(Refusal, refusals))
    written = [(Refusal, next(keys[1])) if reasons else (Reading, next(keys[0])) for reasons in decided]
    append(Retraction, retractions_of_readings(rows, written, names, correcting))
    return tuple(refused)


def on_record_of_rows(session: Session, sheets: Sheets, names: NamesOnRecord, *, decided: bool = True) -> OnRecord:
    """What the readings of checked sheets rest on, by the records as they are now; `decided`: as reviews were decided."""
    rows, readings = sheets["readings.csv"], FILES["readings.csv"]
    tags = {row.cells[column] for row in rows for column in ("instrument", "probe") if column in row.cells}
    used = {key(names.key(readings.reference("instrument"), {"instrument": tag})) for tag in tags}
    return on_record_of(session, used, _jobs(rows, names), decided=decided)


def _jobs(rows: Sequence[TypedRow], names: NamesOnRecord) -> set[int]:
    job = FILES["readings.csv"].reference("job")
    return {key(names.key(job, {"job": name})) for name in {row.cells["job"] for row in rows}}


@dataclass(frozen=True)
class _Gate:
    """What the gate decides by."""

    session: Session
    records: OnRecord
    before: OnRecord | None
    outlets: Mapping[int, Outlet]
    now: datetime

    def reasons(
        self, typed: Sequence[RecordCells], observations: Sequence[Observed], amended: Sequence[bool]
    ) -> list[tuple[str, ...]]:
        """Why each reading is refused; none where it counts, or did when it was observed."""
        taken: list[Taken] = [
            (_TypedReading(**cells), each, self.outlets[cells["outlet_id"]])
            for cells, each in zip(typed, observations, strict=True)
        ]
        decided = gate_readings(self.records, taken, self.now)
        return [
            self._when_observed(each, gated.reasons, amended=was_amended) if gated.reasons else ()
            for each, gated, was_amended in zip(taken, decided, amended, strict=True)
        ]

    def _when_observed(self, taken: Taken, reasons: tuple[str, ...], *, amended: bool) -> tuple[str, ...]:
        """The reasons against a reading that is refused now; none where it counted when it was observed."""
        reading, observations, outlet = taken
        if self.before is not None:
            # It may have been observed before that, and counts again once the right certificate is accepted.
            reasons = gate_reading(self.before, reading, observations, outlet, self.now).reasons and reasons
        if reasons and amended:
            # It may have been observed before the outlet was amended; every evaluation asks the gate again.
            first = self.session.get_one(Outlet, reading.outlet_id)
            reasons = gate_reading(self.records, reading, observations, first, self.now).reasons and reasons
        return reasons


def _write_traverses(
    rows: Sequence[TypedRow], point_rows: Sequence[TypedRow], append: Append
) -> tuple[dict[int, int], dict[int, Traversed]]:
    """Traverses with their points; from the place of a reading's row to the key of its traverse, and what was observed."""
    traverses: dict[int, RecordCells] = {
        place: {
            "rule": row.cells["traverse_rule"],
            "lines": int(row.cells["traverse_lines"]),
            "points": int(row.cells["traverse_points"]),
        }
        for place, row in enumerate(rows)
        if row.sound("traverse_rule")
    }
    keys = dict(zip(traverses, append(Traverse, list(traverses.values())), strict=True))
    of_reading = {reading_key(rows[place]): place for place in traverses}
    points: dict[int, list[RecordCells]] = {place: [] for place in traverses}
    for row in point_rows:
        place = of_reading[reading_key(row)]
        cells = cells_of_table(FILES["traverses.csv"], row.cells)
        points[place].append({"traverse_id": keys[place], **cells})
    append(TraversePoint, [point for of_traverse in points.values() for point in of_traverse])
    return keys, {
        place: Traversed(
            each["rule"], each["lines"], each["points"], in_order([TraversePoint(**point) for point in points[place]])
        )
        for place, each in traverses.items()
    }


def _write_logs(rows: Sequence[TypedRow], append: Append) -> dict[int, int]:
    """Log files whole; from the place of a row to the key of its log."""
    logs = {
        place: {
            "name": row.log.name,
            "content": row.log.content,
            "sha256": hashlib.sha256(row.log.content).hexdigest(),
        }
        for place, row in enumerate(rows)
        if row.log is not None
    }
    return dict(zip(logs, append(LoggedSeries, list(logs.values())), strict=True))


def _log(row: TypedRow) -> bytes | None:
    return None if row.log is None else row.log.content
