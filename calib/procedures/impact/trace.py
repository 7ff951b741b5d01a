"""Trace a record up to the certificates that it rests on, or down to everything that hangs on it."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from sqlmodel import Session, col, select

from calib.confirmation.interval import (
    CalibrationOnRecord,
    InstrumentOnRecord,
    due_date,
    gate,
    interval_of,
    not_put_right_since,
)
from calib.confirmation.traceability import (
    Branch,
    Graph,
    Record,
    TraceLink,
    circles,
    downward,
    is_accredited,
    reached,
    tree,
    upward,
)
from calib.errors import BadInputError, Finding, NotInRecordsError
from calib.procedures.certificate.phase import phase_in_use
from calib.procedures.impact.rests_on import OF, STANDARD, Ground, RecordKind, ground_of, link_to
from calib.procedures.on_record.in_force import against_factor
from calib.records import tables
from calib.records.record import key, moment

# First word of a name -> table; without it every kind is looked through.
FIRST_WORDS = {
    "instrument": RecordKind.INSTRUMENT,
    "certificate": RecordKind.CALIBRATION,
    "factor": RecordKind.FACTOR,
    "job": RecordKind.JOB,
    "outlet": RecordKind.OUTLET,
    "reading": RecordKind.READING,
}
UP, DOWN = "up", "down"
IN_FORCE = "calibration in force"


@dataclass(frozen=True)
class Knot:
    """One record of a chain."""

    record: Record
    kind: str
    name: str
    says: Mapping[str, Any]
    gaps: tuple[str, ...] = ()  # what its chain lacks


@dataclass(frozen=True)
class Trace:
    """A chain of traceability, or all that hangs on a record. A link says that one record rests on another, both ways round."""

    start: Record
    direction: str
    knots: Mapping[Record, Knot]
    links: tuple[TraceLink, ...]
    tree: Branch

    @property
    def gaps(self) -> tuple[str, ...]:
        """Everything that the chain lacks; none: each of its ends is an accredited certificate that was valid that day."""
        return tuple(dict.fromkeys(gap for one in self.knots.values() for gap in one.gaps))


def trace_up(session: Session, words: Sequence[str], on: date) -> Trace:
    """What a record rests on; an instrument on the calibration that it has on a day. Raises NotInRecordsError, BadInputError."""
    ground = ground_of(session)
    start = record_named(ground, words)
    links = [one for one in ground.links if one.role != OF and not _beyond_accreditation(ground, one)]
    if start[0] == RecordKind.INSTRUMENT:
        links.append(link_to(ground, start, start[1], IN_FORCE, on))
    graph = upward(one for one in links if one.record != one.on)
    records = [start, *(one for one in reached(graph, [start]) if one != start)]
    gaps = _Gaps(ground, graph, start, on)
    knots = _knots(session, ground, records, on, gaps)
    among = {one for one in knots if one[0] == RecordKind.CALIBRATION}
    of = [one for one in ground.links if one.role == OF and one.record in among]
    known = knots | _knots(session, ground, [one.on for one in of if one.on not in knots], on)
    return Trace(start, UP, known, (*_between(graph, records), *of), tree(graph, start))


def trace_down(session: Session, words: Sequence[str], on: date) -> Trace:
    """What hangs on a record, with due dates as they are on a day. Raises NotInRecordsError, BadInputError."""
    ground = ground_of(session)
    start = record_named(ground, words)
    graph = downward(ground.links)
    records = [start, *(one for one in reached(graph, [start]) if one != start)]
    turned = (TraceLink(one.on, one.record, one.role, one.day) for one in _between(graph, records))
    return Trace(start, DOWN, _knots(session, ground, records, on), tuple(turned), tree(graph, start))


def _beyond_accreditation(ground: Ground, link: TraceLink) -> bool:
    """A chain ends at an accredited certificate: what its laboratory compared with is the accreditation's business."""
    return link.role == STANDARD and is_accredited(ground.calibrations[link.record[1]].accreditation)


def _between(graph: Graph, records: Sequence[Record]) -> Iterator[TraceLink]:
    for record in records:
        yield from graph.get(record, ())


# --- by which names --------------------------------------------------------------------------------------------------------------


def record_named(ground: Ground, words: Sequence[str]) -> Record:
    """The record that words name: `reading 3` or `3`, a tag, a certificate, a factor, a job, an outlet.

    The kind may stand first; a certificate may follow its tag, an outlet its job. Raises NotInRecordsError, or BadInputError where
    the words name several.
    """
    text = " ".join(word.strip() for word in words)
    found = dict.fromkeys(record for record, names in _names(ground) if text in names)
    kinds = ", ".join(FIRST_WORDS)
    if not found:
        raise NotInRecordsError(f"nothing in the records is called {text!r}: name one {kinds}, as `reading 3`")
    if len(found) > 1:
        listed = "; ".join(sorted(f"{_kind(one)} {_own_name(ground, one)}" for one in found))
        raise BadInputError([Finding("command line", None, "ID", text, f"one record, this may be {listed}")])
    return next(iter(found))


def _names(ground: Ground) -> Iterator[tuple[Record, tuple[str, ...]]]:
    for record, names in _own_names(ground):
        yield record, (*names, *(f"{_kind(record)} {name}" for name in names))


def _kind(record: Record) -> str:
    return next(kind for kind, table in FIRST_WORDS.items() if table == record[0])


def _own_name(ground: Ground, record: Record) -> str:
    return next(names[-1] for one, names in _own_names(ground) if one == record)


def _own_names(ground: Ground) -> Iterator[tuple[Record, tuple[str, ...]]]:
    """Names of each record, the last one its own alone."""
    for number, instrument in ground.instruments.items():
        yield (RecordKind.INSTRUMENT, number), (instrument.tag,)
    for number, one in ground.calibrations.items():
        tag = ground.instruments[one.instrument_id].tag
        yield (RecordKind.CALIBRATION, number), (one.certificate, f"{tag} {one.certificate}")
    for name, factor in ground.latest_factors.items():
        yield (RecordKind.FACTOR, key(factor.id)), (name,)
    for number, job in ground.jobs.items():
        yield (RecordKind.JOB, number), (job.job,)
    for number, outlet in ground.outlets.items():
        yield (RecordKind.OUTLET, number), (outlet.outlet, f"{ground.jobs[outlet.job_id].job} {outlet.outlet}")
    for number in ground.readings:
        yield (RecordKind.READING, number), (str(number),)


# --- what a chain lacks ----------------------------------------------------------------------------------------------------------


class _Gaps:
    """What a chain lacks at each of its records."""

    def __init__(self, ground: Ground, graph: Graph, start: Record, on: date) -> None:
        self.ground, self.graph, self.start, self.on = ground, graph, start, on
        # Each record answers for itself: what its standards lack is said there.
        self.register = {tag: _alone(one) for tag, one in ground.register.items()}
        self.in_circles = {record for circle in circles(graph) for record in circle}

    def of(self, record: Record) -> tuple[str, ...]:
        """What one record lacks."""
        table, number = record
        if table == RecordKind.CALIBRATION:
            return tuple(self._of_calibration(record, self.ground.calibrations[number]))
        if table in (RecordKind.READING, RecordKind.CONDITIONS):
            return tuple(self._of_instruments(record))
        if table == RecordKind.FACTOR:
            return tuple(self._of_factor(self.ground.factors[number]))
        if record == self.start and table == RecordKind.INSTRUMENT:
            return gate(self.register, self._tag(record), self.on, self.on).reasons
        return ()

    def _of_calibration(self, record: Record, calibration: tables.Calibration) -> Iterator[str]:
        tag = self.ground.instruments[calibration.instrument_id].tag
        if _on_record(self.ground, calibration).withdrawn:
            yield f"{tag}: certificate {calibration.certificate} was withdrawn: it counts for nothing"
        if record in self.in_circles:
            certificate = calibration.certificate
            yield f"{tag}: certificate {certificate} rests on itself by way of its reference standards: correct the standards"
        standards = [link for link in self.graph.get(record, ()) if link.role == STANDARD]
        if not standards and not is_accredited(calibration.accreditation):
            yield (
                f"{tag}: certificate {calibration.certificate} states no accreditation and no reference standard of the register: "
                "the chain ends there short of an accredited certificate"
            )
        for link in standards:
            standard = self._tag(link.on)
            day = date.fromisoformat(calibration.calibrated_on)
            for reason in gate(self.register, standard, day, day).reasons:
                why = not_put_right_since(reason, tag)
                yield f"{tag}: reference standard of certificate {calibration.certificate} on {calibration.calibrated_on}: {why}"

    def _of_factor(self, factor: tables.FoundFactor) -> Iterator[str]:
        used = self.ground.calibrations[factor.calibration_id]
        if self.ground.latest_factors[factor.factor] is factor and _on_record(self.ground, used).withdrawn:
            yield against_factor(
                factor.factor, self._tag((RecordKind.CALIBRATION, factor.calibration_id)), used.certificate
            )

    def _of_instruments(self, record: Record) -> Iterator[str]:
        for link in self.graph.get(record, ()):
            if link.on[0] in (RecordKind.CALIBRATION, RecordKind.INSTRUMENT) and link.day is not None:
                at = self._moment(record, link.day)
                yield from gate(self.register, self._tag(link.on), at, at).reasons

    def _moment(self, record: Record, day: date) -> datetime | date:
        table, number = record
        if table == RecordKind.READING:
            return moment(self.ground.readings[number].observed_at)
        return day

    def _tag(self, on: Record) -> str:
        owner = on[1] if on[0] == RecordKind.INSTRUMENT else self.ground.calibrations[on[1]].instrument_id
        return self.ground.instruments[owner].tag


def _on_record(ground: Ground, calibration: tables.Calibration) -> CalibrationOnRecord:
    own = ground.register[ground.instruments[calibration.instrument_id].tag]
    return next(each for each in own.calibrations if each.record_id == calibration.id)


def _alone(instrument: InstrumentOnRecord) -> InstrumentOnRecord:
    return replace(instrument, calibrations=tuple(replace(each, standards=()) for each in instrument.calibrations))


# --- what each record says -------------------------------------------------------------------------------------------------------


def _knots(
    session: Session, ground: Ground, records: Iterable[Record], on: date, gaps: _Gaps | None = None
) -> dict[Record, Knot]:
    saying = _Saying(ground, _comparisons(session, records := tuple(dict.fromkeys(records))), on)
    found = {}
    for record in records:
        kind, name, says = saying.of(record)
        found[record] = Knot(record, kind, name, says, () if gaps is None else gaps.of(record))
    return found


def _comparisons(session: Session, records: Iterable[Record]) -> dict[int, list[tables.Comparison]]:
    wanted = {number for table, number in records if table == RecordKind.CALIBRATION}
    found: dict[int, list[tables.Comparison]] = defaultdict(list)
    if wanted:
        for one in session.exec(select(tables.Comparison).order_by(col(tables.Comparison.id))):
            if one.calibration_id in wanted:
                found[one.calibration_id].append(one)
    return found


Said = tuple[str, str, dict[str, Any]]


@dataclass(frozen=True)
class _Saying:
    ground: Ground
    comparisons: Mapping[int, Sequence[tables.Comparison]]
    on: date

    def of(self, record: Record) -> Said:
        """Kind, name and what is worth saying of a record."""
        table, number = record
        of_table = {
            RecordKind.INSTRUMENT: self._instrument,
            RecordKind.CALIBRATION: self._calibration,
            RecordKind.READING: self._reading,
            RecordKind.FACTOR: self._factor,
            RecordKind.CONDITIONS: self._conditions,
            RecordKind.OUTLET: self._outlet,
            RecordKind.JOB: self._job,
            RecordKind.REPORT: self._report,
        }
        return of_table[table](number)

    def _instrument(self, record_id: int) -> Said:
        one = self.ground.instruments[record_id]
        says = {name: getattr(one, name) for name in ("tag", "kind", "maker", "model", "serial")}
        return "instrument", f"instrument {one.tag}", says | {"instrument_kind": says.pop("kind")}

    def _calibration(self, record_id: int) -> Said:
        one = self.ground.calibrations[record_id]
        instrument = self.ground.instruments[one.instrument_id]
        own = self.ground.register[instrument.tag]
        on_record = _on_record(self.ground, one)
        name = f"certificate {one.certificate} of {instrument.tag}"
        return "certificate", name, {
            "tag": instrument.tag,
            "instrument": f"{instrument.kind}, {instrument.maker} {instrument.model}, serial {instrument.serial}",
            "certificate": one.certificate,
            "laboratory": one.laboratory,
            "accreditation": one.accreditation,
            "accredited": is_accredited(one.accreditation),
            "calibrated_on": one.calibrated_on,
            "withdrawn": on_record.withdrawn,
            **_dates(own, on_record, self.on),
            "expanded_uncertainty": _uncertainty(self.comparisons.get(record_id, ())),
        }  # fmt: skip

    def _reading(self, record_id: int) -> Said:
        one = self.ground.readings[record_id]
        outlet = self.ground.outlets[one.outlet_id]
        return "reading", f"reading {record_id}", {
            "job": self.ground.jobs[outlet.job_id].job,
            "outlet": outlet.outlet,
            "place": outlet.place or tables.OUTLET,
            "observed_at": one.observed_at,
            "instrument": self.ground.instruments[one.instrument_id].tag,
            "operator": one.operator,
        }  # fmt: skip

    def _factor(self, record_id: int) -> Said:
        one = self.ground.factors[record_id]
        where = None if one.outlet_id is None else self.ground.outlets[one.outlet_id].outlet
        return "factor", f"factor {one.factor}, revision {one.revision}", {
            "factor": one.factor,
            "revision": one.revision,
            "counts": self.ground.latest_factors[one.factor] is one,
            "value": one.value,
            "outlet": where,
            "outlet_type": one.outlet_type,
        }  # fmt: skip

    def _conditions(self, record_id: int) -> Said:
        one = self.ground.conditions[record_id]
        job = self.ground.jobs[one.job_id].job
        says = {"job": job, "conditions": one.conditions, "observed_at": one.observed_at}
        return "conditions", f"conditions {one.conditions} of {job}", says

    def _outlet(self, record_id: int) -> Said:
        one = self.ground.outlets[record_id]
        job = self.ground.jobs[one.job_id].job
        return "outlet", f"outlet {one.outlet} of {job}", {"job": job, "outlet": one.outlet, "system": one.system}

    def _job(self, record_id: int) -> Said:
        one = self.ground.jobs[record_id]
        return "job", f"job {one.job}", {"job": one.job, "title": one.title}

    def _report(self, record_id: int) -> Said:
        one = self.ground.reports[record_id]
        job = self.ground.jobs[one.job_id].job
        says = {
            "job": job,
            "revision": one.revision,
            "issued_at": one.issued_at,
            "reason": one.reason,
        }
        return "report", f"report {job} revision {one.revision}", says


def _dates(own: InstrumentOnRecord, calibration: CalibrationOnRecord, on: date) -> dict[str, str | None]:
    months = interval_of(own, calibration, on)
    due = due_date(calibration.calibrated_on, months, calibration.due_on)
    return {
        "accepted_on": None if calibration.accepted_on is None else str(calibration.accepted_on),
        "due_on": str(due),
    }


def _uncertainty(comparisons: Sequence[tables.Comparison]) -> dict[str, Any] | None:
    """Smallest and largest U of the comparisons that the curve was made from, as the certificate states them."""
    counts = phase_in_use(one.phase for one in comparisons)
    used = sorted(
        (one for one in comparisons if one.phase == counts),
        key=lambda comparison: float(comparison.expanded_uncertainty),
    )
    if not used:
        return None
    factors = sorted({one.coverage_factor for one in used}, key=float)
    return {
        "lowest": used[0].expanded_uncertainty,
        "highest": used[-1].expanded_uncertainty,
        "unit": used[0].unit,
        "coverage_factors": factors,
    }
