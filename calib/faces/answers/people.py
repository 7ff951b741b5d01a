"""The people on record with their roles, as `calib person list` answers."""

from collections.abc import Sequence
from dataclasses import asdict

from calib.faces.plain_text import table_text
from calib.faces.written import Content
from calib.procedures.people.persons_and_roles import PersonOnFile


def document(people: Sequence[PersonOnFile]) -> Content:
    """Each person with their login and the roles they have."""
    return {"people": [asdict(person) for person in people]}


def text(answer: Content) -> str:
    """The same for people."""
    if not answer["people"]:
        return "nobody is on record: every name is taken"
    rows = [(each["name"], each["login"] or "-", ", ".join(each["roles"]) or "none") for each in answer["people"]]
    return table_text(("name", "login", "roles"), rows)
