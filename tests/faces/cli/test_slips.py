"""Slips have a way back that supersedes and never overwrites, as a person types it.

Source: ISO/IEC 17025:2017, 7.5.2 (amendments can be tracked to previous versions, both are kept; from memory). What a flow is
expected to be is that of a job typed right from the start.
"""

import pytest

from tests.command import calib
from tests.folders import changed, records_of

REASON = ("--reason", "two digits were exchanged")
SAME = 1e-12


@pytest.fixture
def records(small_records):
    return small_records


def flows(records):
    """Flow of each reading that stands, by its outlet."""
    document = calib("reading", "list", "J-1", "--json", records=records).document
    return {each["outlet"]: each["flow"]["value"] for each in document["readings"]}


def right_from_the_start(folder, *cells):
    return flows(records_of(folder, changed(*cells)))


def number_at(records, outlet):
    document = calib("reading", "list", "J-1", "--json", records=records).document
    return next(each["reading"] for each in document["readings"] if each["outlet"] == outlet)


# --- reading withdraw ------------------------------------------------------------------------------------------------------------


def test_a_withdrawn_reading_yields_no_flow_and_is_told_with_its_reason(records):
    number = number_at(records, "S-2")
    ran = calib("reading", "withdraw", "J-1", number, *REASON, records=records)
    assert (ran.status, ran.err) == (0, "")
    assert ran.out.startswith(f"reading {number} at S-2 is withdrawn")
    listed = calib("reading", "list", "J-1", records=records)
    (line,) = [line for line in listed.out.splitlines() if " S-2 " in line]
    assert "not measured" in line
    assert f"withdrawn: reading {number} at S-2" in listed.err
    assert REASON[1] in listed.err
    assert calib("verify", records=records).status == 0


def test_a_withdrawn_reading_is_shown_no_more_and_says_why(records):
    number = number_at(records, "S-2")
    calib("reading", "withdraw", "J-1", number, *REASON, "--by", "B. Person", records=records)
    ran = calib("reading", "show", number, records=records)
    assert ran.status == 3
    assert "B. Person" in ran.err
    assert REASON[1] in ran.err


def test_a_reading_is_withdrawn_once_and_with_a_reason(records):
    number = number_at(records, "S-2")
    assert calib("reading", "withdraw", "J-1", number, "--reason", " ", records=records).status == 2
    calib("reading", "withdraw", "J-1", number, *REASON, records=records)
    ran = calib("reading", "withdraw", "J-1", number, *REASON, records=records)
    assert ran.status == 2
    assert "withdrawn" in ran.err


@pytest.mark.parametrize("number", ["0", "99", "2147483647"])
def test_a_number_that_no_reading_has_is_named(records, number):
    ran = calib("reading", "withdraw", "J-1", number, *REASON, records=records)
    assert ran.status == 2
    assert f"no reading {number} in job J-1" in ran.err


def test_what_was_withdrawn_may_be_typed_again_by_hand(records):
    number = number_at(records, "S-2")
    calib("reading", "withdraw", "J-1", number, *REASON, records=records)
    ran = calib(
        "reading", "add", "J-1", "S-2", "--instrument", "VA-1", "--at", "2026-03-05T09:20+01:00", "--unit", "m/s",
        "--observations", "3.18;3.23;3.19", "--method", "sweep", records=records,
    )  # fmt: skip
    assert (ran.status, ran.err) == (0, "")
    assert "S-2" in flows(records)


# --- reading correct -------------------------------------------------------------------------------------------------------------


def test_a_corrected_reading_flows_as_one_that_was_typed_right(records, tmp_path):
    number = number_at(records, "S-2")
    ran = calib(
        "reading", "correct", "J-1", number, "--indication", "3.20", "--observations", "3.18;3.23;3.19", *REASON,
        records=records,
    )  # fmt: skip
    assert (ran.status, ran.err) == (0, "")
    right = right_from_the_start(
        tmp_path / "right",
        ("readings.csv", 3, "indication", "3.20"),
        ("readings.csv", 3, "observations", "3.18;3.23;3.19"),
    )
    assert flows(records) == pytest.approx(right, rel=SAME)
    assert number_at(records, "S-2") != number
    assert calib("verify", records=records).status == 0


def test_both_values_of_a_corrected_reading_stand_in_the_report_once(records, tmp_path):
    number = number_at(records, "S-2")
    calib(
        "reading", "correct", "J-1", number, "--indication", "3.20", "--observations", "3.18;3.23;3.19", *REASON,
        records=records,
    )  # fmt: skip
    calib("report", "J-1", "--format", "json,html", "--into", tmp_path, records=records)
    document = next(tmp_path.glob("*.html")).read_text(encoding="utf-8")
    assert document.count(REASON[1]) == 1
    assert "3.08;3.13;3.09" in document
    assert "3.18;3.23;3.19" in document


@pytest.mark.parametrize(
    ("cells", "named"),
    [
        ((), "another value"),
        (("--observations", "3.18;3.23;3.19"), "indication"),
        (("--unit", "furlongs"), "--unit"),
        (("--method", "guess"), "--method"),
        (("--point", "1/1=3"), "--point"),
    ],
)
def test_a_correction_that_is_none_or_wrong_writes_nothing(records, cells, named):
    number = number_at(records, "S-2")
    before = calib("verify", "--json", records=records).document
    ran = calib("reading", "correct", "J-1", number, *cells, *REASON, records=records)
    assert ran.status == 2
    assert named in ran.err
    assert calib("verify", "--json", records=records).document == before


def test_a_correction_that_the_gate_refuses_is_kept_as_a_refusal(records):
    number = number_at(records, "S-2")
    ran = calib(
        "reading",
        "correct",
        "J-1",
        number,
        "--indication",
        "19",
        "--observations",
        "",
        *REASON,
        "--sure",
        records=records,
    )
    assert ran.status == 3
    assert "refused" in ran.out
    assert "S-2" not in flows(records)
    assert calib("verify", records=records).status == 0


def test_a_corrected_reading_is_corrected_again_by_its_new_number(records):
    for indication in ("3.20", "3.30"):
        number = number_at(records, "S-2")
        ran = calib(
            "reading",
            "correct",
            "J-1",
            number,
            "--indication",
            indication,
            "--observations",
            "",
            *REASON,
            records=records,
        )
        assert (ran.status, ran.err) == (0, "")
    ran = calib("reading", "correct", "J-1", number, "--indication", "3.4", *REASON, records=records)
    assert ran.status == 2
    assert "withdrawn" in ran.err


# --- refusal dismiss -------------------------------------------------------------------------------------------------------------


def test_a_dismissed_refusal_is_kept_and_told_no_more_on_page_one(records, tmp_path):
    refused = calib(
        "reading", "add", "J-1", "S-2", "--instrument", "VA-1", "--at", "2026-03-05T10:20+01:00", "--unit", "m/s",
        "--indication", "19.0", "--method", "sweep", "--sure", records=records,
    )  # fmt: skip
    assert refused.status == 3
    assert "(refused reading 1)" in calib("reading", "list", "J-1", records=records).err
    ran = calib("refusal", "dismiss", "J-1", "1", "--reason", "a slip of the point", records=records)
    assert (ran.status, ran.err) == (0, "")
    listed = calib("reading", "list", "J-1", records=records)
    assert "refused:" not in listed.err
    assert "dismissed: refused reading 1 at S-2" in listed.err
    report = calib("report", "J-1", "--format", "json", "--into", tmp_path, records=records)
    assert report.status == 0
    assert calib("verify", records=records).status == 0


REFUSED = (
    "S-2", "--instrument", "VA-1", "--at", "2026-03-05T10:20+01:00", "--unit", "m/s", "--indication", "19.0", "--method",
    "sweep", "--sure",
)  # fmt: skip


def test_a_refused_reading_that_is_typed_again_names_the_refusal_and_how_it_is_dismissed(records):
    assert calib("reading", "add", "J-1", *REFUSED, records=records).status == 3
    again = calib("reading", "add", "J-1", *REFUSED, records=records)
    said = "it is refused reading 1; a slip is dismissed with `calib refusal dismiss J-1 1 --reason TEXT`"

    assert again.status == 2
    assert said in " ".join(again.err.split())
    assert calib("refusal", "dismiss", "J-1", "1", "--reason", "a slip", records=records).status == 0
    assert calib("reading", "add", "J-1", *REFUSED, records=records).status == 3


@pytest.mark.parametrize(
    ("indication", "status", "said"),
    [
        ("19.0", 0, "the gate refused 1 row of those on record, as refused reading 1;"),
        ("3.1", 2, "expected '19.0' as on record (a sheet changes no record: it is refused reading 1;"),
    ],
)
def test_a_sheet_with_a_reading_that_was_refused_before_is_told_so(records, tmp_path, indication, status, said):
    calib("reading", "add", "J-1", *REFUSED, "--by", "T. One", records=records)
    sheet = tmp_path / "march.csv"
    sheet.write_text(
        "job,outlet,instrument,observed_at,unit,indication,method,operator\n"
        f"J-1,S-2,VA-1,2026-03-05T10:20+01:00,m/s,{indication},sweep,T. One\n"
    )
    ran = calib("import", sheet, records=records)

    assert (ran.status, said in " ".join(ran.err.split())) == (status, True), ran.err
    assert "dismissed with `calib refusal dismiss J-1 1 --reason TEXT`" in " ".join(ran.err.split())


# --- event, check, interval ------------------------------------------------------------------------------------------------------


def event_number(records, tag, kind):
    events = calib("instrument", "show", tag, "--json", records=records).document["events"]
    return next(each["id"] for each in events if each["kind"] == kind)


def test_a_suspension_of_the_wrong_instrument_counts_for_nothing_at_no_time(records):
    before = flows(records)
    calib("instrument", "suspend", "VA-1", "--reason", "dropped", "--at", "2026-03-05T08:00+01:00", records=records)
    assert flows(records) != before
    number = event_number(records, "VA-1", "suspension")
    ran = calib("event", "withdraw", "VA-1", number, "--reason", "VA-2 was dropped", records=records)
    assert (ran.status, ran.err) == (0, "")
    assert flows(records) == before
    shown = calib("instrument", "show", "VA-1", records=records).out
    assert "VA-2 was dropped" in shown
    assert calib("verify", records=records).status == 0


def test_the_readings_that_rest_on_what_was_withdrawn_are_named(records):
    calib("instrument", "suspend", "VA-1", "--reason", "dropped", "--at", "2026-03-05T09:15+01:00", records=records)
    number = event_number(records, "VA-1", "suspension")
    document = calib(
        "event", "withdraw", "VA-1", number, "--reason", "VA-2 was dropped", "--json", records=records
    ).document
    assert len(document["readings"]) == 2  # S-2 and E-1 were read after it, S-1 before


def test_a_failed_check_of_the_wrong_instrument_opens_the_gate_again(records):
    ran = calib(
        "check", "add", "VA-1", "--kind", "zero", "--value", "0.5", "--low", "-0.02", "--high", "0.02", "--unit", "m/s",
        records=records,
    )  # fmt: skip
    assert ran.status == 1
    failed = "intermediate check (zero) failed on"
    assert failed in calib("ready", "VA-1", records=records).out
    listed = calib("check", "list", "VA-1", "--json", records=records).document["checks"]
    ran = calib("check", "withdraw", "VA-1", listed[0]["id"], "--reason", "VA-2 was checked", records=records)
    assert (ran.status, ran.err) == (0, "")
    assert failed not in calib("ready", "VA-1", records=records).out
    assert "VA-2 was checked" in calib("check", "list", "VA-1", records=records).out


def test_an_interval_changed_by_a_slip_changes_back(records):
    def due():
        listed = calib("instrument", "list", "--json", records=records).document["instruments"]
        return next((each["due_on"], each["interval_months"]) for each in listed if each["tag"] == "VA-1")

    before = due()
    calib("interval", "set", "VA-1", "6", *REASON, records=records)
    assert due() != before
    ran = calib("interval", "withdraw", "VA-1", *REASON, records=records)
    assert (ran.status, ran.err) == (0, "")
    assert due() == before
    assert calib("interval", "withdraw", "VA-1", *REASON, records=records).status == 2
