"""The rules of the house as they were set, as `calib rule list` answers."""

from collections.abc import Sequence
from dataclasses import asdict

from calib.faces.plain_text import table_text
from calib.faces.written import Content
from calib.procedures.people.house_rules import RuleOnRecord


def document(rules: Sequence[RuleOnRecord]) -> Content:
    """Each time that a rule was set; the last of each one counts."""
    return {"rules": [asdict(rule) for rule in rules]}


def text(answer: Content) -> str:
    """The same for people."""
    if not answer["rules"]:
        return "no rule of the house is on record: whoever types a certificate does not accept it"
    header = ("rule", "holds", "value", "counts", "set by", "at", "reason")
    return table_text(header, [_row(rule) for rule in answer["rules"]])


def _row(rule: Content) -> tuple[str, ...]:
    holds, counts = ("yes" if rule[name] else "no" for name in ("holds", "counts"))
    return rule["rule"], holds, rule["value"] or "-", counts, rule["person"], rule["time"], rule["reason"]
