"""Accept a calibration: once, by another person than typed it, not before it was made, and only where its comparisons pass.

Source: ISO 10012:2003, 7.1 (metrological confirmation); JCGM 106 for the rules; `calib help` (certificates) for the rest.
"""

import json
import re
from dataclasses import replace
from datetime import date

import pytest

from calib.errors import BadInputError, NotInRecordsError, RefusedError
from calib.procedures.calibrate.accept_calibration import AcceptanceWanted, NotAccepted, accept_calibration
from calib.procedures.fleet.ready import ready
from calib.procedures.on_record.calibrations import calibration_on_file
from calib.procedures.people.house_rules import set_rule
from calib.procedures.verify.whole_state import verify_state
from calib.records import database, ledger
from calib.records.tables.calibrations import Acceptance
from tests.as_found import added, all_reviews, drifted
from tests.folders import NOW, SIGNED, all_of, changed, ledger_head, records_of

OTHER = ledger.Signature("B. Person", NOW, "calibration accept")
LATE = "accepted on paper on that day"
CORRECTED = AcceptanceWanted(judged="corrected value", departure_reason="flows are computed from it")


def wait(*rows, cells=()):
    """Cells by which certificates wait for their acceptance."""
    return changed(*(("calibrations.csv", row, "accepted_on", "") for row in rows), *cells)


@pytest.fixture
def waiting(tmp_path):
    """Records in which the certificates of VA-1, of 12 January, and PG-1 wait for their acceptance, both typed by A. Person."""
    return records_of(tmp_path, wait(2, 5))


def accept(records, on="2026-03-01", tag="VA-1", certificate="C-101", wanted=CORRECTED, signature=OTHER):
    with database.writing(str(records)) as session:
        return accept_calibration(
            session, tag, certificate, date.fromisoformat(on), replace(wanted, reason=LATE), signature
        )


def allowed(records, tag="VA-1"):
    with database.reading(str(records)) as session:
        return ready(session, [tag], NOW, NOW, None)[0].decision.allowed


def kept(records):
    with database.reading(str(records)) as session:
        return all_of(session, Acceptance)[-1]


def refused(records, match, **call):
    before = ledger_head(records)
    with pytest.raises(RefusedError, match=match) as caught:
        accept(records, **call)
    assert ledger_head(records) == before
    assert not allowed(records, call.get("tag", "VA-1"))
    return str(caught.value)


def test_an_accepted_calibration_counts(waiting):
    assert not allowed(waiting)
    accept(waiting)
    assert allowed(waiting)


def test_an_acceptance_keeps_day_person_criterion_and_rule(waiting):
    accept(waiting, tag="PG-1", certificate="C-104", wanted=AcceptanceWanted("guarded non-binary"))
    found = kept(waiting)
    assert (found.accepted_on, found.accepted_by, found.decision_rule) == (
        "2026-03-01",
        "B. Person",
        "guarded non-binary",
    )
    assert found.criterion == (
        "error of the indication within ± (1.0 % of the indication + 0.5 Pa), "
        "guarded acceptance with conditional statements, guard band U"
    )


def test_an_acceptance_keeps_its_assessment_with_each_comparison(waiting):
    accept(waiting, tag="PG-1", certificate="C-104", wanted=AcceptanceWanted("guarded non-binary"))
    found = json.loads(kept(waiting).assessment)
    assert (found["phase"], found["judged"], found["unit"], found["accepted"]) == ("as-found", "indication", "Pa", True)
    first = found["comparisons"][0]
    assert (first["reference"], first["indication"], first["statement"]) == ("10.0", "10.2", "conditional pass")
    # 10.2 - 10.0; 1 % of 10.2 + 0.5.
    assert first["error"] == pytest.approx(0.2)
    assert first["limit"] == pytest.approx(0.602)
    # k sqrt((0.4/2)^2 + 0.2^2/5 + 0.1^2/12)
    assert first["expanded_uncertainty"] == pytest.approx(2 * (0.04 + 0.008 + 0.01 / 12) ** 0.5)


def attempted(records, **call):
    """What an acceptance that comparisons fail says; the attempt is on record, and nothing else."""
    before = ledger_head(records)
    told = accept(records, **call)
    assert isinstance(told, NotAccepted)
    assert ledger_head(records)[0] == before[0] + 1
    assert not allowed(records, call.get("tag", "VA-1"))
    return "\n".join(told.reasons)


def test_a_criterion_in_words_does_not_stand_for_limits_that_were_judged(waiting):
    with pytest.raises(BadInputError) as caught:
        accept(waiting, wanted=AcceptanceWanted(criterion="within 10 %"))
    assert [(one.column, one.value) for one in caught.value.findings] == [("criterion", "within 10 %")]


def test_errors_of_indication_beyond_the_limits_cannot_be_accepted(waiting):
    # The vane of the worked case errs by +0.06 m/s at 0.60 m/s: limits 1 % of 0.66 + 0.03.
    told = attempted(waiting, wanted=AcceptanceWanted())
    assert re.search("[1-7] of 7 comparisons fail", told)
    assert "as-found reference 0.60 m/s: error +0.06 m/s" in told
    assert "the corrected value" in told


def test_an_attempt_that_failed_is_kept_with_what_was_asked(waiting):
    attempted(waiting, wanted=AcceptanceWanted("guarded"))
    with database.reading(str(waiting)) as session:
        (attempt,) = calibration_on_file(session, "VA-1", "C-101").attempts
        assert verify_state(session).findings == ()
    assert (attempt["by"], attempt["asked"]["rule"], attempt["asked"]["judged"]) == (
        "B. Person",
        "guarded",
        "indication",
    )
    assert attempt["findings"][1].startswith("as-found reference 0.60 m/s: error +0.06 m/s")


@pytest.mark.parametrize(
    ("register", "wanted", "said"),
    [
        ({}, AcceptanceWanted(judged="corrected value"), "indication is judged, not corrected value"),
        ({"decision_rule": "guarded"}, AcceptanceWanted("simple"), "the rule is guarded, not simple"),
        ({}, AcceptanceWanted(departure_reason="none"), "it departs from nothing in the register"),
    ],
)
def test_a_departure_from_the_register_says_why(tmp_path, register, wanted, said):
    sheets = wait(2, 5)
    blank = dict.fromkeys(("decision_rule", "judged", "criterion"), "")
    sheets["instruments.csv"] = [row | blank | register for row in sheets["instruments.csv"]]
    records = records_of(tmp_path, sheets)
    gauge = {"tag": "PG-1", "certificate": "C-104"}
    before = ledger_head(records)
    with pytest.raises(BadInputError, match=said):
        accept(records, wanted=wanted, **gauge)
    assert ledger_head(records) == before
    if wanted.departure_reason is None:
        accept(records, wanted=replace(wanted, departure_reason="agreed with the client"), **gauge)
        assert kept(records).departure_reason == "agreed with the client"


def test_the_rule_and_the_object_of_the_register_are_those_of_an_acceptance(tmp_path):
    sheets = wait(2)
    of_register = {"decision_rule": "guarded non-binary", "judged": "corrected value", "criterion": "QP-07"}
    sheets["instruments.csv"] = [row | of_register for row in sheets["instruments.csv"]]
    records = records_of(tmp_path, sheets)
    accept(records, wanted=AcceptanceWanted())
    assert kept(records).decision_rule == "guarded non-binary"
    assert json.loads(kept(records).assessment)["judged"] == "corrected value"
    assert kept(records).criterion.startswith("QP-07: error of the value after correction")


def test_a_guard_band_refuses_what_simple_acceptance_takes_for_a_reason(tmp_path):
    # At 100 Pa the gauge errs by 0.1 Pa within 1.501 Pa; a U of 3 Pa leaves nothing of that.
    cells = [("comparisons.csv", row, "expanded_uncertainty", "3") for row in (17, 18, 19)]
    records = records_of(tmp_path, wait(5, cells=cells))
    gauge = {"tag": "PG-1", "certificate": "C-104"}
    assert "guarded acceptance" in attempted(records, wanted=AcceptanceWanted("guarded"), **gauge)
    with pytest.raises(BadInputError, match="it failed under the rule guarded"):
        accept(records, wanted=AcceptanceWanted("simple"), **gauge)
    accept(records, wanted=AcceptanceWanted("simple", departure_reason="as the client's contract says"), **gauge)
    assert allowed(records, "PG-1")


def test_of_an_adjusted_instrument_the_comparisons_as_left_are_judged(tmp_path):
    sheets = wait(5)
    as_found = [dict(row, indication=f"{float(row['indication']) * 1.1:.1f}") for row in sheets["comparisons.csv"][-3:]]
    as_left = [dict(row, phase="as-left") for row in sheets["comparisons.csv"][-3:]]
    sheets["comparisons.csv"][-3:] = [*as_found, *as_left]
    records = records_of(tmp_path, sheets)
    accept(records, tag="PG-1", certificate="C-104", wanted=AcceptanceWanted())
    assert json.loads(kept(records).assessment)["phase"] == "as-left"


def test_whoever_typed_a_certificate_may_not_accept_it(waiting):
    told = refused(waiting, "typed by A. Person, who may not accept it too", signature=SIGNED)
    assert "record the rule that one person may accept" in told


@pytest.mark.parametrize("name", ["a. person", " A.  PERSON "])
def test_another_spelling_is_no_other_person(waiting, name):
    refused(waiting, "may not accept it too", signature=ledger.Signature(name, NOW, "calibration accept"))


def test_one_person_may_accept_where_the_rule_of_the_house_says_so_and_no_longer_than_it_does(waiting):
    def rule(holds):
        with database.writing(str(waiting)) as session:
            set_rule(session, "one person may accept", holds, "there is one of us", SIGNED)

    rule("yes")
    accept(waiting, signature=SIGNED)
    rule("no")
    refused_of = {"tag": "PG-1", "certificate": "C-104", "wanted": AcceptanceWanted()}
    refused(waiting, "may not accept it too", signature=SIGNED, **refused_of)


def test_a_certificate_that_was_found_beyond_its_limits_opens_its_review_once_an_earlier_one_is_accepted(
    waiting, tmp_path
):
    """Until then nothing could have been measured with the instrument."""
    added(waiting, tmp_path / "second", drifted(wait(2, 5), "VA-1"))
    assert all_reviews(waiting) == []
    told = accept(waiting).remarks
    assert [(one.tag, one.certificate) for one in all_reviews(waiting)] == [("VA-1", "D-1")]
    assert told == ("VA-1 was found beyond its limits: impact review of certificate D-1, 0 lines: see impact review 1",)


def test_an_acceptance_that_opens_no_review_says_nothing(waiting):
    assert accept(waiting).remarks == ()


@pytest.mark.parametrize("on", ["2026-01-12", "2026-03-06"])
def test_the_day_of_the_calibration_and_today_are_allowed(waiting, on):
    accept(waiting, on)
    assert allowed(waiting)


@pytest.mark.parametrize(
    ("on", "expected"),
    [("2026-01-11", "on or after the calibration (2026-01-12)"), ("2026-03-07", "a date that is not in the future")],
)
def test_a_day_that_cannot_be_is_refused(waiting, on, expected):
    before = ledger_head(waiting)
    with pytest.raises(BadInputError) as caught:
        accept(waiting, on)
    (finding,) = caught.value.findings
    assert (finding.column, finding.value) == ("on", on)
    assert expected in finding.expected
    assert ledger_head(waiting) == before


@pytest.mark.parametrize(
    ("wanted", "column"),
    [(AcceptanceWanted("lenient"), "rule"), (AcceptanceWanted(judged="colour"), "judged")],
)
def test_a_wish_that_is_none_is_told(waiting, wanted, column):
    with pytest.raises(BadInputError) as caught:
        accept(waiting, wanted=wanted)
    assert [one.column for one in caught.value.findings] == [column]


def test_without_a_limit_in_the_register_the_criterion_is_asked_for_in_words(tmp_path):
    sheets = wait(5)
    for row in sheets["instruments.csv"]:
        row |= {"stability_percent": "", "stability_basis": ""}
    sheets["instruments.csv"][3] |= {
        "mpe_percent": "", "mpe_absolute": "", "stability_percent": "1", "stability_basis": "its history",
    }  # fmt: skip
    records = records_of(tmp_path, sheets)
    gauge = {"tag": "PG-1", "certificate": "C-104"}
    with pytest.raises(BadInputError, match="states no maximum permissible error"):
        accept(records, wanted=AcceptanceWanted(), **gauge)
    accept(records, wanted=AcceptanceWanted(criterion="as procedure QP-07 says"), **gauge)
    assert (kept(records).criterion, kept(records).assessment) == ("as procedure QP-07 says", None)


def test_a_second_acceptance_is_refused(small_records):
    with pytest.raises(BadInputError, match="one not accepted yet; it was on 2026-01-19"):
        accept(small_records, "2026-03-01")


@pytest.mark.parametrize(
    ("tag", "certificate", "message"),
    [
        ("VA-9", "C-101", "no instrument 'VA-9'"),
        ("VA-1", "C-102", "no certificate 'C-102' of VA-1 in the records: there is C-101"),
    ],
)
def test_what_is_not_there_is_named(waiting, tag, certificate, message):
    with pytest.raises(NotInRecordsError, match=message):
        accept(waiting, "2026-03-01", tag, certificate)
