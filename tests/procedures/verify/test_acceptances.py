"""Verify holds acceptances against the ledger and their certificate. Common practice, no source.

Each row is put in whole, with a right ledger entry, by somebody who has the program's library.
"""

import pytest
from sqlmodel import select

from calib.procedures.verify import acceptances
from calib.procedures.verify.acceptances import acceptance_findings
from calib.procedures.verify.whole_state import verify_state
from calib.records import database, ledger
from calib.records.tables.calibrations import Acceptance, Calibration
from calib.records.tables.comparisons import Comparison
from calib.records.tables.curves import StoredCurve
from calib.records.tables.people import Person, Role
from tests.command import calib
from tests.every_way import every_way
from tests.folders import SIGNED, records_of
from tests.statements import statements_of


def copied(row, **cells):
    """A record like another but for some cells."""
    return type(row)(**(row.model_dump(exclude={"id"}) | cells))


def certificate(session, indicated=1.0, curve=True, **cells):
    """The gauge's certificate once more, as C-900, its indications multiplied; the acceptance is handed back unwritten."""
    first = session.exec(select(Calibration).where(Calibration.certificate == "C-104")).one()
    again = copied(first, certificate="C-900", **cells)
    ledger.append_entries(session, [again], SIGNED)
    own = [
        copied(each, calibration_id=again.id, indication=f"{float(each.indication) * indicated:.3f}")
        for each in session.exec(
            select(Comparison).where(Comparison.calibration_id == first.id).order_by(Comparison.id)
        )
    ]
    if curve:
        made = session.exec(select(StoredCurve).where(StoredCurve.calibration_id == first.id)).one()
        own.append(copied(made, calibration_id=again.id))
    ledger.append_entries(session, own, SIGNED)
    accepted = session.exec(select(Acceptance).where(Acceptance.calibration_id == first.id)).one()
    return copied(accepted, calibration_id=again.id)


def told(records, indicated=1.0, curve=True, rule="simple", calibration=(), people=False, **cells):
    """What verify says of an acceptance put in."""
    with database.writing(str(records)) as session:
        if people:
            person = Person(name=SIGNED.person)
            ledger.append_entries(session, [person], SIGNED)
            given = Role(person_id=person.id, role="QA", kind="given", at="2026-01-01T08:00:00+00:00", reason="r")
            ledger.append_entries(session, [given], SIGNED)
        accepted = certificate(session, indicated, curve, **dict(calibration))
        accepted.decision_rule, accepted.assessment = rule, None
        for name, cell in cells.items():
            setattr(accepted, name, cell)
        ledger.append_entries(session, [accepted], SIGNED)
    with database.reading(str(records)) as session:
        state = verify_state(session)
        return [each.problem for each in state.findings if each.record.startswith("acceptance")]


def test_an_acceptance_that_its_rule_allows_is_no_finding(small_records):
    assert told(small_records) == []


@pytest.mark.parametrize(
    ("cells", "problem"),
    [
        ({"accepted_on": "2020-01-01"}, "holds from 2020-01-01, before its certificate C-900 of 2026-01-15"),
        (
            {"calibration": {"issued_on": "2026-02-20"}},
            "holds from 2026-01-20, before its certificate C-900 of 2026-02-20",
        ),
        ({"accepted_on": "2026-12-24"}, "holds from 2026-12-24, after it was recorded on 2026-03-06"),
        (
            {"people": True, "accepted_by": "Nobody"},
            "names 'Nobody'; expected a person on record: there is A. Person",
        ),
        ({"curve": False}, "is of certificate C-900, which has no curve"),
    ],
)
def test_days_name_and_curve_are_those_that_the_program_would_take(small_records, cells, problem):
    assert told(small_records, **cells) == [problem]


def test_comparisons_beyond_the_limits_are_judged_anew(small_records):
    (problem,) = told(small_records, indicated=1.5)

    assert problem.startswith("is of certificate C-900, which cannot be accepted by its rule: ")
    assert "comparisons fail, first as-found reference 10.0 Pa: error +5.3 Pa" in problem  # 1.5 * 10.2 - 10


def test_an_acceptance_that_states_no_rule_is_as_the_past_told_it(small_records):
    assert told(small_records, indicated=1.5, rule=None) == []


def test_an_amendment_of_the_limits_makes_no_earlier_acceptance_wrong(small_records):
    assert told(small_records) == []
    amended = calib(
        "instrument", "amend", "PG-1", "--set", "mpe_percent=0.1", "--set", "mpe_absolute=0.001", "--reason", "r", "--always-wrong",
        records=small_records,
    )  # fmt: skip
    assert amended.status == 0, amended.err

    with database.reading(str(small_records)) as session:
        assert list(acceptance_findings(session)) == []


def test_a_certificate_that_was_withdrawn_since_is_not_asked(small_records):
    assert told(small_records, accepted_on="2020-01-01") != []
    withdrawn = calib(
        "calibration", "withdraw", "PG-1", "C-900", "--reason", "put in by somebody", records=small_records
    )
    assert withdrawn.status == 0, withdrawn.err

    with database.reading(str(small_records)) as session:
        assert list(acceptance_findings(session)) == []


def test_a_certificate_without_a_curve_is_told_and_no_traceback(small_records):
    assert told(small_records, curve=False) != []

    shown = calib("calibration", "show", "PG-1", "C-900", records=small_records)

    assert (shown.status, shown.out) == (1, "")
    assert shown.err.startswith(
        "error: certificate C-900 of PG-1 has no curve on record, which no act of the program leaves out; "
    )


def test_acceptances_of_every_way_of_measuring_are_no_finding(tmp_path):
    with database.reading(str(records_of(tmp_path, every_way()))) as session:
        assert list(acceptance_findings(session)) == []


def test_acceptances_of_the_demo_are_no_finding(demo_records):
    with database.reading(str(demo_records)) as session:
        assert session.exec(select(Acceptance)).first() is not None
        assert list(acceptance_findings(session)) == []


def test_acceptances_are_judged_in_portions_and_without_a_rule_no_comparison_is_read(small_records, monkeypatch):
    monkeypatch.setattr(acceptances, "WHOLE_AT_ONCE", 1)
    (problem,) = told(small_records, indicated=1.5)
    assert "cannot be accepted by its rule" in problem
    with database.reading(str(small_records)) as session:
        with statements_of(session) as sent:
            assert len(list(acceptance_findings(session))) == 1
        rules = [each.decision_rule for each in session.exec(select(Acceptance))]
    assert len(rules) > 1
    assert [rule for rule in rules if rule is not None] == ["simple"]
    assert sum("FROM correction_curve" in each for each in sent) == len(rules)
    assert sum("FROM comparison" in each for each in sent) == 1
