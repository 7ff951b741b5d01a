"""What was taken back stops speaking: in readiness, on a report's first page, in `due` and at the gate.

Source: ISO/IEC 17025:2017, 7.5.2 (an amendment is tracked, both are kept) and 7.10.1, from memory.
"""

import html
import re

import pytest

from tests.as_found import LATER, all_reviews, drifted, reviewed
from tests.command import calib, done
from tests.folders import records_of, small_job, write

FAILED = ("--kind", "zero", "--value", "0.5", "--low", "0.00", "--high", "0.02", "--unit", "m/s")
WHY = ("--reason", "of another instrument")
SHUT = ("rule", "set", "open review closes the gate", "--holds", "yes", "--reason", "the company's manual, 4.2")


@pytest.fixture
def checked(tmp_path):
    """VA-1 failed a check after its readings; the check was of another instrument."""
    records = records_of(tmp_path / "small", small_job(), now=LATER)
    assert calib("check", "add", "VA-1", *FAILED, "--at", "2026-03-06T08:00+01:00", records=records).status == 1
    return records


def first_page(records, into):
    done(records, "report", "J-1", "--into", into, "--format", "html")
    (page,) = into.glob("*.html")
    return " ".join(html.unescape(re.sub("<[^>]+>", " ", page.read_text("utf-8"))).split())


def test_ready_passes_over_a_withdrawn_check(checked):
    assert calib("ready", "VA-1", "--on", "2026-04-10", records=checked).status == 3
    done(checked, "check", "withdraw", "VA-1", 1, *WHY)
    out = done(checked, "ready", "VA-1", "--on", "2026-04-10").out
    assert "review" not in out


def test_the_first_page_passes_over_it_and_says_that_it_was_withdrawn(checked, tmp_path):
    assert "An impact review is open" in first_page(checked, tmp_path / "before")
    done(checked, "check", "withdraw", "VA-1", 1, *WHY)
    page = first_page(checked, tmp_path / "after")
    assert "An impact review is open" not in page
    assert "what was recorded there was withdrawn since" in page


def test_the_withdrawal_names_the_review_that_waits_for_a_person(checked):
    ran = done(checked, "check", "withdraw", "VA-1", 1, *WHY)
    told = " ".join(ran.out.split())
    assert "review 1, which it had opened, shakes nothing any more; it stays open with 3 lines" in told
    assert "(withdrawn since)" in " ".join(done(checked, "trace", "up", "VA-1").out.split())


def test_what_is_read_later_is_no_line_of_it(checked):
    done(checked, "check", "withdraw", "VA-1", 1, *WHY)
    cells = {"instrument": "VA-1", "unit": "m/s", "method": "sweep", "observations": "3.1;3.2", "by": "T. One"}
    options = [word for name, cell in cells.items() for word in (f"--{name}", cell)]
    ran = done(checked, "reading", "add", "J-1", "S-1", *options, "--at", "2026-03-05T11:10+01:00")
    assert "review" not in ran.err


def test_the_gate_opens_again_where_the_certificate_that_failed_is_withdrawn(tmp_path):
    records = reviewed(tmp_path, small_job(), drifted(small_job(), "RS-1"))
    done(records, *SHUT)
    assert calib("ready", "VA-2", "--on", "2026-04-10", records=records).status == 3
    done(records, "calibration", "withdraw", "RS-1", "D-1", *WHY)
    assert "review" not in done(records, "ready", "VA-2", "--on", "2026-04-10").out


# --- what contradicted an issued report ------------------------------------------------------------------------------------------

BEFORE = ("--at", "2026-03-05T08:00+01:00")


@pytest.fixture
def contradicted(tmp_path):
    """The issued report of J-1, and a suspension of VA-1 typed for the day before its readings."""
    records = records_of(tmp_path / "small", small_job())
    done(records, "report", "J-1", "--issue", "--into", tmp_path / "first", "--format", "json")
    done(records, "instrument", "suspend", "VA-1", "--reason", "fell from a ladder", *BEFORE)
    return records


def test_the_contradiction_ends_with_the_withdrawn_suspension_and_that_is_said(contradicted):
    ran = done(contradicted, "event", "withdraw", "VA-1", 1, *WHY)
    told = " ".join(ran.err.split())
    assert "review 1 has ended: suspension 1 of VA-1 as of 2026-03-05 was recorded on" in told
    assert "and that was taken back" in told
    assert "otherwise" not in told
    assert "otherwise" not in calib("due", "--on", "2026-03-06", records=contradicted).out
    assert done(contradicted, "review", "list", "--open").out == "no impact review is open\n"


def test_what_else_contradicts_the_report_opens_a_review_of_its_own(contradicted):
    cells = ("--set", "design_flow=300", "--reason", "misread")
    amended = done(contradicted, "outlet", "amend", "J-1", "R-1", *cells)
    assert "issued, but the records now say otherwise: report J-1 revision 1: reading 3 at R-1" in amended.err
    ran = done(contradicted, "event", "withdraw", "VA-1", 1, *WHY)
    assert "review 1 has ended" in ran.err
    assert "otherwise" not in ran.err
    assert "J-1 revision 1" in calib("due", "--on", "2026-03-06", records=contradicted).out


def test_what_was_recorded_beside_it_contradicts_other_reports_still(tmp_path):
    """An import has two suspensions; J-2 was measured with VA-2 alone, and its line is of the same review."""
    records = records_of(tmp_path / "small", small_job())
    sheets = small_job()
    other = {
        "jobs.csv": [sheets["jobs.csv"][0] | {"job": "J-2"}],
        "outlets.csv": [sheets["outlets.csv"][2] | {"job": "J-2"}],
        "readings.csv": [sheets["readings.csv"][2] | {"job": "J-2"}],
    }
    done(records, "import", write(tmp_path / "other", other))
    for job in ("J-1", "J-2"):
        done(records, "report", job, "--issue", "--into", tmp_path / job, "--format", "json")
    events = [{"tag": tag, "kind": "suspension", "at": BEFORE[1], "reason": "fell"} for tag in ("VA-1", "VA-2")]
    done(records, "import", write(tmp_path / "events", {"events.csv": events}))
    assert len(done(records, "review", "show", 1, "--json").document["items"]) == 2
    ran = done(records, "event", "withdraw", "VA-1", 1, *WHY)
    assert "review 1 has ended" in ran.err
    assert "report J-2 revision 1" in ran.err
    (left,) = [each for each in all_reviews(records) if each.is_open]
    assert {line.finding["report"] for line in left.lines} == {"J-1 revision 1", "J-2 revision 1"}
