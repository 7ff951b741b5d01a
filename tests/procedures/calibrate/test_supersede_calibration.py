"""A certificate that its laboratory reissued takes the place of the old one without a gap.

Source: ISO/IEC 17025:2017, 7.8.8 (a reissued report) and 7.10 (nonconforming work), from memory; `calib help certificates` has the
contract. The instrument, its certificates and readings are those of tests.folders.
"""

import pytest

from tests import factor_pairs
from tests.as_found import LATER, drifted, reviewed, stated_flows
from tests.command import calib, done
from tests.folders import NOW, changed, csv_text, flows_of, imported, ledger_head, only, records_of, small_job, write
from tests.procedures.impact.test_open_review import with_factor

OLD, NEW = "C-101", "C-101a"
WHY = "the client's address was wrong"
SUPERSEDE = ("calibration", "supersede", "VA-1", OLD, NEW, "--reason", WHY)


@pytest.fixture
def records(small_records):
    return small_records


def reissued(records, folder, *cells, of=None, number=NEW, old=OLD, now=NOW):
    """The certificate of VA-1 under another number, with some cells changed: (file, column, value, row among its own)."""
    sheets = only(of or changed(), "calibrations.csv", "comparisons.csv")
    for file, rows in sheets.items():
        sheets[file] = [
            row | {"certificate": number} for row in rows if (row["tag"], row["certificate"]) == ("VA-1", old)
        ]
    sheets["calibrations.csv"][0] |= {"accepted_on": "", "issued_on": str(now.date())}
    for file, column, value, row in cells:
        sheets[file][row][column] = value
    imported(records, write(folder / number, sheets), now=now)
    return records


CORRECTED = ("--judged", "corrected value", "--departure", "flows are computed from it", "--by", "B. Person")
OTHER = [("comparisons.csv", "reference", "4.02", 3)]  # 4.00 m/s before


def refused(ran, expected):
    assert (ran.status, ran.out, len(ran.err.splitlines())) == (2, "", 1)
    assert expected in ran.err


def shown(records, certificate):
    return calib("calibration", "show", "VA-1", certificate, "--json", records=records).document


def reviews(records):
    return calib("review", "list", "--json", records=records).document["reviews"]


# --- the same values -------------------------------------------------------------------------------------------------------------


def test_where_the_values_are_the_same_the_acceptance_carries_over_and_every_flow_stays(records, tmp_path):
    before = flows_of(records)
    reissued(records, tmp_path)
    ran = calib(*SUPERSEDE, records=records)
    assert (ran.status, ran.err) == (0, "")
    carried = "every value is the same, and its acceptance carries over: from 2026-01-19, by A. Person"
    assert ran.out.startswith(f"VA-1: C-101a takes the place of C-101; {carried}\n")
    assert flows_of(records) == before
    new = shown(records, NEW)
    assert (new["accepted_on"], new["accepted_by"]) == ("2026-01-19", "A. Person")
    assert new["acceptance_reason"] == f"takes the place of C-101: {WHY}"
    (answer,) = calib("ready", "VA-1", "--on", "2026-03-05", "--json", records=records).document["instruments"]
    assert (answer["certificate"], answer["reasons"]) == (NEW, [])
    assert reviews(records) == []


def test_digits_are_compared_as_numbers(records, tmp_path):
    reissued(records, tmp_path, ("comparisons.csv", "reference", "4.000", 3))
    assert calib(*SUPERSEDE, "--json", records=records).document["same_values"]


def test_a_factor_found_with_the_old_one_is_one_found_with_the_new_one(tmp_path):
    """The instrument's error cancels as before: U of the flows stays too, and nothing is reviewed, also after a second reissue."""
    sheets = factor_pairs.paired_job()
    records = records_of(tmp_path / "records", sheets)
    with_factor(records)
    again = factor_pairs.sweep("S-9", factor_pairs.at("13:00"), "3.11;3.14;3.12")
    imported(records, write(tmp_path / "later", {"readings.csv": [again]}), now=NOW)
    calib("report", "J-1", "--issue", "--format", "json", "--into", tmp_path / "out", records=records)
    before = stated_flows(records, "J-1")
    for old, new in ((OLD, NEW), (NEW, "C-101b")):
        reissued(records, tmp_path, of=sheets, number=new)
        ran = calib("calibration", "supersede", "VA-1", old, new, "--reason", WHY, records=records)
        assert (ran.status, ran.err) == (0, "")
        assert stated_flows(records, "J-1") == before
    assert reviews(records) == []


def test_both_certificates_say_so(records, tmp_path):
    reissued(records, tmp_path)
    calib(*SUPERSEDE, "--by", "Q. Person", records=records)
    old = shown(records, OLD)
    assert (old["superseded"]["by_certificate"], old["superseded"]["reason"], old["superseded"]["by"]) == (
        NEW,
        WHY,
        "Q. Person",
    )
    for words in (
        ("calibration", "show", "VA-1", OLD),
        ("calibration", "list", "VA-1"),
        ("instrument", "show", "VA-1"),
    ):
        assert (
            f"superseded by C-101a, {old['superseded']['at']} by Q. Person: {WHY}" in calib(*words, records=records).out
        )


def test_a_chosen_curve_carries_over_too(records, tmp_path):
    calib("calibration", "choose", "VA-1", OLD, "--degree", "2", "--reason", "as the maker says", records=records)
    before = flows_of(records)
    reissued(records, tmp_path)
    assert calib(*SUPERSEDE, records=records).status == 0
    assert flows_of(records) == before
    assert shown(records, NEW)["curve"]["reason"] == "as the maker says"


def test_the_state_verifies_and_the_row_taken_out_is_found(records, tmp_path):
    reissued(records, tmp_path)
    calib(*SUPERSEDE, records=records)
    assert calib("verify", records=records).status == 0


def test_the_review_of_the_old_one_stays_the_only_one(tmp_path):
    second = drifted(small_job(), "VA-1", accepted_on="2026-03-21")
    records = reviewed(tmp_path, small_job(), second)
    (review,) = reviews(records)
    before = flows_of(records, now=LATER)
    reissued(records, tmp_path, of=second, old="D-1", number="D-1a", now=LATER)
    assert reviews(records) == [review]
    ran = calib("calibration", "supersede", "VA-1", "D-1", "D-1a", "--reason", WHY, records=records)
    assert ran.status == 0
    assert reviews(records) == [review]
    assert flows_of(records, now=LATER) == before


def test_a_second_certificate_of_one_calibration_waits_with_its_review_and_says_so(tmp_path):
    second = drifted(small_job(), "VA-1", accepted_on="2026-03-21")
    records = reviewed(tmp_path, small_job(), second)
    sheets = {file: [row | {"certificate": "D-2"} for row in rows] for file, rows in second.items()}
    sheets["calibrations.csv"][0]["accepted_on"] = ""
    (told,) = [
        each for each in imported(records, write(tmp_path / "third", sheets), now=LATER).remarks if "D-2" in each
    ]
    assert told.startswith(
        "notice: VA-1: certificate D-2 is of the same calibration as D-1: what it was found to be is reviewed"
    )
    assert calib("calibration", "accept", "VA-1", "D-2", *CORRECTED, records=records).status == 0
    assert [one["certificate"] for one in reviews(records)] == ["D-1", "D-2"]


def test_nothing_of_the_flows_changes_by_the_order_of_the_certificates(records, tmp_path):
    before = flows_of(records)
    reissued(records, tmp_path)
    assert flows_of(records) == before


# --- other values ----------------------------------------------------------------------------------------------------------------


def accept(records, *more):

    return calib("calibration", "accept", "VA-1", NEW, *CORRECTED, *more, records=records)


def test_where_a_value_differs_the_old_one_counts_until_the_new_one_is_accepted(records, tmp_path):
    before = flows_of(records)
    reissued(records, tmp_path, *OTHER)
    ran = calib(*SUPERSEDE, records=records)
    assert ran.out.splitlines()[:2] == [
        (
            "VA-1: C-101a takes the place of C-101 once it is accepted; C-101 counts until then: "
            "calib calibration accept VA-1 C-101a"
        ),
        "  comparison 4: reference",
    ]
    assert flows_of(records) == before
    assert (
        "superseded by C-101a, once that is accepted, "
        in calib("calibration", "show", "VA-1", OLD, records=records).out
    )


def test_until_then_whoever_relies_on_the_old_one_is_told(records, tmp_path):
    reissued(records, tmp_path, *OTHER)
    calib(*SUPERSEDE, records=records)
    doubt = "certificate C-101 was reissued with other values as C-101a, which nobody has accepted yet"
    asked = [("ready", "VA-1", "--on", "2026-03-05"), ("trace", "up", "reading", "1"), ("trace", "up", "VA-1")]
    told = [calib(*words, records=records) for words in asked]
    assert [ran.status for ran in told] == [0, 0, 0]
    assert f"\n  but {doubt}\n" in told[0].out
    for chain in told[1:]:
        assert f"\ngap: VA-1: {doubt}\n" in chain.out
    accept(records)
    assert all("nobody has accepted" not in calib(*words, records=records).out for words in asked)


def test_accepted_it_counts_from_the_day_of_the_old_one_and_no_reading_becomes_a_refusal(records, tmp_path):
    before = flows_of(records)
    reissued(records, tmp_path, *OTHER)
    calib(*SUPERSEDE, records=records)
    assert accept(records).status == 0
    new = shown(records, NEW)
    assert (new["accepted_on"], new["accepted_by"]) == ("2026-01-19", "B. Person")
    assert new["acceptance_reason"] == f"takes the place of C-101: {WHY}"
    after = flows_of(records)
    assert after.keys() == before.keys()
    assert (after["S-1"] > before["S-1"], after["R-1"] == before["R-1"]) == (True, True)
    refused(accept(records), "expected one not accepted yet")


def test_a_day_of_its_own_is_refused(records, tmp_path):
    reissued(records, tmp_path, *OTHER)
    calib(*SUPERSEDE, records=records)
    expected = "--on: '2026-02-01'; expected 2026-01-19, or nothing: it takes the place of C-101 from then on"
    refused(accept(records, "--on", "2026-02-01", "--reason", "so"), expected)


def test_its_acceptance_opens_a_review_of_what_the_records_answer_otherwise_alone(tmp_path):
    records = records_of(tmp_path, changed())
    issue = ("report", "J-1", "--issue", "--format", "json", "--into", tmp_path / "out")
    assert calib(*issue, records=records).status == 0
    reissued(records, tmp_path, *OTHER)
    calib(*SUPERSEDE, records=records)
    assert reviews(records) == []
    ran = accept(records)
    assert ran.status == 0
    (review,) = reviews(records)
    assert review["cause"] == "supersession"
    assert ran.err.count("calib review show") == 1
    items = calib("review", "show", review["review"], "--json", records=records).document["items"]
    # Reading 3 was taken with another instrument.
    assert [one["id"] for one in items if one["table"] == "reading"] == [1, 2, 4]
    assert [one["report"] for one in items if one["table"] == "issued_report"] == ["J-1 revision 1"]


def test_the_revision_that_answers_its_review_does_not_say_that_it_is_open(tmp_path):
    records = records_of(tmp_path, changed())
    into = tmp_path / "out"
    issue = ("report", "J-1", "--issue", "--format", "html", "--into", into)
    done(records, *issue)
    reissued(records, tmp_path, *OTHER)
    done(records, *SUPERSEDE)
    accept(records)
    page = ("report", "J-1", "--format", "html", "--into", into)
    done(records, *page)
    assert "An impact review is open" in (into / "J-1.html").read_text("utf-8")
    (review,) = reviews(records)
    *others, report = (str(place) for place in range(1, review["lines"] + 1))
    dispose = ("review", "dispose", review["review"])
    done(records, *dispose, *others, "--decision", "stands", *["--reason", "a small shift"] * len(others))
    done(records, *dispose, report, "--decision", "reissue", "--reason", "the client gets the corrected flows")
    done(records, *issue, "--because", "C-101 was reissued")
    said = (into / "J-1-r2.html").read_text("utf-8")
    assert "An impact review is open" not in said
    assert "the flows are those of the certificate that counts now" in said
    assert "not decided yet" not in said
    assert [each["open"] for each in reviews(records)] == [0]


def test_a_chain_says_that_the_values_of_a_certificate_were_replaced(records, tmp_path):
    reissued(records, tmp_path, *OTHER)
    calib(*SUPERSEDE, records=records)
    accept(records)
    ran = calib("trace", "up", "certificate", OLD, records=records)
    assert "C-101 was reissued as C-101a with other values" in ran.out


def test_where_the_new_one_is_withdrawn_the_old_one_counts_again(records, tmp_path):
    before = flows_of(records)
    reissued(records, tmp_path)
    calib(*SUPERSEDE, records=records)
    assert calib("calibration", "withdraw", "VA-1", NEW, "--reason", "a slip", records=records).status == 0
    assert flows_of(records) == before


# --- what cannot be --------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (
            ("VA-1", OLD, OLD, "--reason", WHY),
            "NEW: 'C-101'; expected another certificate than the one that it replaces",
        ),
        (("VA-1", OLD, NEW, "--reason", " "), "--reason: ' '; expected why it was reissued"),
        (("VA-1", OLD, "C-9", "--reason", WHY), "no certificate 'C-9' of VA-1 in the records"),
        (("VA-9", OLD, NEW, "--reason", WHY), "no instrument 'VA-9' in the records"),
    ],
)
def test_a_wrong_call_is_one_line_and_writes_nothing(records, tmp_path, words, expected):
    reissued(records, tmp_path)
    before = ledger_head(records)
    refused(calib("calibration", "supersede", *words, records=records), expected)
    assert ledger_head(records) == before


def test_another_laboratory_reissues_nothing(records, tmp_path):
    reissued(records, tmp_path, ("calibrations.csv", "laboratory", "South Laboratory", 0))
    refused(calib(*SUPERSEDE, records=records), "NEW: 'C-101a'; expected a certificate of North Laboratory")


def test_it_is_reissued_once_and_nothing_more_is_done_with_the_old_one(records, tmp_path):
    reissued(records, tmp_path)
    reissued(records, tmp_path, number="C-101b")
    calib(*SUPERSEDE, records=records)
    again = calib("calibration", "supersede", "VA-1", OLD, "C-101b", "--reason", WHY, records=records)
    refused(again, "OLD: 'C-101'; expected one that counts; C-101a took its place")
    assert calib("calibration", "supersede", "VA-1", NEW, "C-101b", "--reason", WHY, records=records).status == 0
    choose = ("calibration", "choose", "VA-1", OLD, "--degree", "2", "--reason", "so")
    refused(calib(*choose, records=records), "C-101a took its place")


def test_an_export_brings_it_back(records, tmp_path):
    reissued(records, tmp_path)
    calib(*SUPERSEDE, records=records)
    before = flows_of(records)
    assert calib("export", tmp_path / "out", records=records).status == 0
    assert (tmp_path / "out" / "supersessions.csv").read_text(encoding="utf-8") == csv_text(
        [{"tag": "VA-1", "old_certificate": OLD, "certificate": NEW, "reason": WHY, "same_values": "yes"}]
    )
    again = tmp_path / "again.sqlite"
    assert calib("init", records=again).status == 0
    assert calib("import", tmp_path / "out", records=again).status == 0
    assert flows_of(again) == before
    assert shown(again, OLD)["superseded"]["by_certificate"] == NEW
    assert shown(again, NEW)["accepted_on"] == "2026-01-19"
