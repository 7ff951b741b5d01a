"""Four eyes: whoever typed a certificate does not accept it, unless a rule of the house says that one person may.

Common practice, no source; ISO/IEC 17025:2017, 6.2.6 leaves to the laboratory whom it authorises.
"""

from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime, time

from sqlmodel import Session

from calib.confirmation.authority import QA, unmet
from calib.errors import Finding, Step
from calib.procedures.people.authorise import People
from calib.procedures.people.house_rules import holds
from calib.procedures.typed.sheets import TypedRow
from calib.records import ledger
from calib.records.record import key
from calib.records.tables.calibrations import Calibration
from calib.records.words import ONE_PERSON_MAY_ACCEPT

NEXT_STEP = f"let another person accept it, or {Step.LET_ONE_ACCEPT}"


def same_person(first: str, other: str) -> bool:
    """Whether two names are one person's: spelling in capitals and the width of spaces make no other person."""
    return " ".join(first.split()).casefold() == " ".join(other.split()).casefold()


def against_one_person(session: Session, calibration: Calibration, person: str) -> str | None:
    """Why a person may not accept a calibration on record; None: the person may."""
    typed_by, _ = ledger.written(session, "calibration", key(calibration.id))
    if not same_person(typed_by, person) or holds(session, ONE_PERSON_MAY_ACCEPT):
        return None
    return f"certificate {calibration.certificate} was typed by {typed_by}, who may not accept it too: {NEXT_STEP}"


def of_import(
    session: Session, rows: Sequence[TypedRow], person: str, strict: bool
) -> tuple[list[Finding], str | None]:
    """What is wrong with the acceptances that an import states, and what is worth saying of them.

    An acceptance of the past is taken over as it is stated. Where no other person is named, whoever types it answers for both:
    that is refused where the rule of the house says no, or where `strict` (a certificate typed by itself); said where nobody set a
    rule.
    """
    rule = holds(session, ONE_PERSON_MAY_ACCEPT)
    alone = [] if rule else [row for row in rows if row.sound("accepted_on") and _is_alone(row, person)]
    if rule is False or strict:
        return list(_findings(alone, person)), None
    return [], _said(alone, person) if alone else None


def of_acceptors(known: People, rows: Sequence[TypedRow], now: datetime) -> Iterator[Finding]:
    """What is wrong with the people whom an import names as those who accepted: each may have done so on that day.

    Of days before anyone on record had a role the records know nothing, and the name is taken over as it is stated.
    """
    for row in rows:
        name = row.get("accepted_by")
        if name is None or not row.sound("accepted_on", "accepted_by"):
            continue
        expected = against_acceptor(known, name, date.fromisoformat(row.cells["accepted_on"]), now)
        if expected is not None:
            yield row.finding("accepted_by", expected)


def against_acceptor(known: People, name: str, on: date, now: datetime) -> str | None:
    """What was expected instead of a name that is said to have accepted on a day, in the zone of `now`; None where it may have."""
    given = [change.at for change in known.changes if change.given and change.role == QA]
    end = datetime.combine(on, time.max, now.tzinfo)
    return unmet("accept", name, known.people, known.changes, end) if given and end >= min(given) else None


def _said(alone: Sequence[TypedRow], person: str) -> str:
    certificates = ", ".join(f"{row.get('certificate')} of {row.get('tag')}" for row in alone)
    return (
        f"accepted by {person}, who types them too: {certificates}: name the other person in accepted_by, or "
        f"{NEXT_STEP.partition(', or ')[2]}"
    )


def _is_alone(row: TypedRow, person: str) -> bool:
    named = row.get("accepted_by")
    return "accepted_by" not in row.bad and (named is None or same_person(named, person))


def _findings(rows: Iterable[TypedRow], person: str) -> Iterable[Finding]:
    for row in rows:
        yield row.finding("accepted_by", f"another person than {person}, who types the certificate: {NEXT_STEP}")
