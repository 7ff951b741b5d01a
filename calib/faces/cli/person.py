"""Commands on people and their roles."""

from pathlib import Path
from typing import Annotated

import typer

from calib.clock import clock, end_of
from calib.errors import BadInputError, Finding
from calib.faces.cli.frame import Desk, Reply, group, reads, writes
from calib.faces.cli.options import OnDate, Reason, day_of
from calib.faces.cli.serve import BaseAddress, CredentialsFile
from calib.faces.cli.withdrawing import withdrawn

app = group("People and roles: add, role, login, competence, withdraw-competence, list, roles, grants, enrol.")

PersonNamed = Annotated[str, typer.Argument(metavar="NAME", help="The person's name, as it stands in the records.")]


@writes(app, "add")
def add(
    desk: Desk,
    name: PersonNamed,
    roles: Annotated[list[str], typer.Option("--role", help="technician, QA or engineer; several by repeating it.")],
    login: Annotated[
        str | None,
        typer.Option(metavar="LOGIN", help="Login of the shared database that is theirs; of the machine for a file."),
    ] = None,
) -> Reply:
    """Put a person on record with their roles; from the first person on, who has the role QA, names and roles are checked.

    Example: calib person add "Q. Bergström" --role QA --login bergstroem
    """
    from calib.faces.answers import people as answer
    from calib.procedures.people.authorise import is_shared
    from calib.procedures.people.persons_and_roles import PersonWanted, add_person

    session = desk.writing()
    person = add_person(session, PersonWanted(name, login, roles), desk.signature())
    document = {"name": person.name, "login": person.login, "roles": roles}
    remarks = [answer.SERVER_FOLLOWS] if is_shared(session) else []
    return Reply(document, answer.added_line(person.name, roles), remarks)


@writes(app, "role")
def role(
    desk: Desk,
    name: PersonNamed,
    reason: Reason,
    give: Annotated[str | None, typer.Option(metavar="ROLE", help="The role that the person gets.")] = None,
    withdraw: Annotated[str | None, typer.Option(metavar="ROLE", help="The role that the person loses.")] = None,
) -> Reply:
    """Give a role to a person or withdraw one, from now on; the last QA keeps theirs.

    Example: calib person role "T. Lindqvist" --give engineer --reason "authorised to sign reports"
    """
    from calib.faces.answers import people as answer
    from calib.procedures.people.authorise import is_shared
    from calib.procedures.people.persons_and_roles import GIVEN, WITHDRAWN, ChangeWanted, change_role

    if (give is None) == (withdraw is None):
        raise BadInputError([Finding.typed("give", give, "one of --give ROLE and --withdraw ROLE")])
    kind, wanted = (WITHDRAWN, withdraw) if give is None else (GIVEN, give)
    session = desk.writing()
    change = change_role(session, ChangeWanted(name, str(wanted), kind, reason), desk.signature())
    document = {"name": name, "role": change.role, "kind": change.kind, "at": change.at, "reason": change.reason}
    remarks = [answer.SERVER_FOLLOWS] if is_shared(session) else []
    return Reply(document, answer.change_line(name, change), remarks)


@writes(app, "login")
def login_(
    desk: Desk,
    name: PersonNamed,
    reason: Reason,
    login: Annotated[str | None, typer.Argument(metavar="LOGIN", help="The login that is theirs from now on.")] = None,
    none: Annotated[bool, typer.Option("--none", help="The person has no login any more.")] = False,
) -> Reply:
    """Correct the login of a person, from now on; the one before stays on record.

    The owner of a server's tables may do it by the name of a QA (--by) where no QA's login is on the server.

    Example: calib person login "Q. Bergström" bergstroem --reason "mistyped when added"
    """
    from calib.faces.answers import people as answer
    from calib.procedures.people.authorise import is_shared
    from calib.procedures.people.persons_and_roles import LoginWanted, correct_login

    if (login is None) != none:
        raise BadInputError([Finding.typed("LOGIN", login, "one of a LOGIN and --none")])
    session = desk.writing()
    corrected = correct_login(session, LoginWanted(name, login, reason), desk.signature())
    document = {"name": name, "login": corrected.login, "at": corrected.at, "reason": corrected.reason}
    remarks = [answer.SERVER_FOLLOWS] if is_shared(session) else []
    return Reply(document, answer.login_line(name, corrected), remarks)


@writes(app, "competence")
def competence(
    desk: Desk,
    name: PersonNamed,
    scope: Annotated[str, typer.Option(metavar="TEXT", help="What the person may do, in the words of the house.")],
    from_on: Annotated[
        str | None, typer.Option("--from", metavar="DATE", help="From when; today if not given.")
    ] = None,
    until_on: Annotated[
        str | None, typer.Option("--until", metavar="DATE", help="Through which day; with no end if not given.")
    ] = None,
    authorised_by: Annotated[
        str | None, typer.Option(metavar="WHO", help="Who authorised it; whoever records it if not given.")
    ] = None,
    evidence: Annotated[
        Path | None, typer.Option(metavar="FILE", help="What it rests on: PDF, PNG, JPEG or XML, kept byte for byte.")
    ] = None,
) -> Reply:
    """Record what a person is authorised to do, until when, by whom, with the file that is the evidence.

    Of one scope the latest counts. Nobody authorises themselves while another QA is there to do it.

    Example: calib person competence "T. Lindqvist" --scope "duct traverses" --until 2028-06-30 --evidence course.pdf
    """
    from calib.faces.answers import people as answer
    from calib.faces.files import LARGEST_FILE, file_content
    from calib.procedures.fleet.attach_file import attach_to_competence, attachable
    from calib.procedures.people.competences import CompetenceWanted, record_competence
    from calib.records.record import key

    file = None if evidence is None else attachable(file_content(evidence, LARGEST_FILE))
    session = desk.writing()
    wanted = CompetenceWanted(name, scope, from_on, until_on, authorised_by)
    record = record_competence(session, wanted, desk.signature())
    file_kept = None if file is None else attach_to_competence(session, key(record.id), file, desk.signature())
    document = {
        "person": name,
        "scope": record.scope,
        "from_on": record.from_on,
        "until_on": record.until_on,
        "authorised_by": record.authorised_by,
        "evidence": None if file_kept is None else file_kept.sha256,
    }
    remarks = [] if file_kept is None else [answer.evidence_line(file_kept.name, file_kept.sha256)]
    return Reply(document, answer.competence_line(name, record), remarks)


@writes(app, "withdraw-competence")
def withdraw_competence(
    desk: Desk,
    name: PersonNamed,
    scope: Annotated[str, typer.Option(metavar="TEXT", help="The scope, as it was recorded.")],
    reason: Reason,
) -> Reply:
    """Take back the last competence of a scope that was recorded wrongly: the one before counts again.

    Example: calib person withdraw-competence "T. Lindqvist" --scope "duct traverses" --reason "the course was L. Ström's"
    """
    return withdrawn(desk, "competence", (name, scope), reason)


@reads(app, "list")
def list_(desk: Desk, on: OnDate = None) -> Reply:
    """List the people on record with the roles they have on a day, and what they are authorised to do.

    Example: calib person list
    """
    from calib.faces.answers import people as answer
    from calib.procedures.on_record.competences_on_file import competences
    from calib.procedures.people.persons_and_roles import people_on_file

    session, day = desk.reading(), day_of(on)
    return Reply(answer.document(people_on_file(session, end_of(day)), competences(session), day), answer.text)


@reads(app, "roles", of_records=False)
def roles_(_desk: Desk) -> Reply:
    """Print what each role may do.

    Example: calib person roles
    """
    from calib.confirmation.authority import ACTS
    from calib.faces.answers import roles as answer

    return Reply(answer.document(ACTS), answer.text)


@reads(app, "grants")
def grants_(desk: Desk) -> Reply:
    """Print the SQL by which a PostgreSQL server itself refuses what a login's roles do not allow.

    The owner of the tables runs it, once and after each change of people: calib person grants | psql.

    Example: calib person grants
    """
    from calib.procedures.people.grants import grants

    statements = list(grants(desk.reading(), clock()))
    return Reply({"statements": statements}, "\n".join(statements))


@reads(app, "enrol")
def enrol_(
    desk: Desk,
    name: PersonNamed,
    credentials: CredentialsFile = None,
    base_address: BaseAddress = None,
) -> Reply:
    """Print a one-time link by which a person begins to sign in in a browser; whatever they signed in by before ends.

    It holds for two days. Whoever has the link becomes the person: hand it over as a key.

    Example: calib person enrol "T. Lindqvist"
    """
    import secrets

    from calib.faces.cli.serve import DEFAULT_PORT, base_address_or, credentials_of, extra_of_pages
    from calib.procedures.people.persons_and_roles import enrollable
    from calib.records.credentials import LINK_LASTS, Credentials

    extra_of_pages()
    now = clock()
    person = enrollable(desk.reading(), name, now)
    link, at = secrets.token_urlsafe(32), base_address_or(base_address, f"http://localhost:{DEFAULT_PORT}")
    Credentials(credentials_of(desk.records, credentials)).enrol(person.name, person.login, link, now)
    document = {"person": person.name, "link": f"{at}/enrol/{link}", "until": (now + LINK_LASTS).isoformat()}
    return Reply(document, document["link"], [f"for {person.name}, once, until {document['until']}"])
