"""What the records hold, loaded once for many readings."""

import json
from collections import defaultdict
from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

from sqlmodel import Session, col, select

from calib.confirmation.history import History
from calib.confirmation.interval import InstrumentOnRecord
from calib.curves.curve import Curve
from calib.curves.response import curve_from_text
from calib.procedures.on_record.errors_of_indication import history_of
from calib.procedures.on_record.probe_pairs import Pair, all_pairs
from calib.procedures.on_record.register import load_register
from calib.procedures.on_record.what_counts import curves_that_count, factors_that_count, revisions_that_count
from calib.procedures.typed.observations import Traversed, observed_values
from calib.records import tables
from calib.records.record import key


def _no_history(_: tables.Instrument) -> History:
    return ()


@dataclass(frozen=True)
class OnRecord:
    """Register, curves, methods, conditions and factors, by the keys that readings carry."""

    register: Mapping[str, InstrumentOnRecord]
    instruments: Mapping[int, tables.Instrument]
    methods: Mapping[int, tables.Method]
    calibrations: Mapping[int, tables.Calibration]
    curves: Mapping[int, tables.StoredCurve]  # by the calibration: the one that counts
    conditions: Mapping[tuple[int, str], tuple[tables.Condition, ...]]  # by job and name
    factors: Mapping[str, tables.FoundFactor]  # by name: the revision that counts
    # Errors of an instrument over its calibrations: read when it is asked for, since most are not.
    history: Callable[[tables.Instrument], History] = field(default=_no_history, repr=False)
    pairs: tuple[Pair, ...] = ()  # of probe and meter
    found: dict[Hashable, Any] = field(
        default_factory=dict, repr=False
    )  # what many readings ask for, once it was worked out

    def found_wrongly(self, factor: tables.FoundFactor) -> str | None:
        """What is wrong with a factor that was found with a calibration which was withdrawn since; None where it was not."""
        tag = self.instruments[factor.instrument_id].tag
        used = next(one for one in self.register[tag].calibrations if one.record_id == factor.calibration_id)
        return against_factor(factor.factor, tag, used.certificate) if used.withdrawn else None

    def curve(self, calibration: int) -> Curve:
        """The curve of a calibration."""
        return curve_of(self.curves[calibration].parameters)


def against_factor(factor: str, tag: str, certificate: str) -> str:
    """What is wrong with a factor that was found with a withdrawn certificate of an instrument, and the next step."""
    return f"factor {factor}: it was found with certificate {certificate} of {tag}, which was withdrawn: find it again"


@lru_cache(maxsize=256)
def curve_of(parameters: str) -> Curve:
    """The curve that the records keep."""
    return curve_from_text(parameters)


def on_record(session: Session) -> OnRecord:
    """Load it."""
    conditions: dict[tuple[int, str], list[tables.Condition]] = defaultdict(list)
    for one in session.exec(select(tables.Condition).order_by(col(tables.Condition.id))):
        conditions[one.job_id, one.conditions].append(one)
    return OnRecord(
        load_register(session),
        {key(one.id): one for one in session.exec(select(tables.Instrument))},
        {key(one.id): one for one in session.exec(select(tables.Method))},
        {key(one.id): one for one in session.exec(select(tables.Calibration))},
        curves_that_count(session),
        {names: tuple(rows) for names, rows in conditions.items()},
        factors_that_count(session),
        lambda instrument: history_of(session, instrument),
        all_pairs(session),
    )


def outlets_in_force(session: Session, job: int | None = None) -> dict[int, tables.Outlet]:
    """Outlets of a job, or of all, as they count now: with the cells of their latest revision."""
    query = select(tables.Outlet)
    outlets = session.exec(query if job is None else query.where(tables.Outlet.job_id == job)).all()
    latest = revisions_that_count(session)
    return {key(one.id): as_amended(one, latest.get(key(one.id))) for one in outlets}


def as_amended(first: tables.Outlet, revision: tables.OutletRevision | None) -> tables.Outlet:
    """The outlet with the cells of a revision."""
    if revision is None:
        return first
    amended = revision.model_dump(exclude={"id", "outlet_id", "revision", "reason"})
    return tables.Outlet(id=first.id, job_id=first.job_id, outlet=first.outlet, **amended)


def traverses_on_record(session: Session) -> dict[int, Traversed]:
    """Every traverse, by its key."""
    points: dict[int, list[tables.TraversePoint]] = defaultdict(list)
    for point in session.exec(select(tables.TraversePoint)):
        points[point.traverse_id].append(point)
    return {
        key(one.id): Traversed(one.rule, one.lines, one.points, in_order(points[key(one.id)]))
        for one in session.exec(select(tables.Traverse))
    }


def in_order(points: list[tables.TraversePoint]) -> tuple[tuple[float, ...], ...]:
    """Indications of the points of one traverse, line by line."""
    rising = sorted(points, key=lambda point: (point.line, point.point))
    return tuple(tuple(observed_values(one.indications)) for one in rising)


def face_indications(factor: tables.FoundFactor) -> list[float]:
    """Mean indications [SI] of the face readings that a factor was found from."""
    return [float(one) for one in json.loads(factor.face_indications)]
