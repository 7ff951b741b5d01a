"""Amend a method: what was declared wrongly is superseded by a new declaration with the reason; the flows follow the latest.

Decision (2026-11-29). An amended method counts for all its readings, earlier ones too: its figures are knowledge of the method, not
of a day. A method that is done otherwise from now on gets a name of its own. Cost: reports issued with it are named, not changed.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sqlmodel import Session, select

from calib.errors import BadInputError
from calib.procedures.enter.amended_row import amended_row
from calib.procedures.enter.check_jobs import figures_together
from calib.procedures.enter.record_rows import cells_of_table
from calib.procedures.impact.take_back import HungOn, hung_on_readings
from calib.procedures.on_record.amended import cells_of_amendable
from calib.procedures.on_record.methods import method_named
from calib.procedures.people.authorise import append, authorise
from calib.procedures.typed.columns import FILES
from calib.records import ledger
from calib.records.record import key
from calib.records.tables.methods import MethodRevision
from calib.records.tables.readings import Reading


@dataclass(frozen=True)
class RecordAmended:
    """A record as it was amended, and what hangs on it."""

    name: str
    revision: int
    changes: Mapping[str, tuple[str, str]]  # column -> value before, value after
    reason: str
    hung_on: HungOn
    remarks: tuple[str, ...] = ()  # of impact reviews


def amend_method(
    session: Session, name: str, typed: Sequence[str], reason: str, signature: ledger.Signature
) -> RecordAmended:
    """Append a revision of a method; `typed` are changes as column=value. Raises NotInRecordsError or BadInputError."""
    signature = authorise(session, signature, "register")
    method = method_named(session, name)
    asked = amended_row(FILES["methods.csv"], cells_of_amendable(method.now), typed, reason)
    findings = [*asked.findings, *figures_together(asked.row)]
    if findings:
        raise BadInputError(findings)
    owner, counted = key(method.first.id), 2 + len(method.revisions)
    cells = cells_of_table(FILES["method_amendments.csv"], asked.row.cells)
    append(session, [MethodRevision(method_id=owner, revision=counted, reason=reason.strip(), **cells)], signature)
    readings = session.exec(select(Reading.id).where(Reading.method_id == owner))
    hung_on = hung_on_readings(session, [key(reading) for reading in readings])
    return RecordAmended(name, counted, asked.changes, reason.strip(), hung_on)
