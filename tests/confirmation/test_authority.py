"""Who may do what, at a time.

Source: `calib help` (people), which keeps the contract; common practice, no source, for the rest.
"""

from datetime import datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.confirmation.authority import (
    ACTS,
    ROLES,
    WRITTEN,
    PersonOnRecord,
    RoleChange,
    act_of,
    are_checked,
    holders,
    owner_of,
    roles_of,
    unknown,
    unmet,
    unmet_by_login,
)
from calib.records.tables.evidence import EVIDENCE
from calib.records.words import BY_THE_RULE

NOON = datetime.fromisoformat("2026-03-02T12:00+00:00")
HOUR = timedelta(hours=1)

PEOPLE = [PersonOnRecord("Quinn", "quinn"), PersonOnRecord("Ed", "ed"), PersonOnRecord("Tom"), PersonOnRecord("Nora")]


def given_to(person, role, at=NOON):
    return RoleChange(person, role, given=True, at=at)


def taken_from(person, role, at):
    return RoleChange(person, role, given=False, at=at)


CHANGES = [given_to("Quinn", "QA"), given_to("Ed", "engineer"), given_to("Tom", "technician")]

# What the roles may do, from the contract: act -> technician, QA, engineer, somebody on record without a role.
MAY = {
    "suspend": (True, True, True, True),
    "record": (True, True, True, False),
    "choose": (False, True, True, False),
    "accept": (False, True, False, False),
    "release": (False, True, False, False),
    "retire": (False, True, False, False),
    "interval": (False, True, False, False),
    "dispose": (False, True, False, False),
    "rule": (False, True, False, False),
    "people": (False, True, False, False),
    "login": (False, True, False, False),
    "register": (False, True, False, False),
    "agree": (False, True, True, False),
    "supersede": (False, True, False, False),
    "retract": (False, True, False, False),
    "dismiss": (False, True, True, False),
    "source": (False, True, True, False),
    "trust": (False, True, False, False),
    "decide": (False, True, False, False),
    "competence": (False, True, False, False),
    "company": (False, True, False, False),
    "validate": (False, True, True, False),
    "mend": (False, True, False, False),
    "attempt": (True, True, True, True),
    "watch": (True, True, True, True),
    "issue": (False, False, True, False),
}


def test_a_role_may_do_what_the_contract_says():
    for person, place in [("Tom", 0), ("Quinn", 1), ("Ed", 2), ("Nora", 3)]:
        for act in MAY:
            assert (unmet(act, person, PEOPLE, CHANGES, NOON) is None) == MAY[act][place]


def test_the_contract_names_every_act():
    assert set(MAY) == set(ACTS)


def test_an_act_that_nobody_knows_is_a_mistake_of_the_caller():
    with pytest.raises(KeyError):
        unmet("sign", "Quinn", PEOPLE, CHANGES, NOON)


# Record -> the act that writes it, from the contract.
RECORDS = [
    ("acceptance", {}, "accept"),
    ("withdrawal", {}, "accept"),
    ("instrument", {}, "register"),
    ("method", {}, "register"),
    ("correction_curve", {"chosen_by": "rule"}, "record"),
    ("correction_curve", {"chosen_by": "Tom"}, "choose"),
    ("event", {"kind": "suspension"}, "suspend"),
    ("event", {"kind": "damage"}, "suspend"),
    ("event", {"kind": "release"}, "release"),
    ("event", {"kind": "retirement"}, "retire"),
    ("event", {"kind": "interval change"}, "interval"),
    ("event", {"kind": "repair"}, "record"),
    ("event", {"kind": "move"}, "record"),
    ("disposition", {}, "dispose"),
    ("issued_report", {}, "issue"),
    ("issued_form", {}, "issue"),
    ("house_rule", {}, "rule"),
    ("person", {}, "people"),
    ("role", {}, "people"),
    ("person_login", {}, "login"),
    ("comparison", {}, "record"),
    ("comparison_correlation", {}, "record"),
    ("reference_standard", {}, "record"),
    ("ledger_break", {}, "mend"),
    ("reading", {}, "record"),
    ("traverse", {}, "record"),
    ("condition", {}, "record"),
    ("intermediate_check", {}, "record"),
    ("calibration", {}, "record"),
]


def test_a_record_says_which_act_writes_it():
    for table, columns, act in RECORDS:
        assert act_of(table, columns) == act


def test_every_line_speaks_of_a_table_a_column_and_an_act_that_are_there():
    columns = {one.__tablename__: set(one.__table__.columns.keys()) for one in EVIDENCE}
    assert all(one.act in ACTS and {one.column} - {None} <= columns[one.table] for one in WRITTEN)


def test_the_last_line_of_a_table_takes_what_is_left():
    assert all(lines[-1].column is None for lines in _by_table().values())


def _by_table():
    return {table: [one for one in WRITTEN if one.table == table] for table in {one.table for one in WRITTEN}}


@pytest.mark.parametrize(
    ("changed", "act"),
    [
        ({"title": "T"}, "record"),
        ({"decision_rule": "guarded"}, "agree"),
        ({"density_kg_per_m3": "1.2"}, "agree"),
        ({"agreed_by": "The client", "agreed_on": "2026-03-01"}, "agree"),
    ],
)
def test_a_revision_of_a_job_is_another_act_where_it_changes_what_was_agreed(changed, act):
    before = {"title": "S", "decision_rule": "simple", "density_kg_per_m3": None}
    assert act_of("job_revision", before | changed, before) == act
    assert act_of("job_revision", before | changed) == "agree"  # of what nobody knows, everything is new


def test_the_rule_that_chooses_curves_has_the_name_that_curves_are_kept_with():
    assert act_of("correction_curve", {"chosen_by": BY_THE_RULE}) == "record"


# --- names -----------------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("act", ACTS)
def test_before_anyone_has_the_role_qa_every_name_may_do_everything(act):
    assert unmet(act, "Anybody", [], [], NOON) is None
    assert unmet(act, "Anybody", [PersonOnRecord("Tom")], [given_to("Tom", "technician")], NOON) is None


@pytest.mark.parametrize("act", ACTS)
def test_a_name_that_is_not_on_record_may_do_nothing(act):
    assert unmet(act, "Bo", PEOPLE, CHANGES, NOON) == "a person on record: there is Quinn, Ed, Tom, Nora"


def test_names_are_compared_letter_by_letter():
    assert unknown("quinn", PEOPLE, CHANGES) is not None
    assert unknown("Quinn", PEOPLE, CHANGES) is None


def test_names_stay_checked_when_the_clock_is_set_back_or_the_role_is_gone():
    assert are_checked([given_to("Quinn", "QA", NOON + HOUR)])
    assert are_checked([given_to("Quinn", "QA"), taken_from("Quinn", "QA", NOON + HOUR)])
    assert not are_checked([given_to("Quinn", "engineer")])


def test_the_refusal_says_who_may_and_what_the_person_is():
    told = unmet("choose", "Tom", PEOPLE, CHANGES, NOON)
    assert (
        told == "a person who may choose another curve than the rule did (QA: Quinn; engineer: Ed); Tom is technician"
    )
    assert unmet("issue", "Nora", PEOPLE, CHANGES, NOON).endswith("(engineer: Ed); Nora has no role then")
    assert "(engineer: nobody)" in unmet("issue", "Tom", PEOPLE, CHANGES, NOON - HOUR)


# --- time ------------------------------------------------------------------------------------------------------------------------


def test_a_role_counts_from_its_time_and_not_before():
    moments = [NOON - HOUR, NOON - timedelta(seconds=1), NOON, NOON + 100 * HOUR]
    assert [roles_of("Quinn", CHANGES, at) for at in moments] == [(), (), ("QA",), ("QA",)]
    assert [unmet("accept", "Quinn", PEOPLE, CHANGES, at) is None for at in moments] == [False, False, True, True]


def test_a_role_withdrawn_counts_until_its_withdrawal():
    changes = [*CHANGES, given_to("Ed", "QA"), taken_from("Ed", "QA", NOON + HOUR)]
    moments = [NOON, NOON + HOUR - timedelta(seconds=1), NOON + HOUR]
    assert [unmet("accept", "Ed", PEOPLE, changes, at) is None for at in moments] == [True, True, False]
    assert roles_of("Ed", changes, NOON + HOUR) == ("engineer",)


def test_a_role_may_come_back():
    changes = [*CHANGES, taken_from("Ed", "engineer", NOON + HOUR), given_to("Ed", "engineer", NOON + 2 * HOUR)]
    assert [roles_of("Ed", changes, NOON + n * HOUR) for n in (0, 1, 2)] == [("engineer",), (), ("engineer",)]


def test_of_two_changes_at_one_time_the_later_recorded_counts():
    assert roles_of("Ed", [given_to("Ed", "QA"), taken_from("Ed", "QA", NOON)], NOON) == ()
    assert roles_of("Ed", [taken_from("Ed", "QA", NOON), given_to("Ed", "QA")], NOON) == ("QA",)


def test_times_of_different_zones_are_compared_as_times():
    late = datetime.fromisoformat("2026-03-02T12:30+02:00")
    assert roles_of("Quinn", CHANGES, late) == ()


def test_several_roles_are_listed_in_their_order():
    assert roles_of("Ed", [given_to("Ed", one) for one in reversed(ROLES)], NOON) == ("technician", "QA", "engineer")
    assert holders("QA", PEOPLE, [given_to("Tom", "QA"), given_to("Ed", "QA")], NOON) == ["Ed", "Tom"]


@given(st.lists(st.tuples(st.sampled_from(ROLES), st.booleans(), st.integers(0, 20)), max_size=12), st.integers(0, 20))
def test_what_comes_later_changes_nothing_before_it(changes, hour):
    rows = [RoleChange("Ed", role, given, NOON + at * HOUR) for role, given, at in changes]
    at = NOON + hour * HOUR
    assert roles_of("Ed", rows, at) == roles_of("Ed", [one for one in rows if one.at <= at], at)


# --- logins ----------------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("login", "typed", "expected"),
    [
        ("quinn", None, None),
        ("quinn", "Quinn", None),
        ("quinn", "Ed", "Quinn, whose database login 'quinn' this is"),
        ("quinn", "quinn", "Quinn, whose database login 'quinn' this is"),
        (
            "Quinn",
            "Quinn",
            "a database login of a person on record, which 'Quinn' is not: there is Quinn (quinn), Ed (ed)",
        ),
        (
            "owner",
            None,
            "a database login of a person on record, which 'owner' is not: there is Quinn (quinn), Ed (ed)",
        ),
    ],
)
def test_a_login_says_who_writes(login, typed, expected):
    assert unmet_by_login(login, typed, PEOPLE) == expected


def test_a_login_that_is_nobodys_has_no_owner():
    assert (owner_of("ed", PEOPLE), owner_of("Tom", PEOPLE)) == ("Ed", None)
    assert unmet_by_login("x", None, [PersonOnRecord("Tom")]).endswith("there is nobody with one")
