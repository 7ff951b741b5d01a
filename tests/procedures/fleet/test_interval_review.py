"""Review of an interval from what is on record, and the change that follows; expected values by hand from the certificates."""

from datetime import UTC, date, datetime

import numpy as np
import pytest

from calib.errors import BadInputError, NotInRecordsError
from calib.procedures.fleet.change_interval import change_interval
from calib.procedures.fleet.interval_review import review_interval
from calib.procedures.fleet.ready import ready
from calib.procedures.fleet.record_event import record_event
from calib.records import database
from calib.records.ledger import Signature
from calib.records.tables.events import Event
from tests.folders import NOW, SIGNED, all_of, ledger_head, records_of, small_job
from tests.job_with_history import DAYS, INDICATIONS, SHIFTS, errors, sheets_with_history

ON = date(2026, 3, 5)


@pytest.fixture
def records(tmp_path):
    return records_of(tmp_path, sheets_with_history())


def review(records, tag="VA-1", on=ON, target=0.95, judged="corrected value"):
    with database.reading(str(records)) as session:
        return review_interval(session, tag, on, target, judged)


def test_the_errors_as_found_stand_at_the_indications_of_the_latest_certificate(records):
    found = review(records)
    assert [one.indication for one in found.points] == list(INDICATIONS)
    for one in found.points:
        expected = [np.interp(one.indication, *errors(shift)) for shift in (*SHIFTS, 0.0)]
        assert [float(each.error) for each in one.as_found] == pytest.approx(expected, abs=1e-9)


def test_the_limit_is_the_maximum_permissible_error_there(records):
    assert [one.limit for one in review(records).points] == pytest.approx([0.01 * x + 0.03 for x in INDICATIONS])


def test_a_review_knows_nothing_of_later_days(records):
    found = review(records, on=date(2024, 6, 1))
    assert [one.certificate for one in found.history] == [f"H-{day}" for day in DAYS[:3]]
    assert found.counts is False


def typed_again(sheets, certificate="C-101", wrong="9.99"):
    """The sheets with a certificate that was typed wrong first, and recorded again under another number on the same day."""
    for name in ("calibrations.csv", "comparisons.csv"):
        of_it = [row for row in sheets[name] if row["certificate"] == certificate]
        sheets[name] += [row | {"certificate": f"{certificate} (corrected)"} for row in of_it]
    first = next(row for row in sheets["comparisons.csv"] if row["certificate"] == certificate)
    first["reference"] = wrong
    return sheets


def test_a_certificate_that_was_typed_again_is_no_further_calibration(records, tmp_path):
    """Counted twice it would narrow the bands and lengthen what they propose; the wrong one would make a drift."""
    corrected = review(records_of(tmp_path / "again", typed_again(sheets_with_history())))
    expected = review(records)
    assert [one.certificate for one in corrected.history][-1] == "C-101 (corrected)"
    bands = [[(one.line.rate, one.line.rate_uncertainty) for one in found.points] for found in (corrected, expected)]
    assert bands[0] == bands[1]
    assert corrected.recommendation == expected.recommendation
    assert len(corrected.family) == len(expected.family)


def test_it_says_whether_history_counts_for_the_readings(records, small_records):
    assert review(records).counts is True
    assert review(small_records).counts is False


def test_judged_by_its_corrected_values_the_error_begins_at_nothing(records):
    by_value, by_indication = review(records), review(records, judged="indication")
    last = [float(one.as_left[-1].error) for one in by_value.points]
    assert [one.corrected for one in by_value.points] == pytest.approx(last)
    assert [one.corrected for one in by_indication.points] == [0.0] * len(INDICATIONS)
    # 0.40 m/s low at 13.6 m/s, where 0.166 is permissible
    assert by_indication.at_present[-1] < 0.05
    assert by_value.at_present[-1] > by_indication.at_present[-1]


def test_what_errs_beyond_its_limits_is_accepted_on_its_corrected_value_or_adjusted(records):
    """VA-1 was never adjusted, and its indications err by more than twice what is permitted."""
    found = review(records, judged="indication").recommendation
    assert (found.action, found.months) == ("accept on the corrected value", found.months)
    assert found.months <= 12


def test_the_spread_is_that_of_the_changes_over_the_limits(records):
    """By hand: each change of 4 intervals at 7 indications over 1 % of the indication + 0.03 m/s."""
    days = [date.fromisoformat(day) for day in (*DAYS, "2026-01-12")]
    limit = [0.01 * x + 0.03 for x in INDICATIONS]
    squares, years = [], []
    for before, after, start, end in zip((*SHIFTS, 0.0), (*SHIFTS[1:], 0.0), days, days[1:], strict=False):
        change = np.interp(INDICATIONS, *errors(after)) - np.interp(INDICATIONS, *errors(before))
        years.append((end - start).days / 365.25)
        reached = (np.array(INDICATIONS) <= errors(after)[0][-1] * 1.1) & (np.array(INDICATIONS) >= 0.6)
        squares.append(float(np.mean((change / limit)[reached] ** 2)) / years[-1])
    known = review(records).spread
    assert (known.own, known.family) == (4, 0)
    assert known.mean_interval == pytest.approx(np.mean(years))
    assert known.per_interval == pytest.approx(np.sqrt(np.mean(squares) * np.mean(years)), rel=0.02)


def test_changes_after_a_repair_alone_are_too_few(small_records, records):
    """VA-1's first certificate in the small job ended no interval: nothing is known of its changes."""
    found = review(small_records).recommendation
    assert (found.action, found.months, found.reliability) == ("keep", 12, None)
    with database.writing(str(records)) as session:
        record_event(session, "VA-1", "repair", datetime(2026, 1, 5, 9, tzinfo=UTC), "new bearings", SIGNED)
    assert review(records).spread.own == 3


def test_a_family_is_of_one_kind_maker_and_model(tmp_path):
    sheets = sheets_with_history()
    sheets["instruments.csv"] += [
        next(row for row in sheets["instruments.csv"] if row["tag"] == "VA-1")
        | {"tag": tag, "serial": tag, "model": model}
        for tag, model in (("VA-7", "M1"), ("VA-8", "other"))
    ]
    for tag in ("VA-7", "VA-8"):
        more = sheets_with_history(tag=tag)
        for name in ("calibrations.csv", "comparisons.csv"):
            sheets[name] += [
                row | {"certificate": f"{row['certificate']}-{tag}"}
                for row in more[name]
                if row["certificate"].startswith("H-")
            ]
    found = review(records_of(tmp_path, sheets), "VA-7")
    assert [one.tag for one in found.family] == ["VA-1"] * 4 + ["VA-7"] * 3
    # Changes of more than 1 % + 0.03 m/s: 1.6 % from 2024 to 2025, at the higher indications.
    assert [one.in_tolerance for one in found.family] == [True, True, False, True, True, True, False]


def test_without_comparisons_there_is_nothing_to_propose_but_nothing_breaks(small_records):
    found = review(small_records, "VA-2")
    assert (found.recommendation.action, found.recommendation.reliability) == ("keep", None)


def test_what_is_judged_follows_the_latest_acceptance_that_says(records):
    assert review(records, judged=None).judged == "indication"


def test_an_unknown_tag_is_named(small_records):
    with pytest.raises(NotInRecordsError, match="no instrument 'VA-9'"):
        review(small_records, "VA-9")


# --- change ----------------------------------------------------------------------------------------------------------------------


def change(records, months, reason="review of 2026", signed=SIGNED, tag="VA-1"):
    with database.writing(str(records)) as session:
        return change_interval(session, tag, months, reason, signed)


def due(records, at=NOW):
    with database.reading(str(records)) as session:
        return str(ready(session, ["VA-1"], at, at, None)[0].decision.due_on)


def test_a_shorter_interval_holds_at_once_and_a_longer_one_does_not(small_records):
    assert due(small_records) == "2027-01-12"
    assert change(small_records, "9").before == 12
    assert due(small_records) == "2026-10-12"
    later = Signature("A. Person", NOW.replace(hour=10), "interval set")
    assert change(small_records, "24", signed=later).before == 9
    assert due(small_records, NOW.replace(hour=11)) == "2026-10-12"
    assert review(small_records, on=NOW.date()).present == 24


def test_a_review_alone_changes_nothing(records):
    before = ledger_head(records)
    review(records)
    assert ledger_head(records) == before


def test_a_change_is_an_event_with_its_reason(small_records):
    change(small_records, "9", " drift ")
    with database.reading(str(small_records)) as session:
        (kept,) = all_of(session, Event)
    assert (kept.kind, kept.value, kept.reason, kept.at) == (
        "interval change",
        "9",
        "drift",
        "2026-03-06T09:00:00+00:00",
    )


@pytest.mark.parametrize(
    ("months", "reason", "expected"),
    [
        ("0", "why", "a whole number, 1 to 9999"),
        ("9.5", "why", "a whole number, 1 to 9999"),
        ("a year", "why", "a whole number, 1 to 9999"),
        ("12", "why", "another number of months than the 12 in force"),
        ("9", "  ", "why, in a few words"),
    ],
)
def test_a_wrong_change_is_named_and_nothing_is_written(small_records, months, reason, expected):
    before = ledger_head(small_records)
    with pytest.raises(BadInputError) as caught:
        change(small_records, months, reason)
    assert [one.expected for one in caught.value.findings] == [expected]
    assert ledger_head(small_records) == before


def test_a_retired_instrument_has_no_interval_to_change(small_records):
    with database.writing(str(small_records)) as session:
        record_event(session, "VA-1", "retirement", NOW, "worn out", SIGNED)
    with pytest.raises(BadInputError, match="this one is retired"):
        change(small_records, "9")


def test_the_small_job_is_what_the_history_ends_with():
    shown = [float(row["indication"]) for row in small_job()["comparisons.csv"] if row["tag"] == "VA-1"]
    assert shown == list(INDICATIONS)
