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
