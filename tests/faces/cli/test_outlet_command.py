"""`calib outlet` as a person types it. Source: `calib help` (commands); common practice, no source, for the rest."""

from itertools import pairwise

import pytest

from tests.command import calib, copied
from tests.every_way import every_way
from tests.folders import ledger_head, records_of

REASON = ("--reason", "measured again, the first time at the frame")
AMEND = ("outlet", "amend", "E-1", "S-1")


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    return records_of(tmp_path_factory.mktemp("ways"), every_way())


@pytest.fixture
def records(job, tmp_path):
    return copied(job, tmp_path / "records.sqlite")


@pytest.fixture
def amended(records):
    done = calib(*AMEND, "--set", "width=410", "--set", "room=", *REASON, "--by", "B. Person", records=records)
    assert (done.status, done.err) == (0, "")
    return records


def rows(told):
    """Rows of a table by the first word of each."""
    header, *lines = told.splitlines()
    starts = [header.index(name) for name in header.split()] + [None]
    return {line.split()[0]: [line[a:b].strip() for a, b in pairwise(starts)] for line in lines}


# --- amend -----------------------------------------------------------------------------------------------------------------------


def test_an_amendment_is_told_with_its_revision(records):
    ran = calib(*AMEND, "--set", "width=410", *REASON, records=records)
    assert (ran.status, ran.out, ran.err) == (0, "S-1 is amended: revision 2\n", "")


def test_the_answer_in_json_is_the_whole_revision(records):
    document = calib(*AMEND, "--set", "width=0410.0", *REASON, "--json", records=records).document
    row = next(one for one in every_way()["outlets.csv"] if one["outlet"] == "S-1")
    typed = {name: cell or None for name, cell in row.items()} | {"width": "0410.0"}
    assert typed.items() <= document.items()
    assert (document["revision"], document["reason"]) == (2, REASON[1])


def test_every_wrong_change_is_named_on_a_line_of_its_own(records):
    before = ledger_head(records)
    ran = calib(
        *AMEND, "--set", "width=-1", "--set", "depth=3", "--set", "shape=round", "--set", "shape=round", "--reason", " ",
        records=records,
    )  # fmt: skip
    assert (ran.status, ran.out) == (2, "")
    lines = ran.err.splitlines()
    assert all(line.startswith("error: command line, ") for line in lines)
    for named in ("width: '-1'", "--set: 'depth=3'", "--set: 'shape=round'", "--reason: ' '"):
        assert any(named in line for line in lines)
    assert ledger_head(records) == before


@pytest.mark.parametrize(
    "words",
    [
        AMEND,
        (*AMEND, "--set", "width=410"),
        (*AMEND, *REASON),
        ("outlet", "amend", "E-1", "--set", "width=410", *REASON),
        ("outlet", "amend", "E-1", "S-9", "--set", "width=410", *REASON),
        ("outlet", "amend", "E-9", "S-1", "--set", "width=410", *REASON),
        (*AMEND, "--set", "width=410", *REASON, "--by", " "),
        ("outlet", "list"),
        ("outlet", "list", "E-9"),
        ("outlet", "show", "E-1"),
        ("outlet", "show", "E-1", "S-9"),
    ],
    ids=" ".join,
)
def test_wrong_calls_write_nothing_and_exit_2(records, words):
    before = ledger_head(records)
    ran = calib(*words, records=records)
    assert (ran.status, ran.out) == (2, "")
    assert ran.err.strip()
    assert "Traceback" not in ran.err
    assert ledger_head(records) == before


def test_readings_that_no_longer_stand_are_told_by_the_next_command(records):
    words = [
        word
        for cell in ("outlet_factor", "outlet_factor_standard_uncertainty", "outlet_factor_source", "shape", "width",
                     "height", "dimension_unit", "dimension_limit")
        for word in ("--set", f"{cell}=")
    ]  # fmt: skip
    assert calib(*AMEND, *words, *REASON, records=records).status == 0
    listed = calib("reading", "list", "E-1", records=records)
    (line,) = [line for line in listed.out.splitlines()[1:] if line.split()[1] == "S-1"]
    assert "not measured" in line
    assert listed.err.startswith(
        "refused: S-1, 2026-03-05T10:10+01:00: outlet S-1: no outlet factor and no effective area, and VF-1 indicates no flow"
    )


# --- list and show ---------------------------------------------------------------------------------------------------------------


def test_the_list_shows_each_outlet_as_it_counts_now(amended):
    shown = rows(calib("outlet", "list", "E-1", records=amended).out)
    assert list(shown) == [row["outlet"] for row in every_way()["outlets.csv"]]
    assert shown["S-1"] == [
        "S-1", "2", "AH-1", "supply", "outlet", "", "rectangular 410 × 200 mm", "0.84", "1000 m3/h ± 10 %",
    ]  # fmt: skip
    assert shown["D-1"] == ["D-1", "1", "AH-1", "supply", "duct", "", "round 400 mm", "", "3000 m3/h ± 10 %"]
    assert shown["D-3"][-1] == ""
    assert shown["S-2"][6:] == ["", "", "450 m3/h ± 15 %"]


def test_the_list_in_json_has_every_cell_and_amendment(amended):
    document = calib("outlet", "list", "E-1", "--json", records=amended).document
    by_name = {one["outlet"]: one for one in document["outlets"]}
    assert document["job"] == "E-1"
    for row in every_way()["outlets.csv"]:
        typed = {name: cell or None for name, cell in row.items() if name != "job"}
        expected = typed | {"width": "410", "room": None} if row["outlet"] == "S-1" else typed
        assert expected.items() <= by_name[row["outlet"]].items()
    assert [one["amendments"] for name, one in by_name.items() if name != "S-1"] == [[]] * 6
    (amendment,) = by_name["S-1"]["amendments"]
    assert (amendment["reason"], amendment["by"]) == (REASON[1], "B. Person")
    assert amendment["changes"] == [
        {"column": "room", "before": "Store", "after": ""},
        {"column": "width", "before": "400", "after": "410"},
    ]


def test_an_outlet_is_shown_with_what_was_amended(amended):
    first, *lines = calib("outlet", "show", "E-1", "S-1", records=amended).out.splitlines()
    assert first == "S-1, revision 2"
    assert {"  width: 410", "  height: 200", "  outlet factor source: data sheet"} <= set(lines)
    assert not any(line.startswith("  room:") for line in lines)
    assert lines[-1].startswith("revision 2, 20")
    assert lines[-1].endswith(f", B. Person: room Store → none, width 400 → 410 ({REASON[1]})")


def test_an_outlet_s_document_is_the_one_of_the_list(amended):
    shown = calib("outlet", "show", "E-1", "S-1", "--json", records=amended).document
    listed = calib("outlet", "list", "E-1", "--json", records=amended).document["outlets"]
    assert shown in listed


def test_an_outlet_as_first_typed_has_no_line_of_amendments(records):
    lines = calib("outlet", "show", "E-1", "S-2", records=records).out.splitlines()
    assert lines[0] == "S-2, revision 1"
    assert not any(line.startswith("revision") for line in lines[1:])


HOSTILE = "a\x1b[2Jb\x07\n\u202ec <script>"


def test_hostile_text_does_no_harm_on_a_terminal(records):
    calib(*AMEND, "--set", f"room={HOSTILE}", "--reason", HOSTILE, records=records)
    for words in (("outlet", "list", "E-1"), ("outlet", "show", "E-1", "S-1")):
        out = calib(*words, records=records).out
        assert not set(out) & set("\x1b\x07\u202e")
        assert "<script>" in out
    assert calib("outlet", "show", "E-1", "S-1", "--json", records=records).document["room"] == HOSTILE
