"""Which record a person means by a few words: `reading 3`, a tag, a certificate, a factor, a job, an outlet."""

import re
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from sqlmodel import Session, and_, col, or_, select

from calib.confirmation.traceability import Record
from calib.errors import BadInputError, Finding, NotInRecordsError
from calib.procedures.impact.gather import RecordKind
from calib.procedures.on_record.factors import factor_that_counts
from calib.records.tables.calibrations import Calibration
from calib.records.tables.instruments import Instrument
from calib.records.tables.jobs import Job
from calib.records.tables.outlets import Outlet
from calib.records.tables.readings import Reading
from calib.records.words import LARGEST_KEY

# First word of a name -> table; without it every kind is looked through.
FIRST_WORDS = {
    "instrument": RecordKind.INSTRUMENT,
    "certificate": RecordKind.CALIBRATION,
    "factor": RecordKind.FACTOR,
    "job": RecordKind.JOB,
    "outlet": RecordKind.OUTLET,
    "reading": RecordKind.READING,
}


def record_named(session: Session, words: Sequence[str]) -> Record:
    """The record that words name: `reading 3` or `3`, a tag, a certificate, a factor, a job, an outlet.

    The kind may stand first; a certificate may follow its tag, an outlet its job. Raises NotInRecordsError, or BadInputError where
    the words name several.
    """
    text = " ".join(word.strip() for word in words)
    named = dict(_named(session, text))
    kinds = ", ".join(FIRST_WORDS)
    if not named:
        raise NotInRecordsError(f"nothing in the records is called {text!r}: name one {kinds}, as `reading 3`")
    if len(named) > 1:
        listed = "; ".join(sorted(f"{_kind(record)} {name}" for record, name in named.items()))
        raise BadInputError([Finding.typed("record", text, f"one record, this may be {listed}")])
    return next(iter(named))


def _kind(record: Record) -> str:
    return next(kind for kind, table in FIRST_WORDS.items() if table == record[0])


def _named(session: Session, text: str) -> Iterator[tuple[Record, str]]:
    """Records that a text may name, each with its own name, which is its alone."""
    for kind, (names_of, table) in _NAMES.items():
        names = {text, text.removeprefix(f"{kind} ")}
        for record_id, *parts in names_of(session, names):
            yield (table, record_id), " ".join(str(part) for part in parts)


def _of_two_words(owner: Any, own: Any, names: set[str]) -> Any:
    """Named by its own name, or by its owner's name and its own with a space between."""
    splits = [(name[:place], name[place + 1 :]) for name in names for place, sign in enumerate(name) if sign == " "]
    return or_(col(own).in_(names), *(and_(col(owner) == first, col(own) == second) for first, second in splits))


def _instruments(session: Session, names: set[str]) -> Iterable[tuple[Any, ...]]:
    return session.exec(select(Instrument.id, Instrument.tag).where(col(Instrument.tag).in_(names)))


def _calibrations(session: Session, names: set[str]) -> Iterable[tuple[Any, ...]]:
    named = _of_two_words(Instrument.tag, Calibration.certificate, names)
    query = select(Calibration.id, Instrument.tag, Calibration.certificate)
    return session.exec(query.join(Instrument).where(named))


def _factors(session: Session, names: set[str]) -> Iterable[tuple[Any, ...]]:
    return ((factor.id, name) for name in names if (factor := factor_that_counts(session, name)) is not None)


def _jobs(session: Session, names: set[str]) -> Iterable[tuple[Any, ...]]:
    return session.exec(select(Job.id, Job.job).where(col(Job.job).in_(names)))


def _outlets(session: Session, names: set[str]) -> Iterable[tuple[Any, ...]]:
    named = _of_two_words(Job.job, Outlet.outlet, names)
    return session.exec(select(Outlet.id, Job.job, Outlet.outlet).join(Job).where(named))


def _readings(session: Session, names: set[str]) -> Iterable[tuple[Any, ...]]:
    numbers = (int(name) for name in names if re.fullmatch(r"0|[1-9][0-9]{0,17}", name, re.ASCII))
    query = select(Reading.id).where(col(Reading.id).in_([each for each in numbers if each <= LARGEST_KEY]))
    return ((record_id, record_id) for record_id in session.exec(query))


# First word of a name -> how records are found by it, and their table.
_NAMES = {
    kind: (names_of, FIRST_WORDS[kind])
    for kind, names_of in (
        ("instrument", _instruments),
        ("certificate", _calibrations),
        ("factor", _factors),
        ("job", _jobs),
        ("outlet", _outlets),
        ("reading", _readings),
    )
}
