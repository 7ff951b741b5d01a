"""What people are authorised to do, as the records hold it, with its evidence (ISO/IEC 17025:2017, 6.2.5 and 6.2.6)."""

from dataclasses import dataclass

from sqlmodel import Session, col, select

from calib.procedures.on_record.attached_files import files_of
from calib.procedures.on_record.what_counts import not_retracted
from calib.records import ledger
from calib.records.record import key
from calib.records.tables.files import Attached
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
    counting = select(Competence, Person.name).join(Person).where(not_retracted(Competence))
    rows = session.exec(counting.order_by(col(Competence.id))).all()
    latest = {(record.person_id, record.scope): record.id for record, _ in rows}
    evidence = files_of(session, Attached.competence_id, [key(record.id) for record, _ in rows])
    return [
        CompetenceOnRecord(
            key(record.id),
            name,
            record.scope,
            record.from_on,
            record.until_on,
            record.authorised_by,
            tuple((file["name"], file["sha256"]) for file in evidence.get(key(record.id), ())),
            *ledger.written(session, "competence", key(record.id)),
            counts=latest[record.person_id, record.scope] == record.id,
        )
        for record, name in rows
    ]
