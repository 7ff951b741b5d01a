"""Take an instrument over from another site with its evidence: every file by its digest, or nothing.

What is on record here already stays as it is; what is recorded otherwise is a finding. The head of the other ledger is anchored
here, and the statement is kept with each instrument that moved: from then on the other site cannot rewrite what it handed over
without it being seen, and whoever traces a result up is told where the evidence comes from.
"""

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session, col, select

from calib.confirmation.interval import SUSPENSION, is_put_aside
from calib.errors import BadInputError, Finding
from calib.procedures.enter.import_sheets import Imported, import_sheets
from calib.procedures.fleet.attach_file import FileRead, attach_to_calibration, attach_to_instrument, attachable
from calib.procedures.fleet.record_event import record_event
from calib.procedures.on_record.register import load_register
from calib.procedures.people.authorise import authorise
from calib.procedures.sites.hand_over import OF_EVIDENCE
from calib.procedures.typed.columns import FILES
from calib.procedures.typed.evidence_statement import STATEMENT, EvidenceStatement, StatedFile, statement_in
from calib.procedures.typed.reason import without_reason
from calib.procedures.typed.sheets import FileContent, read_sheets
from calib.procedures.verify.anchors import LedgerHead, anchor, contradictions, heads_on_record
from calib.records.ledger import Signature
from calib.records.record import key
from calib.records.tables.instruments import Instrument
from calib.records.verification import Progress


@dataclass(frozen=True)
class EvidenceTaken:
    """Evidence that was taken over: its statement with its digest, and what of it was new here."""

    statement: EvidenceStatement
    sha256: str
    imported: Imported


def statement_handed_over(file: FileContent, digest: str | None) -> tuple[EvidenceStatement, FileRead]:
    """The statement of a hand-over, and the file as it is kept; raises BadInputError, too where it has not the digest expected."""
    if file.expected is not None:
        raise BadInputError([Finding(file.source, None, None, None, file.expected)])
    statement = statement_in(file.content, file.source)
    read = attachable(FileContent(STATEMENT, file.content))
    if digest is not None and read.sha256 != digest.strip().lower():
        raise BadInputError([Finding.typed("digest", digest, f"the SHA-256 of {file.source}, which is {read.sha256}")])
    return statement, read


def take_over(
    session: Session,
    statement: EvidenceStatement,
    as_file: FileRead,
    files: Mapping[str, FileContent],
    location: str | None,
    reason: str,
    signature: Signature,
    now: datetime,
    progress: Progress = lambda _: None,
) -> EvidenceTaken:
    """Write what another site handed over; `files` are those of its folder by their names, the statement left out.

    `location` is where the instruments are now. Raises BadInputError with every finding, nothing written.
    """
    findings = [*without_reason(reason), *_digest_findings(statement, files), *_head_findings(session, statement)]
    if findings:
        raise BadInputError(findings)
    signature = authorise(session, signature, "register")
    before = set(session.exec(select(Instrument.tag).where(col(Instrument.tag).in_(statement.behind))))
    sheets, wrong = read_sheets(
        [files[each.name] for each in statement.files if each.called is None],
        {name: FILES[name] for name in OF_EVIDENCE},
        lambda _, name: FileContent(name, b"", "no file beside a sheet of evidence"),
    )
    told = f"evidence until {statement.time[:10]} handed over by {statement.records}: {reason.strip()}"
    imported = import_sheets(session, sheets, signature, now, wrong, progress, may_have_grown=True)
    anchor(session, [_head(statement)], told, signature)
    for each in (each for each in statement.files if each.called is not None):
        _keep(session, each, files[each.name], signature)
    for tag in statement.moved:
        attach_to_instrument(session, tag, as_file, told, signature)
        if location is not None:
            record_event(session, tag, "move", now, told, signature, location=location)
    stays = f"stays with {statement.records}: here for the certificates that rest on it"
    for tag in _in_use(session, set(statement.behind) - before, now):
        record_event(session, tag, SUSPENSION, now, stays, signature)
    return EvidenceTaken(statement, as_file.sha256, imported)


def _head(statement: EvidenceStatement) -> LedgerHead:
    return LedgerHead(statement.records, statement.sequence, statement.digest, statement.time)


def _digest_findings(statement: EvidenceStatement, files: Mapping[str, FileContent]) -> Iterator[Finding]:
    """Files that are missing, changed or not stated, and sheets that are no part of evidence."""
    for name, sha256 in {each.name: each.sha256 for each in statement.files}.items():
        file = files.get(name)
        if file is None:
            yield Finding(name, None, None, None, f"this file, which {STATEMENT} states")
        elif file.expected is not None:
            yield Finding(file.source, None, None, None, file.expected)
        elif (own := hashlib.sha256(file.content).hexdigest()) != sha256:
            yield Finding(file.source, None, None, None, f"SHA-256 {sha256}, as {STATEMENT} states (it has {own})")
    stated = {each.name for each in statement.files}
    yield from (
        Finding(files[name].source, None, None, None, f"a file that {STATEMENT} states")
        for name in files.keys() - stated
    )
    yield from (
        Finding(STATEMENT, None, None, each.name, f"one of {', '.join(OF_EVIDENCE)}")
        for each in statement.files
        if each.called is None and each.name not in OF_EVIDENCE
    )


def _head_findings(session: Session, statement: EvidenceStatement) -> Iterator[Finding]:
    """What of the head contradicts heads of the same ledger that are kept here."""
    heads = (*heads_on_record(session, statement.records), _head(statement))
    yield from (Finding(STATEMENT, None, None, None, f"a head that fits: {each}") for each in contradictions(heads))


def _keep(session: Session, stated: StatedFile, file: FileContent, signature: Signature) -> None:
    """Keep a file with the instrument or the certificate that it was kept with; an earlier statement by a name of its own."""
    name = f"earlier-{STATEMENT}" if stated.called == STATEMENT else str(stated.called)
    read = attachable(FileContent(name, file.content))
    tag = str(stated.tag)
    if stated.certificate is None:
        attach_to_instrument(session, tag, read, stated.remarks, signature)
    else:
        attach_to_calibration(session, tag, stated.certificate, read, stated.remarks, signature)


def _in_use(session: Session, tags: set[str], at: datetime) -> Sequence[str]:
    """Those of some instruments that are neither suspended nor retired."""
    keys = session.exec(select(Instrument.id).where(col(Instrument.tag).in_(tags))).all()
    register = load_register(session, [key(each) for each in keys])
    return sorted(tag for tag in tags if not is_put_aside(register[tag], at))
