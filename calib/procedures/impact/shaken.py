"""What rested on something that shakes results already given: an instrument that failed a check or was damaged, a certificate.

Of an instrument it is all that relied on it since it was last shown to be in order: since its last passed check, else since its
calibration. By how much it was wrong is not known, so nothing is worked out anew, and each line is judged by hand. Of a certificate
that counts no more, or was replaced, it is all that relied on it; what the records answer before and after is compared.
"""

import json
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from sqlmodel import Session

from calib.confirmation.in_order import last_shown_in_order
from calib.confirmation.traceability import Record, TraceLink, downward, reached
from calib.procedures.impact.gather import RecordKind
from calib.procedures.impact.recalculate import Recalculated
from calib.procedures.impact.rests_on import OF, Ground, ground_below
from calib.procedures.impact.review_lines import LineFinding
from calib.procedures.impact.stated_values import Values, jobs_of, values_of
from calib.procedures.impact.touched import Touched
from calib.procedures.on_record.reviews import WITHDRAWAL
from calib.records.record import moment
from calib.records.tables.reviews import ImpactReview

LISTED = (
    RecordKind.READING, RecordKind.FACTOR, RecordKind.CALIBRATION, RecordKind.CHECK, RecordKind.REPORT,
)  # tables whose records make lines  # fmt: skip
_GIVEN = (RecordKind.FACTOR, RecordKind.CALIBRATION, RecordKind.REPORT)
_ALL = ("", 0)  # stands for everything that relied on it directly


@dataclass(frozen=True)
class Shaken:
    """What shakes results already given."""

    cause: str  # of REVIEW_CAUSES
    record: Record  # that it is known by: an event, a check, a withdrawal, a supersession
    instrument: int
    happened: str  # in words, with its day: "dropped on 2026-05-03"
    since: datetime | None = None  # of an instrument: what relied on it from then on ...
    until: datetime | None = None  # ... and until then
    certificate: int | None = None  # a calibration: what relied on that alone, whenever it did

    def between(self, since: datetime, until: datetime) -> "Shaken":
        """The same of what relied on the instrument between two times."""
        return replace(self, since=since, until=until)

    def review(self) -> ImpactReview:
        """The review of it, not yet appended."""
        table, record_id = self.record
        assessment = {
            "since": None if self.since is None else self.since.isoformat(),
            "until": None if self.until is None else self.until.isoformat(),
            "certificate": self.certificate,
        }
        return ImpactReview(
            criterion=self.happened,
            assessment=json.dumps(assessment),
            cause=self.cause,
            cause_table=table,
            cause_id=record_id,
            instrument_id=self.instrument,
        )


def shaken_by(review: ImpactReview) -> Shaken:
    """What opened a review for another cause than comparisons as found."""
    said = json.loads(review.assessment)
    assert review.cause and review.cause_table and review.cause_id and review.instrument_id  # noqa: S101, PT018
    since, until = (None if said[name] is None else moment(said[name]) for name in ("since", "until"))
    record = (review.cause_table, review.cause_id)
    return Shaken(review.cause, record, review.instrument_id, review.criterion, since, until, said["certificate"])


@dataclass(frozen=True)
class Rested:
    """What rested on it, and what the records answered of that."""

    ground: Ground
    touched: Touched
    before: Values

    def wanted(self) -> list[Record]:
        """Records that make lines."""
        return [
            record for record in self.touched.records if record[0] in LISTED and not self.ground.is_withdrawn(record)
        ]


def since_in_order(session: Session, instrument: int, at: datetime) -> datetime | None:
    """When an instrument was last shown to be in order before a time."""
    ground = ground_below(session, [(RecordKind.INSTRUMENT, instrument)])
    return last_shown_in_order(ground.register[ground.instruments[instrument].tag], at)


def rested_on(session: Session, shaken: Shaken, now: datetime) -> Rested:
    """What rests on something at present; of a certificate asked before it is withdrawn or replaced."""
    ground = ground_below(session, [(RecordKind.INSTRUMENT, shaken.instrument)])
    direct = tuple(link for link in ground.links if link.role != OF and _relied(ground, shaken, link))
    graph = dict(downward(ground.links)) | {_ALL: [TraceLink(_ALL, link.record, link.role) for link in direct]}
    touched = Touched(direct, tuple(reached(graph, [_ALL])), ())
    return Rested(ground, touched, _values(session, ground, touched, now))


def _relied(ground: Ground, shaken: Shaken, link: TraceLink) -> bool:
    if link.on[0] != RecordKind.CALIBRATION or link.day is None:
        return False
    if shaken.certificate is not None:
        return link.on[1] == shaken.certificate
    if (
        ground.calibrations[link.on[1]].instrument_id != shaken.instrument
        or shaken.since is None
        or shaken.until is None
    ):
        return False
    at = None
    if link.record[0] == RecordKind.READING:
        at = moment(ground.readings[link.record[1]].observed_at)
    elif link.record[0] == RecordKind.CHECK:
        at = moment(ground.checks[link.record[1]].at)
    if at is not None:
        return shaken.since <= at <= shaken.until
    return shaken.since.date() <= link.day <= shaken.until.date()


def _values(session: Session, ground: Ground, touched: Touched, now: datetime) -> Values:
    names = [ground.factors[record_id].factor for table, record_id in touched.records if table == RecordKind.FACTOR]
    return values_of(session, jobs_of(ground, touched.records), names, now)


def lines_on(
    session: Session, shaken: Shaken, rested: Rested, wanted: Collection[Record], now: datetime
) -> dict[Record, Any]:
    """What a review says of each record, in the order of its lines; of a certificate nothing where only its reading was affected.

    Results were given where a report was issued, a factor found or an instrument calibrated; a reading alone may be measured again.
    """
    if shaken.certificate is None:
        why = f"by how much {_tag(rested, shaken)} was wrong then is not known: judge it by hand"
        recalculated = Recalculated(rested.before, rested.before, {}, {}, dict.fromkeys(rested.touched.records, why))
        of_each = LineFinding(session, rested.ground, None, rested.touched, recalculated)
        return {record: of_each.of(record) for record in _ordered(wanted)}
    if not any(table in _GIVEN for table, _ in rested.touched.records):
        return {}
    after = _values(session, rested.ground, rested.touched, now)
    of_each = LineFinding(
        session,
        rested.ground,
        None,
        rested.touched,
        Recalculated(rested.before, after, {}, dict(_by_hand(shaken, rested)), {}),
    )
    findings = {record: of_each.of(record) for record in _ordered(wanted)}
    moved = {record[1] for record, finding in findings.items() if record[0] == RecordKind.READING and _moved(finding)}
    return {record: finding for record, finding in findings.items() if _differs(record, finding, moved)}


def _by_hand(shaken: Shaken, rested: Rested) -> Iterator[tuple[Record, tuple[str, ...]]]:
    for record in rested.touched.records:
        if record[0] == RecordKind.FACTOR and shaken.cause == WITHDRAWAL:
            yield record, ("it gives no flow until it is found again",)
        elif record[0] in (RecordKind.FACTOR, RecordKind.CALIBRATION):
            yield record, ("it keeps its values until it is found or calibrated again",)


def _moved(finding: Mapping[str, Any]) -> bool:
    return bool(finding["before"] != finding["after"] or finding["statement_changed"])


def _differs(record: Record, finding: Mapping[str, Any], moved: set[int]) -> bool:
    """Whether it makes a line: a report does wherever a reading in it moved, however little, so that one review tells all."""
    table, record_id = record
    if table == RecordKind.READING:
        return record_id in moved
    return table != RecordKind.REPORT or bool(finding["reissue"] or not moved.isdisjoint(finding["readings"]))


def _ordered(wanted: Iterable[Record]) -> Sequence[Record]:
    return sorted(wanted, key=lambda record: (LISTED.index(record[0]), record[1]))


def _tag(rested: Rested, shaken: Shaken) -> str:
    return rested.ground.instruments[shaken.instrument].tag
