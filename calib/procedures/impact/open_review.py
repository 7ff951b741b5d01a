"""Open an impact review where an instrument was found out of order, and list all that hangs on it (ISO/IEC 17025, 6.4.9, 7.10).

Judged is each comparison as found of a new certificate, by the maximum permissible error of the register under simple acceptance:
the error of the indication, unless the calibration before was accepted on its corrected value; and always the value that the
curve before makes of it, since every flow since rests on that, and the budget's stability promises that it stays within that limit.

A review is brought up to date by whatever may hang on one: import, reading, conditions, certificate, acceptance, factor found,
outlet amended. An acceptance names the later calibrations of its instrument, of which one may have been found out of order while
nothing had been in order before it. A factor found within a recalculation is not followed, or it would never end.

Decision (2026-11). A review holds for the time since the instrument was last in order. Cost: reviews where limits are narrower than
what repeats.
"""

import json
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from sqlmodel import Session, col, func, select

from calib.confirmation.in_order import last_in_order, of_the_same_calibration
from calib.confirmation.interval import InstrumentOnRecord
from calib.confirmation.traceability import Record
from calib.counted import count_of
from calib.errors import CalibError, Step
from calib.procedures.certificate.assess import usual_object
from calib.procedures.impact.gather import RecordKind, above
from calib.procedures.impact.judge_as_found import JudgedAsFound, judgements
from calib.procedures.impact.recalculate import Cause, recalculate
from calib.procedures.impact.rests_on import ground_below
from calib.procedures.impact.review_lines import LineFinding
from calib.procedures.impact.shaken import LISTED, Rested, Shaken, lines_on, rested_on, shaken_by
from calib.procedures.impact.touched import touched
from calib.procedures.on_record.amended import amended_instruments
from calib.procedures.on_record.by_keys import by_keys
from calib.procedures.on_record.calibrations import as_found_cells
from calib.procedures.on_record.in_force import curve_of
from calib.procedures.on_record.recorded import sequences
from calib.procedures.on_record.register import load_register
from calib.procedures.on_record.reviews import of_withdrawn
from calib.procedures.on_record.what_counts import curve_that_counts
from calib.procedures.people.authorise import append
from calib.records import ledger
from calib.records.record import key, typed
from calib.records.tables.calibrations import Acceptance, Calibration
from calib.records.tables.instruments import Instrument
from calib.records.tables.reviews import ImpactLine, ImpactReview, ReviewDecision
from calib.records.tables.supersessions import Supersession

ASSUMPTION = (
    "the curve as found is taken for the whole time since the instrument was last in order, though it may have changed at any "
    "moment between: the shifts are those of the last day, the largest ones if the change only grew"
)
RULE_FOR_REPORTS = (
    "reissued where a statement of conformity changes, a flow shifts by more than its U, or cannot be worked out anew"
)


@dataclass(frozen=True)
class Opened:
    """What was opened or added to."""

    review: int
    about: str
    new: str | None  # what it was opened by; None: it was open before
    lines: int  # added

    def __str__(self) -> str:
        lines = count_of(self.lines, "line", "lines")
        if self.new is not None:
            return f"{self.new}, {lines}"
        return f"impact review of {self.about}: {lines} more"


@dataclass(frozen=True)
class Reviewed:
    """Reviews opened and lines added, and what is worth saying of the certificates that opened none."""

    opened: tuple[Opened, ...]
    notices: tuple[str, ...]

    @property
    def remarks(self) -> tuple[str, ...]:
        """What a person is told, a line each."""
        told = (f"{review}: {Step.SEE_REVIEW} {review.review}" for review in self.opened)
        return (*(f"notice: {notice}" for notice in self.notices), *told)


def open_reviews(
    session: Session,
    signature: ledger.Signature,
    now: datetime,
    recorded: Collection[int] = (),
    touched_records: Collection[Record] = (),
) -> Reviewed:
    """Open a review for each calibration among those recorded whose comparisons as found fail; others get what hangs on theirs.

    A calibration without an accepted one before it opens none: nothing could be measured with its instrument. Nor does one that was
    withdrawn. An open or closed review gets a line for whatever was recorded since and hangs on its instrument, unless its own
    calibration was withdrawn: then its lines stay as they are. Asked are the reviews of instruments that the touched records and
    the recorded calibrations rest on.
    """
    last = session.exec(select(func.max(ImpactReview.id))).one() or 0  # before this act
    reviewed = select(ImpactReview.calibration_id)
    known = {*by_keys(session, reviewed, ImpactReview.calibration_id, recorded)}
    notices: list[str] = []
    opened: list[Opened] = []
    query = select(Calibration).order_by(col(Calibration.id))
    calibrations = list(by_keys(session, query, Calibration.id, {*recorded} - known))
    register = load_register(session, {each.instrument_id for each in calibrations}) if calibrations else {}
    for calibration in calibrations:
        review = _opened(session, calibration, register, notices)
        if review is not None:
            append(session, [review], signature)
            opened.append(_listed(session, review, calibration, signature, now, new=True))
    if last:
        touching = {*touched_records, *((RecordKind.CALIBRATION, calibration_id) for calibration_id in recorded)}
        instruments = above(session, touching).instruments
        opened += [
            _listed(session, review, calibration, signature, now, new=False)
            for review, calibration in _reviews_of(session, instruments, last)
        ]
        of_reviews = select(ImpactReview).order_by(col(ImpactReview.id))
        others = list(by_keys(session, of_reviews, ImpactReview.instrument_id, instruments))
        opened += [_with_more(session, review, signature, now) for review in others]
    return Reviewed(tuple(review for review in opened if review.new or review.lines), tuple(notices))


def brought_up_to_date(session: Session, review_id: int, signature: ledger.Signature, now: datetime) -> None:
    """Append a line for whatever was recorded since and hangs on what a review is about."""
    review = session.get_one(ImpactReview, review_id)
    if review.calibration_id is not None:
        open_reviews(session, signature, now, (), [(RecordKind.CALIBRATION, review.calibration_id)])
    elif review.instrument_id is not None:
        _with_more(session, review, signature, now)


def open_for_cause(
    session: Session, shaken: Shaken, signature: ledger.Signature, now: datetime, rested: Rested | None = None
) -> Reviewed:
    """Open a review for what shakes results already given, with a line for each record that rested on it; none where nothing did.

    Call it after the record of the cause was appended, in the same transaction. Of an instrument (damage, a failed check) give
    `Shaken(cause, (table, key), instrument, happened, since, until)`, `since` from `since_in_order`; of a certificate that counts
    no more, or was replaced, `Shaken(..., certificate=key of the calibration)`, and what `rested_on` told before that.
    """
    rested = rested_on(session, shaken, now) if rested is None else rested
    lines = lines_on(session, shaken, rested, rested.wanted(), now)
    if not lines:
        return Reviewed((), ())
    review = shaken.review()
    append(session, [review], signature)
    append_lines(session, review, lines, signature)
    tag = rested.ground.instruments[shaken.instrument].tag
    said = f"{tag}, {shaken.happened}"
    return Reviewed((Opened(key(review.id), said, f"{said}: impact review", len(lines)),), ())


def _with_more(session: Session, review: ImpactReview, signature: ledger.Signature, now: datetime) -> Opened:
    """A review of another cause with what was recorded since; one of a certificate, or of what was taken back, stays as it is."""
    shaken = shaken_by(review)
    tag = session.get_one(Instrument, shaken.instrument).tag
    more: dict[Record, Any] = {}
    if shaken.certificate is None and not of_withdrawn(session, [review]):
        rested, there = rested_on(session, shaken, now), _lines(session, review)
        wanted = [record for record in rested.wanted() if record not in there]
        wanted = [record for record in wanted if not _answers(session, record, review)]
        more = lines_on(session, shaken, rested, wanted, now)
        append_lines(session, review, more, signature)
    return Opened(key(review.id), f"{tag}, {shaken.happened}", None, len(more))


def append_lines(
    session: Session, review: ImpactReview, findings: Mapping[Record, Any], signature: ledger.Signature
) -> None:
    """Append a line of a review for each record, with what is said of it."""
    lines = [
        ImpactLine(
            impact_review_id=key(review.id),
            record_table=table,
            record_id=record_id,
            finding=json.dumps(finding, ensure_ascii=False),
        )
        for (table, record_id), finding in findings.items()
    ]
    append(session, lines, signature)


def _reviews_of(session: Session, instruments: Collection[int], last: int) -> list[tuple[ImpactReview, Calibration]]:
    """Reviews that calibrations of instruments opened, up to one of a number."""
    query = select(ImpactReview, Calibration).join(Calibration).order_by(col(ImpactReview.id))
    return [
        (review, calibration)
        for review, calibration in by_keys(session, query, Calibration.instrument_id, instruments)
        if key(review.id) <= last
    ]


# --- whether it was in order -----------------------------------------------------------------------------------------------------


def _opened(
    session: Session, calibration: Calibration, register: Mapping[str, InstrumentOnRecord], notices: list[str]
) -> ImpactReview | None:
    """The review of a calibration, not yet appended; None where it was found in order, was the first, or was withdrawn."""
    on = date.fromisoformat(calibration.calibrated_on)
    instrument = amended_instruments(session, [calibration.instrument_id])[calibration.instrument_id].at(on)
    own = register[instrument.tag]
    if own.calibration(key(calibration.id)).withdrawn:
        return None
    same = of_the_same_calibration(own, key(calibration.id))
    if same is not None and own.calibration(key(calibration.id)).accepted_on is None:
        notices.append(
            f"{instrument.tag}: certificate {calibration.certificate} is of the same calibration as {same.certificate}: what "
            "it was found to be is reviewed once it is accepted, or the other one withdrawn"
        )
        return None
    since = last_in_order(own, key(calibration.id))
    if since is None or _reviewed_as_reissued(session, calibration):
        return None
    before = curve_of(curve_that_counts(session, since.record_id).parameters)
    judged = _accepted_on(session, since.record_id) or usual_object(typed(instrument))
    try:
        judgements_made = judgements(typed(instrument), as_found_cells(session, calibration), before, judged)
    except CalibError as error:
        notices.append(
            f"{instrument.tag}: certificate {calibration.certificate}: as found it cannot be judged: {error}"
        )
        return None
    if not any(each.as_found.beyond.any() for each in judgements_made):
        notices += _near(instrument.tag, calibration.certificate, judgements_made)
        return None
    assessment = {
        "since": {
            "certificate": since.certificate,
            "calibrated_on": str(since.calibrated_on),
            "accepted_on": str(since.accepted_on),
        },
        "judgements": [each.content(instrument) for each in judgements_made],
        "assumption": ASSUMPTION,
        "rule_for_reports": RULE_FOR_REPORTS,
    }
    words = " and ".join(each.criterion for each in judgements_made)
    text = json.dumps(assessment, ensure_ascii=False)
    return ImpactReview(calibration_id=key(calibration.id), criterion=words, assessment=text)


def _reviewed_as_reissued(session: Session, calibration: Calibration) -> bool:
    """Whether the certificate whose place it took has a review of what was found: it stays the review of both."""
    reviewed = col(ImpactReview.calibration_id) == Supersession.old_calibration_id
    of_old = select(ImpactReview.id).join(Supersession, reviewed)
    return session.exec(of_old.where(Supersession.calibration_id == calibration.id)).first() is not None


def _near(tag: str, certificate: str, judged: Iterable[JudgedAsFound]) -> Iterator[str]:
    for judgement in judged:
        count = int(judgement.as_found.near.sum())
        if count:
            yield (
                f"{tag}: certificate {certificate}: as found in order, but {count} of {len(judgement.comparisons)} errors of the "
                f"{judgement.judged} lie within U of the limit"
            )


def _accepted_on(session: Session, calibration: int) -> str | None:
    """What was judged when a calibration was accepted: the indication or the corrected value; None where it was not said."""
    own = select(Acceptance.assessment).where(Acceptance.calibration_id == calibration)
    text = session.exec(own).first()
    return None if text is None else json.loads(text).get("judged")


# --- what hangs on it ------------------------------------------------------------------------------------------------------------


def _listed(
    session: Session,
    review: ImpactReview,
    failing: Calibration,
    signature: ledger.Signature,
    now: datetime,
    *,
    new: bool,
) -> Opened:
    """Append a line for each record that hangs on the instrument and has none yet."""
    ground = ground_below(session, [(RecordKind.INSTRUMENT, failing.instrument_id)])
    instrument = ground.instruments[failing.instrument_id]
    since = last_in_order(ground.register[instrument.tag], key(failing.id))
    certificate = f"certificate {failing.certificate}"
    by_what = f"{instrument.tag} was found beyond its limits: impact review of {certificate}" if new else None
    opened = Opened(key(review.id), f"{instrument.tag}, {certificate}", by_what, 0)
    if since is None or ground.on_record(failing).withdrawn:  # what the review was opened by was withdrawn since
        return opened
    reached = touched(ground, instrument, key(failing.id), since)
    there = _lines(session, review)
    wanted = [record for record in reached.records if record[0] in LISTED and record not in there]
    wanted = [record for record in wanted if not (ground.is_withdrawn(record) or _answers(session, record, review))]
    opened = replace(opened, lines=len(wanted))
    if not wanted:
        return opened
    cause = Cause(instrument, failing, since, reached.waiting)
    # A factor is recorded at a time, and the readings of its pairs are older than it.
    asked = replace(signature, time=now)
    writing = LineFinding(
        session, ground, cause, reached, recalculate(session, ground, cause, reached.records, wanted, asked, now)
    )
    ordered = sorted(wanted, key=lambda record: (LISTED.index(record[0]), record[1]))
    append_lines(session, review, {record: writing.of(record) for record in ordered}, signature)
    return opened


def _lines(session: Session, review: ImpactReview) -> set[Record]:
    own = select(ImpactLine).where(ImpactLine.impact_review_id == review.id)
    return {(line.record_table, line.record_id) for line in session.exec(own)}


def _answers(session: Session, record: Record, review: ImpactReview) -> bool:
    """A report issued since it was opened names the review itself; a factor found since it was first decided rests on what holds.

    Each later decision finds that factor anew.
    """
    table, record_id = record
    if table == RecordKind.REPORT:
        since = sequences(session, "impact_review", [key(review.id)])
    elif table == RecordKind.FACTOR:
        own = select(ReviewDecision.id).where(ReviewDecision.impact_review_id == review.id)
        since = sequences(session, "review_decision", [key(decision) for decision in session.exec(own)])
    else:
        return False
    return bool(since) and sequences(session, table, [record_id])[record_id] > min(since.values())
