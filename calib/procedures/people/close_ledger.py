"""Close a broken place of the ledger: its owner has looked into it and says why it is so; it stays visible."""

from sqlmodel import Session, select

from calib.errors import BadInputError, Finding
from calib.procedures.people.authorise import append, authorise, is_shared, owns_tables
from calib.procedures.typed.reason import without_reason
from calib.records import ledger
from calib.records.tables.custody import LedgerBreak
from calib.records.tables.ledger import LedgerEntry
from calib.records.verification import BEFORE_THE_FIRST, Progress


def close_ledger(
    session: Session, sequence: int, reason: str, signature: ledger.Signature, progress: Progress = lambda _: None
) -> LedgerBreak:
    """Append that an entry which does not verify was looked into; raises BadInputError with every finding.

    On a shared database whoever does it owns its tables and is on record as QA: only the owner could have mended it otherwise.
    """
    signature = authorise(session, signature, "mend")
    findings = []
    if is_shared(session) and not owns_tables(session):
        findings.append(
            Finding.typed("by", signature.person, "the owner of the tables, by a login of their own on record")
        )
    findings += without_reason(reason, "what was found, in a few words")
    findings += [] if findings else _of_sequence(session, sequence, progress)
    if findings:
        raise BadInputError(findings)
    entry = session.get(LedgerEntry, sequence)
    record = LedgerBreak(
        sequence=sequence, digest=BEFORE_THE_FIRST if entry is None else entry.digest, reason=reason.strip()
    )
    append(session, [record], signature)
    return record


def _of_sequence(session: Session, sequence: int, progress: Progress) -> list[Finding]:
    broken = [finding.record for finding in ledger.verify(session.connection(), None, progress)]
    places = [record.removeprefix("ledger entry ") for record in broken if record.startswith("ledger entry ")]
    if str(sequence) not in places:
        there = f"there is {', '.join(dict.fromkeys(places))}" if places else "there is none"
        return [Finding.typed("SEQUENCE", str(sequence), f"an entry of the ledger that does not verify: {there}")]
    closed = session.exec(select(LedgerBreak).where(LedgerBreak.sequence == sequence)).first()
    if closed is not None:
        return [
            Finding.typed("SEQUENCE", str(sequence), f"a break that is not closed yet; this one is: {closed.reason}")
        ]
    return []
