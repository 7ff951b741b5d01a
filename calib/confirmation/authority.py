"""Who may do what, at a time: the roles of people, and which act needs which (ISO/IEC 17025:2017, 6.2.5 and 6.2.6).

The clauses ask a laboratory to authorise its people for specific acts; which role is authorised for which act is a decision of this
program (common practice, no source). Every function takes the time it speaks of; nothing here reads a clock.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

TECHNICIAN, QA, ENGINEER = "technician", "QA", "engineer"
ROLES = (TECHNICIAN, QA, ENGINEER)
ANYONE = None  # every person on record, with a role or without one


@dataclass(frozen=True)
class Act:
    """Something that a person does with the records, and the roles that may; no roles named: anyone on record may."""

    does: str
    roles: tuple[str, ...] | None


ACTS: Mapping[str, Act] = {
    "suspend": Act("suspend an instrument, report damage", ANYONE),
    "record": Act("record readings, traverses, conditions, checks, certificates and all that is not named here", ROLES),
    "choose": Act("choose another curve than the rule did", (QA, ENGINEER)),
    "accept": Act("accept a calibration", (QA,)),
    "release": Act("release a suspended instrument", (QA,)),
    "retire": Act("retire an instrument", (QA,)),
    "interval": Act("change a calibration interval", (QA,)),
    "register": Act("put an instrument or a method on record, or amend one", (QA,)),
    "agree": Act("amend a job's decision rule, its density or the client's agreement", (QA, ENGINEER)),
    "supersede": Act("put a reissued certificate in the place of the old one", (QA,)),
    "retract": Act("take back an event, a check, a pairing, a file, a design, a room or a competence", (QA,)),
    "dismiss": Act("dismiss a refusal", (QA, ENGINEER)),
    "source": Act("add a source of outlet factors, or a spelling of it", (QA, ENGINEER)),
    "trust": Act("trust a laboratory's certificate, or no longer", (QA,)),
    "decide": Act("decide which curve holds for what a review touched", (QA,)),
    "dispose": Act("dispose of a line of an impact review", (QA,)),
    "rule": Act("set a rule of the house", (QA,)),
    "people": Act("add a person, give or withdraw a role", (QA,)),
    "login": Act("correct a person's login", (QA,)),
    "competence": Act("record what a person is authorised to do", (QA,)),
    "company": Act("say what the company is called and where it is", (QA,)),
    "validate": Act("record that the program passed its published checks", (QA, ENGINEER)),
    "mend": Act("close a step of the clock, or a break of the ledger", (QA,)),
    "attempt": Act("leave a trace of what was asked for and refused", ANYONE),
    "watch": Act("be told which issued reports the records contradict", ANYONE),
    "issue": Act("issue a report", (ENGINEER,)),
}


@dataclass(frozen=True)
class Written:
    """An act by the record that it writes: rows of a table, all that are left or those with certain words in one column."""

    table: str
    act: str
    column: str | None = None  # absent: every row that no line above names
    words: tuple[str, ...] = ()
    until: str | None = None  # table: no longer once a row of it names the same calibration
    same: tuple[str, ...] = ()  # columns of a revision that are as they were before it
    within: tuple[str, ...] = ()  # tables: together with the row of one of them that it names, in one transaction
    of_owner: bool = False  # on a server by the owner of the tables alone, who has the role too


# What is written by another act than "record". Of the lines of one table the first that fits counts.
WRITTEN: tuple[Written, ...] = (
    Written("acceptance", "accept"),
    Written("withdrawal", "accept"),
    Written("comparison", "record", until="acceptance"),
    Written("comparison_correlation", "record", until="acceptance"),
    Written("reference_standard", "record", until="acceptance"),
    Written("correction_curve", "record", "chosen_by", ("rule",), until="acceptance"),
    Written("correction_curve", "choose"),
    Written("supersession", "supersede"),
    Written("instrument", "register"),
    Written("method", "register"),
    Written("instrument_revision", "register"),
    Written("method_revision", "register"),
    Written("job_revision", "record", same=("decision_rule", "density_kg_per_m3", "agreed_by", "agreed_on")),
    Written("job_revision", "agree"),
    Written("source", "source"),
    Written("source_spelling", "source"),
    Written("retraction", "record", "record_table", ("reading", "condition")),
    Written("retraction", "dismiss", "record_table", ("refusal",)),
    Written("retraction", "retract"),
    Written("laboratory_certificate", "trust"),
    Written("event", "suspend", "kind", ("suspension", "damage")),
    Written("event", "release", "kind", ("release",)),
    Written("event", "retire", "kind", ("retirement",)),
    Written("event", "interval", "kind", ("interval change",)),
    Written("event", "record"),
    Written("impact_review", "suspend", "cause", ("damage",), within=("event",)),
    Written("impact_review", "watch", "cause", ("recorded later",)),
    Written("impact_review", "record", within=("calibration", "intermediate_check", "retraction")),
    Written("impact_review", "dispose"),  # of a certificate that is accepted or withdrawn later
    Written("impact_line", "suspend"),  # whoever reports damage opens a review with its lines
    Written("review_decision", "decide"),
    Written("disposition", "dispose"),
    Written("issued_report", "issue"),
    Written("issued_form", "issue"),
    Written("house_rule", "rule"),
    Written("person", "people"),
    Written("role", "people"),
    Written("person_login", "login"),
    Written("competence", "competence"),
    Written("company", "company"),
    Written("validation", "validate"),
    Written("clock_step", "mend"),
    Written("ledger_break", "mend", of_owner=True),
    Written("attempt", "attempt"),
)
_WRITTEN_TO: Mapping[str, Sequence[Written]] = {
    table: [line for line in WRITTEN if line.table == table] for table in {line.table for line in WRITTEN}
}


@dataclass(frozen=True)
class PersonOnRecord:
    """A person who writes."""

    name: str
    login: str | None = None  # absent: none that is theirs
    earlier_logins: tuple[str, ...] = ()  # that were theirs until another was recorded


@dataclass(frozen=True)
class RoleChange:
    """A role given to a person, or withdrawn, from a time on."""

    person: str
    role: str
    given: bool  # withdrawn otherwise
    at: datetime


def act_of(table: str, columns: Mapping[str, Any], before: Mapping[str, Any] | None = None) -> str:
    """The act that writes a record: a name of ACTS. `before` is what a revision amends: without it everything in it is new."""
    for writing in _WRITTEN_TO.get(table, ()):
        if writing.same and not (
            before is not None and all(columns.get(each) == before.get(each) for each in writing.same)
        ):
            continue
        if writing.column is None or columns[writing.column] in writing.words:
            return writing.act
    return "record"


def is_compared(table: str) -> bool:
    """Whether the act that writes a revision follows from what it changes."""
    return any(writing.same for writing in _WRITTEN_TO.get(table, ()))


def owner_table(revisions: str) -> str:
    """The table of what a table of revisions amends."""
    return revisions.removesuffix("_revision")


def owner_column(revisions: str) -> str:
    """The column of a table of revisions that says what each amends."""
    return f"{owner_table(revisions)}_id"


def are_checked(changes: Sequence[RoleChange]) -> bool:
    """Whether names and roles are checked: as soon as one person was ever given the role QA.

    No time is asked for, so that a clock set back does not open the records again.
    """
    return any(change.given and change.role == QA for change in changes)


def with_clock_step(changes: Sequence[RoleChange], at: datetime) -> tuple[RoleChange, ...]:
    """Changes recorded before a step of the clock: they hold from its time on at the latest, since their clock had been ahead."""
    return tuple(replace(change, at=min(change.at, at)) for change in changes)


def roles_of(person: str, changes: Sequence[RoleChange], at: datetime) -> tuple[str, ...]:
    """Roles that a person has at a time, in the order of ROLES; of changes at one time the later recorded counts."""
    held = {}
    for change in sorted(changes, key=lambda change: change.at):
        if change.person == person and change.at <= at:
            held[change.role] = change.given
    return tuple(role for role in ROLES if held.get(role, False))


def holders(role: str, people: Sequence[PersonOnRecord], changes: Sequence[RoleChange], at: datetime) -> list[str]:
    """Names of the people who have a role at a time."""
    return [holder.name for holder in people if role in roles_of(holder.name, changes, at)]


def unmet(
    act: str, person: str, people: Sequence[PersonOnRecord], changes: Sequence[RoleChange], at: datetime
) -> str | None:
    """What would have been right where a person may not do an act of ACTS at a time; None: the person may."""
    roles, own = ACTS[act].roles, roles_of(person, changes, at)
    if not are_checked(changes) or roles is ANYONE or set(roles) & set(own):
        return unknown(person, people, changes)
    may = "; ".join(f"{role}: {', '.join(holders(role, people, changes, at)) or 'nobody'}" for role in roles)
    return unknown(person, people, changes) or f"a person who may {ACTS[act].does} ({may}); {_is(person, own)}"


def _is(person: str, own: tuple[str, ...]) -> str:
    return f"{person} is {' and '.join(own)}" if own else f"{person} has no role then"


def unknown(person: str, people: Sequence[PersonOnRecord], changes: Sequence[RoleChange]) -> str | None:
    """What would have been right where a name is not on record and names are checked; None: it is."""
    if not are_checked(changes) or any(known.name == person for known in people):
        return None
    return f"a person on record: there is {', '.join(known.name for known in people)}"


def owner_of(login: str, people: Sequence[PersonOnRecord]) -> str | None:
    """The person whose login this is; None where it is nobody's."""
    return next((owner.name for owner in people if owner.login == login), None)


def unmet_by_login(login: str, typed: str | None, people: Sequence[PersonOnRecord]) -> str | None:
    """What would have been right where a login of a shared database is not that of the person typed (None: no name was typed).

    On a shared database the server has identified the login, so the login says who writes and a name typed does not.
    """
    own = owner_of(login, people)
    if own is None:
        known = [f"{owner.name} ({owner.login})" for owner in people if owner.login is not None] or ["nobody with one"]
        return f"a database login of a person on record, which {login!r} is not: there is {', '.join(known)}"
    return None if typed in (None, own) else f"{own}, whose database login {login!r} this is"
