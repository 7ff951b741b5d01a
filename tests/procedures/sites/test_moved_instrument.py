"""An instrument goes from one site to another with its evidence, from a server into a file and back.

VA-2 of tests.folders was calibrated in house against RS-1, which stays. Expected values are what the first site holds.
"""

import hashlib
import shutil
import time

import pytest

from calib.records import database
from tests.command import calib, done
from tests.folders import write
from tests.procedures.calibrate.test_supersede_calibration import reissued

TODAY = "2026-11-01"  # a day on which C-102 of VA-2, of 2026-02-02, is in force
CERTIFICATE = b"%PDF-1.4 certificate C-102\n%%EOF\n"


@pytest.fixture
def north(small_there, tmp_path):
    """The site that hands over, on a server: VA-2 with the file of its certificate, a check and a note on its case."""
    (tmp_path / "C-102.pdf").write_bytes(CERTIFICATE)
    done(small_there, "calibration", "attach", "VA-2", "C-102", tmp_path / "C-102.pdf")
    done(
        small_there,
        "instrument",
        "suspend",
        "VA-2",
        "--reason",
        'its case is "torn" & <open>',
        "--at",
        "2026-04-01T08:00+02:00",
    )
    done(small_there, "instrument", "release", "VA-2", "--reason", "a new case")
    return small_there


@pytest.fixture
def south(tmp_path):
    """The site that takes over: a file without an instrument."""
    place = tmp_path / "south.sqlite"
    database.make(str(place))
    return place


@pytest.fixture
def handed(north, tmp_path):
    """The folder of the evidence, and what the hand-over answered."""
    words = [
        "hand-over",
        "VA-2",
        "--to",
        "south",
        "--into",
        tmp_path / "va-2",
        "--site",
        "north",
        "--reason",
        "needed there",
    ]
    return tmp_path / "va-2", done(north, "instrument", *words, "--by", "Q. North", "--json").document


def take(south, folder, *more):
    """Take the evidence over."""
    words = ["take-over", folder, "--reason", "needed here", "--location", "van 7", "--by", "T. South"]
    return calib("instrument", *words, *more, records=south)


def accepted(south):
    """The certificates accepted anew at the new site: that of the standard as of the day on which it was relied on."""
    reason = ["--reason", "as north's own acceptance", "--by", "Q. South"]
    done(south, "calibration", "accept", "RS-1", "C-103", "--on", "2026-01-20", *reason)
    corrected = ["--judged", "corrected value", "--departure", "flows are computed from corrected values"]
    done(south, "calibration", "accept", "VA-2", "C-102", *corrected, "--by", "Q. South")


def test_the_old_site_says_where_it_went_and_refuses_it(north, handed):
    _, answer = handed
    ran = calib("ready", "VA-2", records=north)
    assert ran.status == 3
    assert "handed over to south with its evidence until ledger entry" in ran.out
    assert answer["sha256"] in ran.out
    shown = done(north, "instrument", "show", "VA-2", "--json").document
    assert shown["instrument"]["location"] == "south"


def test_the_statement_has_the_head_of_the_ledger_and_each_file_by_its_digest(north, handed):
    folder, answer = handed
    stated = answer["statement"]
    assert hashlib.sha256((folder / "evidence.xml").read_bytes()).hexdigest() == answer["sha256"]
    assert calib("verify", "--digest", stated["digest"], "--rows-only", records=north).status == 0
    assert {each["name"]: each["sha256"] for each in stated["files"]} == {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in folder.rglob("*")
        if path.is_file() and path.name != "evidence.xml"
    }
    assert (stated["moved"], stated["behind"]) == (["VA-2"], ["RS-1"])
    assert {path.name for path in folder.glob("*.csv")} == {
        "instruments.csv", "calibrations.csv", "comparisons.csv", "events.csv",
    }  # fmt: skip
    assert "accepted" not in (folder / "calibrations.csv").read_text()


def test_it_is_refused_at_the_new_site_until_its_certificates_are_accepted_there(south, handed):
    folder, answer = handed
    assert take(south, folder, "--digest", answer["sha256"]).status == 0
    ran = calib("ready", "VA-2", "--on", TODAY, records=south)
    assert (ran.status, "have certificate C-102 accepted" in ran.out) == (3, True)
    accepted(south)
    assert calib("ready", "VA-2", records=south).status == 0
    assert calib("verify", records=south).status == 0


def test_curve_events_and_files_are_those_of_the_old_site(north, south, handed, tmp_path):
    take(south, handed[0])
    for words in (("calibration", "show", "VA-2", "C-102"), ("calibration", "show", "RS-1", "C-103")):
        curves = [done(place, *words, "--json").document["curve"] for place in (north, south)]
        assert curves[0] == curves[1]
    shown = done(south, "instrument", "show", "VA-2", "--json").document
    assert [each["kind"] for each in shown["events"]] == ["suspension", "release", "move"]
    assert shown["events"][0]["reason"] == 'its case is "torn" & <open>'
    assert shown["instrument"]["location"] == "van 7"
    done(south, "file", hashlib.sha256(CERTIFICATE).hexdigest(), "--into", tmp_path / "back.pdf")
    assert (tmp_path / "back.pdf").read_bytes() == CERTIFICATE


def test_what_was_amended_superseded_paired_and_changed_since_goes_along(north, south, tmp_path):
    reissued(north, tmp_path)
    why = ["--reason", "the client's address was wrong"]
    done(north, "calibration", "supersede", "VA-1", "C-101", "C-101a", *why)
    done(north, "instrument", "amend", "VA-1", "--set", "serial=0010", "--always-wrong", *why)
    pair = {
        "probe": "VA-1",
        "meter": "VA-2",
        "kind": "paired",
        "at": "2026-03-05T09:00+01:00",
        "reason": "used together",
    }
    done(north, "import", write(tmp_path / "pair", {"pairings.csv": [pair]}))
    done(north, "interval", "set", "VA-2", "6", "--reason", "it drifts")
    to_south = ["--to", "south", "--into", tmp_path / "both", "--site", "north", "--reason", "needed there"]
    done(north, "instrument", "hand-over", "VA-1", "VA-2", *to_south)
    assert take(south, tmp_path / "both").status == 0
    first, second = (done(south, "instrument", "show", tag, "--json").document for tag in ("VA-1", "VA-2"))
    assert (first["instrument"]["serial"], first["instrument"]["paired_with"]) == ("0010", ["VA-2"])
    assert second["instrument"]["interval_months"] == 6
    assert "superseded by C-101a" in done(south, "calibration", "list", "VA-1").out
    assert calib("verify", records=south).status == 0


def test_whoever_asks_is_told_where_the_evidence_comes_from(south, handed):
    folder, answer = handed
    take(south, folder)
    accepted(south)
    stated = answer["statement"]
    told = (
        f"VA-2: evidence until {stated['time'][:10]} comes from north, ledger entry {stated['sequence']}, digest "
        f"{stated['digest']}"
    )
    by = "by T. South; accepted there: C-102 on 2026-02-03 by"
    for words in (("trace", "up", "VA-2"), ("audit", "VA-2")):
        said = calib(*words, "--json", records=south).out
        assert told in said, words
        assert by in said, words
    ready = done(south, "ready", "VA-2", "--json").document["instruments"][0]["taken_over"]
    assert [f"VA-2: {said}".startswith(told) for said in ready] == [True]


def test_the_old_site_cannot_rewrite_what_it_handed_over(south, handed, north, tmp_path):
    take(south, handed[0])
    assert calib("anchor", "check", f"north={north}", records=south).status == 0
    assert "north" in done(south, "anchor", "list").out
    other = tmp_path / "other.sqlite"
    database.make(str(other))
    done(other, "anchor", "add", f"south={south}", "--reason", "exchange")
    ran = calib("anchor", "check", f"north={other}", records=south)
    assert (ran.status, "its tail was cut" in ran.out) == (1, True)


def test_gear_that_stays_is_put_aside_at_the_new_site(south, handed):
    take(south, handed[0])
    accepted(south)
    ran = calib("ready", "RS-1", records=south)
    assert (ran.status, "stays with north" in ran.out) == (3, True)


@pytest.mark.parametrize("name", ["comparisons.csv", "files"])
def test_a_file_that_was_changed_on_the_way_is_named_and_nothing_is_written(south, handed, name):
    folder, _ = handed
    path = next(iter((folder / name).iterdir())) if name == "files" else folder / name
    path.write_bytes(path.read_bytes().replace(b"3", b"4", 1) + b"\n")
    ran = take(south, folder)
    assert (ran.status, f"{path}: expected SHA-256 " in ran.err) == (2, True)
    assert calib("instrument", "list", "--json", records=south).document["instruments"] == []


def test_a_file_that_is_missing_and_one_that_nobody_stated_are_named_together(south, handed):
    folder, _ = handed
    (folder / "events.csv").unlink()
    shutil.copyfile(folder / "instruments.csv", folder / "pairings.csv")
    ran = take(south, folder)
    assert "events.csv: expected this file, which evidence.xml states" in ran.err
    assert "pairings.csv: expected a file that evidence.xml states" in ran.err


def test_a_statement_that_was_changed_is_refused_by_the_digest_that_was_told(south, handed):
    folder, answer = handed
    path = folder / "evidence.xml"
    path.write_bytes(path.read_bytes().replace(b"needed", b"wanted"))
    ran = take(south, folder, "--digest", answer["sha256"])
    assert (ran.status, "expected the SHA-256 of" in ran.err) == (2, True)


@pytest.mark.parametrize("content", [b"", b"<evidence/>", b"no XML", b"<evidence sequence='0'><moved/></evidence>"])
def test_a_file_that_is_no_statement_is_one_line(south, handed, content):
    folder, _ = handed
    (folder / "evidence.xml").write_bytes(content)
    ran = take(south, folder)
    assert (ran.status, "expected a statement of evidence" in ran.err, len(ran.err.splitlines())) == (2, True, 1)


def test_another_instrument_of_that_tag_is_named_cell_by_cell(south, handed):
    row = "--kind vane --maker Other --model M --serial 9 --range-low 1 --range-high 2 --unit m/s --resolution 0.1"
    done(south, "instrument", "add", "VA-2", *row.split(), "--mpe-percent", "1", "--interval-months", "12")
    ran = take(south, handed[0])
    assert (ran.status, "instruments.csv" in ran.err, "maker" in ran.err) == (2, True, True)


def test_it_comes_home_with_what_was_added_there(north, south, handed, tmp_path):
    time.sleep(1.1)  # an event is known by its kind and second: what the sites record of a move is never of the same
    take(south, handed[0])
    accepted(south)
    done(south, "instrument", "adjust", "VA-2", "--reason", "span set")
    time.sleep(1.1)
    words = ["--to", "north", "--into", tmp_path / "home", "--site", "south", "--reason", "no longer needed"]
    done(south, "instrument", "hand-over", "VA-2", *words, "--by", "Q. South")
    ran = take(north, tmp_path / "home")
    assert ran.status == 0, ran.err
    assert calib("ready", "VA-2", records=north).status == 3
    done(north, "instrument", "release", "VA-2", "--reason", "it is back")
    refused = calib("ready", "VA-2", records=north)
    assert (refused.status, "adjusted at" in refused.out, "suspended" in refused.out) == (3, True, False)
    kinds = [each["kind"] for each in done(north, "instrument", "show", "VA-2", "--json").document["events"]]
    assert kinds.count("suspension") == 2
    assert calib("verify", records=north).status == 0


def test_another_file_of_the_name_of_a_statement_says_nothing(north, tmp_path):
    (tmp_path / "evidence.xml").write_text("<note/>")
    done(north, "instrument", "attach", "VA-1", tmp_path / "evidence.xml")
    assert done(north, "ready", "VA-1", "--on", "2026-03-06", "--json").document["instruments"][0]["taken_over"] == []


def test_who_has_no_right_to_the_register_hands_nothing_over(south, tmp_path):
    for name, role in (("Q. South", "QA"), ("T. South", "technician")):
        done(south, "person", "add", name, "--role", role, "--by", "Q. South")
    row = "--kind vane --maker M --model M --serial 9 --range-low 1 --range-high 2 --unit m/s --resolution 0.1"
    done(
        south,
        "instrument",
        "add",
        "VA-9",
        *row.split(),
        "--mpe-percent",
        "1",
        "--interval-months",
        "12",
        "--by",
        "Q. South",
    )
    words = ["VA-9", "--to", "north", "--into", tmp_path / "va-9", "--reason", "needed there", "--by", "T. South"]
    ran = calib("instrument", "hand-over", *words, records=south)
    assert (ran.status, (tmp_path / "va-9").exists()) == (2, False)
    assert "QA" in ran.err
