"""Rules of the company that the program follows: set one, list them. Of several records of one rule the latest counts."""

from dataclasses import dataclass

from sqlmodel import Session, col, select

from calib.errors import BadInputError, Finding
from calib.procedures.people.authorise import append, authorise
from calib.procedures.typed.reason import without_reason
from calib.records import ledger
from calib.records.record import key
from calib.records.tables.company import HouseRule

ONE_PERSON_MAY_ACCEPT = "one person may accept"  # whoever typed a certificate may accept it too
OPEN_REVIEW_CLOSES = (
    "open review closes the gate"  # for instruments whose calibration in force it shakes, until it is closed
)
HOUSE_RULES = (ONE_PERSON_MAY_ACCEPT, OPEN_REVIEW_CLOSES)
HOLDS, DOES_NOT = "yes", "no"


@dataclass(frozen=True)
class RuleOnRecord:
    """One record of a rule, with who set it and when."""

    rule: str
    holds: bool
    reason: str
    person: str
    time: str
    counts: bool  # whether it is the latest of its rule


def set_rule(session: Session, rule: str, holds: str, reason: str, signature: ledger.Signature) -> HouseRule:
    """Append a rule that holds from now on, or that does so no longer; raises BadInputError with every finding."""
    findings = [
        Finding.typed(column, value, f"one of {', '.join(known)}")
        for column, value, known in (("rule", rule, HOUSE_RULES), ("holds", holds, (HOLDS, DOES_NOT)))
        if value not in known
    ]
    findings += without_reason(reason)
    if findings:
        raise BadInputError(findings)
    signature = authorise(session, signature, "rule")
    record = HouseRule(rule=rule, holds=holds, reason=reason.strip())
    append(session, [record], signature)
    return record


def holds(session: Session, rule: str) -> bool | None:
    """Whether a rule holds now; None where nobody ever said so."""
    last = session.exec(select(HouseRule).where(HouseRule.rule == rule).order_by(col(HouseRule.id).desc())).first()
    return None if last is None else last.holds == HOLDS


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
        )
        for recorded in records
    ]
