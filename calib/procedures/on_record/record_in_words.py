"""A record as a sentence names it: `reading 3`, `suspension 7 of VA-11`, `acceptance of certificate C-101 of VA-1`."""

from collections.abc import Callable, Mapping
from typing import Any

from sqlmodel import Session

from calib.records.tables.calibrations import Calibration
from calib.records.tables.evidence import EVIDENCE_NAMED
from calib.records.tables.instruments import Instrument
from calib.records.tables.jobs import Job
from calib.records.tables.methods import Method
from calib.records.tables.outlets import Outlet

_WORDS = {"attached": "attached file"}


def record_in_words(session: Session, table: str, record_id: int) -> str:
    """Its kind and number, whose it is, or what it is of."""
    word = _WORDS.get(table, table.replace("_", " "))
    told = _TOLD.get(table)
    return f"{word} {record_id}" if told is None else told(session, session.get_one(EVIDENCE_NAMED[table], record_id))


def _tag(session: Session, record: Any) -> str:
    return session.get_one(Instrument, record.instrument_id).tag


def _certificate(session: Session, calibration_id: int) -> str:
    calibration = session.get_one(Calibration, calibration_id)
    return f"certificate {calibration.certificate} of {_tag(session, calibration)}"


def _of_supersession(session: Session, record: Any) -> str:
    old = session.get_one(Calibration, record.old_calibration_id).certificate
    return f"{_certificate(session, record.calibration_id)} in place of {old}"


def _of_job(session: Session, record: Any, what: str) -> str:
    return f"{what} of job {session.get_one(Job, record.job_id).job}"


# Table -> how a record of it is called; any other by its kind and number. Events and checks are numbered beside one another.
_TOLD: Mapping[str, Callable[[Session, Any], str]] = {
    "acceptance": lambda session, each: f"acceptance of {_certificate(session, each.calibration_id)}",
    "calibration": lambda session, each: _certificate(session, each.id),
    "condition": lambda session, each: _of_job(session, each, f"conditions {each.conditions}"),
    "declared_air": lambda session, each: _of_job(session, each, f"declared air of {each.service}"),
    "event": lambda session, each: f"{each.kind} {each.id} of {_tag(session, each)}",
    "found_factor": lambda _, each: f"factor {each.factor}",
    "instrument_revision": lambda session, each: f"revision {each.revision} of {_tag(session, each)}",
    "intermediate_check": lambda session, each: f"{each.kind} check {each.id} of {_tag(session, each)}",
    "job_revision": lambda session, each: _of_job(session, each, f"revision {each.revision}"),
    "method_revision": lambda session, each: (
        f"revision {each.revision} of method {session.get_one(Method, each.method_id).method}"
    ),
    "outlet_revision": lambda session, each: (
        f"revision {each.revision} of outlet {session.get_one(Outlet, each.outlet_id).outlet}"
    ),
    "refusal": lambda _, each: f"refused reading {each.id}",
    "retraction": lambda session, each: f"withdrawal of {record_in_words(session, each.record_table, each.record_id)}",
    "review_decision": lambda _, each: f"decision on review {each.impact_review_id}",
    "room": lambda session, each: _of_job(session, each, f"room {each.room}"),
    "supersession": _of_supersession,
    "system_design": lambda session, each: _of_job(session, each, f"design of {each.system} {each.service}"),
    "withdrawal": lambda session, each: f"withdrawal of {_certificate(session, each.calibration_id)}",
}
