"""Add a person; give or withdraw a role; correct a login: kept as records, each with its reason, none of them undone.

The first person on record has the role QA, and one person always keeps it, so that somebody can add the next.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session, col, select

from calib.confirmation.authority import QA, ROLES, PersonOnRecord, holders, roles_of
from calib.errors import BadInputError, Finding, NotInRecordsError
from calib.procedures.people.authorise import People, append, authorise, is_shared, people_on_record
from calib.procedures.people.four_eyes import same_person
from calib.procedures.people.grants import ALL_GROUPS
from calib.procedures.typed.reason import without_reason
from calib.records import ledger
from calib.records.record import key
from calib.records.tables.people import Person, PersonLogin, Role
from calib.records.words import BY_THE_RULE

GIVEN, WITHDRAWN = "given", "withdrawn"
ON_BEING_ADDED = "on being added"


@dataclass(frozen=True)
class PersonWanted:
    """A person as typed."""

    name: str
    login: str | None  # of a shared database; of the machine for a file
    roles: Sequence[str]


@dataclass(frozen=True)
class ChangeWanted:
    """A change of a role as typed."""

    name: str
    role: str
    kind: str  # GIVEN or WITHDRAWN
    reason: str


@dataclass(frozen=True)
class LoginWanted:
    """A correction of a login as typed."""

    name: str
    login: str | None  # absent: none any more
    reason: str


def add_person(session: Session, wanted: PersonWanted, signature: ledger.Signature) -> Person:
    """Append a person with their roles, which count from the signature's time; raises BadInputError with every finding."""
    authorise(session, signature, "people")
    known = people_on_record(session)
    needs_login = not known.people and is_shared(session)
    _raise([*_of_name(wanted, known.people), *_of_login(wanted, known.people, needs_login), *_of_roles(wanted, known)])
    person = Person(name=wanted.name.strip(), login=wanted.login and wanted.login.strip())
    append(session, [person], signature)
    append(session, [_role(person, role, GIVEN, ON_BEING_ADDED, signature) for role in wanted.roles], signature)
    return person


def change_role(session: Session, wanted: ChangeWanted, signature: ledger.Signature) -> Role:
    """Append a role given or withdrawn from the signature's time on; raises NotInRecordsError, or BadInputError."""
    signature = authorise(session, signature, "people")
    known = people_on_record(session)
    person = person_on_record(session, wanted.name, known)
    _raise(list(_of_change(wanted, known, signature, shared=is_shared(session))))
    reason = wanted.reason.strip()
    if wanted.kind == GIVEN:
        reason = told_alone(reason, wanted.name, signature.person)
    role = _role(person, wanted.role, wanted.kind, reason, signature)
    append(session, [role], signature)
    return role


def correct_login(session: Session, wanted: LoginWanted, signature: ledger.Signature) -> PersonLogin:
    """Append the login that is a person's from now on; raises NotInRecordsError, or BadInputError with every finding.

    The owner of the tables of a shared database may do it for a QA where no QA's login is on the server: nobody else could write.
    """
    signature = authorise(session, signature, "login")
    known = people_on_record(session)
    person = person_on_record(session, wanted.name, known)
    _raise(list(_of_correction(wanted, known, signature, shared=is_shared(session))))
    at = signature.time.isoformat(timespec="seconds")
    login = wanted.login and wanted.login.strip()
    record = PersonLogin(person_id=key(person.id), login=login, at=at, reason=wanted.reason.strip())
    append(session, [record], signature)
    return record


def against_oneself(known: People, name: str, signature: ledger.Signature) -> str | None:
    """Why a QA may not do something for themselves: another QA is there to do it; None: it is for another, or nobody is there.

    Decision (2026-11-29): alone is who has the role QA and nobody else has it; then the record itself says so (`told_alone`).
    Options: a rule of the house, which somebody alone would set for themselves as well. Cost: the only QA among many technicians
    counts as alone.
    """
    others = [other for other in holders(QA, known.people, known.changes, signature.time) if other != name]
    if not same_person(name, signature.person) or not others:
        return None
    return (
        f"another person than yourself: nobody authorises themselves while there is {', '.join(others)} ({QA}) to do it"
    )


def told_alone(text: str, name: str, by: str) -> str:
    """A text of the record, which says so where a person did it for themselves."""
    return f"{text} (by themselves, alone: no other {QA} is on record)" if same_person(name, by) else text


def person_on_record(session: Session, name: str, known: People) -> Person:
    """The person of a name; raises NotInRecordsError, with those there are."""
    person = session.exec(select(Person).where(Person.name == name)).first()
    if person is None:
        there = ", ".join(person.name for person in known.people) or "none"
        raise NotInRecordsError(f"no person {name!r} in the records: there is {there}")
    return person


def enrollable(session: Session, name: str, at: datetime) -> PersonOnRecord:
    """A person who may begin to sign in in a browser, with their login where the records are shared.

    Raises NotInRecordsError, BadInputError where the person has no role, or on shared records no login.
    """
    known = people_on_record(session)
    record = person_on_record(session, name, known)
    person = next(each for each in known.people if each.name == record.name)
    if not roles_of(person.name, known.changes, at):
        _raise([_finding("NAME", name, "a person with a role: who has none may not sign in")])
    if not is_shared(session):
        return PersonOnRecord(person.name)
    if person.login is None:
        _raise([_finding("NAME", name, "a person with a login of the shared database: it says there who writes")])
    return person


def _role(person: Person, role: str, kind: str, reason: str, signature: ledger.Signature) -> Role:
    at = signature.time.isoformat(timespec="seconds")
    return Role(person_id=key(person.id), role=role, kind=kind, at=at, reason=reason)


def _raise(findings: Sequence[Finding]) -> None:
    if findings:
        raise BadInputError(findings)


def _finding(column: str, value: str | None, expected: str) -> Finding:
    return Finding.typed(column, value, expected)


# --- what is wrong ---------------------------------------------------------------------------------------------------------------


def _of_name(wanted: PersonWanted, people: Sequence[PersonOnRecord]) -> Iterator[Finding]:
    name = wanted.name.strip()
    same = next((person.name for person in people if same_person(person.name, name)), None)
    if not name or not name.isprintable():
        yield _finding("NAME", wanted.name, "a name, on one line")
    elif name == BY_THE_RULE:
        yield _finding("NAME", wanted.name, "another name: this one stands for the rule that chooses curves")
    elif same is not None:
        yield _finding("NAME", wanted.name, f"a name that is not on record yet; there is {same}")


def _of_login(wanted: PersonWanted, people: Sequence[PersonOnRecord], needed: bool) -> Iterator[Finding]:
    login = wanted.login
    if login is None:
        if needed:
            yield _finding(
                "login", None, "the database login of the first person: on a shared database it says who writes"
            )
        return
    before = next((person.name for person in people if login.strip() in person.earlier_logins), None)
    expected = _expected_of_login(login, people)
    if expected is None and before is not None:  # a login stands once among the people as they were added
        expected = (
            f"a login that was never another's; it was that of {before}: add the person without one, then correct it"
        )
    if expected is not None:
        yield _finding("login", login, expected)


def _expected_of_login(login: str, people: Sequence[PersonOnRecord]) -> str | None:
    owner = next((person.name for person in people if person.login == login.strip()), None)
    if not login.strip() or not login.isprintable():
        return "a login, on one line"
    if login.strip() in ALL_GROUPS:
        return f"a login of a person; {login.strip()} is a group of logins"
    return None if owner is None else f"a login that is nobody's yet; it is that of {owner}"


def _of_correction(
    wanted: LoginWanted, known: People, signature: ledger.Signature, *, shared: bool
) -> Iterator[Finding]:
    yield from without_reason(wanted.reason)
    own = next(person for person in known.people if person.name == wanted.name)
    if wanted.login is not None:
        expected = _expected_of_login(wanted.login, known.people)
    elif own.login is None:
        expected = f"a login; {wanted.name} has none"
    elif shared and _is_only_qa(wanted.name, known, signature.time, shared=shared):
        expected = f"a login, since {wanted.name} is the only {QA} who has one"
    else:
        expected = None
    if expected is not None:
        yield _finding("LOGIN", wanted.login, expected)


def _is_only_qa(name: str, known: People, at: datetime, *, shared: bool) -> bool:
    """Whether nobody else has the role QA; who has no login cannot write to a shared database."""
    able = [person for person in known.people if person.login is not None or not shared]
    return set(holders(QA, able, known.changes, at)) <= {name}


def _of_roles(wanted: PersonWanted, known: People) -> Iterator[Finding]:
    if not wanted.roles:
        yield _finding("role", None, f"one or more of {', '.join(ROLES)}")
    for role in wanted.roles:
        if role not in ROLES:
            yield _finding("role", role, f"one of {', '.join(ROLES)}")
    for role in sorted({role for role in wanted.roles if wanted.roles.count(role) > 1}):
        yield _finding("role", role, "each role once")
    if not known.people and QA not in wanted.roles:
        yield _finding("role", ", ".join(wanted.roles), f"{QA} for the first person on record, who adds the others")


def _of_change(wanted: ChangeWanted, known: People, signature: ledger.Signature, *, shared: bool) -> Iterator[Finding]:
    column = "give" if wanted.kind == GIVEN else "withdraw"
    yield from without_reason(wanted.reason)
    if wanted.role not in ROLES:
        yield _finding(column, wanted.role, f"one of {', '.join(ROLES)}")
        return
    expected = (
        _expected_of_time(wanted, known, signature)
        or _expected_of_role(wanted, known, signature, shared)
        or (against_oneself(known, wanted.name, signature) if wanted.kind == GIVEN else None)
    )
    if expected is not None:
        yield _finding(column, wanted.role, expected)


def _expected_of_time(wanted: ChangeWanted, known: People, signature: ledger.Signature) -> str | None:
    """A change counts from its time: one that a clock set back puts before an earlier one would never count."""
    before = [change.at for change in known.changes if (change.person, change.role) == (wanted.name, wanted.role)]
    if any(time > signature.time for time in before):
        now, last = signature.time.isoformat(), max(before).isoformat()
        return f"a time not before its last change ({last}); this machine's clock says {now}"
    return None


def _expected_of_role(wanted: ChangeWanted, known: People, signature: ledger.Signature, shared: bool) -> str | None:
    held = wanted.role in roles_of(wanted.name, known.changes, signature.time)
    if wanted.kind == GIVEN:
        return f"a role that {wanted.name} does not have already" if held else None
    if not held:
        return f"a role that {wanted.name} has"
    if wanted.role == QA and _is_only_qa(wanted.name, known, signature.time, shared=shared):
        return f"another person with {QA} first: without one nobody could accept a calibration or add people"
    return None


# --- what is on record -----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class ChangeOnFile:
    """A role given or withdrawn, as it is on record."""

    role: str
    kind: str
    at: str
    reason: str
    by: str


@dataclass(frozen=True)
class LoginOnFile:
    """A login that was put in the place of the one before, as it is on record."""

    login: str | None  # absent: none any more
    at: str
    reason: str
    by: str


@dataclass(frozen=True)
class PersonOnFile:
    """A person with the roles held at the time asked about, every change of them, and every correction of the login."""

    name: str
    login: str | None  # that counts now
    roles: tuple[str, ...]
    changes: tuple[ChangeOnFile, ...]
    logins: tuple[LoginOnFile, ...]


def people_on_file(session: Session, at: datetime) -> list[PersonOnFile]:
    """Everyone on record, in the order in which they were added."""
    known = people_on_record(session)
    roles = session.exec(select(Role).order_by(col(Role.id))).all()
    corrected = session.exec(select(PersonLogin).order_by(col(PersonLogin.id))).all()
    return [
        PersonOnFile(
            person.name,
            counting.login,
            roles_of(person.name, known.changes, at),
            tuple(_change(session, role) for role in roles if role.person_id == person.id),
            tuple(_correction(session, correction) for correction in corrected if correction.person_id == person.id),
        )
        for person, counting in zip(session.exec(select(Person).order_by(col(Person.id))), known.people, strict=True)
    ]


def _change(session: Session, role: Role) -> ChangeOnFile:
    by, _ = ledger.written(session, "role", key(role.id))
    return ChangeOnFile(role.role, role.kind, role.at, role.reason, by)


def _correction(session: Session, record: PersonLogin) -> LoginOnFile:
    by, _ = ledger.written(session, "person_login", key(record.id))
    return LoginOnFile(record.login, record.at, record.reason, by)
