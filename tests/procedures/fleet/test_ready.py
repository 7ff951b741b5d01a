"""Is an instrument ready: the gate's answer for a day and an indication, and the uncertainty there.

Sources: tests/worked_cases/worked_vane (class D); the rules of the gate in `calib help instruments`; ISO/IEC 17025:2017, 6.4.
"""

import math
from datetime import datetime

import pytest

from calib.errors import NotInRecordsError, UnitError
from calib.procedures.fleet.ready import ready
from calib.procedures.fleet.record_event import record_event
from calib.records import database
from tests.folders import NOW, SIGNED, changed, records_of
from tests.reference import agrees, printed

WORKED = printed("worked_vane", "results")


def at(typed):
    return datetime.fromisoformat(typed)


def asked(records, *tags, on="2026-03-05T23:59:59+00:00", now=NOW, indication=None):
    with database.reading(str(records)) as session:
        return ready(session, tags, at(on), now, indication)


def test_an_instrument_in_order_may_be_used(small_records):
    (answer,) = asked(small_records, "VA-1")
    assert answer.decision.allowed
    assert (answer.decision.calibration.certificate, str(answer.decision.due_on)) == ("C-101", "2027-01-12")
    assert answer.at is None


def test_answers_come_in_the_order_asked(small_records):
    assert [one.instrument.tag for one in asked(small_records, "VA-2", "PG-1", "VA-2")] == ["VA-2", "PG-1", "VA-2"]


@pytest.mark.parametrize(
    ("on", "allowed"),
    [
        ("2026-01-18T12:00+00:00", False),  # the day before it was accepted
        ("2026-01-19T00:00+00:00", True),
        ("2027-01-12T23:59+00:00", True),  # due on that day, and valid through it
        ("2027-01-13T00:00+00:00", False),
        ("2031-01-01T00:00+00:00", False),
    ],
)
def test_the_answer_depends_on_the_day(small_records, on, allowed):
    (answer,) = asked(small_records, "VA-1", on=on)
    assert answer.decision.allowed is allowed


@pytest.mark.parametrize(
    ("cells", "reason"),
    [
        ([("calibrations.csv", 2, "accepted_on", "")], "have certificate C-101 accepted"),
        ([("calibrations.csv", 2, "due_on", "2026-03-04")], "was due on 2026-03-04, 1 day before 2026-03-05"),
        ([("instruments.csv", 2, "interval_months", "1")], "was due on 2026-02-12, 21 days before 2026-03-05"),
    ],
)
def test_a_reason_says_what_to_do(tmp_path, cells, reason):
    (answer,) = asked(records_of(tmp_path, changed(*cells)), "VA-1")
    assert len(answer.decision.reasons) == 1
    assert reason in answer.decision.reasons[0]


def test_all_reasons_come_at_once(tmp_path):
    records = records_of(tmp_path, changed(("calibrations.csv", 2, "due_on", "2026-02-28")))
    with database.writing(str(records)) as session:
        record_event(session, "VA-1", "suspension", at("2026-03-01T08:00+00:00"), "dropped", SIGNED)
    (answer,) = asked(records, "VA-1", indication="50 m/s")
    words = [
        "was due on 2026-02-28",
        "suspended since 2026-03-01",
        "outside the calibrated measuring interval 0.66 m/s to 13.60 m/s",
    ]
    assert len(answer.decision.reasons) == len(words)
    assert all(word in reason for word, reason in zip(words, answer.decision.reasons, strict=True))


def test_a_refused_instrument_gets_no_uncertainty(small_records):
    (answer,) = asked(small_records, "VA-1", on="2027-06-01T12:00+00:00", indication="4.20 m/s")
    assert answer.at is None


def test_the_worked_case_is_answered_with_its_uncertainties(small_records):
    (answer,) = asked(small_records, "VA-1", indication="4.20 m/s")
    parts = dict(zip(answer.at.names, answer.at.result.combined.uncertainties[0], strict=True))
    assert agrees(answer.at.result.value[0], WORKED["v"])
    assert agrees(parts["calibration scatter"], WORKED["u scatter"])
    assert agrees(parts["reference standard"], WORKED["u reference"])
    assert answer.at.repeatability_known


def test_one_observation_has_the_declared_repeatability_and_the_step(small_records):
    """Type B: 0.02 m/s and 0.01 m/s / sqrt(12), each times 1 + dc/dx; stability (1 % of 4.20 + 0.03)/sqrt(3) (GUM 4.3.7)."""
    (answer,) = asked(small_records, "VA-1", indication="4.20 m/s")
    parts = dict(zip(answer.at.names, answer.at.result.combined.uncertainties[0], strict=True))
    slope = 1 + float(WORKED["b1"])
    assert parts["repeatability"] == pytest.approx(0.02 * slope, rel=1e-6)
    assert parts["resolution"] == pytest.approx(0.01 / math.sqrt(12) * slope, rel=1e-6)
    assert parts["stability"] == pytest.approx((0.042 + 0.03) / math.sqrt(3), rel=1e-12)


def test_an_instrument_that_declares_no_repeatability_says_so(tmp_path):
    cells = [("instruments.csv", 3, "repeatability", "")]
    (answer,) = asked(records_of(tmp_path, changed(*cells)), "VA-2", indication="600 fpm")
    assert not answer.at.repeatability_known


@pytest.mark.parametrize("indication", ["4.20 m/s", "826.7716535433071 fpm", "15.12 km/h"])
def test_any_unit_of_the_quantity_asks_the_same(small_records, indication):
    """4.20 m/s = 826.77... ft/min = 15.12 km/h."""
    (answer,) = asked(small_records, "VA-1", indication=indication)
    assert agrees(answer.at.result.value[0], WORKED["v"])


@pytest.mark.parametrize(
    ("indication", "allowed"), [("0.66 m/s", True), ("13.60 m/s", True), ("0.65 m/s", False), ("13.61 m/s", False)]
)
def test_the_measuring_interval_reaches_from_the_lowest_to_the_highest_indication(small_records, indication, allowed):
    (answer,) = asked(small_records, "VA-1", indication=indication)
    assert answer.decision.allowed is allowed


def test_another_quantity_is_answered_in_its_own_unit(small_records):
    (answer,) = asked(small_records, "PG-1", indication="0.1 kPa")
    assert (answer.at.indication, answer.at.unit.symbol) == (pytest.approx(100.0), "kPa")


@pytest.mark.parametrize("indication", ["4.20 Pa", "4.20", "fast", "m/s", "", "nan m/s", "1e999 m/s", "4,2,0 m/s"])
def test_an_indication_of_another_kind_is_refused(small_records, indication):
    with pytest.raises(UnitError):
        asked(small_records, "VA-1", indication=indication)


@pytest.mark.parametrize("tag", ["VA-9", "va-1", "", " VA-1"])
def test_an_unknown_tag_is_named_beside_the_known_ones(small_records, tag):
    with pytest.raises(NotInRecordsError, match="there is PG-1, RS-1, VA-1, VA-2"):
        asked(small_records, "VA-1", tag)
