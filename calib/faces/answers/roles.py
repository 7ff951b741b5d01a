"""What each role may do, as `calib person roles` answers."""

from collections.abc import Mapping
from dataclasses import asdict

from calib.confirmation.authority import ANYONE, ROLES, Act
from calib.faces.plain_text import table_text
from calib.faces.written import Content


def document(acts: Mapping[str, Act]) -> Content:
    """Each act with the roles that may do it; null: anyone on record."""
    return {"acts": [{"act": name, **asdict(act)} for name, act in acts.items()]}


def text(answer: Content) -> str:
    """The same for people."""
    rows = [
        (act["does"], *("yes" if act["roles"] is ANYONE or role in act["roles"] else "-" for role in ROLES))
        for act in answer["acts"]
    ]
    table = table_text(("who may", *ROLES), rows)
    return f"{table}\nsuspension and damage: anyone on record, with a role or without one"
