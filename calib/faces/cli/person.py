"""Commands on people and their roles."""

from dataclasses import asdict
from typing import Annotated

import typer

from calib.errors import BadInputError, Finding
from calib.faces.cli.options import (
    DEFAULT_RECORDS,
    AsJson,
    By,
    OnDate,
    Records,
    clock,
    day_of,
    end_of,
    print_json,
    print_table,
    say,
    signature,
    tell,
)

app = typer.Typer(no_args_is_help=True, rich_markup_mode=None, help="People and roles: add, role, list, roles, grants.")

Name = Annotated[str, typer.Argument(metavar="NAME", help="The person's name, as it stands in the records.")]


@app.command("add")
def add(
    name: Name,
    roles: Annotated[list[str], typer.Option("--role", help="technician, QA or engineer; several by repeating it.")],
    login: Annotated[
        str | None,
        typer.Option(metavar="LOGIN", help="Login of the shared database that is theirs; of the machine for a file."),
    ] = None,
    records: Records = DEFAULT_RECORDS,
    by: By = None,
    as_json: AsJson = False,
) -> None:
    """Put a person on record with their roles; from the first person on, who has the role QA, names and roles are checked.

    Example: calib person add "Q. Bergström" --role QA --login bergstroem
    """
    from calib.procedures.people.authorise import is_shared
    from calib.procedures.people.persons_and_roles import PersonWanted, add_person
    from calib.records import database

    with database.writing(records) as session:
        kept = add_person(session, PersonWanted(name, login, roles), signature(by, "person add"))
        document, shared = {"name": kept.name, "login": kept.login, "roles": roles}, is_shared(session)
    if as_json:
        print_json(document)
    else:
        tell(f"added {document['name']}: {', '.join(roles)}")
    _say_what_the_server_needs(shared=shared)


def _say_what_the_server_needs(*, shared: bool) -> None:
    if shared:
        say("the server follows once the owner of its tables runs what `calib person grants` prints")


@app.command("role")
def role(
    name: Name,
    reason: Annotated[str, typer.Option("--reason", metavar="TEXT", help="Why, in a few words.")],
    give: Annotated[str | None, typer.Option(metavar="ROLE", help="The role that the person gets.")] = None,
    withdraw: Annotated[str | None, typer.Option(metavar="ROLE", help="The role that the person loses.")] = None,
    records: Records = DEFAULT_RECORDS,
    by: By = None,
    as_json: AsJson = False,
) -> None:
    """Give a role to a person or withdraw one, from now on; the last QA keeps theirs.

    Example: calib person role "T. Lindqvist" --give engineer --reason "authorised to sign reports"
    """
    from calib.procedures.people.authorise import is_shared
    from calib.procedures.people.persons_and_roles import GIVEN, WITHDRAWN, ChangeWanted, change_role
    from calib.records import database

    typed = [(kind, one) for kind, one in ((GIVEN, give), (WITHDRAWN, withdraw)) if one is not None]
    if len(typed) != 1:
        expected = "one of --give ROLE and --withdraw ROLE"
        raise BadInputError([Finding("command line", None, "--give", give, expected)])
    kind, named = typed[0]
    with database.writing(records) as session:
        kept = change_role(session, ChangeWanted(name, named, kind, reason), signature(by, "person role"))
        document = {"name": name, "role": kept.role, "kind": kept.kind, "at": kept.at, "reason": kept.reason}
        shared = is_shared(session)
    if as_json:
        print_json(document)
    else:
        tell(f"{name}: {document['role']} {document['kind']}, from {document['at']}")
    _say_what_the_server_needs(shared=shared)


@app.command("list")
def list_(on: OnDate = None, records: Records = DEFAULT_RECORDS, as_json: AsJson = False) -> None:
    """List the people on record with the roles they have on a day.

    Example: calib person list
    """
    from calib.procedures.people.persons_and_roles import people_on_file
    from calib.records import database

    with database.reading(records) as session:
        found = people_on_file(session, end_of(day_of(on)))
    if as_json:
        print_json({"people": [asdict(one) for one in found]})
    elif not found:
        tell("nobody is on record: every name is taken")
    else:
        print_table(
            ("name", "login", "roles"), [(one.name, one.login or "-", ", ".join(one.roles) or "none") for one in found]
        )


@app.command("roles")
def roles_(as_json: AsJson = False) -> None:
    """Print what each role may do.

    Example: calib person roles
    """
    from calib.confirmation.authority import ACTS, ANYONE, ROLES

    if as_json:
        print_json({"acts": [{"act": name, **asdict(act)} for name, act in ACTS.items()]})
        return
    rows = [
        (act.does, *("yes" if act.roles is ANYONE or one in act.roles else "-" for one in ROLES))
        for act in ACTS.values()
    ]
    print_table(("who may", *ROLES), rows)
    tell("suspension and damage: anyone on record, with a role or without one")


@app.command("grants")
def grants_(records: Records = DEFAULT_RECORDS, as_json: AsJson = False) -> None:
    """Print the SQL by which a PostgreSQL server itself refuses what a login's roles do not allow.

    The owner of the tables runs it, once and after each change of people: calib person grants | psql.

    Example: calib person grants
    """
    from calib.procedures.people.grants import grants
    from calib.records import database

    with database.reading(records) as session:
        found = grants(session, clock())
    if as_json:
        print_json({"statements": list(found)})
    else:
        tell("\n".join(found))
