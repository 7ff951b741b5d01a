"""Slips with a way back: conditions, designs, rooms, pairs, files, competences; each is kept, says what hung on it, typed again.

Source: ISO/IEC 17025:2017, 7.5.2 (amendments can be tracked, both are kept), from memory; how it is typed is common practice.
"""

import csv

import pytest

from tests import every_way
from tests.command import calib, done
from tests.folders import flows_of, ledger_head, records_of, small_job

WHY = ("--reason", "typed of another place")
PDF = b"%PDF-1.7\nevidence\n%%EOF\n"


def refused(records, *words):
    before = ledger_head(records)
    ran = calib(*words, records=records)
    assert ran.status == 2, ran.out
    assert ledger_head(records) == before
    return ran.err


@pytest.fixture
def records(tmp_path):
    return records_of(tmp_path / "records", every_way.every_way())


def of_design(records, service):
    totals = done(records, "balance", "E-1", "--json").document["totals"]
    design = next(each["design"] for each in totals if each["service"] == service)
    return None if design is None else design["value"]


AIR = ("--temperature", "21.0 degC", "--thermometer", "TH-1", "--pressure", "99.0 kPa", "--barometer", "BA-1",
       "--humidity", "45 %", "--humidity-uncertainty", "8", "--source", "estimated",
       "--at", "2026-03-05T08:30+01:00")  # fmt: skip


def conditions_of(records):
    """Names of the conditions that count, with their densities."""
    answer = done(records, "conditions", "list", "E-1", "--json").document
    return {each["name"]: each["density"] for each in answer["conditions"]}


def test_withdrawn_conditions_refuse_their_readings_until_they_are_typed_again(records):
    name, density = next(iter(conditions_of(records).items()))
    before = flows_of(records, "E-1")
    ran = done(records, "conditions", "withdraw", "E-1", name, *WHY)
    assert ran.out.startswith(f"withdrawn: conditions {name} of job E-1: it is kept, and counts for nothing\n")
    assert "rest on it and are evaluated anew" in ran.out
    assert name not in conditions_of(records)
    assert len(flows_of(records, "E-1")) < len(before)
    done(records, "conditions", "add", "E-1", name, *AIR)
    assert conditions_of(records)[name] != density
    assert len(flows_of(records, "E-1")) == len(before)


def test_conditions_that_count_are_not_typed_twice(records):
    name = next(iter(conditions_of(records)))
    done(records, "conditions", "withdraw", "E-1", name, *WHY)
    done(records, "conditions", "add", "E-1", name, *AIR)
    assert "the records hold it already" in refused(records, "conditions", "add", "E-1", name, *AIR)


@pytest.fixture
def designed(records):
    design = every_way.every_way()["systems.csv"][0]
    return records, design["system"], design["service"], design["design_flow"]


def test_a_withdrawn_design_judges_no_total_and_is_added_anew(designed):
    """Without one the total is judged by the sum of its outlets' designs: 3000 + 1000 + 450 + 600."""
    records, system, service, _ = designed
    ran = done(records, "system", "withdraw", "E-1", system, service, *WHY)
    assert ran.out == f"withdrawn: design of {system} {service} of job E-1: it is kept, and counts for nothing\n"
    done(records, "system", "add", "E-1", system, service, "--design-flow", "8000", "--flow-unit", "m3/h",
         "--tolerance-percent", "10")  # fmt: skip
    assert of_design(records, service) == pytest.approx(8000)
    done(records, "system", "withdraw", "E-1", system, service, *WHY)
    assert of_design(records, service) == pytest.approx(5050)
    assert "no design of" in refused(records, "system", "withdraw", "E-1", system, service, *WHY)


def test_a_withdrawn_room_is_added_anew_and_asks_nothing_meanwhile(tmp_path):
    sheets = small_job()
    for row in sheets["outlets.csv"]:
        row["room"] = "Hall"
    records = records_of(tmp_path / "rooms", sheets)
    done(records, "room", "add", "J-1", "Hall", "--pressure", "negative")
    assert "the records hold it already" in refused(records, "room", "add", "J-1", "Hall", "--pressure", "positive")
    assert done(records, "room", "withdraw", "J-1", "Hall", *WHY).out.startswith("withdrawn: room Hall of job J-1")
    assert wanted_of_rooms(records) == [None]
    done(records, "room", "add", "J-1", "Hall", "--pressure", "positive")
    assert wanted_of_rooms(records) == ["positive"]


def wanted_of_rooms(records):
    return [each["wanted"] for each in done(records, "balance", "J-1", "--json").document["rooms"]]


def rows(path):
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_an_export_brings_back_what_was_withdrawn_and_what_came_after(designed, tmp_path):
    records, system, service, flow = designed
    done(records, "system", "withdraw", "E-1", system, service, *WHY)
    done(records, "system", "add", "E-1", system, service, "--design-flow", "8000", "--flow-unit", "m3/h",
         "--tolerance-percent", "10")  # fmt: skip
    name = next(iter(conditions_of(records)))
    done(records, "conditions", "withdraw", "E-1", name, *WHY)
    done(records, "conditions", "add", "E-1", name, *AIR)
    done(records, "export", tmp_path / "out")
    told = [
        (row["design_flow"], row["revision"], row["withdrawn"])
        for row in rows(tmp_path / "out" / "systems.csv")
        if (row["system"], row["service"]) == (system, service)
    ]
    assert told == [(flow, "", "typed of another place"), ("8000", "2", "")]
    fresh = tmp_path / "fresh.sqlite"
    done(fresh, "init")
    assert calib("import", tmp_path / "out", records=fresh).status in (0, 3)
    assert flows_of(fresh, "E-1") == flows_of(records, "E-1")
    done(fresh, "export", tmp_path / "again")
    for file in ("systems.csv", "conditions.csv"):
        assert (tmp_path / "again" / file).read_bytes() == (tmp_path / "out" / file).read_bytes()


def test_a_withdrawn_pairing_counts_no_more(records):
    done(records, "instrument", "pair", "PT-1", "DM-1", "--reason", "calibrated together")
    assert "PROBE: 'PT-1'; expected a probe that is not paired" in refused(
        records, "instrument", "pair", "PT-1", "DM-1", "--reason", "again"
    )
    ran = done(records, "instrument", "withdraw-pair", "PT-1", "DM-1", *WHY)
    assert "PT-1 and DM-1 paired on " in ran.out
    assert "no pairing of PT-1 and DM-1" in refused(records, "instrument", "withdraw-pair", "PT-1", "DM-1", *WHY)
    done(records, "instrument", "pair", "PT-1", "DM-1", "--reason", "again")


@pytest.mark.parametrize("owner", [("instrument", "DM-1"), ("job", "E-1")])
def test_a_file_is_detached_and_its_bytes_stay(records, tmp_path, owner):
    (tmp_path / "letter.pdf").write_bytes(PDF)
    kept = done(records, owner[0], "attach", owner[1], tmp_path / "letter.pdf", "--json").document
    ran = done(records, owner[0], "detach", owner[1], kept["sha256"][:12], *WHY)
    assert ran.out.startswith("withdrawn: file letter.pdf with ")
    assert "no file of" in refused(records, owner[0], "detach", owner[1], kept["sha256"][:12], *WHY)
    done(records, "file", kept["sha256"][:12], "--into", tmp_path / "back.pdf")
    assert (tmp_path / "back.pdf").read_bytes() == PDF
    assert done(records, owner[0], "attach", owner[1], tmp_path / "letter.pdf").out.startswith("kept letter.pdf")


def test_a_file_of_a_certificate_is_detached(records, tmp_path):
    (tmp_path / "certificate.pdf").write_bytes(PDF)
    first = every_way.every_way()["calibrations.csv"][0]
    of = (first["tag"], first["certificate"])
    kept = done(records, "calibration", "attach", *of, tmp_path / "certificate.pdf", "--json").document
    assert f"certificate {of[1]} of {of[0]}" in done(records, "calibration", "detach", *of, kept["sha256"], *WHY).out


def test_a_reason_is_needed_and_the_record_must_be_there(records):
    name = next(iter(conditions_of(records)))
    assert "--reason: ' '; expected what was wrong" in refused(
        records, "conditions", "withdraw", "E-1", name, "--reason", " "
    )
    slip = refused(records, "conditions", "withdraw", "E-1", f"{name}s", *WHY)
    assert f"no conditions {name}s of job E-1 that counts: there is " in slip
    assert f"(did you mean {name}?)" in slip


def test_a_withdrawn_competence_leaves_the_one_before_and_evidence_that_was_detached_counts_no_more(records):
    done(records, "person", "add", "Quinn", "--role", "QA", "--by", "Quinn")
    done(records, "person", "add", "Tom", "--role", "technician", "--by", "Quinn")
    for until in ("2077-01-01", "2078-01-01"):
        done(records, "person", "competence", "Tom", "--scope", "traverses", "--until", until, "--by", "Quinn")
    done(records, "person", "withdraw-competence", "Tom", "--scope", "traverses", *WHY, "--by", "Quinn")
    (left,) = done(records, "person", "list", "--json").document["competences"]
    assert (left["until_on"], left["counts"]) == ("2077-01-01", True)
    ran = calib("person", "withdraw-competence", "Tom", "--scope", "traverses", *WHY, "--by", "Tom", records=records)
    assert (ran.status, "take back an event, a check, a pairing" in ran.err) == (2, True)
    assert calib("verify", records=records).status == 0
