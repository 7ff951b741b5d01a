"""Anchors: the head of a ledger kept where whoever rewrites the records cannot reach it.

A chain of digests shows every change but one: whoever may rewrite everything can forge it anew from its first entry to its last. A
head that was printed on a report, kept on another machine, sent in a signed mail or written into another company's records stays as
it was, and then no longer fits.
"""

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from itertools import pairwise

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


def heads_on_record(session: Session, records: str | None = None) -> tuple[LedgerHead, ...]:
    """The heads of other ledgers that these records keep, or those of the records of one name."""
    return tuple(
        LedgerHead(recorded.records, recorded.sequence, recorded.digest, recorded.time)
        for recorded in anchored(session)
        if records in (None, recorded.records)
    )


def heads_by_records(heads: Iterable[LedgerHead]) -> Mapping[str, Sequence[LedgerHead]]:
    """Heads by the name of their records, in the order that they have."""
    of_name: dict[str, list[LedgerHead]] = {}
    for head in heads:
        of_name.setdefault(head.records, []).append(head)
    return of_name


def anchor_findings(session: Session, heads: Iterable[LedgerHead]) -> Iterator[LedgerFinding]:
    """Heads that the ledger no longer has where it had them; between which entries it was replaced, as far as others tell."""
    last, _ = ledger_head(session)
    held = 0
    for head in sorted(heads, key=lambda head: head.sequence):
        own = select(LedgerEntry.digest).where(LedgerEntry.sequence == head.sequence)
        digest = session.exec(own).first()
        where = f"anchor of {head.time}"
        if digest == head.digest:
            held = head.sequence
        elif digest is not None:
            since = f"entries {held + 1} to {head.sequence}" if held else "entries up to it"
            yield LedgerFinding(where, f"has another digest of ledger entry {head.sequence}: {since} were replaced")
        elif head.sequence > last:
            problem = f"names ledger entry {head.sequence}; the ledger ends at {last}: its tail was cut"
            yield LedgerFinding(where, problem)
        else:
            yield LedgerFinding(where, f"names ledger entry {head.sequence}, which is not there any more")


def contradictions(heads: Iterable[LedgerHead]) -> Iterator[LedgerFinding]:
    """Heads of one ledger that cannot all have been its own: a ledger only grows, and keeps what it has."""
    for earlier, later in pairwise(sorted(heads, key=lambda head: (datetime.fromisoformat(head.time), head.sequence))):
        where = f"{later.records}, head of {later.time}"
        if later.sequence == earlier.sequence and later.digest != earlier.digest:
            problem = f"has another digest of ledger entry {later.sequence} than the head of {earlier.time}"
            yield LedgerFinding(where, f"{problem}: that entry, or one before it, was replaced")
        elif later.sequence < earlier.sequence:
            problem = f"ends at ledger entry {later.sequence}, that of {earlier.time} at {earlier.sequence}"
            yield LedgerFinding(where, f"{problem}: the tail was cut")


def anchor(session: Session, heads: Iterable[LedgerHead], reason: str, signature: Signature) -> Sequence[LedgerHead]:
    """Keep heads of other ledgers, and answer with those that were not kept yet.

    Raises BadInputError without a reason, or where the person may not write.
    """
    findings = without_reason(reason, "why it is anchored, in a few words")
    on_record = {(head.records, head.sequence, head.digest) for head in heads_on_record(session)}
    new = [head for head in heads if (head.records, head.sequence, head.digest) not in on_record]
    if findings:
        raise BadInputError(findings)
    if new:
        append(session, [Anchor(**asdict(head), reason=reason.strip()) for head in new], signature)
    return new


def anchored(session: Session) -> Sequence[Anchor]:
    """The anchors on record, the oldest first."""
    return session.exec(select(Anchor).order_by(col(Anchor.id))).all()
