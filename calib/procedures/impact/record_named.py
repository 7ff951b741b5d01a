"""Which record a person means by a few words: `reading 3`, a tag, a certificate, a factor, a job, an outlet."""

from collections.abc import Iterator, Sequence

from calib.confirmation.traceability import Record
from calib.errors import BadInputError, Finding, NotInRecordsError
from calib.procedures.impact.rests_on import Ground, RecordKind
from calib.records.record import key

# First word of a name -> table; without it every kind is looked through.
FIRST_WORDS = {
    "instrument": RecordKind.INSTRUMENT,
    "certificate": RecordKind.CALIBRATION,
    "factor": RecordKind.FACTOR,
    "job": RecordKind.JOB,
    "outlet": RecordKind.OUTLET,
    "reading": RecordKind.READING,
}


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
        raise BadInputError([Finding.typed("record", text, f"one record, this may be {listed}")])
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
