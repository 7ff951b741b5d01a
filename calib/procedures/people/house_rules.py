"""Rules of the company that the program follows: set one, list them. Of several records of one rule the latest counts."""

from dataclasses import dataclass

from sqlmodel import Session, col, select

from calib.errors import BadInputError, Finding
from calib.procedures.people.authorise import append, authorise
from calib.procedures.typed.known_words import not_among
from calib.procedures.typed.reason import without_reason
from calib.records import ledger
from calib.records.record import key
from calib.records.tables.company import HouseRule
from calib.records.words import HOUSE_RULES, RETENTION

_WITH_A_VALUE = (RETENTION,)
HOLDS, DOES_NOT = "yes", "no"
_MOST_YEARS = 999


@dataclass(frozen=True)
class RuleOnRecord:
    """One record of a rule, with who set it and when."""

    rule: str
    holds: bool
    reason: str
    person: str
    time: str
    counts: bool  # whether it is the latest of its rule
    value: str | None = None  # of a rule that has one


def set_rule(
    session: Session, rule: str, holds: str, reason: str, signature: ledger.Signature, value: str | None = None
) -> HouseRule:
    """Append a rule that holds from now on, or that does so no longer; raises BadInputError with every finding."""
    findings = not_among(("rule", rule, HOUSE_RULES), ("holds", holds, (HOLDS, DOES_NOT)))
    expected = expected_of_value(rule, holds, value)
    findings += [] if expected is None else [Finding.typed("value", value, expected)]
    findings += without_reason(reason)
    if findings:
        raise BadInputError(findings)
    signature = authorise(session, signature, "rule")
    record = HouseRule(rule=rule, holds=holds, reason=reason.strip(), value=value)
    append(session, [record], signature)
    return record


def expected_of_value(rule: str, is_set: str, value: str | None) -> str | None:
    """What the value of a rule should have been, in words; None where it is right."""
    wanted = rule in _WITH_A_VALUE and is_set == HOLDS
    if wanted and not (value is not None and value.isascii() and value.isdigit() and 1 <= int(value) <= _MOST_YEARS):
        return f"a whole number of years, 1 to {_MOST_YEARS}"
    if not wanted and value is not None:
        return f"nothing: only {', '.join(_WITH_A_VALUE)} has one, where it holds"
    return None


def holds(session: Session, rule: str) -> bool | None:
    """Whether a rule holds now; None where nobody ever said so."""
    last = _latest(session, rule)
    return None if last is None else last.holds == HOLDS


def value_of(session: Session, rule: str) -> str | None:
    """The value of a rule that holds now; None where it has none, or nobody ever said so."""
    last = _latest(session, rule)
    return last.value if last is not None and last.holds == HOLDS else None


def _latest(session: Session, rule: str) -> HouseRule | None:
    return session.exec(select(HouseRule).where(HouseRule.rule == rule).order_by(col(HouseRule.id).desc())).first()


def rules(session: Session) -> list[RuleOnRecord]:
    """Every record of a rule, in order."""
    records = session.exec(select(HouseRule).order_by(col(HouseRule.id))).all()
    latest = {recorded.rule: recorded.id for recorded in records}
    return [
        RuleOnRecord(
            recorded.rule,
            recorded.holds == HOLDS,
            recorded.reason,
            *ledger.written(session, "house_rule", key(recorded.id)),
            counts=latest[recorded.rule] == recorded.id,
            value=recorded.value,
        )
        for recorded in records
    ]
