"""Where the evidence of instruments comes from that another site handed over: from the statements kept with them."""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass

from sqlmodel import Session, col, select

from calib.errors import BadInputError
from calib.procedures.on_record.attached_files import XML
from calib.procedures.on_record.recorded import recorded_by
from calib.procedures.on_record.what_counts import not_retracted
from calib.procedures.typed.evidence_statement import STATEMENT, EvidenceStatement, StatedAcceptance, statement_in
from calib.records.record import key
from calib.records.tables.files import Attached, Attachment
from calib.records.tables.instruments import Instrument


@dataclass(frozen=True)
class TakenOver:
    """Evidence of an instrument that another site handed over."""

    tag: str
    statement: EvidenceStatement
    recorded_at: str
    person: str

    @property
    def last_accepted(self) -> StatedAcceptance | None:
        """The acceptance that was recorded last at the other site."""
        own = [each for each in self.statement.acceptances if each.tag == self.tag]
        return max(own, key=lambda each: (each.accepted_on, each.recorded_at), default=None)

    def __str__(self) -> str:
        return f"{self.tag}: {self.said}"

    @property
    def said(self) -> str:
        """Where it comes from, in words."""
        stated, last = self.statement, self.last_accepted
        there = (
            "no acceptance there"
            if last is None
            else f"accepted there: {last.certificate} on {last.accepted_on} by {last.accepted_by}"
        )
        return (
            f"evidence until {stated.time[:10]} comes from {stated.records}, ledger entry {stated.sequence}, "
            f"digest {stated.digest}, taken over on {self.recorded_at[:10]} by {self.person}; {there}"
        )


def evidence_taken_over(session: Session, tags: Collection[str]) -> Mapping[str, Sequence[TakenOver]]:
    """What was taken over of each of some instruments, the earliest first; those without any are absent."""
    query = (
        select(Attached.id, Instrument.tag, Attachment.content)
        .join(Attachment, col(Attachment.id) == col(Attached.attachment_id))
        .join(Instrument, col(Instrument.id) == col(Attached.instrument_id))
        .where(Attachment.name == STATEMENT, Attachment.media_type == XML, col(Instrument.tag).in_(tags))
        .where(not_retracted(Attached))
        .order_by(col(Attached.id))
    )
    rows = session.exec(query).all()
    recorded = recorded_by(session, Attached, [key(attached_id) for attached_id, _, _ in rows]) if rows else {}
    taken: dict[str, list[TakenOver]] = defaultdict(list)
    for attached_id, tag, content in rows:
        by = recorded[key(attached_id)]
        with suppress(BadInputError):  # another file of that name
            taken[tag].append(TakenOver(tag, statement_in(content, STATEMENT), by["recorded_at"], by["person"]))
    return taken
