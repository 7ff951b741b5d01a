"""Issued reports are watched: what is recorded for the past is asked which of them would now say something else.

Source: ISO/IEC 17025:2017, 7.8.8 and 7.10.1, from memory. Reproduced: a suspension typed for 10 May on 2 June turned three flows of
an issued report into refusals, and a back-dated acceptance turned a conditional pass into a conditional fail, with no word.
"""

import pytest

from calib.procedures.measure import evaluate as evaluating
from calib.procedures.report import watch_issued as watching
from tests.as_found import drifted
from tests.command import calib, done
from tests.folders import ledger_head, records_of, small_job, write

OTHERWISE = "issued, but the records now say otherwise: report J-1 revision 1: "
BEFORE = ("--at", "2026-03-05T08:00+01:00")


@pytest.fixture
def records(tmp_path):
    records = records_of(tmp_path / "records", small_job())
    ran = calib("report", "J-1", "--issue", "--into", tmp_path / "first", "--format", "json", records=records)
    assert ran.status == 0
    return records


def suspend(records, *more, tag="VA-1"):
    return calib("instrument", "suspend", tag, "--reason", "fell from a ladder", *more, records=records)


def reissue(records, into):
    because = (
        "--because",
        "VA-1 was suspended",
        "--with-gaps",
        "no other vane was at hand",
        "--into",
        into,
        "--format",
        "json",
    )
    assert calib("report", "J-1", "--issue", *because, records=records).status == 0


def due(records):
    return [
        line for line in calib("due", "--on", "2026-03-06", records=records).out.splitlines() if "say otherwise" in line
    ]


def test_a_suspension_for_the_past_names_the_reports_that_it_contradicts(records):
    ran = suspend(records, *BEFORE)
    assert ran.status == 0
    assert (
        f"{OTHERWISE}reading 1 at S-1: (1034 ± 71) m3/h, conditional pass -> refused: VA-1: suspended since" in ran.err
    )
    assert "calib review show 1" in ran.err
    document = calib("review", "show", 1, "--json", records=records).document
    assert document["cause"] == "recorded later"
    (line,) = document["items"]
    assert [each["what"] for each in line["differs"]][:3] == [
        "reading 1 at S-1",
        "reading 2 at S-2",
        "reading 4 at E-1",
    ]


def test_due_lists_it_until_the_report_is_reissued(records, tmp_path):
    suspend(records, *BEFORE)
    (line,) = due(records)
    assert line.startswith(
        "issued, but the records now say otherwise: report J-1 revision 1 (suspension 1 of VA-1 as of 2026-03-05 was recorded on "
    )
    reissue(records, tmp_path / "again")
    assert due(records) == []
    assert calib("review", "list", "--open", records=records).out == "no impact review is open\n"


def test_due_lists_it_until_somebody_judges_it_immaterial_with_a_reason(records):
    suspend(records, *BEFORE)
    why = ("--decision", "immaterial", "--reason", "the client was told by telephone")
    assert calib("review", "dispose", 1, 1, *why, records=records).status == 0
    assert due(records) == []
    assert "immaterial" in calib("review", "show", 1, records=records).out


def test_a_suspension_from_now_on_contradicts_nothing_and_evaluates_nothing(records, monkeypatch):
    monkeypatch.setattr(watching, "evaluate", lambda *_: pytest.fail("a job was evaluated"))
    ran = suspend(records)
    assert (ran.status, "otherwise" in ran.err) == (0, False)


def test_only_jobs_that_the_act_touches_are_evaluated(records, tmp_path, monkeypatch):
    """J-2 was measured with VA-2 alone."""
    sheets = small_job()
    other = {
        "jobs.csv": [sheets["jobs.csv"][0] | {"job": "J-2"}],
        "outlets.csv": [sheets["outlets.csv"][2] | {"job": "J-2"}],
        "readings.csv": [sheets["readings.csv"][2] | {"job": "J-2"}],
    }
    assert calib("import", write(tmp_path / "other", other), records=records).status == 0
    calib("report", "J-2", "--issue", "--into", tmp_path / "first", "--format", "json", records=records)
    asked = []

    def evaluated(session, job, *more):
        asked.append(job)
        return evaluating.evaluate(session, job, *more)

    monkeypatch.setattr(watching, "evaluate", evaluated)
    suspend(records, *BEFORE)
    assert set(asked) == {"J-1"}


def test_a_back_dated_acceptance_is_asked_too(records, tmp_path):
    second = drifted(small_job(), "VA-1", calibrated_on="2026-02-20", accepted_on="2026-02-25", certificate="E-1")
    for row in second["comparisons.csv"]:
        if row["phase"] == "as-left":
            row["indication"] = repr(float(row["indication"]) * 1.04)
    ran = calib("import", write(tmp_path / "later", second), records=records)
    assert ran.status == 0
    assert f"{OTHERWISE}reading 1 at S-1: (1034 ± 71) m3/h, conditional pass -> " in ran.err


def test_an_amended_outlet_is_asked_too(records):
    ran = calib("outlet", "amend", "J-1", "S-1", "--set", "design_flow=700", "--reason", "misread", records=records)
    assert ran.status == 0
    assert f"{OTHERWISE}reading 1 at S-1: (1034 ± 71) m3/h, conditional pass -> (1034 ± 71) m3/h, fail" in ran.err


def test_a_withdrawal_that_opens_a_review_itself_names_the_report_once(records):
    ran = calib("calibration", "withdraw", "VA-1", "C-101", "--reason", "typed wrong", records=records)
    assert ran.status == 0
    assert "otherwise" not in ran.err
    assert len(calib("review", "list", "--json", records=records).document["reviews"]) == 1


def test_what_is_measured_after_the_issue_contradicts_nothing(records):
    cells = {"instrument": "VA-1", "unit": "m/s", "method": "sweep", "observations": "3.1;3.2", "by": "T. One"}
    options = [word for name, cell in cells.items() for word in (f"--{name}", cell)]
    ran = calib("reading", "add", "J-1", "S-1", *options, records=records)
    assert "otherwise" not in ran.err


def test_the_same_contradiction_is_told_once(records):
    suspend(records, *BEFORE)
    before = ledger_head(records)[0]
    ran = calib("instrument", "release", "VA-1", "--reason", "it was in order", records=records)
    assert (ran.status, "otherwise" in ran.err) == (0, False)
    assert ledger_head(records)[0] == before + 1


def amend(records, outlet, design_flow):
    cells = ("--set", f"design_flow={design_flow}", "--reason", "read again")
    return done(records, "outlet", "amend", "J-1", outlet, *cells).err


def test_a_contradiction_that_is_amended_back_ends_its_review(records):
    first = small_job()["outlets.csv"][0]["design_flow"]
    assert OTHERWISE in amend(records, "S-1", 700)
    told = amend(records, "S-1", first)
    assert "review 1 has ended for report J-1 revision 1" in told
    assert "otherwise" not in told
    assert due(records) == []
    assert calib("review", "list", "--open", records=records).out == "no impact review is open\n"
    assert "ended" in done(records, "review", "show", 1).out


def test_the_same_contradiction_after_its_end_is_told_anew(records):
    first = small_job()["outlets.csv"][0]["design_flow"]
    for design_flow in (700, first):
        amend(records, "S-1", design_flow)
    assert OTHERWISE in amend(records, "S-1", 700)
    assert len(due(records)) == 1


def test_what_is_amended_back_ends_beside_what_contradicts_the_report_still(records):
    first = small_job()["outlets.csv"][0]["design_flow"]
    amend(records, "S-1", 700)
    amend(records, "R-1", 300)
    assert "review 1 has ended for report J-1 revision 1" in amend(records, "S-1", first)
    (line,) = due(records)
    assert "outlet R-1" in line


def test_a_second_contradiction_tells_what_it_adds_and_not_the_first_again(records):
    amend(records, "S-1", 700)
    told = amend(records, "R-1", 300)
    assert "reading 3 at R-1" in told
    assert "reading 1 at S-1" not in told
    (line,) = done(records, "review", "show", 2, "--json").document["items"]
    assert [each["what"] for each in line["differs"]] == ["reading 3 at R-1"]


def test_an_act_is_not_named_for_what_a_withdrawn_certificate_changed(records):
    done(records, "calibration", "withdraw", "VA-1", "C-101", "--reason", "typed wrong")
    told = amend(records, "R-1", 300)
    assert "reading 3 at R-1" in told
    assert "reading 1 at S-1" not in told


def test_an_act_is_not_named_for_what_was_judged_immaterial(records):
    amend(records, "S-1", 700)
    done(records, "review", "dispose", 1, 1, "--decision", "immaterial", "--reason", "the client knows")
    told = amend(records, "R-1", 300)
    assert "reading 3 at R-1" in told
    assert "reading 1 at S-1" not in told


def test_an_act_is_not_named_for_what_was_decided_in_a_review(records, tmp_path):
    done(records, "import", write(tmp_path / "second", drifted(small_job(), "VA-1")))
    (review,) = done(records, "review", "list", "--open", "--json").document["reviews"]
    done(records, "review", "decide", review["review"], "--curve", "as found", "--reason", "it fell before")
    told = amend(records, "R-1", 300)
    assert "reading 3 at R-1" in told
    assert "reading 1 at S-1" not in told


def test_what_was_refused_when_it_was_issued_is_no_contradiction(records, tmp_path):
    suspend(records, *BEFORE)
    reissue(records, tmp_path / "again")
    ran = calib("outlet", "amend", "J-1", "R-1", "--set", "design_flow=300", "--reason", "misread", records=records)
    (told,) = [line for line in ran.err.splitlines() if "otherwise" in line]
    assert "reading 3 at R-1" in told
    assert "reading 1" not in told


def test_records_without_an_issued_report_are_asked_nothing(tmp_path):
    records = records_of(tmp_path / "records", small_job())
    before = ledger_head(records)[0]
    suspend(records, *BEFORE)
    assert ledger_head(records)[0] == before + 1
