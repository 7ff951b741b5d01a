"""People: who is on record in which roles, by which login, authorised for what and until when; and what of it changes.

Everybody who is signed in sees it; QA changes it. A role, a login and a competence are kept as records, none of them undone. On a
server the grants that follow are shown to QA; the owner of its tables runs them.
"""

from collections.abc import Sequence

from calib.clock import last_of
from calib.confirmation.authority import ACTS, ROLES
from calib.errors import BadInputError, Finding, NotInRecordsError
from calib.faces.answers import people as answer
from calib.faces.answers import withdrawn_record
from calib.faces.files import LARGEST_FILE
from calib.faces.pages.frame.door import AROUND_A_FILE
from calib.faces.pages.frame.form import FormField, choices, day_typed
from calib.faces.pages.frame.routes import Filled, Goto, Pages, address
from calib.faces.pages.frame.visit import Visit
from calib.faces.written import Content
from calib.procedures.fleet.attach_file import attach_to_competence, attachable
from calib.procedures.impact.withdraw_record import withdraw_record
from calib.procedures.on_record.competences_on_file import competences
from calib.procedures.people.authorise import is_shared
from calib.procedures.people.competences import CompetenceWanted, record_competence
from calib.procedures.people.grants import grants
from calib.procedures.people.persons_and_roles import (
    GIVEN,
    WITHDRAWN,
    ChangeWanted,
    LoginWanted,
    PersonWanted,
    add_person,
    change_role,
    correct_login,
    people_on_file,
)
from calib.records.record import key

pages = Pages()
PERSON = "/people/{person:name}"
_ASKED = ("role", "scope", "on")
_REASON = FormField("reason", "Reason", required=True)
_EVIDENCE = "a whole PDF, PNG, JPEG or XML file, judged by its content"


@pages.shows("/people")
def people_listed(visit: Visit) -> Filled:
    """Those who fit what the address asks for, on a day of its own."""
    session = visit.reading()
    asked = visit.asked_for(_ASKED)
    on = day_typed("on", asked.get("on", ""), visit.at.date())
    document = answer.document(people_on_file(session, last_of(on, visit.at)), competences(session), on)
    listed = [each | {"competences": _held(document, each["name"])} for each in document["people"]]
    content = {
        "people": [each for each in listed if _fits(each, asked)],
        "asked": asked,
        "on": str(on),
        "roles": ROLES,
        "roles_shown": [("", "any"), *choices(ROLES)],
        "is_shared": is_shared(session),
    }
    return Filled("people.html", content, title="People")


def _held(document: Content, name: str) -> list[Content]:
    return [each for each in document["competences"] if each["person"] == name and each["holds"]]


def _fits(person: Content, asked: dict[str, str]) -> bool:
    scope = asked.get("scope", "").casefold()
    is_authorised = any(scope in each["scope"].casefold() for each in person["competences"])
    return asked.get("role") in (None, *person["roles"]) and (not scope or is_authorised)


@pages.takes("/people", again=people_listed, act="people")
def person_typed(visit: Visit) -> Goto:
    """Put a person on record with their roles."""
    form = visit.form
    roles = [role for role in ROLES if form[f"role_{role}"] == "yes"]
    with visit.writing_last() as session:
        person = add_person(
            session, PersonWanted(form["name"], form["login"].strip() or None, roles), visit.signature("page person")
        )
        name, said = person.name, _with_server(answer.added_line(person.name, roles), shared=is_shared(session))
    return Goto(address("/people/{}", name), said)


def _with_server(told: str, *, shared: bool) -> list[str]:
    return [told, answer.SERVER_FOLLOWS] if shared else [told]


@pages.shows(PERSON)
def person_on_page(visit: Visit, person: str) -> Filled:
    """One person: roles, logins and competences as they were recorded, and what may be done about them."""
    known, document = _on_file(visit, person)
    enrolled = visit.served.credentials.enrolled(person)
    has_way_in = enrolled is not None and (
        enrolled.password is not None or visit.served.credentials.passkeys_of(person)
    )
    content = {
        "person": known,
        "competences": [each for each in document["competences"] if each["person"] == person],
        "signs_in": "yes" if has_way_in else "no" if enrolled is None else "has a link that was not used yet",
        "may": [ACTS[act].does for act in ACTS if set(ACTS[act].roles or ()) & set(known["roles"])],
    }
    return Filled("person.html", content, title=person)


def _on_file(visit: Visit, person: str) -> tuple[Content, Content]:
    """A person as `calib person list` has them, and the whole of that answer; raises NotInRecordsError."""
    session = visit.reading()
    document = answer.document(people_on_file(session, visit.at), competences(session), visit.at.date())
    known = next((each for each in document["people"] if each["name"] == person), None)
    if known is None:
        raise NotInRecordsError(f"no person {person!r} in the records")
    return known, document


# --- roles and login -------------------------------------------------------------------------------------------------------------


@pages.shows(f"{PERSON}/roles", act="people")
def roles_asked(visit: Visit, person: str) -> Filled:
    """Ask which role is given or withdrawn."""
    held = _on_file(visit, person)[0]["roles"]
    fields = (
        FormField("give", "Give", choices=choices([each for each in ROLES if each not in held], may_be_blank=True)),
        FormField("withdraw", "Withdraw", choices=choices(held, may_be_blank=True)),
        _REASON,
    )
    told = [f"{person} is {', '.join(held) or 'in no role'}.", "It counts from now on; what was done before stays."]
    return form_of_person(person, "roles", f"{person}: roles", fields, "Record it", told)


@pages.takes(f"{PERSON}/roles", again=roles_asked, act="people")
def role_changed(visit: Visit, person: str) -> Goto:
    """Give a role or withdraw one."""
    give, withdraw, reason = (visit.form[name] for name in ("give", "withdraw", "reason"))
    if bool(give) == bool(withdraw):
        raise BadInputError([Finding.typed("give", give or None, "a role to give, or one to withdraw")])
    wanted = ChangeWanted(person, give or withdraw, GIVEN if give else WITHDRAWN, reason)
    with visit.writing_last() as session:
        change = change_role(session, wanted, visit.signature("page role"))
        said = _with_server(answer.change_line(person, change), shared=is_shared(session))
    return Goto(address("/people/{}", person), said)


@pages.shows(f"{PERSON}/login", act="login")
def login_asked(visit: Visit, person: str) -> Filled:
    """Ask for the login that is theirs from now on."""
    login = _on_file(visit, person)[0]["login"]
    told = [f"Until now: {login or 'none'}.", "On a server the login says who writes; a file asks for none."]
    fields = (FormField("login", "Login", "Blank: the person has none any more."), _REASON)
    return form_of_person(person, "login", f"{person}: login", fields, "Record it", told)


@pages.takes(f"{PERSON}/login", again=login_asked, act="login")
def login_corrected(visit: Visit, person: str) -> Goto:
    """Correct it; the one before stays on record."""
    wanted = LoginWanted(person, visit.form["login"].strip() or None, visit.form["reason"])
    with visit.writing_last() as session:
        corrected = correct_login(session, wanted, visit.signature("page login"))
        said = _with_server(answer.login_line(person, corrected), shared=is_shared(session))
    return Goto(address("/people/{}", person), said)


@pages.shows("/grants", act="people")
def grants_shown(visit: Visit) -> Filled:
    """What the owner of a server's tables runs after a change of people."""
    session = visit.reading()
    statements = grants(session, visit.at) if is_shared(session) else ()
    return Filled("grants.html", {"statements": "\n".join(statements)}, title="Grants")


# --- competences -----------------------------------------------------------------------------------------------------------------


@pages.shows(f"{PERSON}/competences", act="competence")
def competence_asked(visit: Visit, person: str) -> Filled:
    """Ask what the person may do, until when, by whose word, and for the evidence."""
    _on_file(visit, person)
    fields = (
        FormField("scope", "What the person may do", "In the words of the house; of one scope the latest counts.", required=True),
        FormField("from", "From", "Like 2026-03-05; blank: today."),
        FormField("until", "Until", "The last day; blank: with no end."),
        FormField("authorised_by", "Authorised by", f"Blank: {visit.person}."),
        FormField("evidence", "Evidence", "PDF, PNG, JPEG or XML, kept byte for byte.", kind="file"),
    )  # fmt: skip
    return form_of_person(person, "competences", f"{person}: a competence", fields, "Record it")


@pages.takes(f"{PERSON}/competences", again=competence_asked, act="competence", largest=LARGEST_FILE + AROUND_A_FILE)
def competence_typed(visit: Visit, person: str) -> Goto:
    """Record it, with the file that is its evidence where one was sent."""
    form = visit.form
    file = None if form.file("evidence") is None else form.file_read("evidence", _EVIDENCE, attachable)
    from_on, until_on, authorised_by = (form[name].strip() or None for name in ("from", "until", "authorised_by"))
    wanted = CompetenceWanted(person, form["scope"], from_on, until_on, authorised_by)
    signature = visit.signature("page competence")
    with visit.writing_last() as session:
        record = record_competence(session, wanted, signature)
        said = [answer.competence_line(person, record)]
        if file is not None:
            evidence = attach_to_competence(session, key(record.id), file, signature)
            said.append(answer.evidence_line(evidence.name, evidence.sha256))
    return Goto(address("/people/{}", person), said)


@pages.shows(f"{PERSON}/competences/{{scope:name}}", act="retract")
def competence_on_page(visit: Visit, person: str, scope: str) -> Filled:
    """The competence of a scope, to be taken back."""
    _on_file(visit, person)
    told = [f"{scope}.", "Taken back, it is kept, and counts for nothing; the one of this scope before counts again."]
    fields = (FormField("reason", "Why it was recorded wrongly", required=True),)
    of = address("competences/{}", scope)
    return form_of_person(person, of, f"{person}: take a competence back", fields, "Take it back", told)


@pages.takes(f"{PERSON}/competences/{{scope:name}}", again=competence_on_page, act="retract")
def take_competence_back(visit: Visit, person: str, scope: str) -> Goto:
    """Take the last one of that scope back."""
    with visit.writing_last() as session:
        withdrawn = withdraw_record(
            session, "competence", (person, scope), visit.form["reason"], visit.signature("page withdrawal")
        )
        said = withdrawn_record.text(withdrawn_record.document(withdrawn)).splitlines()
    return Goto(address("/people/{}", person), said)


def form_of_person(
    person: str, of: str, heading: str, fields: Sequence[FormField], end: str, told: Sequence[str] = ()
) -> Filled:
    """A form on a person, sent to an address below theirs."""
    content = {
        "person": person,
        "heading": heading,
        "told": told,
        "action": f"{address('/people/{}', person)}/{of}",
        "fields": fields,
        "takes_files": any(each.kind == "file" for each in fields),
        "end": end,
    }
    return Filled("form_of_person.html", content, title=heading)
