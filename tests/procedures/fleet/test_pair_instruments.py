"""Probe and meter as a pair: from a time on, until they are parted, and what the gate makes of it.

Source: `calib help` (commands, certificates); common practice, no source.
"""

import copy
import shutil
from datetime import date, datetime, timedelta

import pytest

from calib.errors import BadInputError, NotInRecordsError
from calib.procedures.fleet.pair_instruments import change_pair
from calib.procedures.fleet.ready import ready
from calib.procedures.fleet.record_event import record_event
from calib.procedures.measure.evaluate import evaluate
from calib.procedures.on_record.probe_pairs import PAIRED, PARTED, all_pairs, pairings_of
from calib.records import database, ledger
from tests.every_way import NOW, every_way
from tests.folders import imported, ledger_head, only, records_of, write

MORNING = datetime.fromisoformat("2026-03-04T08:00+01:00")
SIGNED = ledger.Signature("A. Person", NOW, "instrument pair")


def job():
    """The job of every way with a second probe, and PM-1, a manometer that was calibrated together with its probe PP-1."""
    sheets = every_way()
    for tag, like in (("PT-2", "PT-1"), ("PM-1", "VF-1"), ("PP-1", "PT-1")):
        for file in ("instruments.csv", "calibrations.csv", "comparisons.csv"):
            if tag == "PP-1" and file != "instruments.csv":
                continue  # calibrated with PM-1, not by itself
            sheets[file] += [copy.deepcopy(row) | {"tag": tag} for row in sheets[file] if row["tag"] == like]
            for row in sheets[file]:
                if row["tag"] == tag and "certificate" in row:
                    row["certificate"] += f"-{tag}"
    of_pair = next(row for row in sheets["instruments.csv"] if row["tag"] == "PM-1")
    of_pair["density_effect"] = "velocity pressure"
    reading = next(row for row in sheets["readings.csv"] if row["outlet"] == "S-1")
    sheets["readings.csv"].append(reading | {"instrument": "PM-1", "observed_at": "2026-03-05T11:10+01:00"})
    return sheets


def with_cells(outlet, **cells):
    sheets = job()
    for row in sheets["readings.csv"]:
        if row["outlet"] == outlet and (outlet != "S-1" or row["instrument"] == "PM-1"):
            row.update(cells)
    return sheets


@pytest.fixture(scope="module")
def _prepared(tmp_path_factory):
    rest = {file: rows for file, rows in job().items() if file not in ("readings.csv", "traverses.csv")}
    return records_of(tmp_path_factory.mktemp("pairs"), rest)


@pytest.fixture
def prepared(_prepared, tmp_path):
    return shutil.copyfile(_prepared, tmp_path / "prepared.sqlite")


def change(records, kind=PAIRED, probe="PT-1", meter="DM-1", at=MORNING, reason="calibrated together"):
    with database.writing(str(records)) as session:
        change_pair(session, (probe, meter), kind, at, reason, SIGNED)


def pairs(records):
    with database.reading(str(records)) as session:
        return all_pairs(session)


def refused(records, folder, sheets=None):
    """Reasons of the readings that were refused, by outlet."""
    written = imported(records, write(folder / "in", only(sheets or job(), "readings.csv", "traverses.csv")))
    return {one.outlet: one.reasons for one in written.refusals}


def test_a_pair_holds_from_its_time_until_it_is_parted(prepared):
    change(prepared)
    change(prepared, PARTED, at=MORNING + timedelta(days=1), reason="meter goes back")
    (pair,) = pairs(prepared)
    assert [pair.holds(MORNING + timedelta(hours=h)) for h in (-1, 0, 23, 24)] == [False, True, True, False]


def test_of_a_day_as_a_whole_the_state_in_its_evening_counts_in_the_zone_it_was_recorded_in(prepared):
    change(prepared, at=datetime.fromisoformat("2026-03-03T23:30-08:00"))
    change(prepared, PARTED, at=datetime.fromisoformat("2026-03-04T23:30-08:00"))
    (pair,) = pairs(prepared)
    assert [pair.holds(date(2026, 3, day)) for day in (2, 3, 4)] == [False, True, False]


def test_what_was_paired_may_be_paired_again(prepared):
    change(prepared)
    change(prepared, PARTED, at=MORNING + timedelta(hours=1))
    change(prepared, at=MORNING + timedelta(hours=2))
    assert [pair.until is None for pair in pairs(prepared)] == [False, True]
    with database.reading(str(prepared)) as session:
        assert [one["kind"] for one in pairings_of(session, pairs(prepared)[0].meter_id)] == [PAIRED, PARTED, PAIRED]


def test_a_meter_may_have_two_probes_and_a_probe_one_meter(prepared):
    change(prepared)
    change(prepared, probe="PT-2")
    with pytest.raises(BadInputError, match="it is with DM-1: part them first"):
        change(prepared, meter="PM-1")


@pytest.mark.parametrize(
    ("call", "expected"),
    [
        ({"reason": " "}, "why, in a few words"),
        ({"at": NOW + timedelta(hours=1)}, "not in the future"),
        ({"meter": "PT-1"}, "another instrument than the probe"),
        ({"kind": PARTED}, "a probe that is paired with DM-1"),
    ],
)
def test_a_call_that_cannot_be_is_refused_and_nothing_is_written(prepared, call, expected):
    before = ledger_head(prepared)
    with pytest.raises(BadInputError, match=expected):
        change(prepared, **call)
    assert ledger_head(prepared) == before


def test_two_meters_are_no_pair_and_both_are_told_what_was_expected(prepared):
    before = ledger_head(prepared)
    with pytest.raises(BadInputError) as raised:
        change(prepared, probe="DM-1", meter="VF-1")
    assert [str(finding) for finding in raised.value.findings] == [
        "PROBE: 'DM-1'; expected a probe calibrated in air velocity (this one is for pressure)",
        (
            "METER: 'VF-1'; expected a meter to be used with a probe: one for pressure or for air velocity with the density_effect "
            "velocity pressure (this one is for air velocity)"
        ),
    ]
    with pytest.raises(BadInputError, match=r"PROBE: 'VF-1'; expected a probe, which has no density_effect of its own"):
        change(prepared, probe="VF-1", meter="PM-1")
    assert ledger_head(prepared) == before


def test_a_change_does_not_stand_before_the_last_one(prepared):
    change(prepared)
    with pytest.raises(BadInputError, match="a time not before its last change"):
        change(prepared, PARTED, at=MORNING - timedelta(hours=1))


def test_an_unknown_tag_is_named(prepared):
    with pytest.raises(NotInRecordsError, match="no instrument 'PT-9'"):
        change(prepared, probe="PT-9")


def test_readings_of_the_pair_stand(prepared, tmp_path):
    change(prepared)
    assert refused(prepared, tmp_path) == {}


def test_a_reading_of_the_meter_with_another_probe_is_refused(prepared, tmp_path):
    change(prepared)
    reasons = refused(prepared, tmp_path, with_cells("D-1", probe="PT-2"))["D-1"]
    assert list(reasons) == [
        (
            "DM-1: the reading names probe PT-2, the meter belongs with PT-1 (paired since 2026-03-04T08:00:00+01:00): "
            "use them together, or part them"
        )
    ]


def test_a_reading_of_the_probe_with_another_meter_is_refused(prepared, tmp_path):
    change(prepared, meter="PM-1")
    reasons = refused(prepared, tmp_path)
    assert list(reasons["D-1"]) == [
        (
            "PT-1: it is paired with PM-1 since 2026-03-04T08:00:00+01:00, and the reading was taken with DM-1: "
            "use them together, or part them"
        )
    ]


def test_before_and_after_the_pair_any_probe_will_do(prepared, tmp_path):
    change(prepared)
    change(prepared, PARTED, at=MORNING + timedelta(hours=1))
    assert refused(prepared, tmp_path, with_cells("D-1", probe="PT-2")) == {}


def test_either_of_two_probes_of_a_meter_will_do(prepared, tmp_path):
    change(prepared)
    change(prepared, probe="PT-2")
    assert refused(prepared, tmp_path, with_cells("D-1", probe="PT-2")) == {}


def test_parting_them_later_takes_nothing_from_what_was_measured(prepared, tmp_path):
    change(prepared)
    assert refused(prepared, tmp_path) == {}
    change(prepared, PARTED, at=NOW)
    with database.reading(str(prepared)) as session:
        assert not evaluate(session, "E-1", NOW).refused


def test_a_meter_calibrated_with_its_probe_may_name_it_and_gives_the_same_flow(prepared, tmp_path):
    second = shutil.copyfile(prepared, tmp_path / "second.sqlite")
    change(prepared, probe="PP-1", meter="PM-1")
    assert refused(prepared, tmp_path / "named", with_cells("S-1", probe="PP-1")) == {}
    assert refused(second, tmp_path / "unnamed") == {}
    flows = []
    for records in (prepared, second):
        with database.reading(str(records)) as session:
            found = evaluate(session, "E-1", NOW)
            flows.append([*found.flow.value, *found.flow.combined.standard_uncertainty])
    assert flows[0] == flows[1]


def test_such_a_meter_must_name_the_probe_that_it_is_paired_with(prepared, tmp_path):
    change(prepared, probe="PP-1", meter="PM-1")
    (reason,) = refused(prepared, tmp_path)["S-1"]
    assert reason.startswith("PM-1: the reading names no probe, the meter belongs with PP-1")


def test_its_probe_passes_the_gate_with_the_calibration_of_the_pair(prepared, tmp_path):
    change(prepared, probe="PP-1", meter="PM-1")
    with database.writing(str(prepared)) as session:
        record_event(session, "PP-1", "suspension", MORNING, "head bent", SIGNED)
    (reason,) = refused(prepared, tmp_path, with_cells("S-1", probe="PP-1"))["S-1"]
    assert reason.startswith("PP-1: suspended since")


def asked(records, tag, at=NOW):
    with database.reading(str(records)) as session:
        return ready(session, [tag], at, NOW, None)[0].decision.reasons


def suspend(records, tag):
    with database.writing(str(records)) as session:
        record_event(session, tag, "suspension", MORNING + timedelta(hours=1), "bent", SIGNED)


@pytest.mark.parametrize(("gone", "left"), [("PT-1", "DM-1"), ("DM-1", "PT-1")])
def test_one_of_a_pair_is_not_ready_while_the_other_is_refused(prepared, gone, left):
    """Each reading of the one without the other is refused, so the answer before a job must not be yes."""
    change(prepared)
    assert asked(prepared, left) == ()
    suspend(prepared, gone)
    (reason,) = asked(prepared, left)
    assert reason.startswith(
        f"{left}: it belongs with {gone}: suspended since 2026-03-04T09:00:00+01:00, recorded on 2026-03-06 (bent): "
    )
    change(prepared, PARTED, at=MORNING + timedelta(hours=2), reason="another probe")
    assert asked(prepared, left) == ()


def test_a_meter_with_another_probe_is_ready_with_that(prepared):
    change(prepared)
    change(prepared, probe="PT-2")
    suspend(prepared, "PT-1")
    assert asked(prepared, "DM-1") == ()
    suspend(prepared, "PT-2")
    assert len(asked(prepared, "DM-1")) == 2


def test_a_probe_calibrated_with_its_meter_needs_no_calibration_of_its_own(prepared):
    change(prepared, probe="PP-1", meter="PM-1")
    assert asked(prepared, "PM-1") == ()
    suspend(prepared, "PP-1")
    assert "it belongs with PP-1: suspended since" in asked(prepared, "PM-1")[0]
