"""One question to the records of several sites, of which one is on a server: what each says by itself, together.

Expected values are what each site's own commands say, and what the small job of tests.folders holds.
"""

import shutil

import pytest

from tests.command import calib, done
from tests.records.test_ledger import change
from tests.records.test_tampering import forged

ON = ("--on", "2026-03-06")


@pytest.fixture
def sites(_small, tmp_path, small_there):
    """North and west in files, south on a server; each pair anchors each other but west and south."""
    north, west = (tmp_path / f"{name}.sqlite" for name in ("north", "west"))
    for place in (north, west):
        shutil.copyfile(_small, place)
    named = {"north": north, "south": small_there, "west": west}
    done(west, "instrument", "suspend", "PG-1", "--reason", "dropped", "--at", "2026-03-05T18:00+01:00")
    for by, of in (("north", "south"), ("south", "north"), ("north", "west"), ("west", "north")):
        done(named[by], "anchor", "add", f"{of}={named[of]}", "--reason", "exchange")
    return named


def asked(named, *more):
    """What all of them answer."""
    return calib("sites", *(f"{name}={place}" for name, place in named.items()), *ON, "--json", *more)


def test_each_site_says_what_its_own_commands_say(sites):
    answered = {site["site"]: site for site in asked(sites).document["sites"]}
    assert list(answered) == ["north", "south", "west"]
    for name, place in sites.items():
        own = calib("due", *ON, "--json", records=place).document
        assert {part: answered[name][part] for part in own} == own
        head = calib("verify", "--rows-only", "--json", records=place).document
        assert (answered[name]["head"]["sequence"], answered[name]["head"]["digest"]) == (
            head["entries"],
            head["digest"],
        )
    assert answered["north"]["fleet"] == {"ready": 4, "refused": 0, "put_aside": 0}
    assert answered["west"]["fleet"] == {"ready": 3, "refused": 0, "put_aside": 1}
    assert {site["reports_issued"] for site in answered.values()} == {0}


def test_the_heads_that_sites_keep_of_one_another_are_proven(sites):
    anchors = asked(sites).document["anchors"]
    assert [(each["kept_by"], each["records"], each["heads"], each["findings"]) for each in anchors] == [
        ("north", "south", 1, []), ("north", "west", 1, []), ("south", "north", 1, []), ("west", "north", 1, []),
    ]  # fmt: skip


def test_a_site_whose_ledger_was_made_anew_is_named(sites):
    change(sites["west"], "UPDATE event SET reason = 'fell' WHERE kind = 'suspension'")
    forged(sites["west"])
    ran = asked(sites)
    misfit = [each for each in ran.document["anchors"] if each["findings"]]
    assert (ran.status, [(each["kept_by"], each["records"]) for each in misfit]) == (1, [("north", "west")])
    assert "has another digest of ledger entry 46" in misfit[0]["findings"][0]["problem"]


def test_a_site_that_does_not_answer_is_named_and_the_others_answer(sites):
    sites["west"] = "postgresql://nobody@127.0.0.1:9/calibration"
    ran = asked(sites)
    assert (ran.status, [site["site"] for site in ran.document["sites"]]) == (1, ["north", "south"])
    assert [each["site"] for each in ran.document["not_reached"]] == ["west"]
    unproven = [each["records"] for each in ran.document["anchors"] if each["findings"] is None]
    assert unproven == ["west"]
    told = calib("sites", *(f"{name}={place}" for name, place in sites.items()), *ON)
    assert (told.status, "west did not answer: " in told.out) == (1, True)
    assert "north keeps 1 head of west" in told.out


def test_nothing_that_waits_is_exit_status_0(sites, tmp_path):
    ran = asked({"north": sites["north"]})
    assert (ran.status, ran.document["sites"][0]["last_backup"]) == (1, None)
    done(sites["north"], "backup", tmp_path / "north.backup")
    done(sites["north"], "report", "J-1", "--issue", "--into", tmp_path / "out", "--format", "csv")
    ran = asked({"north": sites["north"]})
    assert (ran.status, ran.document["sites"][0]["reports_issued"]) == (0, 1)


def test_two_sites_of_one_name_are_told_apart_by_whoever_asks(sites):
    ran = calib("sites", f"north={sites['north']}", f"north={sites['west']}")
    assert (ran.status, "'north'; expected a name of its own for each site" in ran.err) == (2, True)
