"""Verify the whole state: what is stored, and that it means what the program would have written.

What is stored comes first: pages and indexes, schema, rows and chain. What the rows mean is asked only where all of that is right,
since of damaged rows nothing can be said.

Decision (2026-11). What is stored is proven first (pages, indexes read from end to end, schema, rows, chain), what it means only
where that is right: of damaged rows nothing can be said. What is computed anew is asked only where every cell is one that the
program writes. Cost: two runs where both are wrong.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection
from sqlmodel import Session

from calib.procedures.verify.acceptances import acceptance_findings
from calib.procedures.verify.closed_certificates import late_findings
from calib.procedures.verify.curves_by_rule import curve_findings
from calib.procedures.verify.declared_cells import declared_findings
from calib.procedures.verify.kept_files import file_findings, report_findings
from calib.procedures.verify.retractions import retraction_findings
from calib.procedures.verify.signatures import signature_findings
from calib.procedures.verify.times_to_come import ahead_findings
from calib.procedures.verify.verified_files import verdict_findings
from calib.records import pages
from calib.records.schema_findings import texts_can_be_compared
from calib.records.stored_state import apart_from_closed, stored_findings
from calib.records.verification import LedgerFinding, Progress


@dataclass(frozen=True)
class Verified:
    """What verify says of records."""

    findings: tuple[LedgerFinding, ...]
    remarks: tuple[LedgerFinding, ...] = ()  # what cannot be mended any more, and blocks nothing


def verify_state(
    session: Session,
    printed_digest: str | None = None,
    progress: Progress = lambda _: None,
    now: datetime | None = None,
) -> Verified:
    """All findings and remarks; always ends. `now` tells which entries are of a time to come; without it none is."""
    connection = session.connection()
    findings, closed = apart_from_closed(connection, stored_findings(connection, printed_digest, progress))
    remarks = (*closed, *_unproven(connection))
    if findings:
        return Verified(findings, remarks)
    signed, before_versions = signature_findings(session)
    ahead, stepped = ([], []) if now is None else ahead_findings(session, now)
    cells, earlier_cells = declared_findings(session)
    proofs = _PROOFS if cells else (*_PROOFS, *_OF_SOUND_CELLS)
    meant = [finding for proof in proofs for finding in proof(session)]
    return Verified((*signed, *ahead, *cells, *meant), (*remarks, *before_versions, *stepped, *earlier_cells))


_Proofs = tuple[Callable[[Session], Iterable[LedgerFinding]], ...]
_PROOFS: _Proofs = (late_findings, file_findings, report_findings, retraction_findings, verdict_findings)
_OF_SOUND_CELLS: _Proofs = (curve_findings, acceptance_findings)  # these compute with what was typed


def _unproven(connection: Connection) -> Iterator[LedgerFinding]:
    """What this server does not let this login look at."""
    if not pages.are_proven(connection):
        yield LedgerFinding(
            "pages and indexes",
            "are not proven here: the server's owner can install its extension amcheck, let this login call it, and switch data "
            "checksums on",
        )
    if not texts_can_be_compared(connection):
        yield LedgerFinding(
            "CHECKs and indexes",
            "are compared by their names alone: a login that may make temporary tables, on a server that is no replica, compares "
            "what they say",
        )
