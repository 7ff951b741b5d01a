"""Anchors: the head of a ledger kept where whoever rewrites the records cannot reach it.

A chain of digests shows every change but one: whoever may rewrite everything can forge it anew from its first entry to its last. A
head that was printed on a report, kept on another machine, sent in a signed mail or written into another company's records stays as
it was, and then no longer fits.
"""

import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime

from sqlmodel import Session, col, select

from calib.errors import BadInputError, Finding
from calib.procedures.people.authorise import append
from calib.procedures.typed.reason import without_reason
from calib.records.ledger import Signature, ledger_head
from calib.records.tables.custody import Anchor
from calib.records.tables.ledger import LedgerEntry
from calib.records.verification import LedgerFinding


@dataclass(frozen=True)
class LedgerHead:
    """Where a ledger ended at a time."""

    records: str  # their name, without a folder or a password
    sequence: int
    digest: str
    time: str

    def as_line(self) -> str:
        """A line of a file of anchors."""
        return json.dumps(asdict(self), ensure_ascii=False) + "\n"


def head_of(session: Session, records: str, at: datetime) -> LedgerHead:
    """Where the ledger of records ends; raises BadInputError where it holds no entry that could be anchored."""
    sequence, digest = ledger_head(session)
    if not sequence:
        raise BadInputError([Finding.typed("records", records, "records that hold an entry")])
    return LedgerHead(records, sequence, digest, at.isoformat(timespec="seconds"))


def heads_in(content: bytes, source: str) -> tuple[LedgerHead, ...]:
    """The anchors of a file, a line each; raises BadInputError with every line that is none."""
    heads, findings = [], []
    for row, line in enumerate(content.decode("utf-8", "replace").splitlines(), 1):
        if not line.strip():
            continue
        try:
            head = LedgerHead(**json.loads(line))
            datetime.fromisoformat(head.time)
            sound = isinstance(head.sequence, int) and isinstance(head.digest, str)
        except (ValueError, TypeError):
            sound = False
        if sound:
            heads.append(head)
        else:
            findings.append(Finding(source, row, None, line, "an anchor as a verification appends it"))
    if not heads and not findings:
        findings.append(Finding(source, None, None, None, "at least one anchor"))
    if findings:
        raise BadInputError(findings)
    return tuple(heads)


def heads_on_record(session: Session) -> tuple[LedgerHead, ...]:
    """The heads of other ledgers that these records keep."""
    return tuple(
        LedgerHead(recorded.records, recorded.sequence, recorded.digest, recorded.time)
        for recorded in anchored(session)
    )


def anchor_findings(session: Session, heads: Iterable[LedgerHead]) -> Iterator[LedgerFinding]:
    """Heads that the ledger no longer has where it had them."""
    last, _ = ledger_head(session)
    for head in heads:
        own = select(LedgerEntry.digest).where(LedgerEntry.sequence == head.sequence)
        digest = session.exec(own).first()
        where = f"anchor of {head.time}"
        if digest is None:
            yield LedgerFinding(
                where, f"names ledger entry {head.sequence}; the ledger ends at {last}: its tail was cut"
            )
        elif digest != head.digest:
            yield LedgerFinding(
                where, f"has another digest of ledger entry {head.sequence}: entries up to it were replaced"
            )


def anchor(session: Session, head: LedgerHead, reason: str, signature: Signature) -> None:
    """Keep the head of another ledger; raises BadInputError without a reason, or where the person may not write."""
    findings = without_reason(reason, "why it is anchored, in a few words")
    if findings:
        raise BadInputError(findings)
    append(session, [Anchor(**asdict(head), reason=reason.strip())], signature)


def anchored(session: Session) -> Sequence[Anchor]:
    """The anchors on record, the oldest first."""
    return session.exec(select(Anchor).order_by(col(Anchor.id))).all()
