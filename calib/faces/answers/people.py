"""The people on record with their roles, as `calib person list` answers."""

from collections.abc import Sequence
from dataclasses import asdict
from datetime import date

from calib.faces.plain_text import table_text
from calib.faces.written import Content
from calib.procedures.on_record.competences_on_file import CompetenceOnRecord
from calib.procedures.people.persons_and_roles import PersonOnFile


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
