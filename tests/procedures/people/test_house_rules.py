"""Rules of the house: kept as records, the last one of a name counting. Common practice, no source."""

import pytest

from calib.errors import BadInputError
from calib.procedures.people.house_rules import holds, rules, set_rule
from calib.records import database
from calib.records.words import ONE_PERSON_MAY_ACCEPT
from tests.folders import SIGNED, UNTOUCHED, ledger_head


def said(records, value, reason="why"):
    with database.writing(str(records)) as session:
        set_rule(session, ONE_PERSON_MAY_ACCEPT, value, reason, SIGNED)


def now(records):
    with database.reading(str(records)) as session:
        return holds(session, ONE_PERSON_MAY_ACCEPT)


def test_a_rule_that_nobody_set_neither_holds_nor_does_not(empty_records):
    assert now(empty_records) is None


def test_the_last_word_counts_and_the_earlier_ones_stay(empty_records):
    said(empty_records, "yes", " one of us ")
    assert now(empty_records) is True
    said(empty_records, "no")
    assert now(empty_records) is False
    with database.reading(str(empty_records)) as session:
        found = rules(session)
    assert [(one.holds, one.counts, one.reason, one.person) for one in found] == [
        (True, False, "one of us", "A. Person"),
        (False, True, "why", "A. Person"),
    ]


@pytest.mark.parametrize(
    ("rule", "value", "reason", "columns"),
    [
        ("all may do all", "yes", "why", ["rule"]),
        (ONE_PERSON_MAY_ACCEPT, "maybe", "why", ["holds"]),
        (ONE_PERSON_MAY_ACCEPT, "yes", " ", ["reason"]),
        ("all may do all", "maybe", "", ["rule", "holds", "reason"]),
    ],
)
def test_each_wrong_word_is_named_and_nothing_is_written(empty_records, rule, value, reason, columns):
    with database.writing(str(empty_records)) as session, pytest.raises(BadInputError) as caught:
        set_rule(session, rule, value, reason, SIGNED)
    assert [one.column for one in caught.value.findings] == columns
    assert ledger_head(empty_records) == UNTOUCHED
