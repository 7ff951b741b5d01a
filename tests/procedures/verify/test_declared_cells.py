"""Verify holds the cells of every row to its declaration: what no act of the program writes is found, by record, column and value.

Each row is put in whole, with a right ledger entry, by somebody who has the program's library. Common practice, no source.
"""

import shutil
from pathlib import Path

import pytest
from sqlmodel import select

from calib.procedures.on_record.declared_cells import checked_columns, wrong_cells_told
from calib.procedures.verify.whole_state import verify_state
from calib.records import database, ledger
from calib.records.tables.calibrations import Acceptance
from calib.records.tables.comparisons import Comparison
from calib.records.tables.conditions import Condition
from calib.records.tables.curves import StoredCurve
from calib.records.tables.instruments import Instrument
from calib.records.tables.ledger import LedgerEntry
from calib.records.tables.outlets import Outlet, OutletRevision
from calib.records.tables.readings import Reading, Refusal, Traverse, TraversePoint
from tests.command import calib
from tests.every_way import every_way
from tests.folders import SIGNED, records_of

GOLDEN = Path(__file__).parents[2] / "golden"
VELOCITIES = "expected one of m/s, fpm, ft/min, km/h"


def like(session, table, **cells):
    """A record like the first of its table but for some cells."""
    first = session.exec(select(table).order_by(table.id)).first()
    return table(**(first.model_dump(exclude={"id"}) | cells))


def verified(records):
    """Findings and remarks, as record -> problem."""
    with database.reading(str(records)) as session:
        state = verify_state(session)
    remarks = {each.record: each.problem for each in state.remarks}
    remarks.pop("pages and indexes", None)  # of a server that does not let them be looked at
    return {each.record: each.problem for each in state.findings}, remarks


def written(records, table, **cells):
    """A row put in, and what it is called."""
    with database.writing(str(records)) as session:
        row = like(session, table, **cells)
        ledger.append_entries(session, [row], SIGNED)
        return f"{table.__tablename__} {row.id}"


LATER = {"observed_at": "2026-03-05T18:00:00+01:00"}


@pytest.mark.parametrize(
    ("table", "cells", "problem"),
    [
        (Reading, {**LATER, "unit": "parsec"}, f"unit: 'parsec'; {VELOCITIES}"),
        (Reading, {**LATER, "unit": "Pa"}, f"unit: 'Pa'; {VELOCITIES}"),
        (
            Reading,
            {**LATER, "observations": "2.4;1e999"},
            "observations: '2.4;1e999'; expected finite numbers joined by ;, '1e999' is none",
        ),
        (
            Reading,
            {"observed_at": "2026-03-05T18:00"},
            "observed_at: '2026-03-05T18:00'; expected a time with its zone",
        ),
        (Reading, {**LATER, "averaging_s": "-3"}, "averaging_s: '-3'; expected a finite number above 0"),
        (
            Outlet,
            {"outlet": "Z-9", "dimension_unit": "ell"},
            "dimension_unit: 'ell'; expected one of m, cm, mm, in, ft",
        ),
        (Instrument, {"tag": "ZZ-1", "unit": "K"}, f"unit: 'K'; {VELOCITIES}"),
        (
            Instrument,
            {"tag": "ZZ-1", "mpe_percent": "15000"},
            "mpe_percent: '15000'; expected a percentage, 0 to 100",
        ),
    ],
)
def test_a_cell_that_no_act_writes_is_found_with_record_column_and_value(small_records, table, cells, problem):
    record = written(small_records, table, **cells)

    (findings, remarks) = verified(small_records)

    assert findings.keys() == {record}
    assert findings[record].startswith(problem)
    assert remarks == {}


def test_every_wrong_cell_of_a_record_is_found(small_records):
    written(small_records, Outlet, outlet="Z-9", flow_unit="cup", effective_area_unit="acre", dimension_unit="ell")

    with database.reading(str(small_records)) as session:
        told = [each.problem.split(":")[0] for each in verify_state(session).findings]

    assert sorted(told) == ["dimension_unit", "effective_area_unit", "flow_unit"]


def test_the_unit_of_a_condition_is_that_of_its_quantity(small_records):
    with database.writing(str(small_records)) as session:
        job = session.exec(select(Outlet.job_id)).first()
        cells = {"quantity": "temperature", "value": "20", "unit": "Pa", **LATER, "standard_uncertainty": "0.3"}
        wrong = Condition(job_id=job, conditions="c", **cells)
        ledger.append_entries(session, [wrong], SIGNED)
        named = f"condition {wrong.id}"

    assert verified(small_records)[0] == {named: "unit: 'Pa'; expected one of K, degC, degF"}


@pytest.fixture
def on_file(_small, tmp_path):
    """The small job's records in a file: a server's CHECKs refuse what a file's take for a number."""
    return shutil.copyfile(_small, tmp_path / "on_file.sqlite")


def test_the_command_names_it_and_ends_with_status_1(on_file):
    record = written(on_file, Outlet, outlet="Z-9", outlet_factor="0.8x")

    ran = calib("verify", records=on_file)

    assert ran.status == 1
    assert f"{record}: outlet_factor: '0.8x'; expected a finite number above 0" in ran.out + ran.err


def test_what_is_computed_from_a_wrong_cell_is_not_asked(on_file):
    record = written(on_file, Comparison, reference="2 or so")

    with database.reading(str(on_file)) as session:
        findings = [str(each) for each in verify_state(session).findings]

    assert any(each.startswith(f"{record}: reference: '2 or so'; expected a finite number") for each in findings)
    assert not any("correction_curve" in each for each in findings)


@pytest.mark.parametrize(
    "words",
    [
        ("balance", "J-1"),
        ("reading", "list", "J-1"),
        ("budget", "1"),
        ("conformity", "J-1"),
        ("report", "J-1", "--format", "json"),
    ],
    ids=" ".join,
)
def test_whoever_asks_for_flows_is_told_the_record_and_the_cell(on_file, words, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    record = written(on_file, Reading, **LATER, unit="parsec")

    ran = calib(*words, records=on_file)

    assert (ran.status, ran.out) == (1, "")
    assert f"error: {record}: unit: 'parsec'; {VELOCITIES}" in ran.err


def test_a_wrong_reading_that_was_taken_back_is_remarked_and_stops_nothing(on_file):
    record = written(on_file, Reading, **LATER, unit="parsec")
    assert calib("reading", "withdraw", "J-1", record.split()[1], "--reason", "no unit", records=on_file).status == 0

    findings, remarks = verified(on_file)

    assert findings == {}
    assert remarks[record].startswith("unit: 'parsec'")
    assert calib("balance", "J-1", records=on_file).status == 0


def test_a_wrong_outlet_that_was_amended_is_remarked(on_file):
    record = written(on_file, Outlet, outlet="Z-9", outlet_factor="0.8x")
    amended = calib(
        "outlet", "amend", "J-1", "Z-9", "--set", "outlet_factor=0.8", "--reason", "a slip", records=on_file
    )
    assert amended.status == 0, amended.err

    findings, remarks = verified(on_file)

    assert findings == {}
    assert remarks[record].startswith("outlet_factor: '0.8x'")


def test_a_wrong_revision_is_a_finding_until_a_later_one_amends_it(on_file):
    with database.reading(str(on_file)) as session:
        outlet = session.exec(select(Outlet).order_by(Outlet.id)).first()
    own = outlet.model_dump(include=set(OutletRevision.model_fields) - {"id"})

    def revised(revision, factor):
        record = OutletRevision(**own | {"outlet_factor": factor}, outlet_id=outlet.id, revision=revision, reason="r")
        with database.writing(str(on_file)) as session:
            ledger.append_entries(session, [record], SIGNED)
            return f"outlet_revision {record.id}"

    wrong = revised(2, "0.8x")
    assert list(verified(on_file)[0]) == [wrong]
    revised(3, "0.8")
    findings, remarks = verified(on_file)
    assert findings == {}
    assert list(remarks) == [wrong]


def test_a_row_that_was_written_before_entries_named_a_version_is_remarked(small_records, monkeypatch):
    """An earlier version may have taken what this one does not: it cannot be mended any more."""
    monkeypatch.setattr(ledger, "__version__", None)
    with database.writing(str(small_records)) as session:
        before = session.exec(select(LedgerEntry.version).order_by(LedgerEntry.sequence.desc())).first()
    record = written(small_records, Outlet, outlet="Z-9", dimension_unit="ell")

    findings, remarks = verified(small_records)

    assert before is not None
    assert record not in findings
    assert remarks[record].startswith("dimension_unit: 'ell'")


@pytest.mark.parametrize("schema", ["0001", "0002", "0003"])
def test_records_of_earlier_schemas_have_no_finding(schema, tmp_path):
    old = shutil.copyfile(GOLDEN / f"schema-{schema}.sqlite", tmp_path / "records.sqlite")
    assert calib("upgrade", records=old).status == 0

    findings, remarks = verified(old)

    assert findings == {}
    assert not any(";" in problem and "expected" in problem for problem in remarks.values())


@pytest.mark.parametrize("table", [Refusal, Traverse, TraversePoint, Acceptance, StoredCurve, Reading])
def test_the_declarations_of_readings_and_certificates_reach_what_is_written_with_them(table):
    assert set(checked_columns(table)) >= REACHED[table]


REACHED = {
    Refusal: {"observed_at", "unit", "observations", "stage"},
    Traverse: {"rule", "lines", "points"},
    TraversePoint: {"line", "point", "indications"},
    Acceptance: {"accepted_on", "decision_rule"},
    StoredCurve: {"shape", "degree"},
    Reading: {"observed_at", "unit", "observations", "stage"},
}


def test_records_of_every_way_of_measuring_have_no_wrong_cell(tmp_path):
    with database.reading(str(records_of(tmp_path, every_way()))) as session:
        assert wrong_cells_told(session) == []
