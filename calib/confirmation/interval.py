"""Due date, and the status of an instrument at a given time: the gate (ISO/IEC 17025:2017 6.4; ILAC-G24 / OIML D 10).

Every function takes the time it speaks of; nothing here reads a clock.
"""

import calendar
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from calib.counted import count_of

SUSPENSION, RELEASE, RETIREMENT = "suspension", "release", "retirement"
OUT_OF_USE = {SUSPENSION: "suspended", "damage": "damaged"}  # until the release
CHANGED = {
    "repair": "repaired",
    "adjustment": "adjusted",
}  # its errors with it, so that the calibration before says no more
CLOCKS_DIFFER_BY = timedelta(
    seconds=60
)  # by which two clocks may differ: a time as far ahead of this one is taken as typed
ZONES_DIFFER_BY = timedelta(days=1)  # at most: the days of one moment in two zones
_NOT_ACCEPTED = "no calibration accepted"


@dataclass(frozen=True)
class HeldCurve:
    """Another curve that holds for a calibration, as a person decided in an impact review: from a day and a time on."""

    record_id: int  # by which it is asked for where the curves are: below 0, since it is no record
    since_day: date | None  # absent: the whole time
    since: datetime | None
    low: float  # its measuring interval, as of a calibration
    high: float
    measuring_interval: str
    against: str | None = None  # why nothing may rest on it: it could not be worked out

    def holds(self, at: datetime | date) -> bool:
        """Whether it holds at a time, or by the end of a day as a whole."""
        from_day = self.since_day is None or self.since_day <= _day(at)
        return from_day and (self.since is None or has_happened(self.since, at))


@dataclass(frozen=True)
class CalibrationOnRecord:
    """What the gate needs to know of one calibration."""

    record_id: int
    certificate: str
    laboratory: str
    calibrated_on: date
    accepted_on: date | None  # absent: not accepted, withdrawn or superseded
    due_on: date | None  # a due date earlier than the interval gives; absent: the interval alone counts
    low: float  # calibrated measuring interval, indication in SI
    high: float
    measuring_interval: str  # the same as it is printed, in the unit of the certificate
    standards: tuple[str, ...] = ()  # tags of the reference standards of an in-house calibration
    withdrawn: bool = False  # recorded wrongly: it counts for nothing, at no time
    superseded_by: str | None = (
        None  # the certificate that was reissued for it and counts: it counts for nothing any more
    )
    same_values: bool = True  # as that one
    held: tuple[HeldCurve, ...] = ()  # that hold in the place of its own curve; of several the last
    certificate_id: int | None = None  # its own key, where another curve took its place
    against: str | None = None  # why nothing may rest on that
    same_as: frozenset[int] = frozenset()  # keys of certificates that it was reissued for with the same values
    adjusted: bool = False  # between its comparisons as found and as left, as the certificate says
    reissued_as: str | None = None  # with other values, by a certificate that nobody has accepted yet

    @property
    def wrong_values(self) -> str | None:
        """Why what was worked out from it has to be worked out anew; None where nothing speaks against that."""
        if self.withdrawn:
            return "was withdrawn"
        return None if self.same_values else f"was reissued as {self.superseded_by} with other values"

    @property
    def in_doubt(self) -> str | None:
        """What speaks against its values while it counts; None where nothing does."""
        if self.reissued_as is None:
            return None
        return f"certificate {self.certificate} was reissued with other values as {self.reissued_as}, which nobody has accepted yet"

    @property
    def on_file(self) -> int:
        """Key of the record, whichever curve holds."""
        return self.record_id if self.certificate_id is None else self.certificate_id

    def is_that_of(self, record_id: int) -> bool:
        """Whether it is a certificate, by its key, or was reissued for it with the same values."""
        return record_id == self.on_file or record_id in self.same_as

    @property
    def is_held_for_a_part(self) -> bool:
        """Whether its curve is another at one time than at another."""
        return any(each.since_day is not None or each.since is not None for each in self.held)

    def as_held(self, at: datetime | date) -> "CalibrationOnRecord":
        """With the curve that holds at a time, or by the end of a day as a whole."""
        holding = next((each for each in reversed(self.held) if each.holds(at)), None)
        if holding is None:
            return self
        return replace(
            self,
            record_id=holding.record_id,
            low=holding.low,
            high=holding.high,
            measuring_interval=holding.measuring_interval,
            certificate_id=self.on_file,
            against=holding.against,
        )


@dataclass(frozen=True)
class EventOnRecord:
    """What happened to an instrument: a suspension, a release, damage, a repair."""

    kind: str
    at: datetime
    reason: str
    recorded_on: date | None = None  # absent: not known

    def since(self) -> str:
        """From when on it holds, on which later day it was recorded, and why."""
        later = self.recorded_on is not None and self.recorded_on > self.at.date()
        recorded = f", recorded on {self.recorded_on}" if later else ""
        return f"{self.at.isoformat()}{recorded} ({self.reason})"


@dataclass(frozen=True)
class CheckOnRecord:
    """An intermediate check."""

    at: datetime
    kind: str
    passed: bool


@dataclass(frozen=True)
class IntervalChange:
    """Another calibration interval, from a time on."""

    at: datetime
    months: int


@dataclass(frozen=True)
class ReviewOnRecord:
    """An impact review that is about an instrument, or shakes calibrations of it."""

    review: int
    said: str  # what was found, and whether the review is open
    opened: datetime
    is_open: bool
    closes_gate: bool  # as long as it is open, by a rule of the house
    is_own: bool  # of the instrument itself, and not of a standard that it was calibrated with
    calibrations: frozenset[int]  # keys of those that it shakes
    since: date | None = None  # for what relied on them from that day on; absent: at any time

    def shakes(self, calibration: CalibrationOnRecord, on: date) -> bool:
        """Whether it shakes what relies on a calibration on a day."""
        return calibration.on_file in self.calibrations and (self.since is None or self.since <= on)


@dataclass(frozen=True)
class InstrumentOnRecord:
    """What the gate needs to know of one instrument."""

    tag: str
    interval_months: int  # as registered
    check_interval_days: int | None  # absent: no intermediate check is required
    calibrations: tuple[CalibrationOnRecord, ...] = ()
    events: tuple[EventOnRecord, ...] = ()
    checks: tuple[CheckOnRecord, ...] = ()
    interval_changes: tuple[IntervalChange, ...] = ()
    reviews: tuple[ReviewOnRecord, ...] = ()

    def calibration(self, record_id: int) -> CalibrationOnRecord:
        """A calibration of it by its key; raises StopIteration where it has none of that key."""
        return next(
            recorded
            for recorded in self.calibrations
            if record_id == recorded.record_id or any(record_id == each.record_id for each in recorded.held)
        )


@dataclass(frozen=True)
class Decision:
    """The gate's answer: the calibration that counts, and every reason against use (none: it may be used)."""

    tag: str
    calibration: CalibrationOnRecord | None
    due_on: date | None
    reasons: tuple[str, ...]
    check_due_on: date | None = None  # last day without another intermediate check; absent: none is required
    check_overdue: str | None = None  # the reason among the others that says so
    notes: tuple[str, ...] = ()  # open impact reviews that concern it, where they do not close the gate

    @property
    def first_due_on(self) -> date | None:
        """The earlier of the days through which calibration and intermediate check are valid; absent: no calibration accepted."""
        return None if self.due_on is None else min(self.due_on, self.check_due_on or self.due_on)

    @property
    def allowed(self) -> bool:
        """Whether the instrument may be used."""
        return not self.reasons


def has_happened(recorded: datetime, at: datetime | date) -> bool:
    """Whether something recorded with its time had happened at a time, or by the end of a day as a whole.

    A day ends where the calendar of whoever recorded it turns: what happened on the evening of a day, in the zone it was recorded
    in, happened on that day, wherever the question is asked.
    """
    return recorded <= at if isinstance(at, datetime) else recorded.date() <= at


def is_retired(instrument: InstrumentOnRecord, at: datetime | date) -> bool:
    """Whether an instrument was retired by a time, or by the end of a day as a whole."""
    return any(event.kind == RETIREMENT and has_happened(event.at, at) for event in instrument.events)


def _day(at: datetime | date) -> date:
    return at.date() if isinstance(at, datetime) else at


def add_months(start: date, months: int) -> date:
    """The same day `months` calendar months later, or the last day of a shorter month: 31 January + 1 is 28 or 29 February."""
    year, month = divmod(start.year * 12 + start.month - 1 + months, 12)
    last = calendar.monthrange(year, month + 1)[1]
    return date(year, month + 1, min(start.day, last))


def due_date(calibrated_on: date, interval_months: int, stated_due_on: date | None = None) -> date:
    """Last day on which the calibration is valid: the interval's end, or an earlier stated due date; never a later one."""
    end = add_months(calibrated_on, interval_months)
    return end if stated_due_on is None else min(end, stated_due_on)


def interval_at(instrument: InstrumentOnRecord, on: date) -> int:
    """Calibration interval in force on a day, its changes of that day included [calendar months]."""
    past = [change for change in instrument.interval_changes if change.at.date() <= on]
    # Of changes at one time the later recorded counts.
    return max(reversed(past), key=lambda change: change.at).months if past else instrument.interval_months


def interval_of(instrument: InstrumentOnRecord, calibration: CalibrationOnRecord, at: datetime | date) -> int:
    """Interval that counts for an accepted calibration at a time [calendar months].

    The one in force on the day of its acceptance, or the shortest that was set since. So a change never lengthens the validity of a
    calibration that is in use already: a longer interval holds from the next calibration accepted on, a shorter one at once.
    """
    accepted = calibration.accepted_on or calibration.calibrated_on
    since = [
        change.months
        for change in instrument.interval_changes
        if has_happened(change.at, at) and change.at.date() > accepted
    ]
    return min([interval_at(instrument, accepted), *since])


def calibration_in_force(instrument: InstrumentOnRecord, on: date) -> CalibrationOnRecord | None:
    """The latest calibration accepted on or before a day, whether or not it is still valid."""
    until = [calibration for calibration in instrument.calibrations if calibration.calibrated_on <= on]
    return latest_accepted(calibration for calibration in until if (calibration.accepted_on or on) <= on)


def latest_accepted(calibrations: Iterable[CalibrationOnRecord]) -> CalibrationOnRecord | None:
    """The latest of calibrations, those that were not accepted left out; of one day the one accepted last."""
    return max(
        (calibration for calibration in calibrations if calibration.accepted_on is not None),
        key=lambda calibration: (calibration.calibrated_on, calibration.accepted_on, calibration.record_id),
        default=None,
    )


def gate(
    register: Mapping[str, InstrumentOnRecord],
    tag: str,
    at: datetime | date,
    now: datetime | date,
    indication: float | None = None,
    indication_text: str = "",
) -> Decision:
    """May the instrument be used at a time, or on a day as a whole: all reasons against it at once, with dates and the next step.

    `register` holds the instrument and, under their tags, the reference standards of its in-house calibrations. `indication` [SI]
    is checked against the calibrated measuring interval where it is given; `indication_text` is how to print it.
    Dates are compared with the local date of `at` in its own time zone: the day that the technician's calendar showed.
    Raises KeyError where the register lacks the instrument.
    """
    return _decide(register, tag, at, now, indication, indication_text, frozenset())


def _decide(
    register: Mapping[str, InstrumentOnRecord],
    tag: str,
    at: datetime | date,
    now: datetime | date,
    indication: float | None,
    indication_text: str,
    below: frozenset[int],  # calibrations that rest on this one
) -> Decision:
    instrument = register[tag]
    calibration = calibration_in_force(instrument, _day(at))
    due_on = (
        None
        if calibration is None
        else due_date(calibration.calibrated_on, interval_of(instrument, calibration, at), calibration.due_on)
    )
    if calibration is not None:
        calibration = calibration.as_held(at)
    done = _checks_since(instrument, calibration, at)
    check_due_on, check_overdue = _check_due(instrument, calibration, done, _day(at))
    reasons = (
        *_future(tag, at, now),
        *_calibration(instrument, calibration, due_on, _day(at)),
        *_suspension(instrument, at),
        *_changed(instrument, calibration, at),
        *_adjusted(instrument, calibration, _day(at)),
        *_failed(tag, done),
        *(() if check_overdue is None else (check_overdue,)),
        *_measuring_interval(tag, calibration, indication, indication_text),
        *_standards(register, tag, calibration, below),
        *(() if calibration is None or calibration.against is None else (f"{tag}: {calibration.against}",)),
        *_closing_reviews(instrument, calibration, at),
    )
    doubt = None if calibration is None else calibration.in_doubt
    notes = (*_open_reviews(instrument, calibration, at), *([] if doubt is None else [f"{tag}: {doubt}"]))
    return Decision(tag, calibration, due_on, reasons, check_due_on, check_overdue, notes)


def _closing_reviews(
    instrument: InstrumentOnRecord, calibration: CalibrationOnRecord | None, at: datetime | date
) -> Iterable[str]:
    for review in instrument.reviews:
        if review.closes_gate and _concerns(review, calibration, at, alone=True):
            yield f"{instrument.tag}: {review.said}: use another instrument until it is closed"


def _open_reviews(
    instrument: InstrumentOnRecord, calibration: CalibrationOnRecord | None, at: datetime | date
) -> Iterable[str]:
    for review in instrument.reviews:
        closes = review.closes_gate and _concerns(review, calibration, at, alone=True)
        if _concerns(review, calibration, at) and not closes:
            yield f"{instrument.tag}: {review.said}"


def _concerns(
    review: ReviewOnRecord, calibration: CalibrationOnRecord | None, at: datetime | date, *, alone: bool = False
) -> bool:
    """Whether an open review was known by then, and shakes the calibration in force; if not `alone`, or is of the instrument."""
    shakes = calibration is not None and review.shakes(calibration, _day(at))
    return review.is_open and has_happened(review.opened, at) and (shakes or (review.is_own and not alone))


def _future(tag: str, at: datetime | date, now: datetime | date) -> Iterable[str]:
    if isinstance(at, datetime) and isinstance(now, datetime) and at > now + CLOCKS_DIFFER_BY:
        yield f"{tag}: {at.isoformat()} is in the future (it is {now.isoformat(timespec='minutes')}): correct the time observed"


def _calibration(
    instrument: InstrumentOnRecord, calibration: CalibrationOnRecord | None, due_on: date | None, on: date
) -> Iterable[str]:
    if calibration is None:
        past = [recorded for recorded in instrument.calibrations if recorded.calibrated_on <= on]
        waiting = [recorded.certificate for recorded in past if not (recorded.withdrawn or recorded.superseded_by)]
        withdrawn = ", ".join(recorded.certificate for recorded in past if recorded.withdrawn)
        step = (
            f"have certificate {waiting[-1]} accepted" if waiting else "have it calibrated and the certificate accepted"
        )
        told = f" (withdrawn: {withdrawn})" if withdrawn else ""
        yield f"{instrument.tag}: {_NOT_ACCEPTED} on or before {on}{told}: {step}"
        return
    assert due_on is not None  # noqa: S101 (what is in force has one)
    if on > due_on:
        yield (
            f"{instrument.tag}: calibration {calibration.certificate} of {calibration.calibrated_on} was due on {due_on}, "
            f"{count_of((on - due_on).days, 'day', 'days')} before {on}: have it recalibrated or use another instrument"
        )


def _suspension(instrument: InstrumentOnRecord, at: datetime | date) -> Iterable[str]:
    past = sorted((event for event in instrument.events if has_happened(event.at, at)), key=lambda event: event.at)
    retired = next((event for event in past if event.kind == RETIREMENT), None)
    if retired is not None:
        yield f"{instrument.tag}: retired since {retired.since()}: use another instrument"
        return
    last = next((event for event in reversed(past) if event.kind in (*OUT_OF_USE, RELEASE)), None)
    if last is not None and last.kind in OUT_OF_USE:
        yield (
            f"{instrument.tag}: {OUT_OF_USE[last.kind]} since {last.since()}: use another instrument until it is released"
        )


def _changed(
    instrument: InstrumentOnRecord, calibration: CalibrationOnRecord | None, at: datetime | date
) -> Iterable[str]:
    """The latest repair or adjustment that a calibration does not speak of (ISO/IEC 17025:2017, 6.4.4 and 6.4.9)."""
    if calibration is None:
        return
    # A calibration on the day of a repair counts as made after it: the records keep no hour of the calibration.
    since = [
        event
        for event in instrument.events
        if event.kind in CHANGED and has_happened(event.at, at) and event.at.date() > calibration.calibrated_on
    ]
    last = max(since, key=lambda event: event.at, default=None)
    if last is not None:
        yield (
            f"{instrument.tag}: {CHANGED[last.kind]} at {last.since()}, after its calibration {calibration.certificate} of "
            f"{calibration.calibrated_on}: have it calibrated again"
        )


def _adjusted(instrument: InstrumentOnRecord, calibration: CalibrationOnRecord | None, on: date) -> Iterable[str]:
    """The latest certificate that says "adjusted" and does not hold yet: the curve before it describes the instrument no more."""
    if calibration is None:
        return
    since = [
        each
        for each in instrument.calibrations
        if each.adjusted and not each.withdrawn and each.superseded_by is None
        # On its own day the instrument may have been used before it was adjusted: the records keep no hour of the calibration.
        if calibration.calibrated_on < each.calibrated_on < on
    ]
    last = max(since, key=lambda each: (each.calibrated_on, each.record_id), default=None)
    if last is not None:
        step = f"have certificate {last.certificate} accepted"
        if last.accepted_on is not None:
            step = f"its certificate holds from {last.accepted_on} on"
        yield (
            f"{instrument.tag}: adjusted on {last.calibrated_on}, as certificate {last.certificate} says, after its calibration "
            f"{calibration.certificate} of {calibration.calibrated_on}: {step}"
        )


def is_put_aside(instrument: InstrumentOnRecord, at: datetime | date) -> bool:
    """Whether an instrument is suspended at a time, or at the end of a day as a whole: nobody uses it until it is released."""
    return any(_suspension(instrument, at))


def _checks_since(
    instrument: InstrumentOnRecord, calibration: CalibrationOnRecord | None, at: datetime | date
) -> list[CheckOnRecord]:
    # A check on the day of the calibration counts as made after it: the records keep no hour of the calibration.
    since = date.min if calibration is None else calibration.calibrated_on
    return [check for check in instrument.checks if has_happened(check.at, at) and check.at.date() >= since]


def _failed(tag: str, done: Iterable[CheckOnRecord]) -> Iterable[str]:
    for check in done:
        if not check.passed:
            yield f"{tag}: intermediate check ({check.kind}) failed on {check.at.date()}: have it recalibrated"


def _check_due(
    instrument: InstrumentOnRecord, calibration: CalibrationOnRecord | None, done: Iterable[CheckOnRecord], on: date
) -> tuple[date | None, str | None]:
    """Last day without another intermediate check, and the reason where that is past; None where none is required."""
    days = instrument.check_interval_days
    if days is None or calibration is None:
        return None, None
    assert calibration.accepted_on is not None  # noqa: S101 (it is in force)
    last = max([calibration.accepted_on, *(check.at.date() for check in done if check.passed)])
    due_on = last + timedelta(days=days)
    if on <= due_on:
        return due_on, None
    reason = (
        f"intermediate check was due on {due_on} ({count_of(days, 'day', 'days')} after {last}): check it before use"
    )
    return due_on, f"{instrument.tag}: {reason}"


def _measuring_interval(
    tag: str, calibration: CalibrationOnRecord | None, indication: float | None, text: str
) -> Iterable[str]:
    if calibration is None or indication is None or calibration.low <= indication <= calibration.high:
        return
    yield (
        f"{tag}: indication {text or f'{indication:g}'} is outside the calibrated measuring interval "
        f"{calibration.measuring_interval} of certificate {calibration.certificate}: use an instrument calibrated there"
    )


def _standards(
    register: Mapping[str, InstrumentOnRecord], tag: str, calibration: CalibrationOnRecord | None, below: frozenset[int]
) -> Iterable[str]:
    if calibration is None:
        return
    if calibration.record_id in below:
        certificate = calibration.certificate
        yield f"{tag}: certificate {certificate} rests on itself by way of its reference standards: correct the standards"
        return
    # The day of the calibration as a whole: the records keep no hour of it.
    day = calibration.calibrated_on
    for standard in calibration.standards:
        decision = _decide(register, standard, day, day, None, "", below | {calibration.record_id})
        for reason in decision.reasons:
            yield f"{tag}: reference standard of certificate {calibration.certificate}: {not_put_right_since(reason, tag)}"


def not_put_right_since(reason: str, tag: str) -> str:
    """A reason against a reference standard on the day of a calibration, with what is left to do about the instrument calibrated.

    What would help the standard today, its release or its recalibration, changes nothing about that day. Its certificate may
    still be waiting for an acceptance as of then.
    """
    why, _, step = reason.rpartition(": ")
    if _NOT_ACCEPTED in why:
        return f"{why}: {step}"
    return f"{why}: have {tag} calibrated again, against a standard in calibration"
