"""Verify proves the whole state: pages, indexes, schema, rows, signatures, certificates, curves, kept files.

Each kind of damage is made by somebody with another program; what the whole state should be is what the program wrote. Source:
common practice, no source; what PRAGMA integrity_check finds is SQLite's own documentation.
"""

import hashlib
import json
import sqlite3
from contextlib import closing
from datetime import timedelta

import pytest
from sqlmodel import select

from calib.procedures.verify.whole_state import verify_state
from calib.records import database, ledger
from calib.records.expected_schema import FINGERPRINT, fingerprint, schema_made
from calib.records.tables.calibrations import Acceptance
from calib.records.tables.comparisons import Comparison
from calib.records.tables.curves import StoredCurve
from calib.records.tables.custody import ClockStep, LedgerBreak
from calib.records.tables.files import Attachment
from calib.records.tables.instruments import Instrument
from calib.records.tables.jobs import Job, JobRevision
from calib.records.tables.people import Person, Role
from calib.records.tables.reports import IssuedReport
from tests.command import calib
from tests.folders import NOW, SIGNED, imported, records_of, small_job, write
from tests.records.test_ledger import behind_the_back, change


@pytest.fixture(scope="module")
def _whole(tmp_path_factory):
    return records_of(tmp_path_factory.mktemp("whole"), small_job())


@pytest.fixture
def records(_whole, tmp_path):
    """A copy of the small job's records to damage."""
    path = tmp_path / "records.sqlite"
    with closing(sqlite3.connect(_whole)) as source, closing(sqlite3.connect(path)) as copy:
        source.backup(copy)
    return path


def verified(records):
    """Findings and remarks, as record -> problem."""
    with database.reading(str(records)) as session:
        state = verify_state(session)
    return tuple({one.record: one.problem for one in found} for found in (state.findings, state.remarks))


def written(records, *rows, signature=SIGNED):
    """Rows put in with right ledger entries, as somebody can who has the program's own library."""
    with database.writing(str(records)) as session:
        ledger.append_entries(session, rows, signature)


def sql(records, statement):
    """What a statement gives, past the program."""
    with closing(sqlite3.connect(records)) as file:
        return file.execute(statement).fetchall()


def page_of(records, name):
    """Number of the first byte of the page where a table or an index begins, and the size of a page."""
    with closing(sqlite3.connect(records)) as file:
        (size,) = file.execute("PRAGMA page_size").fetchone()
        (page,) = file.execute("SELECT rootpage FROM sqlite_master WHERE name = ?", (name,)).fetchone()
    return (page - 1) * size, size


def flipped(records, place, bit):
    """Turn one bit of the file over."""
    content = bytearray(records.read_bytes())
    content[place] ^= 1 << bit
    records.write_bytes(content)


def test_records_that_nobody_touched_have_no_finding(records):
    assert verified(records) == ({}, {})
    assert calib("verify", records=records).status == 0


def test_the_demo_has_no_finding(demo_records):
    assert verified(demo_records) == ({}, {})


def test_the_fingerprint_is_that_of_new_records(empty_records):
    with database.reading(str(empty_records)) as session:
        assert (
            session.get_bind().dialect.name != "sqlite" or fingerprint(schema_made(session.connection())) == FINGERPRINT
        )


def test_no_single_bit_of_an_index_page_changes_an_answer_unseen(records):
    """The last bytes of the page hold its keys: a bit there drops an outlet from a balance. Every fifth bit is tried."""
    first, size = page_of(records, "ix_outlet_job_id")
    balance = calib("balance", "J-1", "--json", records=records).out
    sound = records.read_bytes()
    for turned in range(0, 24 * 8, 5):  # 8 bits of a byte: each bit of it comes in every fifth byte
        place, bit = first + size - 24 + turned // 8, turned % 8
        records.write_bytes(sound)
        flipped(records, place, bit)
        ran = calib("verify", records=records)
        assert ran.status in (1, 2) or calib("balance", "J-1", "--json", records=records).out == balance, (place, bit)


def test_an_index_that_lost_a_row_is_found(records):
    first, _ = page_of(records, "ix_outlet_job_id")
    flipped(records, first + 4, 1)  # number of cells on the page
    findings, _ = verified(records)
    assert any("ix_outlet_job_id" in problem for problem in findings.values())


@pytest.mark.parametrize(
    ("statement", "record", "problem"),
    [
        ("DROP INDEX ix_outlet_job_id", "index ix_outlet_job_id", "is missing in the schema"),
        ("CREATE TABLE notes (x)", "table notes", "is in the schema, and was not made by this program"),
        (
            "CREATE TRIGGER quiet AFTER INSERT ON reading BEGIN DELETE FROM job; END",
            "trigger quiet",
            "is in the schema, and was not made by this program",
        ),
    ],
)
def test_what_is_missing_or_foreign_in_the_schema_is_named_and_nothing_is_written(records, statement, record, problem):
    with closing(sqlite3.connect(records)) as file, file:
        file.execute(statement)
    assert verified(records)[0] == {record: problem}
    before = records.read_bytes()
    ran = calib("instrument", "suspend", "VA-1", "--reason", "x", records=records)
    assert (ran.status, "its schema was changed past the program; nothing was written" in ran.err) == (2, True)
    assert records.read_bytes() == before


def test_a_check_that_was_taken_out_of_a_table_is_found(records):
    with closing(sqlite3.connect(records)) as file, file:
        file.execute("PRAGMA writable_schema=ON")
        file.execute(
            "UPDATE sqlite_master SET sql = replace(sql, 'length(tag) > 0', 'length(tag) > -1') WHERE name = 'instrument'"
        )
    assert verified(records)[0] == {"table instrument": "was changed in the schema"}


@pytest.mark.parametrize("kept", [0.3, 0.7, 0.99])
def test_a_file_that_was_cut_ends_with_a_finding(records, kept):
    content = records.read_bytes()
    records.write_bytes(content[: int(len(content) * kept)])
    ran = calib("verify", records=records)
    assert ran.status in (1, 2)
    assert "Traceback" not in ran.err


def test_bytes_that_are_no_text_in_the_schema_s_page_are_one_line(records):
    place = records.read_bytes().index(b"CREATE TABLE instrument")
    content = bytearray(records.read_bytes())
    content[place : place + 6] = b"\xff\xfe\xff\xfe\xff\xfe"
    records.write_bytes(content)
    ran = calib("verify", records=records)
    assert ran.status in (1, 2)
    assert len((ran.out + ran.err).splitlines()) <= 100
    assert "Traceback" not in ran.err


def test_a_false_curve_said_to_be_by_the_rule_is_found_and_refused_where_a_report_would_rest_on_it(records, tmp_path):
    """All digests are right: it was written with the program's own library."""
    with database.reading(str(records)) as session:
        curve = session.exec(select(StoredCurve)).first().model_dump(exclude={"id"})
    parameters = json.loads(curve["parameters"])
    name = next(name for name, value in parameters.items() if name == "coefficients")
    parameters[name][0] += 0.05
    written(records, StoredCurve(**curve | {"parameters": json.dumps(parameters)}))
    findings, _ = verified(records)
    last = max(findings)
    assert any(
        "is not the one that the rule makes" in problem or "after its acceptance" in problem
        for problem in findings.values()
    )
    assert last.startswith("correction_curve ")
    before = records.read_bytes()
    ran = calib("report", "J-1", "--issue", "--format", "json", "--into", tmp_path / "out", records=records)
    assert ran.status == 1
    assert "correction_curve" in ran.err
    assert records.read_bytes() == before


@pytest.mark.parametrize(
    ("words", "shape"),
    [(("VA-1", "C-101", "--degree", "2"), "polynomial"), (("VA-2", "C-102", "--degree", "1"), "polynomial")],
)
def test_a_curve_that_a_person_chose_is_fitted_anew_in_its_shape(records, words, shape):
    chosen = calib("calibration", "choose", *words, "--reason", "smoother", "--by", "A. Person", records=records)
    assert chosen.status == 0, chosen.err
    assert verified(records) == ({}, {})
    with database.reading(str(records)) as session:
        last = session.exec(select(StoredCurve).order_by(StoredCurve.id.desc())).first()
        curve = last.model_dump(exclude={"id"})
    assert (curve["chosen_by"], curve["shape"]) == ("A. Person", shape)
    parameters = json.loads(curve["parameters"])
    parameters["coefficients"][0] += 0.05
    written(records, StoredCurve(**curve | {"parameters": json.dumps(parameters)}))

    problem = "is not the one made in the shape that A. Person chose of its certificate's comparisons: other values"
    assert verified(records)[0] == {f"correction_curve {last.id + 1}": problem}


def test_a_chosen_curve_stays_right_where_the_instrument_is_amended_before_or_after(records):
    def amended(resolution):
        return calib(
            "instrument", "amend", "VA-1", "--set", f"resolution={resolution}", "--reason", "read again", "--always-wrong",
            records=records,
        ).status  # fmt: skip

    assert amended("0.1") == 0
    for degree in ("1", "2"):
        words = ("VA-1", "C-101", "--degree", degree, "--reason", "smoother")
        assert calib("calibration", "choose", *words, records=records).status == 0
    assert amended("0.5") == 0

    assert verified(records)[0] == {}


def test_a_false_curve_written_after_the_acceptance_is_not_used_by_the_gate_nor_in_a_balance(records):
    """A factor of the flow between both curves: 1.5 m/s beside some 4 m/s."""
    answers = (
        ("balance", "J-1", "--json"),
        ("ready", "VA-1", "--on", "2026-03-05", "--at", "4 m/s", "--json"),
        ("calibration", "show", "VA-1", "C-101", "--json"),
    )
    before = [calib(*asked, records=records).document for asked in answers]
    with database.reading(str(records)) as session:
        curve = (
            session.exec(select(StoredCurve).where(StoredCurve.calibration_id == 1)).first().model_dump(exclude={"id"})
        )
    parameters = json.loads(curve["parameters"])
    parameters["coefficients"][0] += 1.5
    written(records, StoredCurve(**curve | {"parameters": json.dumps(parameters)}))
    assert [calib(*asked, records=records).document for asked in answers] == before
    assert list(verified(records)[0]) == ["correction_curve 5"]


def test_a_curve_of_an_edition_that_is_not_known_is_said(records):
    with database.reading(str(records)) as session:
        curve = session.exec(select(StoredCurve)).first().model_dump(exclude={"id"})
    written(records, StoredCurve(**curve | {"rule_edition": 7}))
    assert any("was made by edition 7 of the rule" in problem for problem in verified(records)[0].values())


def test_a_comparison_put_into_an_accepted_certificate_is_found(records):
    with database.reading(str(records)) as session:
        accepted = session.exec(select(Acceptance)).first().calibration_id
        row = (
            session.exec(select(Comparison).where(Comparison.calibration_id == accepted))
            .first()
            .model_dump(exclude={"id"})
        )
    written(records, Comparison(**row))
    assert any(
        "was written into a certificate after its acceptance, 2026-03-06T09:00:00+00:00 by A. Person" in problem
        for problem in verified(records)[0].values()
    )


def test_whoever_is_not_on_record_signs_nothing(records):
    written(
        records, Person(name="Q. Keeper"), Role(person_id=1, role="QA", kind="given", at=NOW.isoformat(), reason="x")
    )
    written(records, ClockStep(reason="x"), signature=ledger.Signature("Stranger", NOW, "clock step"))
    findings, _ = verified(records)
    (problem,) = findings.values()
    assert problem.startswith("is signed by 'Stranger'; expected a person on record")


def test_a_technician_signs_no_act_of_qa(records):
    rows = [Person(name="Q. Keeper"), Person(name="T. One")]
    roles = [
        Role(person_id=number, role=role, kind="given", at=NOW.isoformat(), reason="x")
        for number, role in ((1, "QA"), (2, "technician"))
    ]
    written(records, *rows, *roles)
    written(records, ClockStep(reason="x"), signature=ledger.Signature("T. One", NOW, "clock step"))
    problem = verified(records)[0]["ledger entry 50"]
    assert "expected a person who may close a step of the clock" in problem


def test_a_technician_agrees_to_no_other_decision_rule(records):
    rows = [Person(name="Q. Keeper"), Person(name="T. One")]
    roles = [
        Role(person_id=number, role=role, kind="given", at=NOW.isoformat(), reason="x")
        for number, role in ((1, "QA"), (2, "technician"))
    ]
    written(records, *rows, *roles)
    titled = JobRevision(job_id=1, revision=2, reason="x", title="T", decision_rule="guarded non-binary")
    other = JobRevision(job_id=1, revision=3, reason="x", title="T", decision_rule="simple")
    written(records, titled, other, signature=ledger.Signature("T. One", NOW, "job amend"))
    (problem,) = [problem for problem in verified(records)[0].values() if "is signed by 'T. One'" in problem]
    assert "expected a person who may amend a job's decision rule" in problem


@pytest.mark.parametrize("version", [None, "0.1.0"])
def test_an_instrument_that_a_technician_put_on_record_is_found_where_its_entry_names_a_version(
    tmp_path, version, monkeypatch
):
    """Before entries named one, whoever had a role could."""
    monkeypatch.setattr(ledger, "__version__", version)
    records = tmp_path / "versions.sqlite"
    database.make(str(records))
    imported(records, write(tmp_path / "in", small_job()))
    rows = [Person(name="Q. Keeper"), Person(name="T. One")]
    roles = [
        Role(person_id=person, role=role, kind="given", at=NOW.isoformat(), reason="x")
        for person, role in ((1, "QA"), (2, "technician"))
    ]
    written(records, *rows, roles[0])
    written(records, roles[1], signature=ledger.Signature("Q. Keeper", NOW, "person role"))
    with database.reading(str(records)) as session:
        own = session.get(Instrument, 1).model_dump(exclude={"id"}) | {"tag": "ZZ-1", "serial": "900"}
    written(records, Instrument(**own), signature=ledger.Signature("T. One", NOW, "instrument add"))

    findings, remarks = verified(records)

    told = remarks if version is None else findings
    assert told.keys() == {"ledger entry 50"}
    assert "expected a person who may put an instrument or a method on record" in told["ledger entry 50"]
    assert {**findings, **remarks} == told


def test_an_entry_of_a_time_to_come_is_found_until_a_step_of_the_clock_closes_it(records):
    ahead = NOW + timedelta(days=400)
    written(records, Job(job="J-9", decision_rule="simple"), signature=ledger.Signature("A. Person", ahead, "import"))

    def told(now):
        with database.reading(str(records)) as session:
            state = verify_state(session, now=now)
        return [str(each) for each in state.findings], [str(each) for each in state.remarks]

    problem = (
        "ledger entry 46: is of 2027-04-10T09:00:00+00:00, a time to come: it is 2026-03-06T09:00+00:00 by this clock"
    )
    assert told(NOW) == ([problem], [])
    assert told(ahead) == told(ahead - timedelta(seconds=59)) == ([], [])
    assert told(ahead - timedelta(seconds=61))[0] != []

    written(records, ClockStep(reason="a year ahead"))

    assert told(NOW) == ([], [problem])


def test_entries_are_counted_as_they_are(records):
    before = calib("verify", "--json", records=records).document["entries"]
    change(records, "UPDATE ledger SET sequence = 2147483647 WHERE sequence = (SELECT max(sequence) FROM ledger)")

    assert calib("verify", "--json", records=records).document["entries"] == before == 45


def test_a_kept_file_whose_bytes_are_others_is_found_though_every_digest_of_the_ledger_fits(records):
    written(
        records,
        Attachment(name="x.pdf", media_type="application/pdf", sha256=hashlib.sha256(b"x").hexdigest(), content=b"y"),
    )
    assert verified(records)[0] == {"attachment 1": "its bytes do not make the digest that was kept of them"}


def test_a_report_that_names_another_digest_than_the_entry_before_it_has_is_found(records):
    written(records, IssuedReport(job_id=1, revision=1, issued_at="2026-03-06T09:00+00:00", ledger_digest="0" * 64))
    (problem,) = verified(records)[0].values()
    assert problem.startswith(f"names the ledger digest {'0' * 64}; the entry before its own has ")


def test_a_break_that_the_owner_closed_stays_visible_as_a_remark(records):
    change(records, "UPDATE ledger SET person = 'x' WHERE sequence = 5")
    ((digest,),) = sql(records, "SELECT digest FROM ledger WHERE sequence = 5")
    written(records, LedgerBreak(sequence=5, digest=digest, reason="a typing test on the live file"))
    findings, remarks = verified(records)
    assert findings == {}
    assert remarks["ledger entry 5"].endswith("closed by the records' owner: a typing test on the live file")
    change(records, "UPDATE ledger SET digest = 'y' WHERE sequence = 5")
    assert "ledger entry 5" in verified(records)[0]


def test_rows_only_says_less_and_finds_what_rows_show(records):
    with closing(sqlite3.connect(records)) as file, file:
        file.execute("DROP INDEX ix_outlet_job_id")
    assert calib("verify", "--rows-only", records=records).status == 0
    assert calib("verify", records=records).status == 1
    change(records, "UPDATE reading SET remarks = 'y' WHERE id = 1")
    assert calib("verify", "--rows-only", records=records).status == 1


@pytest.mark.parametrize(
    ("statement", "table"),
    [
        ("UPDATE reading SET indication = '9.9', observations = NULL WHERE id = 1", "reading 1"),
        ("UPDATE outlet SET width = '401' WHERE id = 1", "outlet 1"),
        ("UPDATE comparison SET reference = '0.61' WHERE id = 1", "comparison 1"),
        ("UPDATE method SET relative_standard_uncertainty_percent = '0.1'", "method 1"),
        ("DELETE FROM acceptance WHERE id = 1", "acceptance 1: is missing; it was written"),
        ("DELETE FROM reading WHERE id = 1", "reading 1: is missing; it was written"),
        ("UPDATE ledger SET previous = 'x' WHERE sequence = (SELECT max(sequence) FROM ledger)", "ledger entry"),
        ("UPDATE ledger SET person = 'x' WHERE record_table = 'reading' AND record_id = 1", "ledger entry"),
    ],
)
def test_a_report_is_not_issued_from_damage(records, tmp_path, statement, table):
    with behind_the_back(records) as file:
        file.execute(statement)
    ran = calib("report", "J-1", "--issue", "--format", "json", "--into", tmp_path / "out", records=records)
    assert ran.status == 1
    assert table in ran.err
    assert not (tmp_path / "out").exists() or not list((tmp_path / "out").iterdir())
    with closing(sqlite3.connect(records)) as file:
        assert file.execute("SELECT count(*) FROM issued_report").fetchone() == (0,)


def test_a_calibration_is_not_accepted_from_damage(records):
    with behind_the_back(records) as file:
        file.execute("DELETE FROM acceptance WHERE calibration_id = 1")
        file.execute("DELETE FROM ledger WHERE record_table = 'acceptance' AND record_id = 1")
        file.execute("UPDATE comparison SET expanded_uncertainty = '0.001' WHERE calibration_id = 1")
    ran = calib("calibration", "accept", "VA-1", "C-101", "--by", "B. Other", records=records)
    assert ran.status == 1
    assert "comparison 1: was changed since it was written" in ran.err


def test_damage_elsewhere_does_not_stop_an_issue(records, tmp_path):
    change(records, "UPDATE instrument SET location = 'lost' WHERE tag = 'PG-1'")
    ran = calib("report", "J-1", "--issue", "--format", "json", "--into", tmp_path / "out", records=records)
    assert ran.status == 0
    assert calib("verify", records=records).status == 1


def test_a_backup_of_damaged_records_is_made_and_says_so(records, tmp_path):
    first, _ = page_of(records, "ix_outlet_job_id")
    flipped(records, first + 4, 1)
    ran = calib("backup", tmp_path / "copy.sqlite", records=records)
    assert ran.status == 1
    assert "ix_outlet_job_id" in ran.out + ran.err
    assert (tmp_path / "copy.sqlite").exists()
