"""Record what people are authorised to do (ISO/IEC 17025:2017, 6.2.5 and 6.2.6)."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from sqlmodel import Session

from calib.errors import BadInputError, Finding
from calib.procedures.people.authorise import People, append, authorise, people_on_record
from calib.procedures.people.persons_and_roles import against_oneself, person_on_record, told_alone
from calib.procedures.typed.cells import day
from calib.records import ledger
from calib.records.record import key
from calib.records.tables.people import Competence


@dataclass(frozen=True)
class CompetenceWanted:
    """An authorisation as typed."""

    person: str
    scope: str  # what the person may do, in the words of the house
    from_on: str | None = None  # absent: the day it is recorded
    until_on: str | None = None
    authorised_by: str | None = None  # absent: whoever records it


def record_competence(session: Session, wanted: CompetenceWanted, signature: ledger.Signature) -> Competence:
    """Append what a person is authorised to do; of one scope the latest counts.

    Raises NotInRecordsError for an unknown person, BadInputError with every finding: nobody authorises themselves while another QA
    is there to do it.
    """
    signature = authorise(session, signature, "competence")
    known = people_on_record(session)
    person = person_on_record(session, wanted.person, known)
    today = str(signature.time.date())
    findings = list(_of_wanted(wanted, known, today, signature))
    if findings:
        raise BadInputError(findings)
    by = (wanted.authorised_by or signature.person).strip()
    record = Competence(
        person_id=key(person.id),
        scope=wanted.scope.strip(),
        from_on=wanted.from_on or today,
        until_on=wanted.until_on,
        authorised_by=told_alone(by, wanted.person, by),
    )
    append(session, [record], signature)
    return record


def _of_wanted(wanted: CompetenceWanted, known: People, today: str, signature: ledger.Signature) -> Iterator[Finding]:
    if not wanted.scope.strip():
        yield Finding.typed("scope", wanted.scope, "what the person may do, in a few words")
    days = (("from", wanted.from_on), ("until", wanted.until_on))
    wrong = [(column, typed, expected) for column, typed in days if typed is not None and (expected := day(typed))]
    yield from (Finding.typed(*each) for each in wrong)
    start = wanted.from_on or today
    if not wrong and wanted.until_on is not None and wanted.until_on < start:
        yield Finding.typed("until", wanted.until_on, f"a day not before {start}")
    if wanted.authorised_by is not None and not wanted.authorised_by.strip():
        yield Finding.typed("authorised_by", wanted.authorised_by, "the name of whoever authorised it")
    for column, by, told in by_themselves(known, wanted.person, wanted.authorised_by, signature):
        yield Finding.typed(column, by, told)


def by_themselves(
    known: People, person: str, authorised_by: str | None, signature: ledger.Signature
) -> Iterator[tuple[str, str, str]]:
    """Where a person would authorise themselves, as whoever records it or as whoever is named: column, name, what was expected."""
    for column, by in (("by", signature.person), ("authorised_by", (authorised_by or "").strip())):
        if by and (told := against_oneself(known, person, replace(signature, person=by))):
            yield column, by, told
