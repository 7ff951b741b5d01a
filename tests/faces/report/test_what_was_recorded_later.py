"""What was recorded since a report was issued stands in the revision that answers it, in words that a client reads.

Source: ISO/IEC 17025:2017, 7.8.8 (the change and, where fit, its reason stand in the amended report), from memory.
"""

import html
import json
import re

import pytest

from tests.command import done
from tests.folders import records_of, small_job

COMMANDS = ("instrument suspend", "review decide", "outlet amend", "calibration supersede", "calibration accept")
AGAIN = ("--issue", "--because", "VA-1 was suspended", "--with-gaps", "no other vane was at hand")
BEFORE = ("--at", "2026-03-05T08:00+01:00")


@pytest.fixture
def records(tmp_path):
    """The small job, issued, and a suspension that was typed for a day before it."""
    records = records_of(tmp_path / "records", small_job())
    done(records, "report", "J-1", "--issue", "--into", tmp_path / "first", "--format", "json")
    done(records, "instrument", "suspend", "VA-1", "--reason", "fell from a ladder", *BEFORE)
    return records


def pages(records, into, *issue):
    """The report as a page without its marks, as CSV and as JSON."""
    done(records, "report", "J-1", *issue, "--into", into, "--format", "html,csv,json")
    page, sheet, document = (
        next(each for each in sorted(into.iterdir(), reverse=True) if each.suffix == f".{form}").read_text("utf-8")
        for form in ("html", "csv", "json")
    )
    words = " ".join(html.unescape(re.sub("<[^>]+>", " ", page.partition("<body")[2])).split())
    return words, sheet, json.loads(document)


@pytest.mark.parametrize("issue", [(), AGAIN])
def test_the_revision_that_answers_says_what_was_recorded_and_what_was_done(records, tmp_path, issue):
    words, _, document = pages(records, tmp_path / "again", *issue)
    assert "suspension 1 of VA-1 as of 2026-03-05 was recorded on " in words
    assert "revision 2 says what the records say since" in words
    (review,) = document["reviews"]
    assert (review["open"], review["answered_by"]) == (False, 2)


@pytest.mark.parametrize("issue", [(), AGAIN])
def test_it_is_not_printed_as_open(records, tmp_path, issue):
    words, sheet, document = pages(records, tmp_path / "again", *issue)
    assert document["open_reviews"] == []
    assert "An impact review is open" not in words
    assert "of None" not in words
    assert "not decided yet" not in words
    assert "open review" not in sheet


@pytest.mark.parametrize("issue", [(), AGAIN])
def test_no_command_is_named_to_a_client(records, tmp_path, issue):
    done(records, "outlet", "amend", "J-1", "R-1", "--set", "design_flow=300", "--reason", "misread")
    words, sheet, document = pages(records, tmp_path / "again", *issue)
    for text in (words, sheet, json.dumps(document)):
        assert [command for command in COMMANDS if command in text] == []
    assert "revision 2 of outlet R-1 was recorded on" in words


def test_a_later_revision_says_which_one_answered(records, tmp_path):
    pages(records, tmp_path / "again", *AGAIN)
    words, _, document = pages(records, tmp_path / "third")
    assert document["revision"] == 3
    assert "revision 2 says what the records say since" in words
    assert "came in after the revision before" not in words


def test_much_that_was_recorded_late_is_one_sentence_on_page_one(records, tmp_path):
    done(records, "outlet", "amend", "J-1", "R-1", "--set", "design_flow=300", "--reason", "misread")
    words, _, document = pages(records, tmp_path / "again", *AGAIN)
    assert [each["answered_by"] for each in document["reviews"]] == [2, 2]
    said = "2 records came in after the revision before. This revision takes them in: Recorded since an issue"
    assert words.count(said) == 1
    assert "Nonconforming work" not in words
