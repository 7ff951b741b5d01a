"""Kept files and issued reports: bytes by their own digest, and the place in the ledger that a report names."""

import hashlib
from collections.abc import Iterator
from typing import Any

from sqlmodel import Session, col, select

from calib.procedures.on_record.recorded import entry_of
from calib.records.issued_forms import is_as_issued
from calib.records.tables.files import Attachment
from calib.records.tables.ledger import LedgerEntry
from calib.records.tables.readings import LoggedSeries
from calib.records.tables.reports import IssuedForm, IssuedReport, SoftwareValidation
from calib.records.tables.signatures import LaboratoryCertificate
from calib.records.verification import LedgerFinding

_KEPT: tuple[Any, ...] = (Attachment, LoggedSeries, LaboratoryCertificate, SoftwareValidation)


def file_findings(session: Session) -> Iterator[LedgerFinding]:
    """Files whose bytes do not make the digest that stands beside them."""
    for table in _KEPT:
        asked = select(table.id, table.sha256, table.content).order_by(table.id)
        for record_id, sha256, content in session.execute(asked.execution_options(yield_per=1)):
            if content is not None and hashlib.sha256(content).hexdigest() != sha256:
                yield _of_bytes(table, record_id)
    for record_id in session.exec(select(IssuedForm.id).order_by(col(IssuedForm.id))).all():
        form = session.exec(select(IssuedForm).where(IssuedForm.id == record_id)).one()
        if not is_as_issued(session, form):
            yield _of_bytes(IssuedForm, record_id)
        session.expunge_all()  # one form after the other: together they may fill the memory


def _of_bytes(table: Any, record_id: int | None) -> LedgerFinding:
    return LedgerFinding(f"{table.__tablename__} {record_id}", "its bytes do not make the digest that was kept of them")


def report_findings(session: Session) -> Iterator[LedgerFinding]:
    """Issued reports whose printed ledger digest is not that of the entry just before their own."""
    asked = select(IssuedReport.id, IssuedReport.ledger_digest, LedgerEntry.previous)
    asked = asked.join(LedgerEntry, entry_of(IssuedReport))
    for record_id, printed, previous in session.exec(asked.order_by(col(IssuedReport.id))):
        if printed != previous:
            yield LedgerFinding(
                f"issued_report {record_id}",
                f"names the ledger digest {printed}; the entry before its own has {previous}",
            )
