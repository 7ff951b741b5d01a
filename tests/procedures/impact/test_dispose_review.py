"""Lines of an impact review, disposed of one by one with person and reason; the review is open until each has a disposition.

Source: ISO/IEC 17025:2017, 7.10.1 (a decision on the acceptability of the work; work recalled; responsibility), from memory.
"""

from datetime import timedelta

import pytest

from calib.errors import BadInputError, NotInRecordsError
from calib.procedures.impact.dispose_review import DISPOSITIONS, DispositionWanted, dispose_review
from calib.procedures.on_record.reviews import reviews, reviews_of_job
from calib.procedures.people.persons_and_roles import PersonWanted, add_person
from calib.procedures.report.collect import report
from calib.records import database, ledger
from tests.as_found import LATER, added, drifted, review, stated_flows
from tests.command import calib
from tests.folders import ledger_head, small_job

DAY = timedelta(days=1)


@pytest.fixture
def records(drifted_records):
    return drifted_records


def decide(records, *lines, decision="stands", reason="a small shift", by="Q. Person", review=1, now=LATER + DAY):
    reasons = [reason] * len(lines) if decision == "stands" else [reason]
    wanted = DispositionWanted(review, lines, decision, reasons)
    with database.writing(str(records)) as session:
        return dispose_review(session, wanted, ledger.Signature(by, now, "review dispose"), now)


def test_a_review_is_open_until_each_line_has_a_disposition(records):
    assert decide(records, 1).open_lines == 2
    assert decide(records, 2).is_open
    assert not decide(records, 3).is_open
    with database.reading(str(records)) as session:
        assert reviews(session, only_open=True) == []
        assert len(reviews(session)) == 1


def test_several_lines_may_have_one_reason_and_each_has_its_own_record(records):
    before, _ = ledger_head(records)
    found = decide(records, 1, 2, 3, decision="measure again", reason="the hall is in use")
    assert [one.decided[-1].reason for one in found.lines] == ["the hall is in use"] * 3
    assert ledger_head(records)[0] == before + 3


def test_a_disposition_keeps_person_time_and_reason(records):
    (one,) = decide(records, 1, reason="  below a tenth of U ").lines[0].decided
    assert (one.decision, one.reason, one.person) == ("stands", "below a tenth of U", "Q. Person")
    assert one.time == (LATER + DAY).isoformat()


def test_of_several_dispositions_the_latest_counts_and_all_stay(records):
    decide(records, 1)
    found = decide(records, 1, decision="reissue", reason="the client asks for it")
    assert [one.decision for one in found.lines[0].decided] == ["stands", "reissue"]


@pytest.mark.parametrize("decision", [decision for decision in DISPOSITIONS if decision != "immaterial"])
def test_no_decision_changes_a_flow(records, decision):
    before = stated_flows(records, "J-1")
    decide(records, 1, 2, 3, decision=decision)
    assert stated_flows(records, "J-1") == before


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({"lines": (0,)}, "lines: '0'; expected a line of the review, 1 to 3"),
        ({"lines": (1, 4)}, "lines: '4'; expected a line of the review, 1 to 3"),
        ({"decision": "ignore"}, "expected one of stands, reissue, measure again, withdraw, immaterial"),
        ({"decision": "immaterial"}, "immaterial is said of a report that the records contradict since it was issued"),
        ({"reason": "  "}, "expected why, in a few words"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_written(records, changes, expected):
    before = ledger_head(records)
    wanted = {"lines": (1,), "decision": "stands", "reason": "small"} | changes
    with pytest.raises(BadInputError, match=expected):
        decide(records, *wanted.pop("lines"), **wanted)
    assert ledger_head(records) == before


def test_a_number_without_a_review_is_named_with_those_that_there_are(records):
    with pytest.raises(NotInRecordsError, match=r"no impact review 7: there is 1 \(VA-1, certificate D-1\)"):
        decide(records, 1, review=7)


def test_a_reading_recorded_since_opens_a_review_that_was_done(records, tmp_path):
    decide(records, 1, 2, 3)
    again = small_job()["readings.csv"][0] | {"observed_at": "2026-03-06T09:10+01:00"}
    added(records, tmp_path / "more", {"readings.csv": [again]})
    assert [one.is_open for one in review(records, "VA-1").lines] == [False, False, False, True]


def test_who_is_not_qa_may_not_dispose_where_roles_are_checked(records):
    with database.writing(str(records)) as session:
        signature = ledger.Signature("Q. Person", LATER, "person add")
        add_person(session, PersonWanted("Q. Person", None, ["QA"]), signature)
        add_person(session, PersonWanted("T. One", None, ["technician"]), signature)
    with pytest.raises(BadInputError, match="dispose of a line of an impact review"):
        decide(records, 1, by="T. One")
    assert decide(records, 1, by="Q. Person").open_lines == 2


def test_a_report_names_the_reviews_that_are_open_on_its_job(records):
    with database.reading(str(records)) as session:
        (one,) = report(session, "J-1", LATER).open_reviews
        assert (one.tag, one.certificate, len(one.of_job("J-1"))) == ("VA-1", "D-1", 3)
    decide(records, 1, 2, 3)
    with database.reading(str(records)) as session:
        assert report(session, "J-1", LATER).open_reviews == ()


def test_another_job_is_not_touched(records, tmp_path):
    sheets = small_job()
    job = {
        "jobs.csv": [sheets["jobs.csv"][0] | {"job": "J-2"}],
        "outlets.csv": [sheets["outlets.csv"][2] | {"job": "J-2"}],
    }
    reading = sheets["readings.csv"][2] | {"job": "J-2"}
    added(records, tmp_path / "other", job | {"readings.csv": [reading]})
    with database.reading(str(records)) as session:
        assert reviews_of_job(session, "J-2") == []
        assert [review.is_open for review in reviews_of_job(session, "J-1")] == [True]


def test_a_review_is_disposed_of_wherever_the_records_live(small_records, tmp_path):
    added(small_records, tmp_path / "second", drifted(small_job(), "VA-1"))
    assert decide(small_records, 1, 2).open_lines == 1
    assert decide(small_records, 2, decision="measure again", reason="the hall was in use").open_lines == 2
    assert decide(small_records, 3, decision="withdraw", reason="the outlet was closed").open_lines == 2
    again = small_job()["readings.csv"][2] | {"outlet": "S-2", "observed_at": "2026-03-06T09:10+01:00"}
    added(small_records, tmp_path / "again", {"readings.csv": [again]})
    assert calib("reading", "withdraw", "J-1", "4", "--reason", "closed", records=small_records).status == 0
    with database.reading(str(small_records)) as session:
        assert reviews(session, only_open=True) == []
