"""Records as the rows of the files that an import reads: every cell as it was typed, in the order in which it was recorded.

An export asks for all of them; an import asks for those that its sheets have to do with, and leaves out what is there already.
"""

import json
from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

from sqlmodel import col, select

from calib.procedures.enter.names_on_record import NamesOnRecord
from calib.procedures.enter.refusal_on_record import REFUSAL_NUMBER
from calib.procedures.on_record.recorded import sequences
from calib.procedures.on_record.reviews import FOUND_BEYOND
from calib.procedures.typed.cells import same_time
from calib.procedures.typed.columns import FILES
from calib.procedures.typed.declaration import TAKEN_BACK
from calib.records.record import RecordCells, key
from calib.records.tables.calibrations import Acceptance, Calibration, ReferenceStandard, Withdrawal
from calib.records.tables.entries import Retraction
from calib.records.tables.factors import FoundFactor
from calib.records.tables.instruments import Instrument
from calib.records.tables.outlets import Outlet
from calib.records.tables.readings import LoggedSeries, Reading, Refusal, Traverse, TraversePoint
from calib.records.tables.reviews import ImpactReview, ReviewDecision
from calib.records.words import BY_THE_RULE


def recorded_rows(names: NamesOnRecord, file: str, logs: "LogsOnRecord") -> Iterator[RecordCells]:
    """The records of one file as its rows; columns that the file does not have may stand in them too."""
    return _OTHERWISE.get(file, _plain)(names, file, logs)


def _plain(names: NamesOnRecord, file: str, _logs: "LogsOnRecord") -> Iterator[RecordCells]:
    """Each record as its row, with the names of the records that it refers to."""
    declaration = FILES[file]
    records = names.all(declaration.table)
    withdrawn: Mapping[int, str] = {}
    if TAKEN_BACK in declaration.by_name:
        withdrawn = _withdrawn(names, declaration.table, {key(record.id) for record in records})
    for record in names.with_names(declaration, records):
        yield names.cells(declaration, record) | {TAKEN_BACK: withdrawn.get(key(record.id))}


def _withdrawn(names: NamesOnRecord, table: type[Any], keys: set[int]) -> Mapping[int, str]:
    """Why records of a table were taken back, by their key."""
    own = str(table.__tablename__)
    return {each.record_id: each.reason for each in names.of(Retraction, "record_id", keys) if each.record_table == own}


def _calibrations(names: NamesOnRecord, file: str, _logs: "LogsOnRecord") -> Iterator[RecordCells]:
    """With acceptance and reference standards, which are records of their own."""
    own = names.names(Calibration).keys()
    accepted = {each.calibration_id: each.model_dump() for each in names.of(Acceptance, "calibration_id", own)}
    standards: dict[int, list[str]] = defaultdict(list)
    tags = names.of(ReferenceStandard, "calibration_id", own)
    names.name_too(Instrument, {each.instrument_id for each in tags})
    for standard in tags:
        standards[standard.calibration_id] += names.names(Instrument)[standard.instrument_id]
    for cells in _plain(names, file, _logs):
        acceptance = accepted.get(cells["id"], {})
        joined = ";".join(standards[cells["id"]]) or None
        yield acceptance | cells | {"standards": joined, "judged": _judged(acceptance)}


def _judged(acceptance: RecordCells) -> str | None:
    """What the acceptance was judged by, where it states its decision rule."""
    if acceptance.get("decision_rule") is None or acceptance.get("assessment") is None:
        return None
    judged = json.loads(acceptance["assessment"]).get("judged")
    return None if judged is None else str(judged)


def _chosen_curves(names: NamesOnRecord, file: str, logs: "LogsOnRecord") -> Iterator[RecordCells]:
    """Those that a person chose: the others follow from the comparisons."""
    return (cells for cells in _plain(names, file, logs) if cells["chosen_by"] != BY_THE_RULE)


def _factors(names: NamesOnRecord, file: str, logs: "LogsOnRecord") -> Iterator[RecordCells]:
    for cells in _plain(names, file, logs):
        yield cells | {"face_indications": ";".join(repr(each) for each in json.loads(cells["face_indications"]))}


def _decisions(names: NamesOnRecord, _file: str, _logs: "LogsOnRecord") -> Iterator[RecordCells]:
    """Of reviews that comparisons as found opened: the others say no more than that all is as before."""
    of_certificates = names.of(ImpactReview, "calibration_id", names.names(Calibration).keys())
    reviews = {key(each.id): each for each in of_certificates if each.cause in (None, FOUND_BEYOND)}
    decisions = [
        each
        for each in names.of(ReviewDecision, "impact_review_id", reviews.keys())
        if each.impact_review_id in reviews
    ]
    if not decisions:
        return
    places = _places(names, ReviewDecision, [key(each.id) for each in decisions])
    factors = _places_of_factors(names)
    for decision in decisions:
        before = bisect_left(factors, places[key(decision.id)])
        owner = names.names(Calibration)[key(reviews[decision.impact_review_id].calibration_id)]
        certificate = dict(zip(("tag", "certificate"), owner, strict=True))
        yield decision.model_dump() | certificate | {"factors_before": before or None}


def _withdrawals(names: NamesOnRecord, file: str, logs: "LogsOnRecord") -> Iterator[RecordCells]:
    """Each with how many factors were found after it."""
    rows = list(_plain(names, file, logs))
    places = _places(names, Withdrawal, [cells["id"] for cells in rows]) if rows else {}
    factors = _places_of_factors(names) if rows else []
    for cells in rows:
        yield cells | {"factors_after": len(factors) - bisect_right(factors, places[cells["id"]]) or None}


def _places(names: NamesOnRecord, table: type[Any], keys: Iterable[Any]) -> Mapping[int, int]:
    """Places in the ledger of records of a table, by their key."""
    return sequences(names.session, str(table.__tablename__), [key(each) for each in keys])


def _places_of_factors(names: NamesOnRecord) -> list[int]:
    return sorted(_places(names, FoundFactor, names.session.exec(select(col(FoundFactor.id)))).values())


# File -> the name of what stands beside a row of it, before and behind the first digits of its digest.
_BESIDE = {
    "validations.csv": ("validation-", ".json"),
    "laboratory_certificates.csv": ("laboratory-certificate-", ".der"),
}


def _with_file(names: NamesOnRecord, file: str, logs: "LogsOnRecord") -> Iterator[RecordCells]:
    """Each with its content in a file beside."""
    begin, end = _BESIDE[file]
    for record in names.all(FILES[file].table):
        name = f"{begin}{record.sha256[:12]}{end}"
        yield record.model_dump(exclude={"content"}) | {"file": logs.beside(name, record.content)}


def _observed(names: NamesOnRecord) -> list[Reading | Refusal]:
    """Readings and refusals by job and time: an order that does not hang on what the gate decided."""
    declaration = FILES["readings.csv"]
    observed = [*names.with_names(declaration, [*names.all(Reading), *names.all(Refusal)])]
    outlets, tags = names.names(Outlet), names.names(Instrument)
    places = {outlet_id: place for place, outlet_id in enumerate(outlets)}
    return sorted(
        observed,
        key=lambda reading: (
            outlets[reading.outlet_id][0],
            same_time(reading.observed_at),
            places[reading.outlet_id],
            tags[reading.instrument_id],
            reading.revision or 1,
        ),
    )


def _readings(names: NamesOnRecord, file: str, logs: "LogsOnRecord") -> Iterator[RecordCells]:
    """Accepted or refused, with the traverse and the log that belong to each."""
    observed = _observed(names)
    traverses = {
        key(each.id): each for each in names.of(Traverse, "id", {each.traverse_id for each in observed} - {None})
    }
    withdrawn = {
        table: _withdrawn(names, table, {key(each.id) for each in observed if isinstance(each, table)})
        for table in (Reading, Refusal)
    }
    logs.name(observed)
    for reading in observed:
        traverse = traverses.get(reading.traverse_id or 0)
        yield names.cells(FILES[file], reading) | {
            "log_file": logs.names.get(reading.logged_series_id or 0),
            "traverse_rule": getattr(traverse, "rule", None),
            "traverse_lines": getattr(traverse, "lines", None),
            "traverse_points": getattr(traverse, "points", None),
            TAKEN_BACK: withdrawn[type(reading)].get(key(reading.id)),
            REFUSAL_NUMBER: str(key(reading.id)) if isinstance(reading, Refusal) else None,
        }


def _traverses(names: NamesOnRecord, _file: str, _logs: "LogsOnRecord") -> Iterator[RecordCells]:
    """Points with the names of the reading that they belong to."""
    observed = _observed(names)
    points: dict[int, list[TraversePoint]] = defaultdict(list)
    for point in names.of(TraversePoint, "traverse_id", {each.traverse_id for each in observed} - {None}):
        points[point.traverse_id].append(point)
    for reading in observed:
        for point in points[reading.traverse_id or 0]:
            yield names.cells(FILES["readings.csv"], reading) | point.model_dump()


# Files whose rows are more than one record each, or fewer than the table has, or told otherwise than stored.
_OTHERWISE: Mapping[str, Callable[[NamesOnRecord, str, "LogsOnRecord"], Iterator[RecordCells]]] = {
    "calibrations.csv": _calibrations,
    "curves.csv": _chosen_curves,
    "factors.csv": _factors,
    "review_decisions.csv": _decisions,
    "withdrawals.csv": _withdrawals,
    **dict.fromkeys(_BESIDE, _with_file),
    "readings.csv": _readings,
    "traverses.csv": _traverses,
}


class LogsOnRecord:
    """What stands beside the sheets, under file names of their own: logged series, what validations gave, signing certificates.

    The same name and content is one file, the same name with another is another.
    """

    def __init__(self, names: NamesOnRecord) -> None:
        self.contents: dict[str, bytes] = {}
        self.names: dict[int, str] = {}
        self._records = names
        self._names: dict[str, str] = {}  # in lower case -> as the file is called

    def name(self, observed: list[Reading | Refusal]) -> None:
        """Give a name to the logs of readings."""
        keys = {each.logged_series_id for each in observed} - {None}
        for series in self._records.of(LoggedSeries, "id", keys):
            self.names[key(series.id)] = self.beside(series.name, series.content)

    def beside(self, name: str, content: bytes) -> str:
        """Put a file beside the sheets; the name that it has there."""
        stem, suffix, count = Path(name).stem, Path(name).suffix, 1
        while name.lower() in FILES or self._taken(name, content):
            count += 1
            name = f"{stem}-{count}{suffix}"
        self.contents[name] = content
        self._names[name.casefold()] = name
        return name

    def _taken(self, name: str, content: bytes) -> bool:
        """Whether a system that takes upper and lower case for one has another file, or another name, there."""
        other = self._names.get(name.casefold())
        return other is not None and (other != name or self.contents[other] != content)
