"""What is taken back opens a review of the reports that were issued with it: shown, due, audited, disposed of.

Source: ISO/IEC 17025:2017, 7.10.1 (nonconforming work) and 7.8.8, from memory.
"""

import pytest

from tests.command import calib, done
from tests.folders import records_of, small_job

WHY = ("--reason", "typed of the wrong instrument")
GAP = ("--with-gaps", "it is read again on the next visit")
CHECK = ("--kind", "zero", "--value", "0.01", "--low", "-0.02", "--high", "0.02", "--unit", "m/s")
AT = ("--at", "2026-03-05T08:00+01:00")
NONE = "there is no impact review\n"
OTHERWISE = "issued, but the records now say otherwise: report J-1 revision 1"
THE_SAME = "issued with what was taken back: report J-1 revision 1: what it states is the same without it"


def issue(records, into, *because):
    return done(records, "report", "J-1", "--issue", *because, "--into", into, "--format", "json")


@pytest.fixture
def records(tmp_path):
    """The small job, issued once, with a passed check that was there before."""
    records = records_of(tmp_path / "records", small_job())
    done(records, "check", "add", "VA-1", *CHECK, *AT)
    issue(records, tmp_path / "first")
    return records


def shown(records, number=1):
    return done(records, "review", "show", number, "--json").document


def due(records):
    return done(records, "due", "--on", "2026-03-06").out


def test_a_withdrawn_reading_opens_a_review_of_the_reports_that_have_it(records):
    ran = done(records, "reading", "withdraw", "J-1", 1, *WHY)
    assert f"{OTHERWISE}: reading 1 at S-1: (1034 ± 71) m3/h, conditional pass -> not stated" in ran.err
    review = shown(records)
    assert review["cause"] == "withdrawal"
    assert review["about"].startswith("reading 1 was withdrawn on ")
    assert review["about"].endswith(": typed of the wrong instrument")
    (line,) = review["items"]
    assert (line["report"], line["reissue"]) == ("J-1 revision 1", True)


def test_a_dismissed_refusal_is_called_by_its_name(tmp_path):
    records = records_of(tmp_path / "records", small_job())
    reading = ("--instrument", "VA-1", "--at", "2026-03-05T10:20+01:00", "--unit", "m/s", "--indication", "19.0")
    assert calib("reading", "add", "J-1", "S-2", *reading, "--method", "sweep", "--sure", records=records).status == 3
    issue(records, tmp_path / "first")
    done(records, "refusal", "dismiss", "J-1", 1, *WHY)
    assert shown(records)["about"].startswith("withdrawal of refused reading 1 was recorded on ")


def test_a_second_withdrawal_lists_what_it_changes_and_not_the_first_again(records):
    for reading in (1, 4):
        done(records, "reading", "withdraw", "J-1", reading, *WHY)
    (line,) = shown(records, 2)["items"]
    assert "reading 4 at E-1" in [each["what"] for each in line["differs"]]
    assert "reading 1 at S-1" not in [each["what"] for each in line["differs"]]


def test_what_was_typed_by_name_is_called_by_its_name(records, tmp_path):
    cells = ("--design-flow", "1500", "--flow-unit", "m3/h", "--tolerance-percent", "10")
    done(records, "system", "add", "J-1", "AH-1", "supply", *cells)
    assert shown(records)["about"].startswith("design of AH-1 supply of job J-1 was recorded on ")
    issue(records, tmp_path / "again", "--because", "a design was added")
    done(records, "system", "withdraw", "J-1", "AH-1", "supply", *WHY)
    assert shown(records, 2)["about"].startswith("design of AH-1 supply of job J-1 was withdrawn on ")


def test_it_stands_in_the_list_of_reviews_in_due_and_on_the_assessors_page(records):
    done(records, "reading", "withdraw", "J-1", 1, *WHY)
    assert "reading 1 was withdrawn on" in done(records, "review", "list", "--open").out
    assert "impact review open: reading 1 was withdrawn on" in due(records)
    audit = calib("audit", "J-1", "--on", "2026-03-05", records=records).out
    assert "reading 1 was withdrawn on" in " ".join(audit.split())


def test_it_ends_with_the_reissued_report(records, tmp_path):
    done(records, "reading", "withdraw", "J-1", 1, *WHY)
    issue(records, tmp_path / "again", "--because", "reading 1 was withdrawn", *GAP)
    assert done(records, "review", "list", "--open").out == "no impact review is open\n"


def test_it_ends_where_somebody_judges_it_immaterial_with_a_reason(records):
    done(records, "check", "withdraw", "VA-1", 1, *WHY)
    why = ("--decision", "immaterial", "--reason", "the check before it passed")
    done(records, "review", "dispose", 1, 1, *why)
    assert "impact review open" not in due(records)


def test_a_corrected_reading_is_reviewed_as_corrected(records):
    done(records, "reading", "correct", "J-1", 1, "--indication", "3.20", "--observations", "3.19;3.22;3.19", *WHY)
    review = shown(records)
    assert (review["cause"], review["about"].startswith("reading 1 was corrected on ")) == ("withdrawal", True)


def test_a_withdrawn_check_is_reviewed_though_nothing_that_was_stated_changes(records):
    """The report was issued in the trust that VA-1 had passed it."""
    ran = done(records, "check", "withdraw", "VA-1", 1, *WHY)
    assert THE_SAME in ran.err
    review = shown(records)
    assert review["about"].startswith("zero check 1 of VA-1 was withdrawn on ")
    (line,) = review["items"]
    assert (line["reissue"], line["differs"]) == (False, [])


def test_a_withdrawn_event_is_reviewed(records, tmp_path):
    done(records, "instrument", "suspend", "VA-2", "--reason", "dropped", "--at", "2026-03-05T18:00+01:00")
    done(records, "reading", "withdraw", "J-1", 4, *WHY)
    issue(records, tmp_path / "again", "--because", "reading 4 was withdrawn", *GAP)
    done(records, "event", "withdraw", "VA-2", 1, *WHY)
    assert "suspension 1 of VA-2 was withdrawn on" in done(records, "review", "list").out


def test_a_check_that_the_report_never_knew_opens_none(records):
    done(records, "check", "add", "VA-1", *CHECK, "--at", "2026-03-05T08:30+01:00")
    ran = done(records, "check", "withdraw", "VA-1", 2, *WHY)
    assert "taken back" not in ran.err
    assert done(records, "review", "list").out == NONE


def test_where_an_instrument_was_put_shakes_no_result(records, tmp_path):
    done(records, "instrument", "move", "VA-1", "store", "--reason", "moved", *AT)
    issue(records, tmp_path / "again", "--because", "a copy")
    done(records, "event", "withdraw", "VA-1", 1, *WHY)
    assert done(records, "review", "list").out == NONE


def test_nothing_is_reviewed_where_nothing_was_issued(tmp_path):
    records = records_of(tmp_path / "records", small_job())
    done(records, "reading", "withdraw", "J-1", 1, *WHY)
    assert done(records, "review", "list").out == NONE


def test_a_technician_who_withdraws_a_reading_opens_it_too(records):
    done(records, "person", "add", "Quinn", "--role", "QA", "--by", "Quinn")
    done(records, "person", "add", "Tom", "--role", "technician", "--by", "Quinn")
    done(records, "reading", "withdraw", "J-1", 1, *WHY, "--by", "Tom")
    assert shown(records)["cause"] == "withdrawal"
    assert calib("verify", records=records).status == 0
