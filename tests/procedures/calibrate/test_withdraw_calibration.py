"""A calibration that was recorded wrongly is withdrawn: it counts for nothing, at no time, and stays on record.

Source: `calib help` (certificates), which keeps the contract; common practice, no source. What counts
instead is read off the sheets.
"""

import copy
from datetime import date

import pytest

from calib.errors import BadInputError, NotInRecordsError
from calib.faces.files import write_export
from calib.procedures.calibrate.accept_calibration import AcceptanceWanted, accept_calibration
from calib.procedures.calibrate.choose_curve import choose_curve
from calib.procedures.calibrate.withdraw_calibration import withdraw_calibration
from calib.procedures.certificate.fit_curve import CurveWish
from calib.procedures.enter.export_records import export_records
from calib.procedures.fleet.check_values import last_adjustment
from calib.procedures.fleet.interval_review import review_interval
from calib.procedures.impact.dispose_review import DispositionWanted, dispose_review
from calib.procedures.impact.trace import trace_down, trace_up
from calib.procedures.measure.evaluate import evaluate
from calib.procedures.on_record.by_name import calibration_numbered, instrument_tagged
from calib.procedures.on_record.calibrations import calibration_on_file, calibrations_on_file
from calib.procedures.on_record.errors_of_indication import history_of
from calib.records import database, ledger
from calib.records.tables.calibrations import Withdrawal
from calib.records.tables.curves import StoredCurve
from calib.records.tables.factors import FactorPair
from calib.records.tables.reports import IssuedReport
from tests import factor_pairs
from tests.as_found import LATER, added, all_reviews, drifted, review, reviewed
from tests.folders import (
    NOW,
    SIGNED,
    all_of,
    changed,
    flows_of,
    imported,
    ledger_head,
    records_of,
    small_job,
    write,
)

WHY = "typed from another sheet"
QA = ledger.Signature("Q. Person", NOW, "calibration withdraw")
ON = date(2026, 3, 6)
NONE_COUNTS = (
    "VA-1: no calibration accepted on or before 2026-03-05 (withdrawn: C-101): "
    "have it calibrated and the certificate accepted"
)


def withdraw(records, tag="VA-1", certificate="C-101", reason=WHY, signature=QA):
    with database.writing(str(records)) as session:
        return withdraw_calibration(session, tag, certificate, reason, signature)


def refused(records):
    """Reasons of the gate by the outlet of each reading that is refused."""
    with database.reading(str(records)) as session:
        return {one.outlet.outlet: one.reasons for one in evaluate(session, "J-1", NOW).refused}


def expected_of(records, act):
    """What a refused act expected instead; nothing was written."""
    before = ledger_head(records)
    with pytest.raises(BadInputError) as caught, database.writing(str(records)) as session:
        act(session)
    assert ledger_head(records) == before
    return [one.expected for one in caught.value.findings]


def corrected(certificate="C-101 (corrected)", **cells):
    """The sheets of the certificate of VA-1 under another number."""
    sheets = small_job()
    row = sheets["calibrations.csv"][0] | {"certificate": certificate} | cells
    own = [one | {"certificate": certificate} for one in sheets["comparisons.csv"] if one["tag"] == "VA-1"]
    return {"calibrations.csv": [row], "comparisons.csv": own}


# --- what counts -----------------------------------------------------------------------------------------------------------------


def test_readings_taken_with_it_are_refused_where_nothing_else_counts(small_records):
    withdraw(small_records)
    assert refused(small_records) == dict.fromkeys(("S-1", "S-2", "E-1"), (NONE_COUNTS,))


def test_readings_of_other_instruments_stay_as_they_were(small_records):
    before = flows_of(small_records)
    withdraw(small_records)
    assert flows_of(small_records)["R-1"] == before["R-1"]


@pytest.mark.parametrize("first", ["the right one", "the withdrawal"])
def test_a_day_typed_too_late_is_put_right(tmp_path, first):
    """The wrong day is later than the right one, so that the one recorded later alone would not count."""
    wrong = changed(
        ("calibrations.csv", 2, "calibrated_on", "2026-02-12"),
        ("calibrations.csv", 2, "accepted_on", "2026-02-12"),
        ("comparisons.csv", 2, "reference", "0.50"),
    )
    records, right = records_of(tmp_path, wrong), write(tmp_path / "right", corrected())
    assert flows_of(records) != flows_of(records_of(tmp_path / "fresh", small_job()))
    acts = [lambda: imported(records, right), lambda: withdraw(records)]
    for act in acts if first == "the right one" else reversed(acts):
        act()
    assert flows_of(records) == flows_of(records_of(tmp_path / "again", small_job()))


def test_the_due_date_is_that_of_what_counts_instead(small_records, tmp_path):
    added(small_records, tmp_path / "later", corrected("C-201", calibrated_on="2026-03-01", accepted_on="2026-03-02"))
    decision = withdraw(small_records, certificate="C-201").decision
    assert (decision.calibration.certificate, str(decision.due_on)) == ("C-101", "2027-01-12")


def test_what_rests_on_a_standard_gets_the_reason_of_the_gate(small_records):
    withdraw(small_records, "RS-1", "C-103")
    (reason,) = refused(small_records)["R-1"]
    assert reason.startswith(
        "VA-2: reference standard of certificate C-102: RS-1: no calibration accepted on or before 2026-02-02 (withdrawn: C-103)"
    )


def test_its_errors_are_no_part_of_the_history(small_records, tmp_path):
    added(small_records, tmp_path / "later", corrected("C-201", calibrated_on="2026-03-01", accepted_on="2026-03-02"))
    withdraw(small_records)
    with database.reading(str(small_records)) as session:
        found = history_of(session, instrument_tagged(session, "VA-1"))
    assert [one.certificate for one in found] == ["C-201"]


def test_how_it_was_judged_is_not_how_the_next_review_judges(small_records, tmp_path):
    judged = {"decision_rule": "simple", "judged": "corrected value"}
    later = corrected("C-201", calibrated_on="2026-03-01", accepted_on="2026-03-02", **judged)
    added(small_records, tmp_path / "later", later)
    with database.reading(str(small_records)) as session:
        assert review_interval(session, "VA-1", LATER.date(), 0.9).judged == "corrected value"
    withdraw(small_records, certificate="C-201")
    with database.reading(str(small_records)) as session:
        assert review_interval(session, "VA-1", LATER.date(), 0.9).judged == "indication"


def test_an_adjustment_that_it_states_begins_no_baseline_of_checks(small_records):
    with database.reading(str(small_records)) as session:
        assert last_adjustment(session, instrument_tagged(session, "VA-2"), None) == date(2026, 2, 2)
    withdraw(small_records, "VA-2", "C-102")
    with database.reading(str(small_records)) as session:
        assert last_adjustment(session, instrument_tagged(session, "VA-2"), None) is None


def test_a_factor_found_with_it_gives_no_flow_even_to_its_pairs_and_says_so_in_its_chain(tmp_path):
    records = records_of(tmp_path, factor_pairs.paired_job())
    factor_pairs.factor(records)
    factor_pairs.amended(records, "S-9", *factor_pairs.BLANK, "found_factor=GR-9")
    later = factor_pairs.sweep("S-9", factor_pairs.at("13:00"), "3.11;3.14;3.12")
    added(records, tmp_path / "later", {"readings.csv": [later]}, now=NOW)
    added(records, tmp_path / "right", corrected(), now=NOW)
    assert withdraw(records).hanging.factors == ("GR-9",)
    wrong = "factor GR-9: it was found with certificate C-101 of VA-1, which was withdrawn: find it again"
    with database.reading(str(records)) as session:
        measured = {one.outlet.outlet for one in evaluate(session, "J-1", NOW).measured}
        assert wrong in trace_up(session, ["GR-9"], ON).gaps
    assert measured & {"S-9", "S-10"} == {"S-10"}
    assert refused(records) == {"S-9": (wrong,)}


# --- what is asked of it ---------------------------------------------------------------------------------------------------------


def test_it_is_not_accepted_any_more(tmp_path):
    records = records_of(tmp_path, changed(("calibrations.csv", 2, "accepted_on", "")))
    withdraw(records)
    wanted = AcceptanceWanted(judged="corrected value", departure_reason="flows are computed from it")
    found = expected_of(records, lambda session: accept_calibration(session, "VA-1", "C-101", ON, wanted, QA))
    assert found == [f"one that was not withdrawn; it was {NOW.isoformat()} by Q. Person: {WHY}"]


def test_it_is_withdrawn_once(small_records):
    withdraw(small_records)
    (found,) = expected_of(small_records, lambda session: withdraw_calibration(session, "VA-1", "C-101", "again", QA))
    assert found.startswith("one that was not withdrawn; it was ")


def test_no_other_curve_of_it_is_chosen(small_records):
    withdraw(small_records)
    wish = CurveWish(degree=1)
    (found,) = expected_of(small_records, lambda session: choose_curve(session, "VA-1", "C-101", wish, "r", SIGNED))
    assert found.startswith("one that was not withdrawn; it was ")


@pytest.mark.parametrize("reason", ["", "  "])
def test_a_withdrawal_says_why(small_records, reason):
    found = expected_of(small_records, lambda session: withdraw_calibration(session, "VA-1", "C-101", reason, QA))
    assert found == ["what was recorded wrongly, in a few words"]


@pytest.mark.parametrize(("tag", "certificate"), [("VA-9", "C-101"), ("VA-1", "C-102")])
def test_only_a_calibration_on_record_is_withdrawn(small_records, tag, certificate):
    with pytest.raises(NotInRecordsError):
        withdraw(small_records, tag, certificate)


# --- what stays visible ----------------------------------------------------------------------------------------------------------


def test_it_stays_on_record_with_its_acceptance_and_says_when_by_whom_and_why(small_records):
    withdraw(small_records)
    said = {"at": NOW.isoformat(), "by": "Q. Person", "reason": WHY}
    with database.reading(str(small_records)) as session:
        kept = calibration_on_file(session, "VA-1", "C-101")
        assert (kept.withdrawn, kept.acceptance.accepted_on, len(kept.comparisons)) == (said, "2026-01-19", 7)
        listed = {one["certificate"]: one["withdrawn"] for one in calibrations_on_file(session)}
    assert listed == {"C-101": said, "C-102": None, "C-103": None, "C-104": None}


def test_the_latest_certificate_is_one_that_counts(small_records, tmp_path):
    added(small_records, tmp_path / "later", corrected("C-201", calibrated_on="2026-03-01", accepted_on=""))
    withdraw(small_records, certificate="C-201")
    with database.reading(str(small_records)) as session:
        assert calibration_numbered(session, instrument_tagged(session, "VA-1"), None).certificate == "C-101"


def test_no_chain_rests_on_it(small_records):
    withdraw(small_records)
    with database.reading(str(small_records)) as session:
        found = trace_up(session, ["reading", "1"], ON)
        below = trace_down(session, ["certificate", "C-101"], ON)
    assert {one.name for one in found.knots.values()} == {"reading 1", "instrument VA-1"}
    assert NONE_COUNTS in found.gaps
    assert len(below.knots) == 1


def test_the_answer_names_what_rested_on_it(small_records):
    with database.writing(str(small_records)) as session:
        issued = IssuedReport(job_id=1, revision=1, issued_at=NOW.isoformat(), ledger_digest="0")
        ledger.append_entries(session, [issued], SIGNED)
    hanging = withdraw(small_records, "RS-1", "C-103").hanging
    assert (hanging.readings, hanging.calibrations, hanging.reported_jobs) == (1, ("VA-2 C-102",), ("J-1",))


# --- impact reviews --------------------------------------------------------------------------------------------------------------


def test_a_withdrawn_certificate_opens_no_review(tmp_path):
    second = drifted(small_job(), "VA-1") | {"withdrawals.csv": [{"tag": "VA-1", "certificate": "D-1", "reason": WHY}]}
    assert all_reviews(reviewed(tmp_path, small_job(), second)) == []


@pytest.mark.parametrize("certificate", ["D-1", "C-101"])
def test_a_review_that_is_open_keeps_its_lines_and_each_is_disposed_of(tmp_path, certificate):
    """Whether the one that opened it is withdrawn, or the one before, by whose curve it was judged."""
    records = reviewed(tmp_path, small_job(), drifted(small_job(), "VA-1"))
    before = review(records, "VA-1").lines
    told = withdraw(
        records, certificate=certificate, signature=ledger.Signature("Q. Person", LATER, "withdraw")
    ).remarks
    reading = changed(("readings.csv", 2, "observed_at", "2026-03-05T10:10+01:00"))["readings.csv"][:1]
    added(records, tmp_path / "more", {"readings.csv": reading})
    assert review(records, "VA-1").lines == before
    assert [one for one in told if "stays open with 3 of its lines" in one] == list(told)
    assert bool(told) == (certificate == "D-1")
    wanted = DispositionWanted(1, (1, 2, 3), "stands", [WHY] * 3)
    with database.writing(str(records)) as session:
        assert not dispose_review(session, wanted, QA, LATER).is_open


def test_a_later_certificate_is_judged_by_what_counts_now(tmp_path):
    """W-1 was typed as if the vane had shown 4 % more after an adjustment, so that D-1 found it as W-1 left it."""
    records = records_of(tmp_path, small_job())
    judged = {"decision_rule": "simple", "judged": "corrected value"}
    wrong = corrected("W-1", calibrated_on="2026-02-01", accepted_on="2026-02-02", **judged)
    for one in wrong["comparisons.csv"]:
        one |= {"phase": "as-left", "indication": repr(float(one["indication"]) * 1.04)}
    added(records, tmp_path / "wrong", wrong)
    added(records, tmp_path / "second", drifted(small_job(), "VA-1"))
    assert all_reviews(records) == []
    told = withdraw(records, certificate="W-1", signature=ledger.Signature("Q. Person", LATER, "withdraw")).remarks
    assert [(one.certificate, one.assessment["since"]["certificate"]) for one in all_reviews(records)] == [
        ("D-1", "C-101")
    ]
    assert told == ("VA-1 was found beyond its limits: impact review of certificate D-1, 3 lines: see impact review 1",)


# --- import and export -----------------------------------------------------------------------------------------------------------

ROW = {"tag": "VA-1", "certificate": "C-101", "reason": WHY}


def test_a_withdrawal_is_exported_and_read_back(small_records, tmp_path):
    added(small_records, tmp_path / "right", corrected(), now=NOW)
    with database.writing(str(small_records)) as session:
        choose_curve(session, "VA-1", "C-101", CurveWish(degree=1), "before", SIGNED)
    withdraw(small_records)
    with database.reading(str(small_records)) as session:
        write_export(tmp_path / "export", export_records(session))
    assert (tmp_path / "export" / "withdrawals.csv").read_text(encoding="utf-8").splitlines() == [
        "tag,certificate,factors_after,reason",
        f"VA-1,C-101,,{WHY}",
    ]
    new = tmp_path / "new.sqlite"
    database.make(str(new))
    imported(new, tmp_path / "export")
    assert flows_of(new) == flows_of(small_records)
    with database.reading(str(new)) as session:
        assert [one.reason for one in all_of(session, Withdrawal)] == [WHY]
        assert len(all_of(session, StoredCurve)) == 6
        write_export(tmp_path / "again", export_records(session))
    for one in (tmp_path / "export").glob("*.csv"):
        assert (tmp_path / "again" / one.name).read_bytes() == one.read_bytes()


def test_readings_and_factors_that_it_took_out_come_back_as_such(tmp_path):
    """They count again once the right certificate is accepted."""
    records = records_of(tmp_path, factor_pairs.paired_job())
    factor_pairs.factor(records)
    withdraw(records)
    with database.reading(str(records)) as session:
        write_export(tmp_path / "export", export_records(session))
    new = tmp_path / "new.sqlite"
    database.make(str(new))
    imported(new, tmp_path / "export")
    assert refused(new) == refused(records)
    assert refused(new)
    for one in (records, new):
        added(one, tmp_path / "right", corrected(), now=NOW)
    assert refused(new) == {}
    assert flows_of(new) == flows_of(records)
    with database.reading(str(new)) as session:
        assert len(all_of(session, FactorPair)) == 4


@pytest.mark.parametrize(
    ("rows", "column", "expected"),
    [
        ([ROW | {"certificate": "C-9"}], "certificate", "a certificate of VA-1 in calibrations.csv"),
        ([ROW | {"reason": ""}], "reason", "a value"),
        ([ROW, ROW], "certificate", "each tag and certificate once"),
    ],
)
def test_a_wrong_withdrawal_is_named_and_nothing_is_written(empty_records, tmp_path, rows, column, expected):
    folder = write(tmp_path / "in", copy.deepcopy(small_job()) | {"withdrawals.csv": rows})
    with pytest.raises(BadInputError) as caught:
        imported(empty_records, folder)
    assert [(one.column, one.row) for one in caught.value.findings] == [(column, len(rows) + 1)]
    assert expected in caught.value.findings[0].expected
    assert ledger_head(empty_records)[0] == 0


def test_an_import_withdraws_no_certificate_on_record(small_records, tmp_path):
    with pytest.raises(BadInputError, match=r"a certificate of VA-1 in calibrations\.csv"):
        imported(small_records, write(tmp_path / "in", {"withdrawals.csv": [ROW]}))
