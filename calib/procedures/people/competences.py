"""What people are authorised to do, as it is on record, with the evidence kept with it (ISO/IEC 17025:2017, 6.2.5 and 6.2.6)."""

from dataclasses import dataclass

from sqlmodel import Session, col, select

from calib.records import ledger
from calib.records.record import key
from calib.records.tables.entries import Retraction
from calib.records.tables.files import Attached, Attachment
from calib.records.tables.people import Competence, Person


@dataclass(frozen=True)
class CompetenceOnRecord:
    """An authorisation of a person, with who recorded it."""

    record_id: int
    person: str
    scope: str
    from_on: str
    until_on: str | None  # absent: until another is recorded
    authorised_by: str
    evidence: tuple[tuple[str, str], ...]  # name and SHA-256 of each file
    by: str
    recorded: str
    counts: bool  # whether it is the latest of its scope

    def holds(self, on: str) -> bool:
        """Whether it counts on a day (ISO 8601)."""
        return self.counts and self.from_on <= on and (self.until_on is None or on <= self.until_on)


def competences(session: Session) -> list[CompetenceOnRecord]:
    """Every authorisation that was not taken back, in the order in which they were recorded."""
    taken_back = select(Retraction.record_id).where(Retraction.record_table == "competence")
    rows = session.exec(
        select(Competence, Person.name)
        .join(Person)
        .where(col(Competence.id).not_in(taken_back))
        .order_by(col(Competence.id))
    ).all()
    latest = {(record.person_id, record.scope): record.id for record, _ in rows}
    files = select(Attached.competence_id, Attachment.name, Attachment.sha256).join(Attachment)
    evidence = session.exec(files.where(col(Attached.competence_id).is_not(None)).order_by(col(Attached.id))).all()
    return [
        CompetenceOnRecord(
            key(record.id),
            name,
            record.scope,
            record.from_on,
            record.until_on,
            record.authorised_by,
            tuple((file, sha256) for owner, file, sha256 in evidence if owner == record.id),
            *ledger.written(session, "competence", key(record.id)),
            counts=latest[record.person_id, record.scope] == record.id,
        )
        for record, name in rows
    ]
