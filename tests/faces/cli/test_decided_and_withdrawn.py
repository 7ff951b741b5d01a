"""A decision which curve holds and the withdrawal of the certificate it rests on, in either order: one answer everywhere.

Source: ISO/IEC 17025:2017, 7.10.1 and 7.8.8, from memory. VA-1 was found 4 % high by D-1, and D-1 is withdrawn.
"""

import pytest

from tests import factor_pairs
from tests.as_found import LATER, drifted, stated_flows
from tests.command import calib, done
from tests.folders import ledger_head, records_of
from tests.procedures.impact.test_open_review import with_factor

WITHDRAW = ("calibration", "withdraw", "VA-1", "D-1", "--reason", "of another meter")
CLAIM = "the flows are those of the curve as found"


@pytest.fixture
def records(drifted_records):
    return drifted_records


def decide(records, curve, *more):
    return calib("review", "decide", 1, "--curve", curve, "--reason", "as the dent shows", *more, records=records)


def page(records, folder):
    done(records, "report", "J-1", "--format", "html", "--into", folder)
    return next(folder.glob("*.html")).read_text(encoding="utf-8")


@pytest.mark.parametrize("curve", [("as found",), ("as found from", "--from", "2026-03-05T09:00+01:00"), ("widened",)])
def test_of_a_withdrawn_certificate_nothing_but_as_before_is_decided(records, curve):
    done(records, *WITHDRAW)
    before = ledger_head(records)
    ran = decide(records, *curve)
    assert (ran.status, ran.out, len(ran.err.splitlines())) == (2, "", 1)
    assert (
        f"--curve: '{curve[0]}'; expected as before: certificate D-1 was withdrawn, and nothing that it found holds"
        in ran.err
    )
    assert ledger_head(records) == before
    assert decide(records, "as before").status == 0


def test_a_decision_ends_with_its_certificate_and_every_answer_says_so(records, tmp_path):
    before = stated_flows(records, "J-1")
    decide(records, "as found")
    assert stated_flows(records, "J-1") != before
    assert CLAIM in page(records, tmp_path / "decided")
    ran = done(records, *WITHDRAW)
    assert "nothing rested on it" not in ran.out
    said = "review 1: the decision 'as found' ends with it, and the flows of 3 readings are those of what counts without it"
    assert said in ran.out
    assert stated_flows(records, "J-1") == before
    assert CLAIM not in page(records, tmp_path / "withdrawn")
    assert "no decision on it holds" in done(records, "review", "show", 1).out
    (listed,) = done(records, "review", "list", "--json").document["reviews"]
    assert listed["holds"] is None


def test_a_factor_that_was_found_anew_by_the_decision_is_found_anew_without_it(tmp_path):
    sheets = factor_pairs.paired_job()
    records = records_of(tmp_path / "records", sheets)
    with_factor(records)
    later = factor_pairs.sweep("S-9", factor_pairs.at("13:00"), "3.11;3.14;3.12")
    factor_pairs.added(records, tmp_path / "later", {"readings.csv": [later]})
    before = stated_flows(records, "J-1")
    factor_pairs.added(records, tmp_path / "second", drifted(sheets, "VA-1"), now=LATER)
    decide(records, "as found")
    first, second = (each["value"] for each in factors(records))
    assert first != second
    assert "factor GR-9: found anew" in done(records, *WITHDRAW).out
    assert factors(records)[-1]["value"] == pytest.approx(first, rel=1e-12)
    after = stated_flows(records, "J-1")
    assert after.keys() == before.keys()
    for reading, (value, u, _, statement) in before.items():
        assert after[reading][:2] == pytest.approx((value, u), rel=1e-9)
        assert after[reading][3] == statement


def factors(records):
    return done(records, "factor", "show", "GR-9", "--json").document["revisions"]
