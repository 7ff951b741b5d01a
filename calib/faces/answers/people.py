"""The people on record with their roles, as `calib person list` answers."""

from collections.abc import Sequence
from dataclasses import asdict
from datetime import date

from calib.faces.plain_text import table_text
from calib.faces.written import Content
from calib.procedures.on_record.competences_on_file import CompetenceOnRecord
from calib.procedures.people.persons_and_roles import PersonOnFile
from calib.records.tables.people import Competence, PersonLogin, Role

SERVER_FOLLOWS = "the server follows once the owner of its tables runs what `calib person grants` prints"


def document(people: Sequence[PersonOnFile], authorised: Sequence[CompetenceOnRecord], on: date) -> Content:
    """Each person with their login and the roles they have; and every competence, with whether it holds on the day."""
    return {
        "people": [asdict(person) for person in people],
        "competences": [asdict(each) | {"holds": each.holds(str(on))} for each in authorised],
    }


def text(answer: Content) -> str:
    """The same for people."""
    if not answer["people"]:
        return "nobody is on record: every name is taken"
    rows = [(each["name"], each["login"] or "-", ", ".join(each["roles"]) or "none") for each in answer["people"]]
    lines = [table_text(("name", "login", "roles"), rows)]
    if answer["competences"]:
        header = ("name", "competence", "from", "until", "holds", "authorised by", "evidence")
        lines += ["", table_text(header, [_competence(each) for each in answer["competences"]])]
    return "\n".join(lines)


def _competence(competence: Content) -> tuple[str, ...]:
    evidence = ", ".join(f"{name} ({sha256[:12]})" for name, sha256 in competence["evidence"]) or "none"
    return (
        competence["person"], competence["scope"], competence["from_on"], competence["until_on"] or "-",
        "yes" if competence["holds"] else "no", competence["authorised_by"], evidence,
    )  # fmt: skip


def added_line(name: str, roles: Sequence[str]) -> str:
    """A person who was put on record."""
    return f"added {name}: {', '.join(roles)}"


def change_line(name: str, change: Role) -> str:
    """A role that was given or withdrawn."""
    return f"{name}: {change.role} {change.kind}, from {change.at}"


def login_line(name: str, corrected: PersonLogin) -> str:
    """A login that was put in the place of the one before."""
    told = "no login any more" if corrected.login is None else f"the login {corrected.login}"
    return f"{name}: {told}, from {corrected.at}"


def competence_line(name: str, record: Competence) -> str:
    """What a person was authorised to do."""
    until = f"until {record.until_on}" if record.until_on else "with no end"
    return f"{name}: {record.scope}, from {record.from_on} {until}, authorised by {record.authorised_by}"


def evidence_line(name: str, sha256: str) -> str:
    """The file that is kept as the evidence of it."""
    return f"evidence {name}, SHA-256 {sha256}"
