"""Anchors show what no chain shows by itself: a ledger that was forged anew from its first entry to its last.

Source: common practice, no source; the forger is that of tests.records.test_tampering.
"""

import json
import shutil

import pytest

from tests.command import calib
from tests.folders import records_of, small_job
from tests.records.test_ledger import change
from tests.records.test_tampering import forged


@pytest.fixture(scope="module")
def _whole(tmp_path_factory):
    return records_of(tmp_path_factory.mktemp("anchored"), small_job())


@pytest.fixture
def records(_whole, tmp_path):
    return shutil.copyfile(_whole, tmp_path / "records.sqlite")


@pytest.fixture
def anchors(records, tmp_path):
    """A file in which the head of the records was anchored, as it were on another machine."""
    path = tmp_path / "elsewhere.anchors"
    assert calib("verify", "--anchor", path, records=records).status == 0
    return path


def rewritten(records):
    """The records with one reading changed and every digest made to fit again."""
    change(records, "UPDATE reading SET indication = '4.40', observations = NULL WHERE id = 1")
    forged(records)
    return records


def test_a_forged_ledger_has_no_finding_of_its_own(records):
    assert calib("verify", records=rewritten(records)).status == 0


def test_an_anchor_kept_elsewhere_finds_it(records, anchors):
    assert calib("verify", "--anchors", anchors, records=records).status == 0
    ran = calib("verify", "--anchors", anchors, records=rewritten(records))
    assert ran.status == 1
    assert "has another digest of ledger entry 45: entries up to it were replaced" in ran.out


def test_each_anchor_is_a_line_with_the_records_the_entry_the_digest_and_the_time(records, anchors):
    calib("verify", "--anchor", anchors, records=records)
    lines = [json.loads(line) for line in anchors.read_text().splitlines()]
    assert [(line["records"], line["sequence"]) for line in lines] == [("records.sqlite", 45)] * 2
    assert {len(line["digest"]) for line in lines} == {64}


def test_a_cut_tail_is_found(records, anchors):
    change(records, "DELETE FROM ledger WHERE sequence = 45")
    ran = calib("verify", "--rows-only", "--anchors", anchors, records=records)
    assert "names ledger entry 45; the ledger ends at 44: its tail was cut" in ran.out


def test_damaged_records_are_not_anchored(records, tmp_path):
    change(records, "UPDATE reading SET remarks = 'x' WHERE id = 1")
    ran = calib("verify", "--anchor", tmp_path / "a", records=records)
    assert (ran.status, "nothing was appended, since there are findings" in ran.err) == (1, True)
    assert not (tmp_path / "a").exists()


def test_two_records_anchor_each_other(records, tmp_path):
    north = records_of(tmp_path / "north", small_job()).rename(tmp_path / "north.sqlite")
    assert calib("anchor", "add", records, "--reason", "exchange", records=north).status == 0
    assert calib("anchor", "add", north, "--reason", "exchange", records=records).status == 0
    assert "records.sqlite" in calib("anchor", "list", records=north).out
    assert calib("verify", "--anchors", north, records=records).status == 0
    assert calib("verify", "--anchors", records, records=north).status == 0
    assert calib("verify", "--anchors", north, records=rewritten(records)).status == 1


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("x\n", "row 1: 'x'; expected an anchor as a verification appends it"),
        ("[1]\n\n{}\n", "row 3: '{}'; expected an anchor"),
        ('{"records": "r", "sequence": "7", "digest": "x", "time": "2026-01-01T00:00:00+00:00"}', "expected an anchor"),
        ("", "expected at least one anchor"),
    ],
)
def test_a_file_that_holds_no_anchors_is_named_by_row(records, tmp_path, content, said):
    path = tmp_path / "bad.anchors"
    path.write_text(content)
    ran = calib("verify", "--anchors", path, records=records)
    assert (ran.status, said in ran.err) == (2, True)


def test_records_that_keep_no_anchor_of_these_are_named(records, tmp_path):
    north = records_of(tmp_path / "north", small_job())
    ran = calib("verify", "--anchors", north, records=records)
    assert (ran.status, "expected records that keep an anchor of records.sqlite" in ran.err) == (2, True)


def test_a_missing_file_of_anchors_is_one_line(records, tmp_path):
    ran = calib("verify", "--anchors", tmp_path / "none", records=records)
    assert (ran.status, len(ran.err.splitlines())) == (2, 1)


def test_an_anchor_without_a_reason_is_refused(records, tmp_path):
    north = records_of(tmp_path / "north", small_job())
    ran = calib("anchor", "add", north, "--reason", " ", records=records)
    assert (ran.status, "why it is anchored" in ran.err) == (2, True)


# --- two companies' records ------------------------------------------------------------------------------------------------------


@pytest.fixture
def north(records, tmp_path):
    """Other records, which keep a head of the records as `south`."""
    north = records_of(tmp_path / "other", small_job()).rename(tmp_path / "calibration.sqlite")
    assert calib("anchor", "add", f"south={records}", "--reason", "exchange", records=north).status == 0
    return north


def grown(records):
    """The records with one more entry."""
    assert calib("instrument", "suspend", "PG-1", "--reason", "dropped", records=records).status == 0
    return records


def test_other_records_are_called_by_a_name_of_ones_own(records, north):
    assert [anchor["records"] for anchor in calib("anchor", "list", "--json", records=north).document["anchors"]] == [
        "south"
    ]
    ran = calib("anchor", "check", f"south={grown(records)}", records=north)
    assert (ran.status, ran.out) == (0, "south holds 1 head kept here, the last at ledger entry 45\n")


def test_whose_own_records_are_of_another_name_there_says_that_name(records, north):
    ran = calib("verify", "--anchors", north, records=records)
    assert (ran.status, "they keep those of: south" in ran.err) == (2, True)
    assert calib("verify", "--json", "--anchors", f"south={north}", records=records).document["anchors"] == 1


def test_records_that_were_forged_since_are_found_from_here_and_not_anchored_again(records, north):
    rewritten(grown(records))
    ran = calib("anchor", "check", f"south={records}", records=north)
    assert (ran.status, "has another digest of ledger entry 45: entries up to it were replaced" in ran.out) == (1, True)
    ran = calib("anchor", "add", f"south={records}", "--reason", "exchange", records=north)
    assert (ran.status, "nothing was anchored, since there are findings" in ran.err) == (1, True)
    assert len(calib("anchor", "list", "--json", records=north).document["anchors"]) == 1


def test_of_several_heads_those_that_fit_say_from_where_on_it_was_replaced(records, north):
    calib("anchor", "add", f"south={grown(records)}", "--reason", "exchange", records=north)
    change(records, "UPDATE event SET reason = 'fell' WHERE id = (SELECT max(id) FROM event)")
    forged(records)
    ran = calib("anchor", "check", f"south={records}", records=north)
    assert "has another digest of ledger entry 46: entries 46 to 46 were replaced" in ran.out
    assert "entry 45" not in ran.out


def test_an_entry_that_was_altered_or_lost_without_forging_the_rest_is_named(records, north):
    change(records, "UPDATE reading SET remarks = 'x' WHERE id = 1")
    change(records, "DELETE FROM ledger WHERE sequence = 45")
    ran = calib("anchor", "check", f"south={records}", records=north)
    assert ran.status == 1
    assert "south: reading 1: " in ran.out
    assert "names ledger entry 45; the ledger ends at 44: its tail was cut" in ran.out


def test_a_head_that_is_kept_is_not_written_again(records, north):
    ran = calib("anchor", "add", f"south={records}", "--reason", "exchange", records=north)
    assert (ran.status, ran.out.startswith("anchored already: south at ledger entry 45")) == (0, True)
    assert len(calib("anchor", "list", "--json", records=north).document["anchors"]) == 1


def test_a_head_that_came_by_mail_is_kept_from_its_file(records, north, anchors):
    grown(records)
    calib("verify", "--anchor", anchors, records=records)
    ran = calib("anchor", "add", f"south={anchors}", "--reason", "by mail", "--json", records=north)
    assert [(head["sequence"], head["written"]) for head in ran.document["heads"]] == [(45, False), (46, True)]
    assert calib("anchor", "check", f"south={records}", records=north).status == 0


def test_a_head_by_mail_that_contradicts_one_that_is_kept_is_not_written(records, north, tmp_path):
    mailed = tmp_path / "mailed.anchors"
    calib("verify", "--anchor", mailed, records=rewritten(records))
    ran = calib("anchor", "add", f"south={mailed}", "--reason", "by mail", records=north)
    assert (ran.status, "that entry, or one before it, was replaced" in ran.out) == (1, True)


def test_a_head_by_mail_of_a_ledger_that_became_shorter_is_not_written(north, tmp_path):
    mailed = tmp_path / "mailed.anchors"
    head = {"records": "south", "sequence": 44, "digest": "0" * 64, "time": "2030-01-01T00:00:00+00:00"}
    mailed.write_text(json.dumps(head))
    ran = calib("anchor", "add", mailed, "--reason", "by mail", records=north)
    assert (ran.status, "ends at ledger entry 44" in ran.out, "the tail was cut" in ran.out) == (1, True, True)


def test_records_are_no_anchor_of_themselves(records):
    ran = calib("anchor", "add", records, "--reason", "exchange", records=records)
    assert (ran.status, "expected other records than these" in ran.err) == (2, True)


def test_records_of_which_nothing_is_kept_are_told_with_those_that_are(records, north):
    ran = calib("anchor", "check", records, records=north)
    assert (ran.status, "'records.sqlite'; expected records of which a head is kept here" in ran.err) == (2, True)
    assert "kept are those of: south" in ran.err
