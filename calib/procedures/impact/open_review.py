"""Open an impact review where an instrument was found out of order, and list all that hangs on it (ISO/IEC 17025, 6.4.9, 7.10).

Judged is each comparison as found of a new certificate, by the maximum permissible error of the register under simple acceptance:
the error of the indication, unless the calibration before was accepted on its corrected value; and always the value that the
curve before makes of it, since every flow since rests on that, and the budget's stability promises that it stays within that limit.
"""

import json
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property
from shlex import quote
from typing import Any

import numpy as np
from sqlmodel import Session, col, select

from calib.confirmation.acceptance import CORRECTED, INDICATION, ComparedErrors
from calib.confirmation.as_found import AsFound, judge_as_found, last_in_order, relied_on_since
from calib.confirmation.conformity import SIMPLE
from calib.confirmation.interval import CalibrationOnRecord
from calib.confirmation.traceability import Graph, Record, TraceLink, downward, reached, upward
from calib.curves.curve import Curve
from calib.errors import CalibError
from calib.procedures.certificate.assess import criterion, usual_object
from calib.procedures.certificate.fit_curve import comparisons_in_si
from calib.procedures.certificate.permissible_error import has_limits, permissible_error
from calib.procedures.impact.as_if import Cause, Recalculated, Stated, as_found_cells, comparison_cells, recalculate
from calib.procedures.impact.rests_on import OF, Ground, RecordKind, ground_of, sequences
from calib.procedures.on_record.in_force import curve_of
from calib.procedures.on_record.what_counts import curve_that_counts
from calib.procedures.people.authorise import append
from calib.procedures.typed.sheets import Cells
from calib.quantities import unit
from calib.records import ledger, tables
from calib.records.record import key, typed

LISTED = (
    RecordKind.READING,
    RecordKind.FACTOR,
    RecordKind.CALIBRATION,
    RecordKind.REPORT,
)  # tables whose records make lines
ASSUMPTION = (
    "the curve as found is taken for the whole time since the instrument was last in order, though it may have changed at any "
    "moment between: the shifts are those of the last day, the largest ones if the change only grew"
)
RULE_FOR_REPORTS = (
    "reissued where a statement of conformity changes, a flow shifts by more than its U, or cannot be worked out anew"
)

_ALL = ("", 0)  # stands for everything that the instrument touched directly


@dataclass(frozen=True)
class Opened:
    """What was opened or added to."""

    tag: str
    certificate: str
    new: bool
    lines: int  # added

    def __str__(self) -> str:
        lines = "1 line" if self.lines == 1 else f"{self.lines} lines"
        if self.new:
            return f"{self.tag} was found beyond its limits: impact review of certificate {self.certificate}, {lines}"
        return f"impact review of {self.tag}, certificate {self.certificate}: {lines} more"


@dataclass(frozen=True)
class Reviewed:
    """Reviews opened and lines added, and what is worth saying of the certificates that opened none."""

    opened: tuple[Opened, ...]
    notices: tuple[str, ...]

    @property
    def remarks(self) -> tuple[str, ...]:
        """What a person is told, a line each."""
        told = (f"{one}: calib review show {quote(one.tag)} {quote(one.certificate)}" for one in self.opened)
        return (*(f"notice: {one}" for one in self.notices), *told)


def open_reviews(
    session: Session, signature: ledger.Signature, now: datetime, recorded: Collection[int] = ()
) -> Reviewed:
    """Open a review for each calibration among those recorded whose comparisons as found fail, and bring the others up to date.

    A calibration without an accepted one before it opens none: nothing could be measured with its instrument. Nor does one that was
    withdrawn. An open or closed review gets a line for whatever was recorded since and hangs on its instrument, unless its own
    calibration was withdrawn: then its lines stay as they are.
    """
    known = session.exec(select(tables.ImpactReview.calibration_id)).all()
    ground = ground_of(session) if recorded or known else None
    if ground is None:
        return Reviewed((), ())
    notices: list[str] = []
    opened: list[Opened] = []
    for number in sorted({*recorded} - {*known}):
        found = _opened(session, ground, ground.calibrations[number], notices)
        if found is not None:
            append(session, [found], signature)
            opened.append(_listed(session, ground, found, signature, now, new=True))
    on_record = session.exec(select(tables.ImpactReview).order_by(col(tables.ImpactReview.id))).all()
    opened += [
        _listed(session, ground, one, signature, now, new=False) for one in on_record if one.calibration_id in known
    ]
    return Reviewed(tuple(one for one in opened if one.new or one.lines), tuple(notices))


# --- whether it was in order -----------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class JudgedAsFound:
    """Comparisons as found, judged in one way."""

    judged: str  # one of acceptance.JUDGED
    criterion: str
    comparisons: tuple[Cells, ...]
    found: AsFound  # in SI

    def content(self, instrument: tables.Instrument) -> dict[str, Any]:
        """As the review keeps it: numbers unrounded, in the unit in which the certificate states the values."""
        return {
            "judged": self.judged,
            "criterion": self.criterion,
            "comparisons": [self._line(instrument, row) for row in range(len(self.comparisons))],
        }

    def _line(self, instrument: tables.Instrument, row: int) -> dict[str, Any]:
        one, errors = self.comparisons[row], self.found.judged.errors
        in_unit = unit(instrument.quantity, str(one["unit"]))
        return {
            "reference": one["reference"],
            "indication": one["indication"],
            "unit": one["unit"],
            "indication_unit": one["indication_unit"],
            "error": float(in_unit.difference_from_si(errors.error[row])),
            "expanded_uncertainty": float(in_unit.difference_from_si(errors.expanded_uncertainty[row])),
            "limit": float(in_unit.difference_from_si(errors.limit[row])),
            "beyond": bool(self.found.beyond[row]),
            "within_U_of_the_limit": bool(self.found.near[row]),
        }


def judgements(instrument: Cells, comparisons: Sequence[Cells], before: Curve, judged: str) -> list[JudgedAsFound]:
    """Comparisons as found, judged as the calibration before was accepted, and by the value that its curve makes of them.

    None where the register states no maximum permissible error.
    """
    if not comparisons or not has_limits(instrument):
        return []
    ways = dict.fromkeys((judged, CORRECTED))
    return [found for way in ways if (found := _judged(instrument, comparisons, before, way)) is not None]


def _judged(instrument: Cells, comparisons: Sequence[Cells], before: Curve, judged: str) -> JudgedAsFound | None:
    points = comparisons_in_si(instrument, comparisons)
    own = 0.0 if points.independent_uncertainty is None else points.independent_uncertainty
    # What the curve before does not cover, no flow rested on.
    rows = np.flatnonzero(before.covers(points.indication) | (judged == INDICATION)).tolist()
    if not rows:
        return None
    x, reference = points.indication[rows], points.reference[rows]
    limit = permissible_error(instrument, x)
    sensitivity = np.ones_like(x)
    if judged == INDICATION:
        error = x - reference
    else:
        error = before.value(x) - reference
        limit, sensitivity = limit * before.error_sensitivity(x), np.abs(before.sensitivity(x))
    u = np.hypot(points.reference_uncertainty[rows], sensitivity * np.broadcast_to(own, points.indication.shape)[rows])
    factors = np.array([float(str(comparisons[row]["coverage_factor"])) for row in rows])
    found = judge_as_found(ComparedErrors(np.asarray(error), np.asarray(u), factors, np.asarray(limit)))
    words = criterion(instrument, SIMPLE, judged)
    return JudgedAsFound(judged, words, tuple(comparisons[row] for row in rows), found)


def _opened(
    session: Session, ground: Ground, calibration: tables.Calibration, notices: list[str]
) -> tables.ImpactReview | None:
    """The review of a calibration, not yet appended; None where it was found in order, was the first, or was withdrawn."""
    instrument = ground.instruments[calibration.instrument_id]
    if _is_withdrawn(ground, calibration):
        return None
    since = last_in_order(ground.register[instrument.tag], key(calibration.id))
    if since is None:
        return None
    before = curve_of(curve_that_counts(session, since.record_id).parameters)
    judged = _accepted_on(session, since.record_id) or usual_object(typed(instrument))
    try:
        found = judgements(typed(instrument), as_found_cells(session, calibration), before, judged)
    except CalibError as error:
        notices.append(
            f"{instrument.tag}: certificate {calibration.certificate}: as found it cannot be judged: {error}"
        )
        return None
    if not any(each.found.beyond.any() for each in found):
        notices += _near(instrument.tag, calibration.certificate, found)
        return None
    assessment = {
        "since": {
            "certificate": since.certificate,
            "calibrated_on": str(since.calibrated_on),
            "accepted_on": str(since.accepted_on),
        },
        "judgements": [each.content(instrument) for each in found],
        "assumption": ASSUMPTION,
        "rule_for_reports": RULE_FOR_REPORTS,
    }
    words = " and ".join(each.criterion for each in found)
    text = json.dumps(assessment, ensure_ascii=False)
    return tables.ImpactReview(calibration_id=key(calibration.id), criterion=words, assessment=text)


def _is_withdrawn(ground: Ground, calibration: tables.Calibration) -> bool:
    own = ground.register[ground.instruments[calibration.instrument_id].tag]
    return any(each.withdrawn for each in own.calibrations if each.record_id == calibration.id)


def _near(tag: str, certificate: str, judged: Iterable[JudgedAsFound]) -> Iterator[str]:
    for one in judged:
        count = int(one.found.near.sum())
        if count:
            yield (
                f"{tag}: certificate {certificate}: as found in order, but {count} of {len(one.comparisons)} errors of the "
                f"{one.judged} lie within U of the limit"
            )


def _accepted_on(session: Session, calibration: int) -> str | None:
    """What was judged when a calibration was accepted: the indication or the corrected value; None where it was not said."""
    own = select(tables.Acceptance.assessment).where(tables.Acceptance.calibration_id == calibration)
    text = session.exec(own).first()
    return None if text is None else json.loads(text).get("judged")


# --- what hangs on it ------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Touched:
    """What an instrument touched since it was last in order."""

    direct: tuple[TraceLink, ...]
    records: tuple[Record, ...]  # all of it, each after what of it it rests on
    waiting: tuple[CalibrationOnRecord, ...]


def touched(ground: Ground, instrument: tables.Instrument, failing: int, since: CalibrationOnRecord) -> Touched:
    """Everything that relied on an instrument since a calibration and before another (by its key), and what hangs on that."""
    own = ground.register[instrument.tag]
    by_key = {one.record_id: one for one in own.calibrations}
    direct = []
    for link in ground.links:
        in_force = by_key.get(link.on[1]) if link.on[0] == RecordKind.CALIBRATION and link.role != OF else None
        if in_force is not None and link.day is not None and relied_on_since(in_force, link.day, since):
            direct.append(link)
    graph = dict(downward(ground.links)) | {_ALL: [TraceLink(_ALL, one.record, one.role) for one in direct]}
    apart = {(RecordKind.CALIBRATION, failing), (RecordKind.CALIBRATION, since.record_id)}
    records = tuple(one for one in reached(graph, [_ALL]) if one not in apart)
    waiting = {link.on[1] for link in direct} - {since.record_id}
    return Touched(tuple(direct), records, tuple(by_key[one] for one in sorted(waiting)))


def _listed(
    session: Session,
    ground: Ground,
    review: tables.ImpactReview,
    signature: ledger.Signature,
    now: datetime,
    *,
    new: bool,
) -> Opened:
    """Append a line for each record that hangs on the instrument and has none yet."""
    failing = ground.calibrations[review.calibration_id]
    instrument = ground.instruments[failing.instrument_id]
    since = last_in_order(ground.register[instrument.tag], review.calibration_id)
    if since is None or _is_withdrawn(ground, failing):  # what the review was opened by was withdrawn since
        return Opened(instrument.tag, failing.certificate, new, 0)
    found = touched(ground, instrument, review.calibration_id, since)
    there = _lines(session, review)
    wanted = [one for one in found.records if one[0] in LISTED and one not in there]
    wanted = [one for one in wanted if one[0] != RecordKind.REPORT or _issued_before(session, one[1], review)]
    opened = Opened(instrument.tag, failing.certificate, new, len(wanted))
    if not wanted:
        return opened
    cause = Cause(instrument, failing, since, found.waiting)
    # A factor is recorded at a time, and the readings of its pairs are older than it.
    asked = replace(signature, time=now)
    writing = _Finding(
        session, ground, cause, found, recalculate(session, ground, cause, found.records, wanted, asked, now)
    )
    ordered = sorted(wanted, key=lambda record: (LISTED.index(record[0]), record[1]))
    lines = [
        tables.ImpactLine(
            impact_review_id=key(review.id),
            record_table=table,
            record_id=number,
            finding=json.dumps(writing.of((table, number)), ensure_ascii=False),
        )
        for table, number in ordered
    ]
    append(session, lines, signature)
    return opened


def _lines(session: Session, review: tables.ImpactReview) -> set[Record]:
    own = select(tables.ImpactLine).where(tables.ImpactLine.impact_review_id == review.id)
    return {(one.record_table, one.record_id) for one in session.exec(own)}


def _issued_before(session: Session, report: int, review: tables.ImpactReview) -> bool:
    """A report that was issued since names the open review itself."""
    return sequences(session, RecordKind.REPORT)[report] < sequences(session, "impact_review")[key(review.id)]


# --- what became of it -----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Finding:
    session: Session
    ground: Ground
    cause: Cause
    touched: Touched
    found: Recalculated

    def of(self, record: Record) -> dict[str, Any]:
        """What the review says of one record."""
        table, number = record
        of_table = {
            RecordKind.READING: self._reading,
            RecordKind.FACTOR: self._factor,
            RecordKind.CALIBRATION: self._calibration,
            RecordKind.REPORT: self._report,
        }
        return of_table[table](number) | {"notes": [*self._notes(record)]}

    def _notes(self, record: Record) -> Iterator[str]:
        yield from self.found.notes.get(record, ())
        for link in self.touched.direct:
            if link.record == record and link.day is not None and str(link.day) >= self.cause.failing.calibrated_on:
                yield (
                    f"{self.cause.instrument.tag} was used on {link.day}, not before its calibration of "
                    f"{self.cause.failing.calibrated_on}: if it was adjusted there first, the curve as found does not hold for it"
                )
        if record in self.found.stuck:
            yield self.found.stuck[record]

    def _as(self, record: Record) -> list[str]:
        """In which roles the record rests on the instrument, or on what was touched by it."""
        direct = [link.role for link in self.touched.direct if link.record == record]
        by_way = [link.role for link in self._up.get(record, ()) if link.on in self._listed]
        return list(dict.fromkeys((*direct, *by_way)))

    @cached_property
    def _up(self) -> Graph:
        return upward(self.ground.links)

    @cached_property
    def _listed(self) -> frozenset[Record]:
        return frozenset(self.touched.records)

    def _reading(self, record_id: int) -> dict[str, Any]:
        reading = self.ground.readings[record_id]
        outlet = self.ground.outlets[reading.outlet_id]
        stuck = (RecordKind.READING, record_id) in self.found.stuck
        before, after = self.found.before, self.found.after
        return {
            "job": self.ground.jobs[outlet.job_id].job,
            "outlet": outlet.outlet,
            "observed_at": reading.observed_at,
            "relied_on_as": self._as((RecordKind.READING, record_id)),
            **before_and_after(before.flows.get(record_id), None if stuck else after.flows.get(record_id)),
            "reasons_before": list(before.reasons.get(record_id, ())),
            "reasons_after": [] if stuck else list(after.reasons.get(record_id, ())),
        }

    def _factor(self, record_id: int) -> dict[str, Any]:
        one, record = self.ground.factors[record_id], (RecordKind.FACTOR, record_id)
        counts = self.ground.latest_factors[one.factor] is one
        recalculated = counts and record not in self.found.stuck
        before, after = self.found.before.factors.get(one.factor), self.found.after.factors.get(one.factor)
        return {
            "factor": one.factor,
            "revision": one.revision,
            "counts": counts,
            "relied_on_as": self._as(record),
            **before_and_after(before if counts else None, after if recalculated else None),
        }

    def _calibration(self, record_id: int) -> dict[str, Any]:
        one, record = self.ground.calibrations[record_id], (RecordKind.CALIBRATION, record_id)
        instrument = self.ground.instruments[one.instrument_id]
        return {
            "instrument": instrument.tag,
            "certificate": one.certificate,
            "calibrated_on": one.calibrated_on,
            "relied_on_as": self._as(record),
            **self._of_curves(instrument, record_id),
        }

    def _of_curves(self, instrument: tables.Instrument, record_id: int) -> dict[str, Any]:
        """The largest shift over U among the indications that were compared."""
        if record_id not in self.found.curves:
            return before_and_after(None, None)
        before, after = self.found.curves[record_id]
        x = before.reference_indications[after.covers(before.reference_indications)]
        if not x.size:
            return before_and_after(None, None)
        u = 2.0 * np.hypot(before.reference_uncertainty(x), before.scatter_uncertainty(x))
        v, w = before.value(x), after.value(x)
        u_after = 2.0 * np.hypot(after.reference_uncertainty(x), after.scatter_uncertainty(x))
        worst = int(np.argmax(np.abs(w - v) / u))
        in_unit = unit(
            instrument.quantity, str(comparison_cells(self.session, self.ground.calibrations[record_id])[0]["unit"])
        )
        at = unit(instrument.indicated, instrument.unit)
        both = [
            Stated(
                float(in_unit.from_si(value[worst])), float(in_unit.difference_from_si(of[worst])), 2.0, in_unit.symbol
            )
            for value, of in ((v, u), (w, u_after))
        ]
        return {"at_indication": f"{float(at.from_si(x[worst])):.6g} {at.symbol}", **before_and_after(*both)}

    def _report(self, record_id: int) -> dict[str, Any]:
        one = self.ground.reports[record_id]
        job = self.ground.jobs[one.job_id].job
        listed = [link.on[1] for link in self._up[RecordKind.REPORT, record_id] if link.on in self._listed]
        of_readings = {f"reading {one}": self._reading(one) for one in listed}
        of_totals = {
            name: before_and_after(stated, self.found.after.totals.get((owner, name)))
            for (owner, name), stated in self.found.before.totals.items()
            if owner == one.job_id
        }
        changed = [name for name, each in (of_readings | of_totals).items() if each["statement_changed"]]
        shifts = [abs(each["shift_over_U"]) for each in of_readings.values() if each["shift_over_U"] is not None]
        unknown = [name for name, each in of_readings.items() if each["before"] and not each["after"]]
        return {
            "job": job,
            "report": f"{job} revision {one.revision}",
            "issued_at": one.issued_at,
            "relied_on_as": [],
            **before_and_after(None, None),
            "readings": listed,
            "totals": {name: each for name, each in of_totals.items() if each["shift"]},
            "statements_changed": changed,
            "largest_shift_over_U": max(shifts, default=None),
            "reissue": bool(changed or unknown or any(each > 1.0 for each in shifts)),
        }


def before_and_after(before: Stated | None, after: Stated | None) -> dict[str, Any]:
    """A value before and after: shift = after - before, over the U that was stated before; null where one of them is not there."""
    shift = after.value - before.value if before is not None and after is not None else None
    over = (
        shift / before.expanded_uncertainty
        if before is not None and shift is not None and before.expanded_uncertainty
        else None
    )
    return {
        "unit": (before or after or _NOTHING).unit,
        "before": _value(before),
        "after": _value(after),
        "shift": shift,
        "shift_over_U": over,
        "statement_before": None if before is None else before.statement,
        "statement_after": None if after is None else after.statement,
        "statement_changed": None if before is None or after is None else before.statement != after.statement,
    }


_NOTHING = Stated(0.0, 0.0, 0.0, "")


def _value(stated: Stated | None) -> Mapping[str, float] | None:
    if stated is None:
        return None
    return {
        "value": stated.value,
        "expanded_uncertainty": stated.expanded_uncertainty,
        "coverage_factor": stated.coverage_factor,
    }
