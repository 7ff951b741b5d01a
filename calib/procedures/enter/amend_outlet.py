"""Amend an outlet: a wrong dimension, factor or design is corrected by a new record that supersedes the old, with the reason.

Decision (2026-11). An amendment is a whole new row with its reason; the latest counts. Cost (11-25): cells that stayed are kept
again, and what changed is told by comparing rows (`outlets.outlet_history`).
"""

from collections.abc import Sequence
from typing import Any

from sqlmodel import Session

from calib.errors import BadInputError, DoubtError
from calib.procedures.enter.amended_row import amended_row
from calib.procedures.enter.check_jobs import outlet_findings
from calib.procedures.enter.check_sources import source_of_amended
from calib.procedures.enter.names_on_record import AskedNames, Recorded
from calib.procedures.enter.odd_cells import doubts_of
from calib.procedures.impact.gather import RecordKind
from calib.procedures.impact.open_review import open_reviews
from calib.procedures.on_record.in_force import as_amended, outlets_in_force
from calib.procedures.on_record.jobs_by_name import outlet_named
from calib.procedures.on_record.outlets import latest_revision, outlet_cells
from calib.procedures.people.authorise import append
from calib.procedures.typed.columns import FILES
from calib.records import ledger
from calib.records.record import key
from calib.records.tables.outlets import OutletRevision


def amend_outlet(
    session: Session,
    job: str,
    name: str,
    changes: Sequence[str],
    reason: str,
    signature: ledger.Signature,
    *,
    sure: bool = False,
) -> OutletRevision:
    """Append a revision of an outlet; `changes` are typed as column=value, a blank value takes the cell out.

    With another factor its readings may hang on an instrument that was found out of order: they become lines of that review.
    Raises NotInRecordsError, BadInputError with every finding, or DoubtError where a changed cell is unusual and nobody said yet
    that it is right (`sure`).
    """
    outlet = outlet_named(session, job, name)
    last = latest_revision(session, outlet)
    asked = amended_row(FILES["outlets.csv"], outlet_cells(as_amended(outlet, last)), changes, reason)
    row = asked.row
    recorded = Recorded(session, AskedNames({**dict.fromkeys(FILES, ()), "outlets.csv": [row]}))
    findings = [*asked.findings, *outlet_findings(row, recorded.factors, outlet.id)]
    if "outlet_factor_source" in asked.changes:
        of_job = outlets_in_force(session, [outlet.job_id]).values()
        findings += source_of_amended(row, recorded, [other for other in of_job if other.id != outlet.id])
    if findings:
        raise BadInputError(findings)
    doubts = (
        [] if sure else [each for each in doubts_of({"outlets.csv": [row]}, {}, {}) if each.column in asked.changes]
    )
    if doubts:
        raise DoubtError(doubts)
    cells: dict[str, Any] = dict(row.cells)
    counted = 2 if last is None else last.revision + 1
    revision = OutletRevision(outlet_id=key(outlet.id), revision=counted, reason=reason.strip(), **cells)
    append(session, [revision], signature)
    open_reviews(session, signature, signature.time, (), [(RecordKind.OUTLET, key(outlet.id))])
    return revision
