"""Withdraw what was typed wrongly by the words it was typed with: conditions, designs, rooms, pairings, files, competences.

One mechanism for all of them: the record that counts is found, what hung on it is told, and a retraction is appended with the
reason. It stays on record, and counts for nothing, at no time. What has a number of its own (a reading, an event, a check) is
withdrawn by that.

Decision (2026-11-29): conditions are withdrawn whole, as they are typed whole. Options: each quantity by itself, which leaves a
density that nobody typed. Cost: what was right of them is typed again.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from sqlmodel import Session, col, select

from calib.procedures.impact.take_back import HungOn, hung_on_instrument, hung_on_readings, reports_of_jobs, take_back
from calib.procedures.on_record.by_name import calibration_numbered, digest_meant, instrument_tagged, not_there, tags_of
from calib.procedures.on_record.jobs_by_name import job_named, outlet_named, typed_in_job
from calib.procedures.on_record.what_counts import not_retracted
from calib.procedures.people.authorise import people_on_record
from calib.procedures.people.persons_and_roles import person_on_record
from calib.records.ledger import Signature
from calib.records.record import key, moment
from calib.records.tables.conditions import Condition
from calib.records.tables.events import Pairing
from calib.records.tables.files import Attached, Attachment
from calib.records.tables.jobs import Room, SystemDesign
from calib.records.tables.outlets import Outlet
from calib.records.tables.people import Competence
from calib.records.tables.readings import Reading


@dataclass(frozen=True)
class WithdrawnRecord:
    """What was withdrawn, in words, and what hung on it."""

    what: str
    hung_on: HungOn


@dataclass(frozen=True)
class _Named:
    records: Sequence[Any]
    what: str
    hung_on: HungOn
    typed: str = ""
    known: Sequence[str] = ()  # what counts and could have been named


def withdraw_record(
    session: Session, kind: str, names: Sequence[str], reason: str, signature: Signature
) -> WithdrawnRecord:
    """Append the retraction of what is called so: `kind` is a key of WITHDRAWABLE, `names` as the act that made it had them.

    Raises NotInRecordsError where nothing that counts is called so, BadInputError where there is no reason.
    """
    named = WITHDRAWABLE[kind](session, names)
    if not named.records:
        raise not_there(f"{named.what} that counts", dict.fromkeys(named.known), named.typed)
    for record in named.records:
        take_back(session, record, reason, signature)
    return WithdrawnRecord(named.what, named.hung_on)


def _counting(session: Session, table: Any, *conditions: Any) -> list[Any]:
    return list(session.exec(select(table).where(not_retracted(table), *conditions).order_by(col(table.id))))


def _conditions(session: Session, names: Sequence[str]) -> _Named:
    job, name = names
    job_id = key(job_named(session, job).id)
    own = _counting(session, Condition, Condition.job_id == job_id)
    measured = select(Reading.id).join(Outlet).where(Outlet.job_id == job_id, Reading.conditions == name)
    hung_on = hung_on_readings(session, map(key, session.exec(measured)))
    return _called(own, f"conditions {name} of job {job}", hung_on, name, lambda each: each.conditions)


def _design(session: Session, names: Sequence[str]) -> _Named:
    job, system, service = names
    named = f"{system} {service}"
    return _of_job(session, SystemDesign, job, "design of", named, lambda each: f"{each.system} {each.service}")


def _room(session: Session, names: Sequence[str]) -> _Named:
    job, room = names
    return _of_job(session, Room, job, "room", room, lambda each: each.room)


def _of_job(session: Session, table: Any, job: str, what: str, typed: str, name_of: Callable[[Any], str]) -> _Named:
    job_id = key(job_named(session, job).id)
    own = _counting(session, table, table.job_id == job_id)
    hung_on = HungOn(reports=tuple(reports_of_jobs(session, [job_id])))
    return _called(own, f"{what} {typed} of job {job}", hung_on, typed, name_of)


def _called(own: Sequence[Any], what: str, hung_on: HungOn, typed: str, name_of: Callable[[Any], str]) -> _Named:
    """Those of some records that are called as typed, and what all of them are called."""
    return _Named(
        [each for each in own if name_of(each) == typed], what, hung_on, typed, [name_of(each) for each in own]
    )


def _pairing(session: Session, names: Sequence[str]) -> _Named:
    """The last of a probe and a meter."""
    probe, meter = (instrument_tagged(session, tag) for tag in names)
    own = _counting(session, Pairing, Pairing.probe_id == probe.id)
    meters = tags_of(session, {each.meter_id for each in own})
    what = f"pairing of {probe.tag} and {meter.tag}"
    named = _called(own, what, HungOn(), meter.tag, lambda each: meters[each.meter_id])
    if not named.records:
        return named
    last = named.records[-1]
    hung_on = hung_on_instrument(session, key(probe.id), moment(last.at))
    what = f"{probe.tag} and {meter.tag} {last.kind} on {last.at}"
    return _Named([last], what, replace(hung_on, factors=()))


def _file_of_instrument(session: Session, names: Sequence[str]) -> _Named:
    tag, digest = names
    return _file(session, digest, tag, Attached.instrument_id == instrument_tagged(session, tag).id)


def _file_of_calibration(session: Session, names: Sequence[str]) -> _Named:
    tag, certificate, digest = names
    calibration = calibration_numbered(session, instrument_tagged(session, tag), certificate)
    return _file(session, digest, f"certificate {certificate} of {tag}", Attached.calibration_id == calibration.id)


def _file_of_job(session: Session, names: Sequence[str]) -> _Named:
    """The client's agreement may be among them, and the reports that rest on it are told."""
    job, digest = names
    job_id = key(job_named(session, job).id)
    named = _file(session, digest, f"job {job}", Attached.job_id == job_id)
    return replace(named, hung_on=HungOn(reports=tuple(reports_of_jobs(session, [job_id]))))


def _file_of_reading(session: Session, names: Sequence[str]) -> _Named:
    job, reading, digest = names
    record, outlet = typed_in_job(session, job, Reading, int(reading))
    return _file(session, digest, f"reading {reading} at {outlet.outlet}", Attached.reading_id == record.id)


def _file_of_outlet(session: Session, names: Sequence[str]) -> _Named:
    job, outlet, digest = names
    return _file(session, digest, f"outlet {outlet}", Attached.outlet_id == outlet_named(session, job, outlet).id)


def _file(session: Session, digest: str, owner: str, of_owner: Any) -> _Named:
    query = select(Attachment.sha256, Attachment.name, Attached).join(Attached).where(not_retracted(Attached), of_owner)
    files = {sha256: (name, record) for sha256, name, record in session.exec(query)}
    name, record = files[digest_meant(digest, files, f"file of {owner}", f"files of {owner}")]
    return _Named([record], f"file {name} with {owner}", HungOn())


def _competence(session: Session, names: Sequence[str]) -> _Named:
    """The last of a scope: the one before counts again."""
    name, scope = names
    person = person_on_record(session, name, people_on_record(session))
    own = _counting(session, Competence, Competence.person_id == person.id)
    typed = scope.strip()
    named = _called(own, f"competence of {name} for {typed}", HungOn(), typed, lambda each: each.scope)
    return replace(named, records=named.records[-1:])


WITHDRAWABLE: dict[str, Callable[[Session, Sequence[str]], _Named]] = {
    "conditions": _conditions,
    "design": _design,
    "room": _room,
    "pairing": _pairing,
    "file of an instrument": _file_of_instrument,
    "file of a calibration": _file_of_calibration,
    "file of a job": _file_of_job,
    "file of a reading": _file_of_reading,
    "file of an outlet": _file_of_outlet,
    "competence": _competence,
}
